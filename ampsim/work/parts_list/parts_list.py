"""The parts list of a mod: what to get, for what load, of which kind and why; as a table, as text and as CSV."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd
import xarray as xr

from ...base.csv_cells import csv_text, safe_cell
from ...base.errors import DescriptionError
from ...base.files import write_whole
from ...base.progress import Progress
from ...base.quantities import FARAD, HENRY, OHM, format_value
from ...base.tables import text_table
from ...base.wording import in_volts, in_watts, one_line, with_capitals
from ...circuit.amp import Amp, Pot
from ...circuit.mods import diff
from ...circuit.positions import Position, position_label
from ...circuit.switches.kinds import ContactOrder
from ...studies.ratings.parts import part_ratings
from ...studies.search.wishes import Drawer
from ..cautions.stored_charges import SAFE_VOLTS
from ..new_parts import new_mods
from .lines import PartLine, part_lines
from .loads import at_most, loads
from .ratings_needed import Rating
from .switch_need import SwitchNeed

_UNITS = {"capacitor": FARAD, "inductor": HENRY}
NOTES = (
    "Watts: twice the mean power, at rest or driven hard with the amp's own knobs where it is loudest, whichever is "
    "larger (common practice, no source); equal parts that stand alike at output valves are told the same. Volts: the "
    "highest at rest, with cold valves or driven, and 10 % more for the mains; where a quarter more would ask for the "
    "same, what is told may be 6 % low. Kinds and tolerances: common practice, no source. Preferred values: IEC 60063.",
    "Pulse: the highest instant in a resistor when driven hard; where it passes ten times the rating, a "
    "larger body is asked for (from memory). The pulse and ripple current of capacitors, and what "
    "flows at switch-on, are not worked out.",
)


@dataclass(frozen=True)
class PartsList:
    """The parts list of everything that leads from the stock amp to the modded one."""

    amp: str
    variant: str
    lines: tuple[PartLine, ...]
    drawer: str = ""
    notes: tuple[str, ...] = NOTES

    @property
    def table(self) -> pd.DataFrame:
        """One row per part; NaN where a number does not matter or is not known."""
        return pd.DataFrame([_row(each) for each in self.lines], columns=list(_row(_NOBODY)))

    @property
    def to_buy(self) -> pd.DataFrame:
        """What does not lie in the drawer, like parts together: count, what, kind of part, watts, volts, for which."""
        wanted: dict[tuple[Any, ...], list[str]] = {}
        for each in self.lines:
            if each.stocked is None:
                key = (each.wanted, each.kind, each.rating.make, _amount(each.rating.watts, "W"),
                       _amount(each.rating.volts, "V"))  # fmt: skip
                wanted.setdefault(key, []).append(each.part)
        names = ["count", "what", "kind", "kind of part", "watts", "volts", "for"]
        return pd.DataFrame([(len(parts), *key, ", ".join(parts)) for key, parts in wanted.items()], columns=names)

    def text(self) -> str:
        """The list as plain text: a table, then what each part must be and why."""
        head = f"Parts list: {one_line(self.amp)}, {one_line(self.variant)}"
        if not self.lines:
            return f"{head}\n\nNo part is brought or changed.\n"
        told = [entry for each in self.lines for entry in _part_words(each)]
        parts = [head, text_table(_short(self.lines)), "\n".join(told), "To buy", text_table(self.to_buy)]
        return "\n\n".join([*parts, "\n".join(one_line(each) for each in self.notes)]) + "\n"

    def csv(self) -> str:
        """The table as CSV (commas, points); a cell that a spreadsheet would take for a formula gets an apostrophe."""
        rows = ([_cell(cell) for cell in row] for row in self.table.itertuples(index=False))
        return csv_text([list(self.table.columns), *rows])

    def write(self, path: str | Path) -> Path:
        """Write the CSV; nothing half-written replaces an older file.

        Raises
        ------
        DescriptionError
            When it cannot be written.
        """
        return write_whole(Path(path), self.csv())


def parts_list(
    stock: Amp,
    modded: Amp,
    positions: Sequence[Position] | None = None,
    drawer: Drawer | None = None,
    response: xr.Dataset | None = None,
    progress: Progress | None = None,
) -> PartsList:
    """Work out the parts list of the mods that `modded` has and `stock` has not.

    Parameters
    ----------
    stock, modded : Amp
    positions : sequence of mapping
        Where parts are loaded; the worst counts. Default: `fitting_positions`.
    drawer : Drawer
        Look in it before buying.
    response : xarray.Dataset
        Of `stress` with the modded amp in it, at these positions; simulated when not given.
    progress : callable
        Called with (done, total).

    Raises
    ------
    DescriptionError
        When the amps are not the same drawing, or `response` is of other amps or positions.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    diff(stock, modded)
    places = list(positions) if positions is not None else fitting_positions(stock, modded)
    if not new_mods(stock, modded):
        return PartsList(modded.name, modded.variant, ())
    if response is None:
        lines = _worked_out(stock, modded, places, drawer, progress)
    elif modded.variant not in response["variant"].values or _labels(response) != list(map(position_label, places)):
        raise DescriptionError(f"the response of {modded.variant} at these {len(places)} positions is needed")
    else:
        lines = tuple(part_lines(stock, modded, part_ratings(response), places, drawer))
    return PartsList(modded.name, modded.variant, lines, drawer.name if drawer else "")


def _worked_out(
    stock: Amp, modded: Amp, places: Sequence[Position], drawer: Drawer | None, progress: Progress | None
) -> tuple[PartLine, ...]:
    """The lines by quick loads; where these could ask for something else in finer steps, by those."""
    carried = loads(stock, modded, places, quick=True, progress=progress)
    lines = tuple(part_lines(stock, modded, carried, places, drawer))
    most = part_lines(stock, modded, at_most(carried), places, drawer)
    if [_asked(each) for each in lines] == [_asked(each) for each in most]:
        return lines
    return tuple(part_lines(stock, modded, loads(stock, modded, places, progress=progress), places, drawer))


def _asked(line: PartLine) -> tuple[Rating, str]:
    """What a line asks for, whatever it says it carries."""
    return replace(line.rating, why=""), line.at_hand


def _labels(response: xr.Dataset) -> list[str]:
    return [str(each) for each in response["position"].values]


def fitting_positions(stock: Amp, modded: Amp) -> list[dict[str, float | str]]:
    """Positions that have every part of the new mods in circuit: switches through their positions, new knobs both ends.

    The amp's own switches too. One control is moved at a time, the others stand as drawn.
    """
    found: list[dict[str, float | str]] = [{}]
    found += [{s.control: label} for s in modded.all_switches for label in s.labels if label != s.drawn]
    knobs = dict.fromkeys(
        part.control for mod in new_mods(stock, modded) for part in mod.parts if isinstance(part, Pot)
    )
    return found + [{knob: end} for knob in knobs for end in (0.0, 1.0)]


_SEQUENCE = {
    ContactOrder.EITHER: "break before make or make before break, either will do",
    ContactOrder.BREAK_FIRST: "they break before they make",
    ContactOrder.MAKE_FIRST: "they make before they break",
}
_NOBODY = PartLine("", "", "", "", "", "")


def _row(each: PartLine) -> dict[str, Any]:
    preferred, need = each.preferred, each.switch
    return {
        "part": each.part,
        "mod": each.mod,
        "when": each.when,
        "place": each.place,
        "kind": each.kind,
        "what": each.wanted,
        "series": preferred.series if preferred else "",
        "nearest value": format_value(preferred.value, _UNITS.get(each.kind, OHM)) if preferred else "",
        "off [%]": 100.0 * preferred.off if preferred else math.nan,
        "tolerance [%]": 100.0 * each.rating.tolerance,
        "kind of part": each.rating.make,
        "why": each.rating.why,
        "carries [W]": each.carries_watts,
        "rating [W]": each.rating.watts,
        "times [W]": each.watts_margin,
        "pulse [W]": each.pulse_watts,
        "carries [V]": each.carries_volts,
        "rating [V]": each.rating.volts,
        "times [V]": each.volts_margin,
        "taper": each.taper,
        "wired": each.wired,
        "poles": need.poles if need else math.nan,
        "throws": need.throws if need else math.nan,
        "contacts": " | ".join(need.contacts) if need else "",
        "sequence": need.sequence if need else "",
        "at hand": each.at_hand,
    }


def _short(lines: Sequence[PartLine]) -> pd.DataFrame:
    return pd.DataFrame([
        {
            "part": each.part,
            "what": f"{each.wanted} {each.kind}" if each.switch is None else each.wanted,
            "when": each.when,
            "place": each.place,
            "watts": _amount(each.rating.watts, "W"),
            "volts": _amount(each.rating.volts, "V"),
        }
        | ({"at hand": each.at_hand} if each.at_hand else {})
        for each in lines
    ])  # fmt: skip


def _switch_notes(need: SwitchNeed) -> Iterator[str]:
    """What happens while it moves, what an open contact leaves behind, and what its lugs carry."""
    if need.freed and need.sequence is ContactOrder.BREAK_FIRST:
        yield (
            f"While it moves, {need.freed} hangs free for a moment: move it with the volume down, or let a part stay "
            "soldered that holds it. A shorting rotary switch does without."
        )
    if need.hanging:
        hangs, them = ("hangs", "it") if len(need.hanging) == 1 else ("hang", "them")
        yield f"{' and '.join(need.hanging)} {hangs} on an open contact: bleed {them}, or it pops."
    if need.volts > SAFE_VOLTS:
        yield (
            f"Its lugs come to {in_volts(need.volts)}: take one that is rated for that (many toggles are made for 250 "
            "V of alternating current, and break far less of direct), put sleeve on its lugs, and move it with the amp "
            "off unless it is rated to break those direct volts (common practice, no source)."
        )


def _part_words(each: PartLine) -> list[str]:
    """What one part must be, in lines."""
    return [*([] if each.kind == "switch" else _value_words(each)), *(_switch_words(each) if each.switch else ())]


def _switch_words(each: PartLine) -> Iterator[str]:
    """What a switch, or that on the shaft of a pot, must be."""
    need = each.switch
    if need is not None:
        name = f"{need.designator}, switch '{one_line(need.control)}'"
        yield one_line(f"{name}: {need.kind}; contacts: {_SEQUENCE[need.sequence]}.")
        yield from (f"  {one_line(words)}" for words in (*need.contacts, *_switch_notes(need)))


def _value_words(each: PartLine) -> list[str]:
    words = [f"{each.part}: {each.wanted}"]
    if each.preferred and each.preferred.off:
        nearest = format_value(each.preferred.value, _UNITS.get(each.kind, OHM))
        words.append(f"no preferred value, the nearest is {nearest} (off by {100.0 * each.preferred.off:+.2g} %)")
    elif each.preferred:
        words.append(each.preferred.series)
    words += [f"{100.0 * each.rating.tolerance:g} %"] if each.rating.tolerance > 0.0 else []
    words += [each.rating.make] if each.rating.make else []
    words += [f"wired {each.wired}"] if each.wired else []
    words += (
        [f"{_amount(each.rating.watts, 'W')} for {in_watts(each.carries_watts)}"] if each.carries_watts >= 0.0 else []
    )
    words += [f"pulses of {in_watts(each.pulse_watts)}"] if each.pulse_watts > 0.0 else []
    words += (
        [f"{_amount(each.rating.volts, 'V')} for {in_volts(each.carries_volts)}"] if each.carries_volts >= 0.0 else []
    )
    return [with_capitals(one_line(f"{', '.join(words)}{'. ' + each.rating.why if each.rating.why else ''}."))]


def _amount(value: float, unit: str) -> str:
    return "" if math.isnan(value) else "none made" if math.isinf(value) else f"{value:g} {unit}"


def _cell(cell: Any) -> str:
    """A cell that is data to every spreadsheet; empty for NaN."""
    if isinstance(cell, float):
        return "" if math.isnan(cell) else f"{cell:.6g}"
    return safe_cell(str(cell))
