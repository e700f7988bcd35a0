"""The figures of an amp in time: how quick, how near to ngspice, how clean, and how it stands what comes by lot."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ampsim.audio.phrases import phrase
from ampsim.audio.render import render
from ampsim.base.errors import EngineError
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_position
from ampsim.circuit.valves.description import Valve
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.timestep.solver import play
from tests.figures import in_time
from tests.figures.figure import Figure, Scale, say
from tests.figures.in_time import LEVELS, RATE, Case, NoAnswerError, cases, compared, growth
from tests.tools import random_amps
from tests.tools.others import ROOT, Other

_GOALS = dict(zip(LEVELS, (0.1, 0.1, 0.2, 0.3), strict=True))  # percent
_ALIAS = {1249.0: -50.0, 4001.0: -45.0}  # dB
_LOUDEST = 500.0  # V at the loudspeaker: ten times what any of these amps can give
# A pole so far to the right [1/s] is of an amp that squeals, not of an oscillator that is to swing for seconds before a
# note: to let a squeal go on for so long, in steps as fine as it asks for, would take half an hour.
_SQUEALS = 1e4
# V of movement in silence: where gain is 500,000, a rounding of 1e-9 V at the first grid is half a millivolt there.
_STILL = 1e-2
_COMPILED = """
import time
import numpy as np
from ampsim import load_amp
from ampsim.simulation.timestep.solver import play
amp, times = load_amp("workshop-a"), []
for _ in range(2):
    begin = time.perf_counter()
    play(amp, np.zeros(480), 48e3)
    times.append(time.perf_counter() - begin)
print(times[0] - times[1])
"""


def a_phrase(_: Scale) -> Iterator[Figure]:
    """The whole phrase through the whole amp at three positions, on all cores."""
    modded, played = apply_mods(load_amp("workshop-a"), load_mod("cathode-switch")), phrase()
    places = every_position(modded, "cathode")
    render(modded, places[:1], phrase("chords"), cache=False)
    times = []
    for _turn in range(3):
        begin = time.perf_counter()
        found = render(modded, places, played, cache=False)
        times.append(time.perf_counter() - begin)
    share = statistics.median(times) / played.seconds
    value = f"{share:.2f} ({statistics.median(times):.1f} s for {len(places)} times {played.seconds:.1f} s)"
    name = "phrase through the whole amp at 3 positions, 8 x oversampling, all cores, over real time"
    yield Figure(name, value, "<= 1.0", share <= 1.0)
    repaired, computed = int(found["repaired"].sum()), int(found["computed"].sum())
    yield Figure(f"  samples repaired of {computed:,}, failed", f"{repaired}, 0", "said", True)


def over_ngspice(_: Scale) -> Iterator[Figure]:
    """One clip by the solver and by ngspice with nothing around it, in turn."""
    case, other = Case(load_amp("workshop-a"), {}, 0.3), Other("bare")
    try:
        base = other.time(case.netlist())
    finally:
        other.close()
    times = []
    for _turn in range(4):
        begin = time.perf_counter()
        case.ours()
        times.append(time.perf_counter() - begin)
    mine = statistics.median(times[1:])
    value = f"{mine / base:.4f} ({1e3 * mine:.0f} ms against {base:.1f} s)"
    yield Figure("0.3 s of a string at 0.3 V, over ngspice's own time", value, "<= 0.02", mine <= 0.02 * base)


def beside_ngspice(scale: Scale) -> Iterator[Figure]:
    """Every demo amp at every position, clean to hard clipping, against ngspice in steps of 1 us."""
    whole = scale.repetitions > 100
    given = cases() if whole else [Case(load_amp("workshop-a"), {}, level) for level in LEVELS]
    worst = dict.fromkeys(LEVELS, (0.0, ""))
    beyond, silent = 0, []
    for case, error in compared(given):
        if isinstance(error, EngineError):
            silent.append(error)
            continue
        worst[case.level] = max(worst[case.level], (100.0 * error, case.label))
        beyond += 100.0 * error > _GOALS[case.level]
    for level, (percent, label) in worst.items():
        name = f"difference to ngspice at {1e3 * level:g} mV, rms, worst of {len(given) // len(LEVELS)}"
        yield Figure(name, f"{percent:.3f} % ({label})", f"<= {_GOALS[level]} %", percent <= _GOALS[level])
    yield Figure("  of all these, beyond the goal", f"{beyond} of {len(given)}", "0", not beyond)
    yield without_answer(silent, len(given))


def without_answer(silent: Sequence[EngineError], count: int) -> Figure:
    """How many of so many cases have nothing to compare, for ngspice or the solver gave up; each is told."""
    for error in silent:
        say(str(error))
    theirs = sum(isinstance(error, NoAnswerError) for error in silent)
    value = f"{theirs}, {len(silent) - theirs} of {count}"
    return Figure("  no answer of ngspice, of the solver", value, "0, 0", not silent)


def lot_beside_ngspice(scale: Scale) -> Iterator[Figure]:
    """Amps drawn by lot, those that can stay at rest, at levels by lot, against ngspice."""
    found = [error for _, error in compared(in_time.by_lot(range(1, 1 + scale.amps // 30), 0.02), in_time.FAINT)]
    apart = [100.0 * error for error in found if not isinstance(error, EngineError)]
    value = f"{np.median(apart):.3f} %, {max(apart):.3f} %"
    name = f"difference to ngspice of {len(apart)} random amps, rms of the signal or of 0.1 V, median and worst"
    yield Figure(name, value, "<= 1 %", max(apart) <= 1.0)
    yield without_answer([error for error in found if isinstance(error, EngineError)], len(found))


def aliases(_: Scale) -> Iterator[Figure]:
    """Loud steady sines: what lies beside their harmonics."""
    amp = load_amp("workshop-a")
    for hertz, goal in _ALIAS.items():
        signal = 0.3 * np.sin(2.0 * np.pi * hertz * np.arange(round(1.6 * RATE)) / RATE)
        decibels = beside_harmonics(play(amp, signal, RATE).volts[round(0.5 * RATE) :][: round(RATE)], hertz)
        name = f"aliases of {hertz:g} Hz at 0.3 V, 20 Hz to 20 kHz, under its harmonics"
        yield Figure(name, f"{decibels:.1f} dB", f"<= {goal:g} dB", decibels <= goal)


def beside_harmonics(volts: np.ndarray, hertz: float) -> float:
    """Power that is not at multiples of a frequency, over that which is [dB]; one second at `RATE`.

    A harmonic is what lies within 8 Hz, the width of the window's main lobe: F. J. Harris, On the use of windows for
    harmonic analysis, Proc. IEEE 66(1), 1978, four terms.
    """
    from scipy.signal.windows import blackmanharris

    power = np.abs(np.fft.rfft(volts * blackmanharris(volts.size, sym=False))) ** 2
    bins = np.fft.rfftfreq(volts.size, 1.0 / RATE)
    heard = (bins >= 20.0) & (bins <= 20_000.0)
    near = np.abs(bins - hertz * np.round(bins / hertz)) <= 8.0
    return float(10.0 * np.log10(power[heard & ~near].sum() / power[heard & near & (bins > hertz / 2)].sum()))


def by_lot(scale: Scale) -> Iterator[Figure]:
    """Random amps, from whispering to far too loud, and in silence."""
    count = min(scale.amps, 1000)
    failed, strange, unstable, restless, squealing, repaired, samples = [], 0, 0, 0, 0, 0, 0
    for number in range(1, count + 1):
        draw = np.random.default_rng([7, number])
        level, hertz = 10.0 ** draw.uniform(-3.0, 0.7), 80.0 * 62.5 ** draw.random()
        signal = level * np.sin(2.0 * np.pi * hertz * np.arange(960) / RATE)
        over = int(draw.choice([2, 4, 8]))
        try:
            case = random_amps.draw(number, with_transient=False)
            pole = growth(case.amp, case.position)
            how: dict[str, Any] = {"position": case.position, "oversampling": over, "still": pole > _SQUEALS}
            loud, still = (play(case.amp, each, RATE, **how) for each in (signal, np.zeros(480)))
        except EngineError as error:
            failed.append(number)
            say(f"amp {number}: {error}")
            continue
        strange += not np.isfinite(loud.volts).all()
        squealing += pole > _SQUEALS
        if np.abs(loud.volts).max() > _LOUDEST or np.ptp(still.volts) > _STILL:
            # Some amps put together by lot oscillate or latch: their own poles say so.
            restless += pole > 0.0
            if pole <= 0.0:
                # Gain makes much of what the start is off rest by: an amp that is stable lets that die.
                unstable += _goes_on(case, over) or np.abs(loud.volts).max() > _LOUDEST
                say(f"amp {number}: {np.ptp(still.volts):.3f} V in silence though it has no pole to the right")
        repaired, samples = repaired + loud.repaired, samples + 960 * over
    value = f"{len(failed)}, {strange}, {unstable} ({repaired:,} of {samples:,} samples repaired; {restless} amps that"
    value += f" have a pole to the right and moved; oscillators of {squealing} that squeal not set going)"
    name = f"{count:,} random amps in time: failed, not finite, unstable"
    fine = count >= 1000 and not len(failed) + strange + unstable
    yield Figure(name, value, "0, 0, 0", fine)


def _goes_on(case: random_amps.Case, over: int) -> bool:
    """Whether an amp still moves after a tenth of a second of silence."""
    volts = play(case.amp, np.zeros(4800), RATE, position=case.position, oversampling=over).volts
    return bool(np.ptp(volts[-480:]) > _STILL)


def first_second(_: Scale) -> Iterator[Figure]:
    """The first second at a position that was not played before."""
    modded, signal = apply_mods(load_amp("workshop-a"), load_mod("bright-switch")), phrase().volts[: round(RATE)]
    times = []
    for turn in range(8):
        begin = time.perf_counter()
        play(modded, signal, RATE, position={"gain": 0.3 + 0.05 * turn, "bright": "120p"})
        times.append(time.perf_counter() - begin)
    worst = max(times[1:])
    yield Figure("first second at a new position, warm, worst of 7", f"{worst:.2f} s", "<= 1 s", worst <= 1.0)


def dearer_laws(_: Scale) -> Iterator[Figure]:
    """An amp with the dearer terms of the valve laws over the same with the plain ones, by processor time."""
    plain, signal = load_amp("workshop-a"), 0.3 * phrase().volts[: round(RATE)]
    plain = replace(plain, valves=tuple(_changed(valve, screen_fall=0.0, screen_focus=0.0) for valve in plain.valves))
    dearer = {
        "two mu in every triode over one": _of_two_mu,
        "a screen's share that falls and peaks over one that stays": lambda valve: _changed(
            valve, screen_fall=0.66, screen_focus=0.9
        ),
    }
    for name, change in dearer.items():
        changed = replace(plain, valves=tuple(map(change, plain.valves)))
        times: dict[int, list[float]] = {0: [], 1: []}
        for _turn in range(8):
            for which, amp in enumerate((plain, changed)):
                begin = time.process_time()
                play(amp, signal, RATE)
                times[which].append(time.process_time() - begin)
        ratio = min(times[1][1:]) / min(times[0][1:])
        yield Figure(f"a second of the amp, {name}", f"{ratio:.2f}", "<= 1.3", ratio <= 1.3)


def _of_two_mu(valve: Valve) -> Valve:
    if valve.law != "space-charge triode":
        return valve
    return replace(
        valve, law="space-charge triode, two mu", parameters=(*valve.parameters, ("slow_share", 0.2), ("slow_mu", 0.7))
    )


def _changed(valve: Valve, **values: float) -> Valve:
    """The valve with some of its parameters changed, where it has them."""
    return replace(valve, parameters=tuple((name, values.get(name, value)) for name, value in valve.parameters))


def compiling(_: Scale) -> Iterator[Figure]:
    """On a machine that has never run it, and the next time."""
    with tempfile.TemporaryDirectory() as folder:
        spent = [
            float(
                subprocess.run(
                    [sys.executable, "-c", _COMPILED],
                    env=os.environ | {"NUMBA_CACHE_DIR": folder},
                    cwd=ROOT,
                    check=True,
                    capture_output=True,
                    encoding="utf-8",
                ).stdout
            )
            for _turn in range(2)
        ]
    first, later = spent
    yield Figure("compiling on a fresh machine, said", f"{first:.1f} s", "<= 15 s", first <= 15.0)
    yield Figure("  the next time, from what is kept", f"{later:.2f} s", "<= 1 s", later <= 1.0)


SECTIONS = (
    a_phrase,
    over_ngspice,
    beside_ngspice,
    lot_beside_ngspice,
    aliases,
    by_lot,
    first_second,
    dearer_laws,
    compiling,
)
