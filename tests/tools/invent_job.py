"""The measurements of the demo job from start to finish: invented, never measured, from a perturbed rehearsal room amp.

`python -m tests.tools.invent_job` writes them anew, the same to the byte, into
models/measurements/rehearsal-room. The amp "on the bench" differs from its drawing: every part lies somewhere in its
tolerance and every valve somewhere in the spread of its type; R11 has drifted to 1.9 times its value until it is
replaced; the mains is off nominal, and the supply a little more. The meter (10 Mohm) is half a percent and 5 mV off
at every reading, the curve 0.1 dB, and the recording of the sweep tone has noise 45 dB below the sweep (all standard
deviations). Everything is small-signal: the recording has no distortion and no hum.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ampsim.base.files import write_whole
from ampsim.base.wav import write_wav
from ampsim.bench.diagnosis.metered_amp import MeteredAmp, State
from ampsim.bench.diagnosis.probes import probe, standard_probes
from ampsim.bench.sweeps.tone import SweepTone
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import Circuit, circuit_at
from ampsim.circuit.mods import apply_mods
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.netlist import node_vector, write
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from ampsim.simulation.tolerances import Tolerances, part_factors, slots, sockets_of, valve_draws
from tests.tools.recordings import noisy, through

Array = NDArray[np.float64]
FOLDER = models() / "measurements" / "rehearsal-room"
AMP, MODS = "rehearsal-room", ("volume-bright", "tight-switch")
DRIFTED, DRIFT = "R11", 1.9
SWITCHED = {"bright": "some", "low end": "tight"}  # where the switches stood for the sweep after the mod
MAINS_DRAWN, METER = 230.0, 10e6
SEED = 8
_SNR_DB = 45.0
_RANGE = (2.0, 30e3)  # Hz
_FINE = 3  # digits after the point of dB and degrees: what ngspice versions differ by goes

INVENTED = "invented by tests/invent_job.py from a simulated amp with parts off their values; nothing"


@dataclass(frozen=True)
class Visit:
    """The amp on the bench once: its circuit, what differs from it, and the mains [V]."""

    amp: Amp
    state: State
    mains: float


def on_arrival() -> Visit:
    """As it came: one resistor has drifted; the mains is low."""
    amp = load_amp(AMP)
    return Visit(amp, _perturbed(amp, {DRIFTED: DRIFT}, 224.0), 224.0)


def after_the_mod() -> Visit:
    """The same amp with that resistor replaced and the mods fitted; the mains is high."""
    amp = apply_mods(load_amp(AMP), *(load_mod(name) for name in MODS))
    return Visit(amp, _perturbed(amp, {DRIFTED: 1.004}, 236.0), 236.0)


def _perturbed(amp: Amp, own: Mapping[str, float], mains: float) -> State:
    """Parts in their tolerances, valves of their spread; `own` names parts that are off by a factor of their own."""
    wired = circuit_at(amp, {})
    # Every position's parts: a part that only a switch brings has its tolerance too.
    factors = {name: float(each[0]) for name, each in part_factors(_whole(amp), 1, SEED, Tolerances()).items()}
    factors |= own
    named = {**slots(wired), **slots(_whole(amp))}
    values = tuple((name, factors[part]) for name, part in named.items() if part in factors)
    sockets = sockets_of(wired, valve_draws(wired, 1, SEED, Tolerances()), 0)
    return State(factors=values, sockets=tuple(sockets.items()), supply=mains / MAINS_DRAWN * 1.008)


def _whole(amp: Amp) -> Circuit:
    return circuit_at(amp, {name: value for name, value in SWITCHED.items() if name in amp.controls})


def volts(visit: Visit, rng: np.random.Generator) -> dict[str, float]:
    """What the meter reads on the usual chart [V], four figures, a hundredth of a volt at best."""
    names = standard_probes(circuit_at(visit.amp, {}))
    bench = MeteredAmp(visit.amp, {}, tuple(probe(circuit_at(visit.amp, {}), name) for name in names), METER)
    (true,) = bench.read([visit.state])
    read = true * (1.0 + 0.005 * rng.standard_normal(true.size)) + 0.005 * rng.standard_normal(true.size)
    return {name: round(float(f"{value:.4g}"), 2) + 0.0 for name, value in zip(names, read, strict=True)}


def response(visit: Visit) -> tuple[Array, Array]:
    """Frequencies [Hz] and complex gain to the loudspeaker, switches as in SWITCHED."""
    wired, sweep = _whole(visit.amp), FrequencySweep(*_RANGE, 50)
    setting = visit.amp.setting({name: value for name, value in SWITCHED.items() if name in visit.amp.controls})
    plain = write(wired, setting, sweep, ("speaker",), sockets=dict(visit.state.sockets))
    factors = dict(visit.state.factors)
    values = (value * factors.get(part, 1.0) for part, value in plain.value_by_part.items())
    (found,) = engine.run([replace(plain, values=tuple(values))])
    assert isinstance(found, Arrays), found
    gain = found.vectors[node_vector(wired, "speaker")]
    decibels, degrees = 20.0 * np.log10(np.abs(gain)), np.degrees(np.unwrap(np.angle(gain)))
    turned = np.exp(1j * np.radians(np.round(degrees, _FINE)))
    return sweep.grid(), 10.0 ** (np.round(decibels, _FINE) / 20.0) * turned


def volts_file(visit: Visit, title: str, rng: np.random.Generator) -> str:
    """As a technician types it: a place and its volts, decimal commas, semicolons."""
    about = {"mains": visit.mains, "mains_drawn": MAINS_DRAWN}
    rows = [f"{name};{f'{value:g}'.replace('.', ',')}" for name, value in (about | volts(visit, rng)).items()]
    head = [f"# {title}, rehearsal room amp", f"# {INVENTED} was measured", "place;volts"]
    return "\n".join([*head, *rows]) + "\n"


def curve_file(visit: Visit, rng: np.random.Generator) -> str:
    """A curve as an analyser far from here might write it: tabulators, decimal commas, German headings, stars."""
    frequency, gain = response(visit)
    grid = 1000.0 * 2.0 ** (np.arange(-34, 27) / 6.0)
    level = np.interp(np.log(grid), np.log(frequency), 20.0 * np.log10(np.abs(gain))) - 62.0
    level += 0.1 * rng.standard_normal(grid.size)
    rows = [f"{at:.1f}\t{value:.2f}".replace(".", ",") for at, value in zip(grid, level, strict=True)]
    head = [f"* {INVENTED} was measured", "* Eingang bis Lautsprecher, Volume 3", "Frequenz (Hz)\tPegel (dB)"]
    return "\n".join([*head, *rows]) + "\n"


def recorded(visit: Visit) -> Array:
    """The sweep tone through the amp with noise, cut close around the sweep, peak at half of full scale."""
    tone = SweepTone()
    heard = through(*response(visit), tone)
    start, stop = (round(seconds * tone.rate) for seconds in (tone.quiet - 0.4, tone.quiet + tone.seconds + 0.1))
    return noisy(0.5 * heard / np.abs(heard).max(), tone, _SNR_DB, SEED)[start:stop]


def write_all(folder: Path = FOLDER) -> list[Path]:
    """Write the four files and return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    before, after, rng = on_arrival(), after_the_mod(), np.random.default_rng(SEED)
    texts = {
        "volts-on-arrival.csv": volts_file(before, "On arrival", rng),
        "sweep-on-arrival.csv": curve_file(before, rng),
        "volts-after-the-mod.csv": volts_file(after, "After the mod", rng),
    }
    made = [write_whole(folder / name, text) for name, text in texts.items()]
    return [*made, write_wav(folder / "sweep-after-the-mod.wav", recorded(after), SweepTone().rate, 16)]


if __name__ == "__main__":
    for path in write_all(*map(Path, sys.argv[1:2])):
        print(f"{path.name}: {path.stat().st_size:,} bytes")
