"""One amp alone, as drawn: volts and currents, response at every stage, power, headroom, and its drawing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from textwrap import wrap

import pandas as pd
import xarray as xr

from ...base.caution import CAUTION_LINE
from ...base.files import file_word, write_whole
from ...base.progress import Progress
from ...base.tables import text_table
from ...circuit.amp import Amp, AnyPart
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.every_part import with_every_part
from ...circuit.feedback import find_loop
from ...circuit.output_stage import output_transformers
from ...circuit.plugging import describe_source
from ...circuit.positions import Position, position_label
from ...circuit.signal_path import listening_points
from ...circuit.transformer import Transformer
from ...circuit.valves_in_use import valves_in_use
from ...measures.bias import bias_table
from ...measures.law_bands import BANDS, CUT_OFF, REST, SCREEN, current_kind, likely
from ...pictures.bias import bias_picture
from ...pictures.canvas import Picture
from ...pictures.export import Shown
from ...pictures.family import family_picture
from ...simulation.analyses import FrequencySweep, OperatingPoint
from ...simulation.response import simulate
from ...studies.audition import gain_table
from ...studies.headroom.section import section as headroom_section
from ...studies.section import Examination
from ...studies.stability.steady import unsteady_positions, unsteady_words
from ...studies.tremolo import swing_response, tremolo_table
from ...work.schematic.draw import schematic
from .html import figure, paper_html

_MOST_LINES = 12  # that one picture of curves keeps apart


@dataclass(frozen=True)
class AmpPage:
    """What is shown of an amp: tables and pictures by title, what has to be said first, and what besides."""

    amp: Amp
    position: str
    tables: Mapping[str, pd.DataFrame] = field(hash=False)
    pictures: Mapping[str, Shown] = field(hash=False)
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The amp, with its mods."""
        return self.amp.name + (f" with {self.amp.variant}" if self.amp.mods else "")

    @property
    def text(self) -> str:
        """All tables and notes, as plain text."""
        head = f"{self.title}, {self.position}\nSignal: {describe_source(self.amp)}"
        tables = [f"{title}\n{text_table(rows)}" for title, rows in self.tables.items() if not rows.empty]
        first, last = (["\n".join(wrap(each, 100)) for each in said] for said in (self.warnings, self.notes))
        return "\n\n".join([head, *first, *tables, *last, CAUTION_LINE])

    def html(self, paper: str = "A4") -> str:
        """The page as one HTML file."""
        return paper_html(
            "amp_page.html",
            paper,
            title=self.title,
            above="one amp, as the drawing has it",
            intro=f"Computed from the drawing with nominal values, {self.position}; nothing was measured. "
            f"Signal: {describe_source(self.amp)}.",
            tables=self.tables,
            drawing=self.pictures["drawing"],
            pictures=[picture for name, picture in self.pictures.items() if name != "drawing"],
            notes=self.notes,
            warnings=self.warnings,
            figure=figure,
        )

    def write(self, path: Path | None = None) -> Path:
        """Write the page; by default "amp-", the amp's name and ".html", in the working folder.

        Raises
        ------
        DescriptionError
            When the file cannot be written.
        """
        return write_whole(path or Path(f"amp-{file_word(self.title)}.html"), self.html())


def amp_page(amp: Amp, position: Position | None = None, progress: Progress | None = None) -> AmpPage:
    """Look at one amp alone.

    Parameters
    ----------
    amp : Amp
        With or without mods.
    position : mapping, optional
        Where its controls stand: rotation [ratio] or switch position; those not named stand as drawn.
    progress : callable
        See `base.progress`.

    Raises
    ------
    DescriptionError
        For an unknown control or position.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    here = dict(position or {})
    rest = simulate(amp, OperatingPoint(), [here])
    stages = listening_points(amp)
    sweep = simulate(amp, FrequencySweep(), [here], tuple(stages.values()))
    valves = valves_in_use(amp)
    swing = swing_response(amp, here)
    warnings = _warnings(amp, here)
    played = () if warnings else (headroom_section(Examination(amp, amp, (here,)), progress),)
    tables = {
        "Volts and currents at rest": _volts(amp, rest),
        **({"Valves at rest": bias_table(rest).drop(columns=["variant", "position"])} if valves else {}),
        "Gain from the source to the output of every stage": _gains(sweep, stages),
        "Tremolo": tremolo_table(amp, here, swing),
        **{title[:1].upper() + title[1:]: _alone(rows) for each in played for title, rows in each.tables.items()},
    }
    pictures = {
        "drawing": schematic(amp, whole=True),
        **({"bias": bias_picture(rest, title=f"Valves at rest: {amp.name}")} if valves else {}),
        **_stage_pictures(sweep, stages),
        **({} if swing is None else {"tremolo": family_picture(swing, SPEAKER, title="Gain over the tremolo's swing")}),
        **{name: picture for each in played for name, picture in each.pictures.items()},
    }
    notes = tuple(note for each in played for note in each.notes)
    return AmpPage(amp, position_label(here), tables, pictures, (*_band_notes(bool(valves)), *notes), warnings)


def _warnings(amp: Amp, here: Position) -> tuple[str, ...]:
    """That an amp oscillates, and whether it is its transformer that stands the other way round."""
    found = unsteady_words(unsteady_positions(amp, [here]))
    if not found:
        return ()
    turned = [name for name, other in _turned(amp) if find_loop(amp) and not unsteady_positions(other, [here])]
    hint = [f"With the secondary of {name} the other way round it stays at rest: then its feedback takes gain away, as "
            "it stands it adds some." for name in turned]  # fmt: skip
    return (*(f"{each}: power, headroom and harmonics would mean nothing and are left out." for each in found), *hint)


def _turned(amp: Amp) -> Iterator[tuple[str, Amp]]:
    """The amp with the secondary of each output transformer the other way round."""
    for name in dict.fromkeys(each.designator for each in output_transformers(build_circuit(amp))):
        yield name, with_every_part(amp, partial(_other_way, name))


def _other_way(name: str, part: AnyPart) -> AnyPart:
    return (
        replace(part, reversed=not part.reversed) if isinstance(part, Transformer) and part.designator == name else part
    )


def _band_notes(valves: bool) -> tuple[str, ...]:
    if not valves:
        return ()
    plate, low, screen = (f"{100.0 * BANDS[kind]:.0f} %" for kind in (REST, CUT_OFF, SCREEN))
    return (
        f"Likely: plate currents at rest to {plate} either side, {low} near cut-off (less than a tenth of the current "
        f"at 0 V on the grid), screen currents to {screen}.",
    )


def _volts(amp: Amp, rest: xr.Dataset) -> pd.DataFrame:
    """Every place with its volts, and the current of a valve's pin beside it with where it is likely to lie."""
    here = rest.isel(variant=0, position=0)
    milliamps = {
        str(name): 1e3 * float(value) for name, value in zip(here["branch"].values, here["current"].values, strict=True)
    }
    places = {str(name): float(value) for name, value in zip(here["node"].values, here["voltage"].values, strict=True)}
    valves = {name.partition(".")[0]: rank for rank, name in enumerate(milliamps)}
    # Rails first, then the valves in signal order, each with its pins together, and other places last.
    ordered = sorted(places, key=lambda place: ("." in place, valves.get(place.partition(".")[0], len(valves))))
    rows = [
        (place, places[place], milliamps.get(place, math.nan), _likely(amp, places, place, milliamps.get(place)))
        for place in ordered
    ]
    return pd.DataFrame(rows, columns=["place", "volts [V]", "current into it [mA]", "likely [mA]"])


def _likely(amp: Amp, places: Mapping[str, float], place: str, milliamps: float | None) -> str:
    """Where the current of a plate or screen is likely to lie; nothing for other pins."""
    name, _, pin = place.partition(".")
    if milliamps is None or pin not in ("plate", "screen") or milliamps <= 0.0:
        return ""
    if pin == "screen":
        return likely(SCREEN, milliamps)
    valve = amp.valve_by_type[valves_in_use(amp)[name][1].type]
    volts = [places.get(f"{name}.{each}") for each in ("plate", "grid", "cathode", "screen")]
    foot = volts[2] or 0.0
    plate, grid, _, screen = (None if each is None else each - foot for each in volts)
    if plate is None or grid is None:
        return likely(REST, milliamps)
    return likely(current_kind(valve, plate, grid, screen if valve.family == "pentode" else None), milliamps)


def _gains(sweep: xr.Dataset, stages: Mapping[str, str]) -> pd.DataFrame:
    rows = [gain_table(sweep, node=place).drop(columns=["variant", "position"]) for place in stages.values()]
    table = pd.concat(rows, ignore_index=True)
    table.insert(0, "stage", list(stages))
    table.insert(1, "heard at", list(stages.values()))
    return table


def _stage_pictures(sweep: xr.Dataset, stages: Mapping[str, str]) -> dict[str, Picture]:
    """The gain to the output of every stage, as lines of one picture, or of several for a long amp."""
    names, found = list(stages), {}
    for first in range(0, len(names), _MOST_LINES):
        some = names[first : first + _MOST_LINES]
        voltage = sweep["voltage"].isel(position=0, drop=True).sel(node=[stages[name] for name in some])
        lines = voltage.rename(node="position").assign_coords(position=some).expand_dims(node=[SPEAKER])
        whole = lines.transpose("variant", "position", "node", "frequency").to_dataset(name="voltage")
        title = "Gain from the source to every stage"
        found[f"stages {first}"] = family_picture(whole.assign_attrs(sweep.attrs), SPEAKER, title=title)
    return found


def _alone(rows: pd.DataFrame) -> pd.DataFrame:
    return rows.drop(columns=[name for name in ("variant", "position") if name in rows and rows[name].nunique() <= 1])
