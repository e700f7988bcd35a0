"""Doing a whole job: simulate, measure, draw, and say in tables and pictures what the mods do."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from threading import Thread
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from . import engine, measures, pictures
from .amp import Amp
from .analyses import FrequencySweep, OperatingPoint, Sine
from .circuit import circuit
from .errors import DescriptionError
from .library import load_amp, load_job, load_mod, load_valve, read_toml
from .mods import apply, diff
from .overview import describe_amp, describe_mod
from .positions import every_position
from .read_job import FREQUENCIES, Job, file_word, plain_job
from .record import changed, intake, is_job, open_audition, open_job, read
from .response import simulate
from .safety import CAUTION
from .tables import frame, text_table

DEFAULT = "bright-cathode-depth"


@dataclass(frozen=True)
class Outcome:
    """What an audition leaves: its tables by title, the pictures, and all of it as one text."""

    tables: dict[str, pd.DataFrame]
    pictures: tuple[Path, ...]
    text: str


def find_job(job: str | None, amp: str | None, mods: list[str]) -> Job:
    """The job of a job folder, a file or name; or one made of an amp and mods; or the demo job.

    Raises
    ------
    DescriptionError
        When both are given, or an amp without mods.
    """
    if amp or mods:
        if job or not amp or not mods:
            raise DescriptionError("give either a job, or --amp with at least one --mod")
        stock = load_amp(amp)
        return plain_job(stock, apply(stock, *(load_mod(mod) for mod in mods)))
    if job and is_job(job):
        return open_audition(read(job), job)
    return load_job(job or DEFAULT)


def audition(job: Job, folder: Path | None = None, said: Callable[[str], object] | None = None) -> Outcome:
    """Simulate stock and modded, measure, and leave pictures (PNG and SVG) in a folder.

    Parameters
    ----------
    job : Job
    folder : Path
        Made when it is missing; default "audition-" and the job's name, in the working folder.
    said : callable
        Called with a line of text as each picture is ready.

    Raises
    ------
    DescriptionError
        When the folder cannot be written.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    engine.warm_up()
    target = _folder(folder or Path("audition-" + file_word(job.name)))
    found = _Simulated(job)
    files: dict[str, list[Path]] = {}
    for name, picture in _pictures(job, found):
        files[name] = pictures.save(picture, target / name)
        if said:
            said(f"{target / name}.png")
    tables = _tables(job, found)
    return Outcome(tables, tuple(path for pair in files.values() for path in pair), _text(job, tables, target, files))


class _Simulated:
    """Everything an audition simulates: the sweeps at once, the slow waveform beside the drawing of the others."""

    def __init__(self, job: Job) -> None:
        variants, node = [job.stock, job.modded], [job.listen_at]
        self.compared = simulate(variants, FrequencySweep(), [job.compare_at], node)
        self.families = [simulate(variants, FrequencySweep(), view.positions, node) for view in job.views]
        self.rest = simulate(variants, OperatingPoint(), _switch_positions(job.modded))
        self._wave: Future[xr.Dataset] = Future()
        work = (variants, job.wave, [job.wave_at], ["input", *node])
        # A daemon: a caller stopped by hand does not wait for it.
        Thread(target=_fulfil, args=(self._wave, *work), daemon=True).start()

    @property
    def wave(self) -> xr.Dataset:
        return self._wave.result()


def _fulfil(promise: Future[xr.Dataset], *work: Any) -> None:
    try:
        promise.set_result(simulate(*work))
    except BaseException as problem:
        promise.set_exception(problem)


def _tables(job: Job, found: _Simulated) -> dict[str, pd.DataFrame]:
    tables = {
        "What the mods do": changes_table(job.stock, job.modded),
        f"{job.compare_title} (gain to {job.listen_at})": gain_table(found.compared, job.frequencies),
    }
    for view, family in zip(job.views, found.families, strict=True):
        modded = family.isel(variant=[1])
        tables[f"{view.title} (gain to {job.listen_at})"] = gain_table(modded, job.frequencies)
    tables["Bias: as drawn, and where a mod moves it"] = moved_bias(measures.bias_table(found.rest))
    tone = job.wave.stimulus
    if isinstance(tone, Sine):
        floor = f"{measures.FLOOR_DB:g} dB stands for that and less"
        title = f"Harmonics at {job.listen_at}, {tone.frequency:g} Hz, {tone.level:g} V peak ({floor})"
        tables[title] = harmonics_table(found.wave, job.listen_at)
    drawn = drawn_table(job.stock)
    return tables | ({} if drawn.empty else {"Voltages on the drawing": drawn})


def _pictures(job: Job, found: _Simulated) -> Iterator[tuple[str, pictures.Picture]]:
    stock, modded = job.stock.variant, job.modded.variant
    yield "overlay", pictures.overlay(found.compared, job.listen_at, title=job.compare_title)
    for view, family in zip(job.views, found.families, strict=True):
        name = f"positions-{file_word(view.title)}"
        yield name, pictures.family(family, job.listen_at, variant=modded, base=stock, title=view.title)
    yield "bias", pictures.bias(found.rest, positions=[str(found.rest["position"].values[0])])
    yield "waveform", pictures.waveform(found.wave, job.listen_at)
    yield "harmonics", pictures.harmonics(found.wave, job.listen_at)


def _text(job: Job, tables: dict[str, pd.DataFrame], target: Path, drawn: Iterable[str]) -> str:
    head = [f"{job.name}: {job.stock.name}, stock against {job.modded.variant}", *([job.about] if job.about else [])]
    pieces = ["\n".join(head)]
    pieces += [f"{title}\n{text_table(_without_blanks(table))}" for title, table in tables.items()]
    pieces.append(f"Pictures (PNG and SVG) are in the folder {target}: {', '.join(drawn)}")
    return "\n\n".join([*pieces, CAUTION])


def _without_blanks(table: pd.DataFrame) -> pd.DataFrame:
    """Leave out columns that say the same in every row of a longer table: they widen it and tell nothing."""
    if len(table) < 2:
        return table
    same = [name for name in ("variant", "kind of limit", "type") if name in table and table[name].nunique() == 1]
    return table.drop(columns=[name for name in same if name != "type"])


def _folder(path: Path) -> Path:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise DescriptionError(f"{path}: cannot be made: {problem.strerror}") from None
    return path


def _switch_positions(amp: Amp) -> list[dict[str, float | str]]:
    names = [control.name for control in amp.controls.values() if control.kind == "switch"]
    # One switch at a time: what one position does to the bias stands out, and the table stays short.
    return [{}] + [position for name in names for position in every_position(amp, name)]


def changes_table(amp: Amp, modded: Amp) -> pd.DataFrame:
    """The diff of two amps as a table."""
    rows = [(c.mod, c.when, c.place, c.before, c.after) for c in diff(amp, modded)]
    return pd.DataFrame(rows, columns=["mod", "when", "where", "before", "after"])


def gain_table(response: xr.Dataset, frequencies: Sequence[float] = FREQUENCIES) -> pd.DataFrame:
    """Gain [dB] at named frequencies and the -3 dB corners about 1 kHz [Hz], a row per variant and position."""
    table = frame(measures.gain_at(response, frequencies))
    corners = frame(measures.corner_hz(response, mid=1000.0)).iloc[:, 2:]
    corners.columns = pd.Index(["lower corner [Hz]", "upper corner [Hz]"])
    return pd.concat([table, corners], axis=1)


def moved_bias(bias: pd.DataFrame) -> pd.DataFrame:
    """Of a bias table, the first variant as drawn, and every other row that a mod or a position moves by over 1 %."""
    readings = [name for name in bias.columns if name.endswith(("[V]", "[mA]", "[W]")) and not name.startswith("limit")]
    first = bias[(bias["variant"] == bias["variant"].iloc[0]) & (bias["position"] == bias["position"].iloc[0])]
    drawn = first.set_index("valve")[readings]
    beside = drawn.reindex(bias["valve"]).to_numpy()
    # A grid at 0 V moves by microvolts: a hundredth of a volt, milliampere or watt is no move.
    moved = (np.abs(bias[readings].to_numpy() - beside) > np.maximum(0.01 * np.abs(beside), 0.01)).any(axis=1)
    return pd.DataFrame(bias.loc[moved | bias.index.isin(first.index)])


def harmonics_table(response: xr.Dataset, node: str | None = None) -> pd.DataFrame:
    """Level of each harmonic [dB of the fundamental, floor at least] and total distortion [%], a row per variant."""
    found = measures.harmonics(response, node).isel(position=0)
    rows = []
    for variant in range(found.sizes["variant"]):
        at = found.isel(variant=variant)
        row: dict[str, str | float] = {"variant": str(found["variant"].values[variant])}
        levels = {order: float(at["relative"].sel(harmonic=order)) for order in range(2, 7)}
        row |= {f"H{order} [dB]": max(level, measures.FLOOR_DB) for order, level in levels.items()}
        rows.append(row | {"THD [%]": float(at["thd"])})
    return pd.DataFrame(rows)


def drawn_table(amp: Amp) -> pd.DataFrame:
    """Voltages printed on the drawing beside the simulated ones."""
    places = [place for place, _ in amp.drawn_volts]
    if not places:
        return pd.DataFrame()
    volts = simulate(amp, OperatingPoint(), nodes=places)["voltage"].values[0, 0]
    rows = [
        (place, drawn, float(ours), 100.0 * (float(ours) / drawn - 1.0) if drawn else np.nan)
        for (place, drawn), ours in zip(amp.drawn_volts, volts, strict=True)
    ]
    return pd.DataFrame(rows, columns=["place", "drawing [V]", "simulated [V]", "difference [%]"])


def explain(path: Path) -> str:
    """Say what was understood of an amp, mod, job or valve file, or of a job folder.

    Raises
    ------
    DescriptionError
        For every mistake, naming file, entry, offending value and the nearest valid thing.
    """
    if is_job(path):
        record = read(path)
        wrong = changed(record, path)
        return "\n\n".join([str(intake(record, None if wrong else open_job(record, path))), *wrong])
    data = read_toml(path)
    if "stages" in data:
        amp = load_amp(path)
        drawn = drawn_table(amp)
        printed = f"\n\nVoltages on the drawing\n{text_table(drawn)}" if not drawn.empty else ""
        return describe_amp(amp) + printed
    if "edits" in data or "switches" in data:
        return describe_mod(load_mod(path))
    if "amp" in data:
        job = load_job(path)
        circuit(job.modded)
        changes = text_table(changes_table(job.stock, job.modded))
        views = "\n".join(f"  {view.title}: {len(view.positions)} positions" for view in job.views)
        return f"{job.name} ({path.name})\n\nAmp: {job.stock.name}\n\nWhat the mods do\n{changes}\n\nPictures\n{views}"
    if "law" in data:
        valve = load_valve(path)
        numbers = ", ".join(f"{name} {value:g}" for name, value in valve.parameters)
        return f"{valve.type}: {valve.family}, {valve.law}\n  {numbers}\n  source: {valve.source}"
    raise DescriptionError(
        f"{path}: neither an amp ([[stages]]), a mod ([[edits]] or [[switches]]), a job (amp = "
        "...) nor a valve (law = ...)"
    )
