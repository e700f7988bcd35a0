"""Random valid amps through operating point, sweep and transient: `python -m tests.tools.random_amps --count 3000`.

Half of the amps are the two that come with ampsim, with mods drawn by lot; the others are put together from the
stage templates. Every value is multiplied by 0.5 to 2, every control stands somewhere, the ends of its travel
included. An amp counts as not converged when the engine says so, and as silently wrong when an answer came and
one of the checks of `tests.verdicts` fails.
"""

from __future__ import annotations

import argparse
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np

from ampsim.base.errors import DescriptionError, EngineError
from ampsim.base.quantities import FARAD, HENRY, OHM, VOLT, parse_value
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.tapers import TAPERS
from ampsim.library.files import models
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ampsim.simulation.netlist import Netlist, build
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Outcome
from ampsim.simulation.stimuli import Burst, Sine
from tests.tools import verdicts

Tables = dict[str, Any]
TRIODES = ("12AX7", "12AT7", "12AU7", "12AY7", "6DJ8")
PUBLISHED = (
    "12AX7-koren-1996", "12AX7-cohen-helie-2012", "12AX7-dempwolf-zoelzer-2011", "12AX7A-koren-2001",
    "12AT7-koren-1996", "12AU7-koren-1996", "6DJ8-koren-1996", "textbook-triode",
)  # fmt: skip
PENTODES = ("EL84", "6V6GT", "EL34", "6L6GC", "EL34-koren-1996", "6L6GC-koren-1996")
# Plate load [ohm] and cathode resistor [ohm] to start from; and B+ [V], cathode resistor, bias [V], primary [ohm].
USUAL_TRIODE = {"12AX7": (100e3, 1500.0), "12AT7": (47e3, 1000.0), "12AU7": (47e3, 1500.0)}
USUAL_TRIODE |= {"12AY7": (100e3, 1500.0), "6DJ8": (22e3, 680.0), "text": (100e3, 1500.0)}
USUAL_PENTODE = {
    "EL84": (320.0, 270.0, -11.0, 8e3),
    "6V6G": (350.0, 500.0, -20.0, 8e3),
    "EL34": (420.0, 400.0, -34.0, 4e3),
    "6L6G": (420.0, 450.0, -38.0, 4e3),
}
QUANTITY = {"R": OHM, "C": FARAD, "L": HENRY}


@dataclass(frozen=True)
class Case:
    """One random amp with everything that is asked of it."""

    number: int
    amp: Amp
    position: dict[str, float | str]
    netlists: tuple[Netlist, ...]


@dataclass
class Count:
    """What became of the amps: failures as (number, analysis, message), faults as (number, message)."""

    tried: int = 0
    transients: int = 0
    failures: list[tuple[int, str, str]] = field(default_factory=list)
    wrong: list[tuple[int, str]] = field(default_factory=list)

    @property
    def failed_percent(self) -> float:
        """Share of the amps with an analysis that gave no answer [%]."""
        return 100.0 * len({number for number, _, _ in self.failures}) / max(self.tried, 1)

    @property
    def wrong_amps(self) -> int:
        """How many amps had an answer that a check refutes."""
        return len({number for number, _ in self.wrong})


class Lot:
    """Draws everything about one amp; the same number draws the same amp."""

    def __init__(self, number: int) -> None:
        self.rng = np.random.default_rng([20, number])

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def one(self, choices: Iterable[Any]) -> Any:
        several = list(choices)
        return several[int(self.rng.integers(len(several)))]

    def spread(self, value: float) -> float:
        return float(value * 2.0 ** self.rng.uniform(-1.0, 1.0))

    def log(self, least: float, most: float) -> float:
        return float(np.exp(self.rng.uniform(np.log(least), np.log(most))))

    def rotation(self) -> float:
        return float(self.one((0.0, 1.0))) if self.chance(0.3) else float(self.rng.random())


# The amps that come with ampsim ---------------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def tables_of(folder: str, name: str) -> Tables:
    return tomllib.loads((models() / folder / f"{name}.toml").read_text("utf-8"))


@lru_cache(maxsize=1)
def mod_names() -> tuple[str, ...]:
    return tuple(sorted(path.stem for path in (models() / "mods").glob("*.toml")))


def varied(lot: Lot, key: str, value: Any) -> Any:
    """A part of a file with its values multiplied."""
    letters = key.rstrip("0123456789")
    if letters in QUANTITY:
        return lot.spread(parse_value(value, QUANTITY[letters]))
    if isinstance(value, dict):
        return {name: _varied_entry(lot, name, each) for name, each in value.items()}
    return value


def _varied_entry(lot: Lot, name: str, value: Any) -> Any:
    kinds = {"inductance": HENRY, "leakage": HENRY, "capacitance": FARAD}
    kinds |= dict.fromkeys(("track", "primary", "primary_resistance", "secondary_resistance"), OHM)
    kinds |= dict.fromkeys(("resistance", "peak", "reactance"), OHM)
    return lot.spread(parse_value(value, kinds[name])) if name in kinds else value


def known_amp(lot: Lot, name: str) -> Amp:
    data = dict(tables_of("amps", name))
    data["parts"] = {key: varied(lot, key, value) for key, value in data["parts"].items()}
    data["rails"] = [
        rail | ({"volts": lot.spread(parse_value(rail["volts"], VOLT))} if "volts" in rail else {})
        for rail in data["rails"]
    ]
    if lot.chance(0.2):
        swap = lot.one(TRIODES)
        data["parts"] = {key: swap if value == "12AX7" else value for key, value in data["parts"].items()}
    amp = parse_amp(data, f"{name}.toml")
    for mod in lot.rng.permutation(mod_names()):
        if lot.chance(0.5):
            amp = fitted(lot, amp, str(mod))
    return amp


def fitted(lot: Lot, amp: Amp, name: str) -> Amp:
    """The amp with one more mod where it fits; a mod for another amp, or one that clashes, is left out."""
    data = dict(tables_of("mods", name))
    data["parts"] = {key: varied(lot, key, value) for key, value in data.get("parts", {}).items()}
    data["edits"] = [
        edit | ({"with": varied(lot, edit["replace"], edit["with"])} if "with" in edit else {})
        for edit in data.get("edits", [])
    ]
    try:
        return wired(apply_mods(amp, parse_mod(data, f"{name}.toml")))
    except DescriptionError:
        return amp


def wired(amp: Amp) -> Amp:
    """The amp itself, once every switch has been tried in every position."""
    for switch in amp.all_switches:
        for label in switch.labels:
            build(amp, {switch.control: label}, OperatingPoint(), ("speaker",))
    build(amp, {}, OperatingPoint(), ("speaker",))
    return amp


# Amps from the templates ----------------------------------------------------------------------------------------------


class Kit:
    """Parts and stages of an amp under way."""

    def __init__(self, lot: Lot) -> None:
        self.lot = lot
        self.parts: Tables = {}
        self.stages: list[Tables] = []
        self.counts: Counter[str] = Counter()

    def new(self, letters: str, value: Any) -> str:
        self.counts[letters] += 1
        name = f"{letters}{self.counts[letters]}"
        self.parts[name] = value
        return name

    def r(self, ohms: float) -> str:
        return self.new("R", self.lot.spread(ohms))

    def c(self, farads: float) -> str:
        return self.new("C", self.lot.spread(farads))

    def pot(self, ohms: float) -> str:
        track = self.lot.spread(ohms)
        name = f"P{self.counts['P'] + 1}"
        return self.new("P", {"track": track, "taper": self.lot.one(TAPERS), "control": f"knob {name}"})

    def maybe(self, share: float, **roles: tuple[str, float]) -> Tables:
        """Some of the roles, each drawn by lot: its letters and the value to start from."""
        make = {"R": self.r, "C": self.c, "P": self.pot}
        return {role: make[kind](value) for role, (kind, value) in roles.items() if self.lot.chance(share)}

    def stage(self, template: str, **roles: Any) -> str:
        name = f"{template} {len(self.stages) + 1}"
        self.stages.append({"name": name, "template": template} | {k.rstrip("_"): v for k, v in roles.items()})
        return name

    def triode(self) -> tuple[str, str]:
        kind = self.lot.one(PUBLISHED if self.lot.chance(0.25) else TRIODES)
        return self.new("V", kind), kind


def usual(kind: str) -> tuple[float, float]:
    return USUAL_TRIODE.get(kind[:5], USUAL_TRIODE["12AX7" if kind[0] == "1" else kind[:4]])


def drawn_amp(lot: Lot) -> Amp:
    """An amp put together from the stage templates."""
    kit = Kit(lot)
    source(kit)
    stages = int(lot.rng.integers(1, 5))
    for number in range(stages):
        preamp_stage(kit, first=number == 0)
    if lot.chance(0.5):
        follower_and_stack(kit)
    if lot.chance(0.4):
        kit.stage("master volume", pot=kit.pot(1e6), coupling=kit.c(22e-9))
    pentode = lot.one(PENTODES)
    supply = USUAL_PENTODE[pentode[:4]][0]
    power_amp(kit, pentode)
    rails = supplies(kit, supply)
    data = {"name": "drawn by lot", "parts": kit.parts, "rails": rails, "stages": kit.stages}
    return parse_amp(data, "lot.toml")


def supplies(kit: Kit, volts: float) -> list[Tables]:
    rails: list[Tables] = [{"name": "B1", "volts": kit.lot.spread(volts)}]
    rails[0] |= {"through": kit.r(100.0), "reservoir": kit.c(47e-6)} if kit.lot.chance(0.8) else {}
    for name, fed, ohms in (("B2", "B1", 2.2e3), ("B3", "B2", 10e3)):
        rails.append({"name": name, "from": fed, "through": kit.r(ohms), "reservoir": kit.c(22e-6)})
    bias = next((stage["bias"] for stage in kit.stages if "bias" in stage), None)
    if bias is not None:
        rails.append({"name": "bias", "volts": kit.lot.spread(bias)})
        kit.stages = [stage | ({"bias": "bias"} if "bias" in stage else {}) for stage in kit.stages]
    return rails


def source(kit: Kit) -> None:
    if kit.lot.chance(0.3):
        kit.stage("generator", **kit.maybe(0.7, resistance=("R", 10e3)))
        return
    roles = {"pickup_inductance": kit.new("L", kit.lot.spread(3.0)), "pickup_resistance": kit.r(7e3)}
    roles |= kit.maybe(0.7, pickup_capacitance=("C", 130e-12), volume=("P", 250e3), cable_capacitance=("C", 500e-12))
    if kit.lot.chance(0.4):
        roles |= {"tone": kit.pot(250e3), "tone_capacitor": kit.c(22e-9)}
    kit.stage("guitar", **roles)


def preamp_stage(kit: Kit, first: bool) -> None:
    lot = kit.lot
    roles: Tables = {}
    if first:
        roles |= kit.maybe(0.8, grid_leak=("R", 1e6))
    elif lot.chance(0.5):
        volume = {"pot": kit.pot(1e6), "coupling": kit.c(22e-9)}
        volume |= kit.maybe(0.25, bright_capacitor=("C", 120e-12), track_resistor=("R", 470e3))
        kit.stage("volume", **(volume | kit.maybe(0.2, foot_resistor=("R", 10e3), series_resistor=("R", 100e3))))
    elif lot.chance(0.5):
        network = {"capacitor": kit.c(22e-9), "series_resistor": kit.r(470e3), "shunt_resistor": kit.r(470e3)}
        kit.stage(
            "coupling", **(network | kit.maybe(0.3, series_capacitor=("C", 470e-12), shunt_capacitor=("C", 1e-10)))
        )
    elif lot.chance(0.9):
        roles |= {"coupling": kit.c(22e-9), "grid_leak": kit.r(1e6)}
    valve, kind = kit.triode()
    load, cathode = usual(kind)
    roles |= {"valve": valve, "supply": lot.one(("B2", "B3")), "plate_load": kit.r(load)}
    if lot.chance(0.9):
        roles |= {"cathode_resistor": kit.r(cathode * (6.0 if lot.chance(0.15) else 1.0))}
        roles |= kit.maybe(0.6, cathode_bypass=("C", lot.one((22e-6, 1e-6))))
        roles |= kit.maybe(0.3, bypass_resistor=("R", 1e3)) if "cathode_bypass" in roles else {}
    roles |= kit.maybe(0.4, grid_stopper=("R", 33e3))
    roles |= kit.maybe(0.15, plate_load_capacitor=("C", 470e-12), plate_grid_capacitor=("C", 10e-12))
    kit.stage("triode stage", **roles)


def follower_and_stack(kit: Kit) -> None:
    valve, kind = kit.triode()
    roles = {"valve": valve, "supply": "B2", "cathode_resistor": kit.r(usual(kind)[0])}
    kit.stage("cathode follower", **roles, **kit.maybe(0.2, plate_resistor=("R", 1e3), grid_stopper=("R", 10e3)))
    if kit.lot.chance(0.8):
        stack = {"treble": kit.pot(250e3), "bass": kit.pot(1e6)}
        stack["middle"] = kit.pot(25e3) if kit.lot.chance(0.7) else kit.r(10e3)
        capacitors = {"treble_capacitor": kit.c(330e-12), "bass_capacitor": kit.c(22e-9)}
        kit.stage("tone stack", **stack, **capacitors, middle_capacitor=kit.c(22e-9), slope_resistor=kit.r(47e3))


def power_amp(kit: Kit, pentode: str) -> None:
    if kit.lot.chance(0.35):
        single_ended(kit, pentode)
    elif kit.lot.chance(0.35):
        split_load(kit)
        push_pull(kit, pentode, feedback_into="")
    else:
        feedback = kit.lot.chance(0.6)
        pair = long_tailed_pair(kit, feedback)
        push_pull(kit, pentode, feedback_into=pair if feedback else "")
    if kit.lot.chance(0.7):
        impedance = {"resistance": kit.lot.spread(6.4), "resonance": kit.lot.spread(85.0), "peak": kit.lot.spread(45.0)}
        impedance |= {"q": kit.lot.spread(5.0), "reactance": kit.lot.spread(5.0)}
        kit.stage("load", load=kit.new("LS", impedance | {"exponent": float(kit.lot.rng.uniform(0.5, 1.0))}))
    else:
        kit.stage("load", load=kit.r(8.0))


def transformer(kit: Kit, primary: float) -> str:
    taps = kit.lot.one(([8.0], [4.0, 8.0, 16.0], [8.0, 16.0]))
    given: Tables = {
        "primary": kit.lot.spread(primary),
        "taps": taps,
        "secondary": kit.lot.one(("in phase", "reversed")),
    }
    for name, value in (("inductance", 25.0), ("leakage", 20e-3), ("primary_resistance", 250.0)):
        given |= {name: kit.lot.spread(value)} if kit.lot.chance(0.5) else {}
    for name, value in (("secondary_resistance", 0.5), ("capacitance", 600e-12)):
        given |= {name: kit.lot.spread(value)} if kit.lot.chance(0.5) else {}
    return kit.new("T", given)


def output_bias(kit: Kit, pentode: str, share: float) -> Tables:
    """Cathode bias or fixed bias; the screens as well."""
    _, ohms, volts, _ = USUAL_PENTODE[pentode[:4]]
    roles: Tables = {}
    if kit.lot.chance(0.5):
        roles |= {"cathode_resistor": kit.r(ohms * share)} | kit.maybe(0.8, cathode_bypass=("C", 100e-6))
    else:
        roles |= {"bias": volts}
    if kit.lot.chance(0.15):
        roles |= {"triode_connected": "yes"}
    else:
        roles |= {"screen_supply": "B2"} if kit.lot.chance(0.7) else {}
        roles |= kit.maybe(0.2, common_screen_resistor=("R", 1e3))
    return roles | kit.maybe(0.2, snubber_resistor=("R", 10e3)) | {"supply": "B1"}


def single_ended(kit: Kit, pentode: str) -> None:
    roles = output_bias(kit, pentode, 1.0)
    roles |= {"coupling": kit.c(22e-9), "grid_leak": kit.r(330e3), "valve": kit.new("V", pentode)}
    roles |= {"transformer": transformer(kit, 5e3)} | kit.maybe(
        0.6, grid_stopper=("R", 2e3), screen_resistor=("R", 470.0)
    )
    if "snubber_resistor" in roles:
        roles |= {"snubber_capacitor": kit.c(2.2e-9)}
    kit.stage("single-ended output", **roles)


def push_pull(kit: Kit, pentode: str, feedback_into: str) -> None:
    roles = output_bias(kit, pentode, 0.5)
    for side in "ab":
        roles |= {f"valve_{side}": kit.new("V", pentode), f"coupling_{side}": kit.c(22e-9)}
        roles |= {f"grid_leak_{side}": kit.r(220e3)}
        roles |= kit.maybe(0.6, **{f"grid_stopper_{side}": ("R", 2e3), f"screen_resistor_{side}": ("R", 470.0)})
    if "cathode_resistor" in roles and kit.lot.chance(0.2):
        ohms = USUAL_PENTODE[pentode[:4]][1]
        kit.parts.pop(roles.pop("cathode_resistor"))
        kit.parts.pop(roles.pop("cathode_bypass", ""), None)
        roles |= {"cathode_resistor_a": kit.r(ohms), "cathode_resistor_b": kit.r(ohms)}
        roles |= kit.maybe(0.6, cathode_bypass_a=("C", 100e-6), cathode_bypass_b=("C", 100e-6))
    if "snubber_resistor" in roles:
        roles |= {"snubber_capacitor": kit.c(2.2e-9)}
    name = transformer(kit, USUAL_PENTODE[pentode[:4]][3])
    kit.stage("push-pull output", **roles, transformer=name)
    if feedback_into:
        line = kit.maybe(0.5, shunt_resistor=("R", 4.7e3))
        if kit.lot.chance(0.5):
            line |= {"depth": kit.pot(500e3), "depth_capacitor": kit.c(6.8e-9)}
        if kit.lot.chance(0.6):
            line |= {kit.lot.one(("presence", "presence_track")): kit.pot(22e3), "presence_capacitor": kit.c(100e-9)}
        tap = f"tap{kit.parts[name]['taps'][-1]:g}"
        kit.stage("feedback", from_=f"{name}.{tap}", into=feedback_into, resistor=kit.r(47e3), **line)


def split_load(kit: Kit) -> None:
    valve, _ = kit.triode()
    roles = {"valve": valve, "supply": "B2", "plate_load": kit.r(56e3), "cathode_load": kit.r(56e3)}
    if kit.lot.chance(0.8):
        roles |= {"coupling": kit.c(22e-9), "grid_leak": kit.r(1e6), "bias_resistor": kit.r(1500.0)}
    kit.stage("split-load inverter", **roles, **kit.maybe(0.3, grid_stopper=("R", 10e3)))


def long_tailed_pair(kit: Kit, feedback: bool) -> str:
    first, kind = kit.triode()
    second = kit.new("V", kind)
    load = usual(kind)[0]
    roles: Tables = {"valve_a": first, "valve_b": second, "supply": "B2", "coupling": kit.c(22e-9)}
    roles |= {"plate_load_a": kit.r(load), "plate_load_b": kit.r(load)}
    roles |= {"grid_leak_a": kit.r(1e6), "grid_leak_b": kit.r(1e6), "bias_resistor": kit.r(470.0)}
    roles |= {"tail_resistor": kit.r(10e3), "grid_b_capacitor": kit.c(100e-9)}
    roles |= {"feedback_input": "yes"} if feedback else {}
    return kit.stage("long-tailed pair", **roles, **kit.maybe(0.4, plate_to_plate_capacitor=("C", 47e-12)))


# Running them ---------------------------------------------------------------------------------------------------------


def draw(number: int, with_transient: bool = True) -> Case:
    """The random amp of this number, with its position and netlists."""
    lot = Lot(number)
    kind = lot.rng.random()
    amp = known_amp(lot, "workshop-a") if kind < 0.3 else known_amp(lot, "workshop-b") if kind < 0.5 else drawn_amp(lot)
    position: dict[str, float | str] = {
        control.name: lot.one(control.positions) if control.kind == "switch" else lot.rotation()
        for control in amp.controls.values()
    }
    frequency, level = lot.log(80.0, 5e3), lot.log(1e-3, 2.0)
    tone = (
        Burst(frequency, level, 0.002, 0.018, 0.02)
        if lot.chance(0.2)
        else Sine(frequency, level, 0.0, max(1, round(0.02 * frequency)))
    )
    places = verdicts.places(amp, position)
    netlists = [
        verdicts.with_every_net(build(amp, position, OperatingPoint(), places, True)),
        build(amp, position, FrequencySweep(), places),
    ]
    if with_transient:
        netlists.append(build(amp, position, Transient(tone), places, True))
    return Case(number, amp, position, tuple(netlists))


def judge(case: Case, outcomes: list[Outcome], count: Count) -> None:
    """Add one amp's outcomes to the count."""
    count.tried += 1
    count.transients += len(outcomes) > 2
    for netlist, outcome in zip(case.netlists, outcomes, strict=True):
        if isinstance(outcome, EngineError):
            count.failures.append((case.number, netlist.form.command.split()[0], str(outcome)))
    count.wrong += [(case.number, fault) for fault in verdicts.faults(case.amp, case.netlists, outcomes)]


def batches(numbers: Iterable[int], size: int, transients: int) -> Iterator[list[Case]]:
    """Cases in handfuls; those numbered from `transients` on go without a transient."""
    batch: list[Case] = []
    for number in numbers:
        batch.append(draw(number, number < transients))
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch


def run(count: int, first: int = 0, transients: int | None = None, progress: bool = False) -> Count:
    """Try `count` random amps, the first `transients` of them (all, if not given) in time as well."""
    total, begin = Count(), time.monotonic()
    last = first + (count if transients is None else transients)
    for batch in batches(range(first, first + count), 50, last):
        outcomes = iter(engine.run([netlist for case in batch for netlist in case.netlists], progress=lambda *_: None))
        for case in batch:
            judge(case, [next(outcomes) for _ in case.netlists], total)
        if progress:
            spent = time.monotonic() - begin
            print(
                f"\r{total.tried} of {count} amps, {len(total.failures)} without answer, "
                f"{total.wrong_amps} wrong, {spent:.0f} s", end="", file=sys.stderr, flush=True,
            )  # fmt: skip
    if progress:
        print(file=sys.stderr)
    return total


def main() -> int:
    """Try random amps and print what became of them."""
    parser = argparse.ArgumentParser(description="random amps through the engine")
    parser.add_argument("--count", type=int, default=3000)
    parser.add_argument("--first", type=int, default=0, help="number of the first amp")
    given = parser.parse_args()
    total = run(given.count, given.first, progress=True)
    for number, analysis, message in total.failures:
        print(f"amp {number}: {analysis}: {message}")
    for number, fault in total.wrong:
        print(f"amp {number}: {fault}")
    print(f"{total.tried} amps, {total.failed_percent:.2f} % not converged, {total.wrong_amps} silently wrong")
    return 1 if total.wrong or total.failed_percent > 0.3 else 0


if __name__ == "__main__":
    sys.exit(main())
