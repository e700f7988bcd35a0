"""Questions on a job for apprentices: each with what it needs, how to work it out, the answer and the reason."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...base.errors import DescriptionError
from ...base.quantities import FARAD, OHM, format_value
from ...base.wording import in_decibels, in_hertz, join_words, minus
from ...bench.proof.limits import ProofRow
from ...bench.proof.sheet import ProofSheet
from ...circuit.amp import Amp, Mod, Part
from ...circuit.build import circuit_at
from ...circuit.mods import apply_mods
from ...circuit.nets import INPUT
from ...circuit.positions import every_position, setting_clause
from ...measures.labels import records
from ...measures.sweep import gain_at
from ...simulation.analyses import FrequencySweep, OperatingPoint
from ...simulation.response import simulate
from ...studies.audition_request import Audition, Setting
from ...studies.headroom.measures import WHOLE, clipping_table
from ...studies.headroom.simulate import headroom
from ...work.parts_list.parts_list import PartsList

LOWS, HIGHS = (100.0, 80.0, 150.0, 200.0), (3000.0, 2000.0, 4000.0, 5000.0)  # Hz
_MOST_POSITIONS = 8
_MOST_PLACES = 6
_CLOSE_DB = 1.0
# Of the runs that say which stage clips first: it is asked only where ngspice's bias and drive name the same by hand.
_CHECKS = 0
EQUAL = 0.01  # [ratio]: two that are as near are both right


@dataclass(frozen=True)
class Question:
    """One question of a job.

    Attributes
    ----------
    ask
        What is asked.
    answer, unit
        The number (in `unit`) or the words; words joined by "or" are as good as one another.
    low, high
        Between these a number is near enough.
    reason
        The reason, or a model answer's.
    data, formula
        What one needs to work it out, and how: given as the level of the sheet says.
    lines
        How many lines to write on; 0 asks for a word or a number.
    """

    ask: str
    answer: float | str
    unit: str = ""
    low: float = math.nan
    high: float = math.nan
    reason: str = ""
    data: str = ""
    formula: str = ""
    lines: int = 0

    def given(self, level: int) -> str:
        """What stands beside the question at a level."""
        return {1: f"{self.data} {self.formula}".strip(), 2: self.data}.get(level, "")

    @property
    def answer_text(self) -> str:
        """The answer in words."""
        if isinstance(self.answer, str):
            return self.answer
        return _amount(self.answer, self.unit)

    @property
    def explanation(self) -> str:
        """How near is near enough, and the reason."""
        if isinstance(self.answer, str) or math.isnan(self.low):
            return self.reason
        return f"({_amount(self.low, self.unit)} to {_amount(self.high, self.unit)} is near enough) {self.reason}"

    def accepts(self, given: float | str) -> bool:
        """Whether a given answer is near enough; words count whatever their case."""
        if isinstance(self.answer, str):
            return str(given).strip().casefold() in (self.answer.casefold(), *self.answer.casefold().split(" or "))
        try:
            return self.low <= float(given) <= self.high
        except ValueError:
            return False


def _amount(value: float, unit: str) -> str:
    return in_decibels(value, sign=True) if unit == "dB" else minus(f"{value:.3g} {unit}")


def volts(sheet: ProofSheet, amp: Amp, draw: random.Random) -> Iterator[Question]:
    """Volts at some pins, drawn by lot; at rails where nothing else is known."""
    rows = [row for row in sheet.rows if abs(row.expected) > 0.5]
    pins = [row for row in rows if "." in row.place] or rows
    rails = [f"{row.place} {row.expected:.0f} V" for row in rows if "." not in row.place]
    current = simulate(amp, OperatingPoint())["current"].isel(variant=0, position=0)
    flows = {str(name): float(amps) for name, amps in zip(current["branch"].values, current.values, strict=True)}
    for place in sorted(draw.sample(range(len(pins)), min(_MOST_PLACES, len(pins)))):
        yield _place(pins[place], flows, rails if pins is not rows else [])


def _place(row: ProofRow, flows: dict[str, float], rails: Sequence[str]) -> Question:
    reason = "Limits by the spread of parts and valves, and the mains."
    valve, _, pin = row.place.partition(".")
    outward = pin == "cathode"  # what flows into the other pins leaves there
    own = [amps for name, amps in flows.items() if name.partition(".")[0] == valve]
    amps = sum(own) if outward else flows.get(row.place, 0.0)
    data = [f"{1e3 * abs(amps):.3g} mA flow {'out of' if outward else 'into'} it."] if amps else []
    data += [f"Rails: {', '.join(rails)}."] if rails and not outward else []
    formula = (
        "It stands at I R above ground, R being what it stands on; whoever shares that sends its current through too."
        if outward
        else "It stands below the rail that feeds it by I R of what lies between; what else hangs there draws too."
    )
    return Question(f"How many volts stand at {row.place}?", row.expected, "V", row.low, row.high, reason,
                    " ".join(data), formula)  # fmt: skip


def why(mod: Mod) -> Question:
    """What a mod is for."""
    return Question(
        f"In a sentence or two: why would an owner want {mod.name}, and what would you listen for?",
        mod.reason,
        reason="A model answer; other words may be as good.",
        formula="Say where in the signal it sits, what it does there at which position, and what it costs.",
        lines=3,
    )


def alone(audition: Audition, mod: Mod) -> Amp | None:
    """The amp with one mod and no other; None for one that needs what another brings."""
    with suppress(DescriptionError):
        return apply_mods(audition.stock, mod)
    return None


def positions(audition: Audition, mod: Mod, draw: random.Random) -> Iterator[Question]:
    """What a mod does alone, at every position of what it adds: the effect of one is not asked as that of all."""
    amp = alone(audition, mod)
    if amp is None:
        return
    most = max(1, _MOST_POSITIONS // max(1, len(audition.modded.mods)))
    asked: list[Setting] = []
    for name in (name for name in amp.controls if name not in audition.stock.controls):
        drawn = amp.controls[name].drawn
        asked += [each for each in every_position(amp, name, rotations=(0.0, 1.0)) if each[name] != drawn]
    asked = asked[:most] or [{}]
    at = (draw.choice(LOWS), draw.choice(HIGHS))
    response = simulate([audition.stock, amp], FrequencySweep(), asked, [audition.listen_at, INPUT])
    levels = gain_at(response, at, audition.listen_at).transpose("variant", "position", "frequency").values
    for place, position in enumerate(asked):
        for number, hertz in enumerate(at):
            change = float(levels[1, place, number] - levels[0, place, number])
            if math.isfinite(change):
                ask = (
                    f"{mod.name} alone, {_in_words(position)}, all else as drawn: by how many dB does "
                    f"{in_hertz(hertz)} change against stock?"
                )
                yield Question(
                    ask, change, "dB", change - _CLOSE_DB, change + _CLOSE_DB, mod.reason,
                    _reactances(mod, amp, position, hertz),
                    "Work out what it lies across or in, with it and without; the change is 20 log10 of the ratio.",
                )  # fmt: skip


def _reactances(mod: Mod, amp: Amp, position: Setting, hertz: float) -> str:
    """What the capacitors that a mod brings into circuit at a position are worth at a frequency [Hz]."""
    there = {each.designator for each in circuit_at(amp, amp.setting(position)).elements}
    found = [
        f"{part.designator} ({format_value(part.value, FARAD)}) is "
        f"{format_value(float(f'{1.0 / (2.0 * math.pi * hertz * part.value):.2g}'), OHM)}"
        for part in mod.parts
        if isinstance(part, Part) and part.kind == "capacitor" and part.designator in there
    ]
    return f"At {in_hertz(hertz)} {join_words(found)}." if found else ""


def _in_words(position: Setting) -> str:
    """As it is said at the amp: a switch by the name of its position, knobs from 0 to 10."""
    texts = [
        f'{name} switched to "{value}"' if isinstance(value, str) else setting_clause(name, value)
        for name, value in position.items()
    ]
    return ", ".join(texts) or "as drawn"


def clips(audition: Audition) -> Iterator[Question]:
    """Which stage leaves its range first, of stock and with all mods; only where bias and drive tell it by hand."""
    response = headroom([audition.stock, audition.modded], [audition.compare_at], checks=_CHECKS)
    table = clipping_table(response)
    for variant, rows in table[table["stage"] != WHOLE].groupby("variant", sort=False):
        reached = rows[rows["clips at [V]"] < math.inf]
        if reached.empty:
            continue
        first = min(records(reached), key=lambda each: float(each["clips at [V]"]))
        names = ", ".join(map(str, rows["stage"]))
        amp = audition.stock if variant == audition.stock.variant else audition.modded
        at = {name: value for name, value in audition.compare_at.items() if name in amp.controls}
        which = "Stock" if amp is audition.stock else "With the mods"
        ask = f"{which}, {_in_words(at)}: which stage clips first ({names})?"
        reason = f"At {first['clips at [V]']:.3g} V peak {response.attrs['source']}: {first['how']}."
        own = response.sel(variant=variant).isel(position=0)
        each_stage = {str(each["stage"]): _drive_and_bias(own, str(each["valves"])) for each in records(rows)}
        driven = {stage: found for stage, found in each_stage.items() if found is not None}
        if by_hand(driven) != first["stage"]:
            continue
        told = [
            minus(f"{stage} {float(f'{drive:.3g}'):g} V at the grid, biased at {bias:.3g} V")
            for stage, (drive, bias) in driven.items()
        ]
        yield Question(
            ask, str(first["stage"]), reason=reason,
            data=f"In small signals, for each volt {response.attrs['source']}: {'; '.join(told)}.",
            formula="Divide the bias of each by its drive: at the latest there its grid reaches the cathode.",
        )  # fmt: skip


def by_hand(driven: Mapping[str, tuple[float, float]]) -> str:
    """The stage whose grid reaches its cathode first, of drive and bias of each [V]; "" for none."""
    return min(driven, key=lambda stage: abs(driven[stage][1]) / max(driven[stage][0], 1e-12), default="")


def _drive_and_bias(response: Any, valves: str) -> tuple[float, float] | None:
    """How far the first grid of a stage is driven [V], and from where [V]; None where it was not listened to."""
    first = valves.split(",")[0].strip()
    places = [f"{first}.{pin}" for pin in ("grid", "cathode")]
    if not all(place in response["node"].values for place in places):
        return None
    grid, cathode = (response.sel(node=place) for place in places)
    drive = float(np.hypot(*(grid["small"] - cathode["small"]).values))
    return drive, float(grid["rest"] - cathode["rest"])


def loads(parts: PartsList) -> Iterator[Question]:
    """Which part that the mods bring carries the most."""
    ways = {
        "watts": "Watts are V squared over R at the worst position.",
        "volts": "Look for what lies between its two places at the worst position, at rest and driven.",
    }
    for column, unit, what in (("carries [W]", "W", "watts"), ("carries [V]", "V", "volts")):
        table = parts.table.dropna(subset=column)  # a switch or a valve carries nothing that is counted here
        if len(table) < 2:
            continue
        most = max(map(float, table[column]))
        if most > 0.0:
            first = table[table[column] >= (1.0 - EQUAL) * most]
            names = ", ".join(map(str, table["part"]))
            ask = f"Which of the parts that the mods bring ({names}) carries the most {what}?"
            yield Question(ask, " or ".join(map(str, first["part"])), reason=f"{most:.3g} {unit} at worst.",
                           formula=ways[what])  # fmt: skip
