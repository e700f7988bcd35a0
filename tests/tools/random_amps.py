"""Random valid amps through operating point, sweep and transient: `python -m tests.tools.random_amps --count 3000`.

A fifth of the amps are two that come with ampsim, with mods drawn by lot; the others are put together from all stage
templates. Every value is multiplied by 0.5 to 2, every control stands somewhere, the ends of its travel included. An
amp counts as not converged when the engine says so, and as silently wrong when an answer came and one of the checks
of `tests.tools.verdicts` fails. Of a tenth it is also said how far the sweep lies beside nodal equations solved in
numpy, and some are played by the time-step solver and compared with ngspice.

`--record FILE` writes a line for each amp; a later call goes on where it ended.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

from ampsim.base.errors import EngineError
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import circuit_at
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ampsim.simulation.in_time import ALONE, solved_instead
from ampsim.simulation.netlist import Netlist, build
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Outcome
from ampsim.simulation.stimuli import Burst, Sine
from ampsim.simulation.timed_run import TimedRun
from ampsim.simulation.timestep.pace import Pace
from tests.tools import verdicts
from tests.tools.random_kit import PENTODES, PUBLISHED, TRIODES, Lot
from tests.tools.random_known import known_amp
from tests.tools.random_stages import drawn_amp

__all__ = ["PENTODES", "PUBLISHED", "TRIODES", "Case", "Count", "Tried", "draw", "run"]

INDEPENDENT, PLAYED = 10, 40  # every so many amps: solved in numpy, played by the time-step solver


@dataclass(frozen=True)
class Case:
    """One random amp with everything that is asked of it."""

    number: int
    amp: Amp
    position: dict[str, float | str]
    netlists: tuple[Netlist, ...]
    timed: TimedRun | None = None


@dataclass
class Tried:
    """What became of an amp.

    `failures` are (analysis, message), `faults` what a check refutes, `beside` is the worst difference of its sweep to
    nodal equations [ratio] and `apart` that of the time-step solver to ngspice [ratio], None where not tried.
    """

    number: int
    in_time: bool
    failures: list[tuple[str, str]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    beside: float | None = None
    apart: float | None = None


@dataclass
class Count:
    """What became of all of them."""

    amps: list[Tried] = field(default_factory=list)

    @property
    def tried(self) -> int:
        """How many."""
        return len(self.amps)

    @property
    def transients(self) -> int:
        """How many of them in time as well."""
        return sum(each.in_time for each in self.amps)

    @property
    def failures(self) -> list[tuple[int, str, str]]:
        """Every analysis that gave no answer, with the number of its amp."""
        return [(each.number, *failure) for each in self.amps for failure in each.failures]

    @property
    def wrong(self) -> list[tuple[int, str]]:
        """Everything that a check refutes, with the number of the amp."""
        return [(each.number, fault) for each in self.amps for fault in each.faults]

    @property
    def failed_percent(self) -> float:
        """Share of the amps with an analysis that gave no answer [%]."""
        return 100.0 * sum(bool(each.failures) for each in self.amps) / max(self.tried, 1)

    @property
    def wrong_amps(self) -> int:
        """How many amps had an answer that a check refutes."""
        return sum(bool(each.faults) for each in self.amps)

    def percents(self, name: str) -> list[float]:
        """The differences of a kind, `beside` or `apart` [%]."""
        return [100.0 * value for each in self.amps if (value := getattr(each, name)) is not None]


def draw(number: int, with_transient: bool = True) -> Case:
    """The random amp of this number, with its position and netlists."""
    lot = Lot(number)
    kind = lot.rng.random()
    amp = known_amp(lot, "workshop-a") if kind < 0.1 else known_amp(lot, "workshop-b") if kind < 0.2 else drawn_amp(lot)
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
    places, wired = verdicts.places(amp, position), verdicts.at(amp, position)
    netlists = [
        verdicts.with_every_net(wired, build(amp, position, OperatingPoint(), places, True)),
        build(amp, position, FrequencySweep(), places),
    ]
    if not with_transient:
        return Case(number, amp, position, tuple(netlists))
    analysis, setting = Transient(tone), amp.setting(position)
    timed = TimedRun(circuit_at(amp, setting), setting, analysis, places, Pace(ALONE, keep=analysis.step), True)
    return Case(number, amp, position, (*netlists, timed.netlist), timed)


def judge(case: Case, outcomes: Sequence[Outcome]) -> Tried:
    """What became of one amp; in time the solver answers where ngspice does not, as it does for everybody."""
    if case.timed:
        outcomes = [*outcomes[:2], *solved_instead([case.timed], outcomes[2:])]
    found = Tried(case.number, len(outcomes) > 2)
    for netlist, outcome in zip(case.netlists, outcomes, strict=True):
        if isinstance(outcome, EngineError):
            found.failures.append((netlist.form.command.split()[0], str(outcome)))
    wired = verdicts.at(case.amp, case.position)
    found.faults += verdicts.faults(wired, case.netlists, outcomes)
    if case.number % INDEPENDENT == 0 and not found.failures:
        found.beside = verdicts.beside(wired, case.netlists, outcomes)
    return found


def try_cases(cases: Sequence[Case]) -> list[Tried]:
    """What became of some amps."""
    netlists = [netlist for case in cases for netlist in case.netlists]
    outcomes = iter(engine.run(netlists, progress=lambda *_: None))
    return [judge(case, [next(outcomes) for _ in case.netlists]) for case in cases]


def played(case: Case) -> float | None:
    """How far the time-step solver lies beside ngspice [ratio]; None where the amp cannot stay at rest."""
    from tests.figures import in_time

    if in_time.growth(case.amp, case.position) >= 0.0:
        return None
    level = float(10.0 ** np.random.default_rng([8, case.number]).uniform(-3.0, 0.0))
    return in_time.apart(in_time.Case(case.amp, case.position, level, 0.02), in_time.FAINT)


def batches(numbers: Iterable[int], size: int, in_time: int) -> Iterator[list[Case | Tried]]:
    """Cases in handfuls, every so many of them with a transient; what came of one that cannot be drawn."""
    batch: list[Case | Tried] = []
    for number in numbers:
        try:
            batch.append(draw(number, number % in_time == 0))
        except EngineError as error:
            batch.append(Tried(number, False, [("supply", str(error))]))
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch


def run(
    count: int,
    first: int = 0,
    in_time: int = 1,
    progress: bool = False,
    record: Path | None = None,
    play: bool = False,
) -> Count:
    """Try random amps.

    Parameters
    ----------
    count, first : int
        How many, and the number of the first.
    in_time : int
        Every so many of them in time as well.
    progress : bool
        Say on stderr how far it is.
    record : path, optional
        A line is written to this file for each amp, and each that is there is not tried again.
    play : bool
        Play some of them by the time-step solver and compare it with ngspice.
    """
    total, begin = Count(), time.monotonic()
    wanted = range(first, first + count)
    if record and record.exists():
        lines = record.read_text("utf-8").splitlines()
        total.amps += [each for line in lines if (each := Tried(**json.loads(line))).number in wanted]
    done = {each.number for each in total.amps}
    for batch in batches((number for number in wanted if number not in done), 20, in_time):
        cases = [each for each in batch if isinstance(each, Case)]
        found = try_cases(cases)
        for case, each in zip(cases, found, strict=True):
            if play and case.number % PLAYED == 0:
                try:
                    each.apart = played(case)
                except EngineError as error:
                    each.failures.append(("played", str(error)))
        found += [each for each in batch if isinstance(each, Tried)]
        total.amps += found
        if record:
            with record.open("a", encoding="utf-8") as file:
                file.writelines(json.dumps(asdict(each)) + "\n" for each in found)
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
    parser.add_argument("--record", type=Path, help="file for a line of each amp; those in it are not tried again")
    parser.add_argument("--in-time", type=int, default=1, help="every so many of them in time as well")
    given = parser.parse_args()
    total = run(given.count, given.first, given.in_time, progress=True, record=given.record, play=True)
    for number, analysis, message in total.failures:
        print(f"amp {number}: {analysis}: {message}")
    for number, fault in total.wrong:
        print(f"amp {number}: {fault}")
    print(
        f"{total.tried} amps, {total.transients} in time, {total.failed_percent:.2f} % not converged, "
        f"{total.wrong_amps} silently wrong"
    )
    for name, words in (("beside", "nodal equations beside the sweep"), ("apart", "time-step solver beside ngspice")):
        if percents := total.percents(name):
            print(f"{words}: {len(percents)} amps, median {np.median(percents):.4f} %, worst {max(percents):.3f} %")
    return 1 if total.wrong or total.failed_percent > 0.3 else 0


if __name__ == "__main__":
    sys.exit(main())
