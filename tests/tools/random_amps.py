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
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from ampsim.base.errors import DescriptionError, EngineError
from ampsim.base.quantities import FARAD, HENRY, OHM, VOLT, parse_value
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.library.files import models
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ampsim.simulation.netlist import Netlist, build
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Outcome
from ampsim.simulation.stimuli import Burst, Sine
from tests.tools import verdicts
from tests.tools.random_kit import PENTODES, PUBLISHED, TRIODES, Lot, Tables
from tests.tools.random_stages import drawn_amp

__all__ = ["PENTODES", "PUBLISHED", "TRIODES", "Case", "draw", "run"]

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
    if name == "track" and isinstance(value, str) and value[0].isalpha():
        return f"{value[0]}{lot.spread(parse_value(value[1:], OHM)):.6g}"  # the letter of its taper stands before it
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
