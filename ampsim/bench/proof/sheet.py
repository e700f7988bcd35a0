"""The test sheet of a finished mod: simulated against measured, pass or fail for every reading."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from ...base.tables import text_table
from ...circuit.amp import Amp
from ...circuit.positions import Position, position_label
from .limits import ProofRow, Verdict
from .rounds import Round, checked_round, latest_readings
from .sweeps import COUNT, SEED, SweepProof, SweepTaken, sweep_proof
from .volts import Judged, judge_round

_SEVERAL = "at several positions"


@dataclass(frozen=True)
class ProofSheet:
    """The test sheet of one amp.

    `position` is where the controls stood, where all readings were taken at one. `supply` is the factor on the drawn
    supply that the expected volts of the last round stand for; `notes` say how limits were got.
    """

    amp: str
    variant: str
    position: str
    rows: tuple[ProofRow, ...]
    sweeps: tuple[SweepProof, ...] = ()
    supply: float = 1.0
    notes: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether something was measured, and nothing measured fails; a sweep near its limit does not."""
        counted = set(self._verdicts) - {Verdict.NOT_MEASURED}
        return bool(counted) and Verdict.FAIL not in counted

    @property
    def verdict(self) -> str:
        """All of it in a few words."""
        counted = [verdict for verdict in self._verdicts if verdict is not Verdict.NOT_MEASURED]
        failed, again = counted.count(Verdict.FAIL), counted.count(Verdict.LOOK_AGAIN)
        if not counted:
            return "nothing measured yet"
        near = f", {again} near the limit: look again" if again else ""
        if failed:
            return f"{failed} of {len(counted)} fail{'s' if failed == 1 else ''}{near}"
        return f"all {len(counted)} pass" if not again else f"{len(counted) - again} of {len(counted)} pass{near}"

    @property
    def _verdicts(self) -> list[Verdict]:
        return [row.verdict for row in self.rows] + [sweep.verdict for sweep in self.sweeps]

    @property
    def table(self) -> pd.DataFrame:
        """Place, expected, lowest, highest, measured, difference and margin [V], and the verdict; NaN: not measured.

        Where there are several, also where the controls stood and which round each reading is of.
        """
        data: dict[str, list[object]] = {
            "place": [row.place for row in self.rows],
            "expected [V]": [row.expected for row in self.rows],
            "lowest [V]": [row.low for row in self.rows],
            "highest [V]": [row.high for row in self.rows],
            "measured [V]": [_or_nan(row.measured) for row in self.rows],
            "difference [V]": [_or_nan(row.measured) - row.expected for row in self.rows],
            "margin [V]": [_or_nan(row.margin) for row in self.rows],
            "verdict": [row.verdict for row in self.rows],
        }
        if len({row.position for row in self.rows if row.position}) > 1:
            data["controls"] = [row.position for row in self.rows]
        if len({row.read for row in self.rows if row.read}) > 1:
            data["round"] = [row.read for row in self.rows]
        return pd.DataFrame(data)

    def text(self) -> str:
        """The sheet as plain text."""
        head = f"Test sheet: {self.amp}, {self.variant}, {self.position}: {self.verdict}"
        told = [f"{each.name}: {each.verdict}. {each.words}" for each in self.sweeps]
        return "\n\n".join([head, text_table(self.table), *told, *self.notes]) + "\n"


def proof_sheet(
    amp: Amp,
    volts: Mapping[str, float] | None = None,
    position: Position | None = None,
    *,
    supply: float | None = None,
    mains: float | None = None,
    mains_drawn: float | None = None,
    meter: float | None = None,
    share: float | None = None,
    sweeps: Sequence[SweepTaken] = (),
    count: int = COUNT,
    seed: int = SEED,
) -> ProofSheet:
    """Hold what was measured against what the drawing, its tolerances and the valves' spread allow.

    Parameters
    ----------
    amp : Amp
        With the mods that were fitted.
    volts : mapping
        Place to volts against ground [V]; places that are not named stay in the sheet as not measured.
    position : mapping
        Where the controls stood; as drawn by default.
    supply : float
        Factor of the bench's supply over the drawn one. Default: as the mains tell, else from the first measured rail
        that has a source of its own; unknown without one.
    mains, mains_drawn : float
        Mains while measuring, and those that the drawing's volts hold for [V]; the first alone is stated and no more.
    meter : float
        Input resistance of the meter [ohm]; it loads each place by itself. Default: a meter that draws nothing.
    share : float
        Limits at so much either side, 0.1 for 10 %, instead of from the spread of parts and valves.
    sweeps : sequence of SweepTaken
        Measured sweeps; errors as `sweeps.compare_with_drawing`.
    count, seed : int
        The run of amps the limits come from.

    Raises
    ------
    DescriptionError
        For unknown places, and readings that are no numbers.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    read = Round(volts or {}, position or {}, mains, mains_drawn, meter)
    return proof_of_rounds(amp, [read], supply=supply, share=share, sweeps=sweeps, count=count, seed=seed)


def proof_of_rounds(
    amp: Amp,
    rounds: Sequence[Round],
    *,
    supply: float | None = None,
    share: float | None = None,
    sweeps: Sequence[SweepTaken] = (),
    count: int = COUNT,
    seed: int = SEED,
) -> ProofSheet:
    """Hold the latest reading [V] at every place and position against what drawing, tolerances and valves allow.

    Parameters
    ----------
    amp : Amp
        With the mods that were fitted.
    rounds : sequence of Round
        In any order; which is the latest their dates say, and of one day their order here.
    supply, share, sweeps, count, seed
        As `proof_sheet`; errors are as there.
    """
    given = [checked_round(amp, each) for each in sorted(rounds, key=lambda each: each.date)] or [Round()]
    kept = latest_readings(amp, given)
    judged = {
        each: judge_round(amp, each, counted, supply=supply, share=share, count=count, seed=seed)
        for each, counted in zip(given, kept, strict=True)
        if counted or each is given[-1]
    }
    rows = _merged_rows(judged)
    stood = list(dict.fromkeys(row.position for row in rows if row.position))
    where = _SEVERAL if len(stood) > 1 else stood[0] if stood else position_label(dict(given[-1].position))
    held = tuple(sweep_proof(each, count=count, seed=seed) for each in sweeps)
    last = judged[given[-1]]
    return ProofSheet(amp.name, amp.variant, where, rows, held, last.supply, _notes(judged))


def _merged_rows(judged: Mapping[Round, Judged]) -> tuple[ProofRow, ...]:
    """What was read in every round, in the order of the chart; places that were never read once."""
    read = [
        replace(row, position=position_label(dict(each.position)), read=each.name)
        for each, found in judged.items()
        for row in found.rows
        if row.measured is not None
    ]
    chart = list(judged.values())[-1].rows
    done = {row.place for row in read}
    order = {row.place: number for number, row in enumerate(chart)}
    rows = read + [row for row in chart if row.place not in done]
    return tuple(sorted(rows, key=lambda row: order.get(row.place, len(order))))


def _notes(judged: Mapping[Round, Judged]) -> tuple[str, ...]:
    """How limits were got; what is the same in all rounds once."""
    limits = {each.about_limits for each in judged.values()}
    if len(judged) == 1:
        (found,) = judged.values()
        return (*found.about_supply, *found.about_limits)
    told = [
        f"Round {each.name}, {each.date}: "
        + " ".join((*found.about_supply, *(found.about_limits if len(limits) > 1 else ())))
        for each, found in judged.items()
    ]
    return (*told, *(limits.pop() if len(limits) == 1 else ()))


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value
