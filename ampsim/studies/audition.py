"""A whole audition: simulate, measure, draw, and say in tables and pictures what the mods do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap
from threading import Thread
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from ..base.caution import CAUTION_LINE
from ..base.errors import DescriptionError
from ..base.files import file_word, refuse_unwritable
from ..base.progress import Progress
from ..base.system import as_done
from ..base.tables import frame, text_table
from ..circuit.amp import Amp
from ..circuit.mods import diff
from ..circuit.plugging import describe_source
from ..circuit.positions import every_position
from ..measures.bias import READINGS, bias_table
from ..measures.sweep import corner_hz, gain_at
from ..measures.waveforms import FLOOR_DB, harmonics
from ..pictures.bias import bias_picture
from ..pictures.canvas import Picture
from ..pictures.export import save_picture
from ..pictures.family import family_picture
from ..pictures.harmonics import harmonics_picture
from ..pictures.overlay import overlay_picture
from ..pictures.waveform import waveform_picture
from ..simulation.analyses import FrequencySweep, OperatingPoint
from ..simulation.drawn_volts import DRAWN_COLUMNS, drawn_volts
from ..simulation.ngspice import engine
from ..simulation.response import simulate
from ..simulation.stimuli import Sine
from .audition_request import FREQUENCIES, Audition
from .settings import own_positions
from .stability.steady import Unsteady, unsteady_positions, unsteady_words

_OTHER_PICTURES = 4
_NOT_AT_REST = (
    "THIS AMP OSCILLATES. What follows is worked out as if it stayed at rest, and is worth nothing there; mend the "
    "loop first (topic stability of `ampsim consequences`):"
)


@dataclass(frozen=True)
class Outcome:
    """What an audition leaves: tables by title, pictures, all of it as one text, and why pictures are missing."""

    tables: dict[str, pd.DataFrame]
    pictures: tuple[Path, ...]
    text: str
    problem: str = ""


def audition(plan: Audition, folder: Path | None = None, progress: Progress | None = None) -> Outcome:
    """Simulate stock and modded, measure, and leave pictures (PNG and SVG) in a folder.

    Parameters
    ----------
    plan : Audition
        What to compare and what to show.
    folder : Path
        Made when it is missing; default "audition-" and the audition's name, in the working folder.
    progress : callable
        See `base.progress`; called as each picture is ready, with the name of its file.

    Raises
    ------
    DescriptionError
        When the folder cannot be written to; if that only shows after the work, the outcome says so instead.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    target = folder or Path("audition-" + file_word(plan.name))
    refuse_unwritable(target)
    engine.warm_up()
    found = _Simulated(plan)
    files: dict[str, list[Path]] = {}
    problem = ""
    try:
        for name, picture in _pictures(plan, found):
            if found.unsteady:
                picture.stamp(["OSCILLATES, not as drawn here:", *unsteady_words(found.unsteady)])
            files[name] = save_picture(picture, target / name)
            if progress:
                progress(len(files), len(plan.views) + _OTHER_PICTURES, f"{target / name}.png")
    except DescriptionError as found_late:  # the tables are not lost with the pictures
        problem = str(found_late)
    tables = _tables(plan, found)
    paths = tuple(path for pair in files.values() for path in pair)
    text = _text(plan, tables, target, files, unsteady_words(found.unsteady))
    return Outcome(tables, paths, text, problem)


class _Simulated:
    """Everything an audition simulates: the sweeps at once, the slow waveform beside the drawing of the others."""

    def __init__(self, plan: Audition) -> None:
        variants, node = [plan.stock, plan.modded], [plan.listen_at]
        self.compared = simulate(variants, FrequencySweep(), [plan.compare_at], node)
        self.families = [simulate(variants, FrequencySweep(), view.positions, node) for view in plan.views]
        self.rest = simulate(variants, OperatingPoint(), _switch_positions(plan.modded))
        shown = [plan.compare_at, plan.wave_at, *(each for view in plan.views for each in view.positions)]
        looked_at = [*shown, *_switch_positions(plan.modded)]
        self.unsteady = unsteady_positions(variants, looked_at)
        known = plan.stock.controls
        own = [{name: each[name] for name in each if name in known} for each in looked_at]
        self.marked = {**self.unsteady, **unsteady_positions(plan.stock, own)}  # as tables name positions of stock
        self._wave: Future[xr.Dataset] = Future()
        work = (variants, plan.wave, [plan.wave_at], ["input", *node])
        # A daemon: a caller stopped by hand does not wait for it.
        Thread(target=_fulfil, args=(self._wave, *work), daemon=True).start()

    @property
    def wave(self) -> xr.Dataset:
        return next(as_done([self._wave])).result()


def _fulfil(promise: Future[xr.Dataset], *work: Any) -> None:
    try:
        promise.set_result(simulate(*work))
    except BaseException as problem:
        promise.set_exception(problem)


def _tables(plan: Audition, found: _Simulated) -> dict[str, pd.DataFrame]:
    tables = {
        "What the mods do": changes_table(plan.stock, plan.modded),
        f"{plan.compare_title} (gain to {plan.listen_at})": gain_table(
            found.compared, plan.frequencies, plan.listen_at
        ),
    }
    for view, family in zip(plan.views, found.families, strict=True):
        modded = family.isel(variant=[1])
        tables[f"{view.title} (gain to {plan.listen_at})"] = gain_table(modded, plan.frequencies, plan.listen_at)
    bias = bias_table(found.rest)
    tables |= {"Bias: as drawn, and where a mod moves it": moved_bias(bias)} if len(bias) else {}
    tone = plan.wave.stimulus
    if isinstance(tone, Sine):
        floor = f"{FLOOR_DB:g} dB stands for that and less"
        title = f"Harmonics at {plan.listen_at}, {tone.frequency:g} Hz, {tone.level:g} V peak ({floor})"
        tables[title] = harmonics_table(found.wave, plan.listen_at)
    drawn = drawn_table(plan.stock)
    tables |= {} if drawn.empty else {"Voltages on the drawing": drawn}
    return {title: mark_unsteady(table, found.marked) for title, table in tables.items()}


def _pictures(plan: Audition, found: _Simulated) -> Iterator[tuple[str, Picture]]:
    stock, modded = plan.stock.variant, plan.modded.variant
    yield "overlay", overlay_picture(found.compared, plan.listen_at, title=plan.compare_title)
    for view, family in zip(plan.views, found.families, strict=True):
        name = f"positions-{file_word(view.title)}"
        yield name, family_picture(family, plan.listen_at, variant=modded, base=stock, title=view.title)
    if len(bias_table(found.rest)):
        yield "bias", bias_picture(found.rest, positions=[str(found.rest["position"].values[0])])
    yield "waveform", waveform_picture(found.wave, plan.listen_at)
    yield "harmonics", harmonics_picture(found.wave, plan.listen_at)


def _text(
    plan: Audition, tables: dict[str, pd.DataFrame], target: Path, drawn: Iterable[str], unsteady: Sequence[str]
) -> str:
    head = [
        f"{plan.name}: {plan.stock.name}, stock against {plan.modded.variant}",
        *([plan.about] if plan.about else []),
        f"Signal: {describe_source(plan.modded)}; heard at {plan.listen_at}",
        *([plan.modded.variant_legend] if plan.modded.variant_legend else []),
    ]
    pieces = ["\n".join(head)]
    if unsteady:
        pieces.append("\n".join(part for each in (_NOT_AT_REST, *unsteady) for part in wrap(each, 100)))
    pieces += [f"{title}\n{text_table(_without_blanks(table))}" for title, table in tables.items()]
    pieces.append(f"Pictures (PNG and SVG) are in the folder {target}: {', '.join(drawn)}")
    return "\n\n".join([*pieces, CAUTION_LINE])


def mark_unsteady(table: pd.DataFrame, unsteady: Unsteady) -> pd.DataFrame:
    """A table of variants and positions with a column more where one of its rows oscillates; else as it is."""
    if not {"variant", "position"} <= set(table):
        return table
    rows = zip(table["variant"].astype(str), table["position"].astype(str), strict=True)
    states = ["OSCILLATES" if row in unsteady else "steady" for row in rows]
    return table.assign(**{"at rest": states}) if "OSCILLATES" in states else table


def _without_blanks(table: pd.DataFrame) -> pd.DataFrame:
    """Leave out columns that say the same in every row of a longer table: they widen it and tell nothing."""
    if len(table) < 2:
        return table
    same = [name for name in ("variant", "kind of limit", "type") if name in table and table[name].nunique() == 1]
    return table.drop(columns=[name for name in same if name != "type"])


def _switch_positions(amp: Amp) -> list[dict[str, float | str]]:
    names = [control.name for control in amp.controls.values() if control.kind == "switch"]
    # One switch at a time: what one position does to the bias stands out, and the table stays short.
    return [{}] + [position for name in names for position in every_position(amp, name)]


def changes_table(amp: Amp, modded: Amp) -> pd.DataFrame:
    """The diff of two amps as a table."""
    rows = [(c.mod, c.when, c.place, c.before, c.after) for c in diff(amp, modded)]
    return pd.DataFrame(rows, columns=["mod", "when", "where", "before", "after"])


def gain_table(
    response: xr.Dataset, frequencies: Sequence[float] = FREQUENCIES, node: str | None = None
) -> pd.DataFrame:
    """Gain [dB] at named frequencies and the -3 dB corners about 1 kHz [Hz], a row per variant and position.

    Positions that differ only in controls which a variant does not have are one row of it. `node` is where to listen,
    by default the loudspeaker.
    """
    table = frame(gain_at(response, frequencies, node))
    corners = frame(corner_hz(response, node, mid=1000.0)).iloc[:, 2:]
    corners.columns = pd.Index(["lower corner [Hz]", "upper corner [Hz]"])
    table["position"] = [label for labels in own_positions(response).values() for label in labels]
    return pd.concat([table, corners], axis=1).drop_duplicates(["variant", "position"], ignore_index=True)


def moved_bias(bias: pd.DataFrame) -> pd.DataFrame:
    """Of a bias table, the first variant as drawn, and every other row that a mod or a position moves by over 1 %."""
    readings = list(READINGS)
    first = bias[(bias["variant"] == bias["variant"].iloc[0]) & (bias["position"] == bias["position"].iloc[0])]
    drawn = first.set_index("valve")[readings]
    beside = drawn.reindex(bias["valve"]).to_numpy()
    # A grid at 0 V moves by microvolts: a hundredth of a volt, milliampere or watt is no move.
    moved = (np.abs(bias[readings].to_numpy() - beside) > np.maximum(0.01 * np.abs(beside), 0.01)).any(axis=1)
    return pd.DataFrame(bias.loc[moved | bias.index.isin(first.index)])


def harmonics_table(response: xr.Dataset, node: str | None = None) -> pd.DataFrame:
    """Level of each harmonic [dB of the fundamental, floor at least] and total distortion [%], a row per variant."""
    found = harmonics(response, node).isel(position=0)
    rows = []
    for variant in range(found.sizes["variant"]):
        at = found.isel(variant=variant)
        row: dict[str, str | float] = {"variant": str(found["variant"].values[variant])}
        levels = {order: float(at["relative"].sel(harmonic=order)) for order in range(2, 7)}
        row |= {f"H{order} [dB]": max(level, FLOOR_DB) for order, level in levels.items()}
        rows.append(row | {"THD [%]": float(at["thd"])})
    return pd.DataFrame(rows)


def drawn_table(amp: Amp) -> pd.DataFrame:
    """Voltages printed on the drawing [V] beside the simulated ones [V]; empty where none are printed."""
    rows = drawn_volts(amp)
    return pd.DataFrame(rows, columns=list(DRAWN_COLUMNS)) if rows else pd.DataFrame()
