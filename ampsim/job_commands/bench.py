"""At the bench: volts and sweeps that were measured, and what they say of the amp."""

from __future__ import annotations

import argparse
import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import DescriptionError
from ..safety import CAUTION
from .steps import (
    MEASUREMENTS,
    PICTURES,
    Steps,
    audition_of,
    home,
    known_round,
    opened,
    place,
    round_option,
    said,
    to_option,
)

if TYPE_CHECKING:
    from ..diagnosis import Readings
    from ..record import Measured, Opened, Record


def add(steps: Steps) -> None:
    """Add the steps of the bench; readings and sweep come again after the work."""
    steps.group("at the bench, on arrival and again after the work")
    readings = steps.step("readings", "write down measured volts, with the mains and the meter", _readings)
    readings.add_argument("file", type=Path, help="CSV (place; volts) or TOML, with mains and meter where known")
    readings.add_argument("--mains", help="the mains while measuring, such as 231, where the file does not tell")
    round_option(readings, "on arrival")
    diagnose = steps.step(
        "diagnose", "drawing, simulated and measured side by side; the likeliest fault; what to measure next", _diagnose
    )
    diagnose.add_argument("file", type=Path, nargs="?", help="readings that are not in the job (default: its last)")
    diagnose.add_argument("--mains-drawn", help="the mains that the drawing's volts hold for, such as 230")
    round_option(diagnose, "on arrival")
    sweep = steps.step("sweep", "keep a measured sweep (columns, or a WAV recording) and lay it over the amp", _sweep)
    sweep.add_argument("file", type=Path, help='CSV of frequency and dB, or the recording of "ampsim tone"')
    sweep.add_argument("--note", default="", help="how it was measured")
    to_option(sweep, "the picture", "pictures/sweep-ROUND.png")
    round_option(sweep, "on arrival")


def _readings(options: argparse.Namespace) -> None:
    from ..diagnosis import read_readings
    from ..record import add, save

    record, found = opened(options)
    phase = known_round(options)
    read = read_readings(options.file, _amp_of(phase, found))
    table = _measured(read, phase, options.mains)
    with _kept(options, options.file) as kept:
        record = save(add(record, "measured", table), options.folder)
    beside = [name for name in read.names if name not in table["volts"]]
    print(f"Round {len(record.measured)}, {phase}: {_told(record.measured[-1])}")
    if beside:
        print(f"Between two places, so in {kept} alone: {', '.join(beside)}")
    print(f"Next: ampsim job {'diagnose' if phase == 'on arrival' else 'proof'} {options.folder}\n\n{CAUTION}")


def _amp_of(phase: str, found: Opened) -> Any:
    """Which amp stood on the bench in a round."""
    return found.stock if phase == "on arrival" else found.modded


def _measured(read: Readings, phase: str, mains: str | None) -> dict[str, Any]:
    """Readings as the job file holds them: places against ground."""
    import datetime

    volts = {name: value for name, value in read.volts if " " not in name}
    if not volts:
        raise DescriptionError(f"{read.source}: volts: none of the readings is a place against ground")
    table = {"phase": phase, "date": datetime.date.today(), "meter_ohms": read.meter_ohms, "volts": volts}
    given: Any = mains if mains is not None else read.mains
    return table if given is None else table | {"mains_volts": given}


def _told(measured: Measured) -> str:
    from ..quantities import OHM, format_value

    told = [f"{place} {volts:g} V" for place, volts in measured.volts]
    told += [f"mains {measured.mains:g} V"] if measured.mains is not None else ["mains not measured"]
    told += [f"meter {format_value(measured.meter, OHM)}"] if measured.meter is not None else []
    return ", ".join(told)


@contextlib.contextmanager
def _kept(options: argparse.Namespace, file: Path) -> Iterator[str]:
    """A measured file copied into the job, under another name where its own is taken; gone again if the save fails."""
    from ..record import inside
    from ..wav import read_bounded
    from ..whole_file import write_whole

    data, folder = read_bounded(file, _MOST_BYTES), home(options)
    name, path = _free(folder, file, data)
    new = not path.exists()
    if new:
        write_whole(inside(folder, name), data)
    try:
        yield name
    except BaseException:
        if new:
            path.unlink(missing_ok=True)
        raise


_MOST_BYTES = 100_000_000  # the longest recording that is read


def _free(folder: Path, file: Path, data: bytes) -> tuple[str, Path]:
    from ..read_job import file_word
    from ..record import inside, inside_name

    try:
        stem = inside_name(file.stem)
    except DescriptionError:
        stem = file_word(file.stem)
    number = 1
    while True:
        name = f"{MEASUREMENTS}/{stem}{f' {number}' if number > 1 else ''}{file.suffix.lower()}"
        path = inside(folder, name)
        if not path.exists() or (path.is_file() and path.read_bytes() == data):
            return name, path
        number += 1


def _diagnose(options: argparse.Namespace) -> None:
    from ..diagnosis import diagnose, parse_readings, read_readings

    record, found = opened(options)
    phase = known_round(options)
    amp = _amp_of(phase, found)
    if options.file:
        read = read_readings(options.file, amp)
    else:
        read = parse_readings(_last(record, phase, options.mains_drawn), amp, f"job.toml, {phase}")
    print(diagnose(amp, read, progress=_progress).text(), end="")


def _progress(done: int, total: int) -> None:
    if done == total:
        said(f"{total} simulations done")


def _last(record: Record, phase: str, drawn: str | None) -> dict[str, Any]:
    """The last round of a phase as a file of readings would have it."""
    rounds = [each for each in record.measured if each.phase == phase]
    if not rounds:
        raise DescriptionError(f"job.toml: measured: nothing {phase} yet; enter it with: ampsim job readings")
    last = rounds[-1]
    table: dict[str, Any] = {"volts": dict(last.volts)}
    table |= {"meter": last.meter} if last.meter is not None else {}
    if drawn is not None and last.mains is None:
        raise DescriptionError(f"--mains-drawn: the mains was not measured {phase}, so there is nothing to compare")
    return table if drawn is None else table | {"mains": last.mains, "mains_drawn": drawn}


def _sweep(options: argparse.Namespace) -> None:
    import datetime

    from .. import pictures
    from ..handover import read_sweep, sweep_over
    from ..measures import compared_findings, compared_table
    from ..positions import position_label
    from ..record import add, save
    from ..tables import text_table

    record, found = opened(options)
    phase = known_round(options)
    at = audition_of(options.folder)[1].compare_at if record.mods else {}
    measured, amp = read_sweep(options.file), _amp_of(phase, found)
    compared = sweep_over(amp, at, measured)
    with _kept(options, options.file) as kept:
        table = {"phase": phase, "date": datetime.date.today(), "file": kept}
        save(add(record, "sweeps", table | ({"note": options.note} if options.note else {})), options.folder)
    path = place(options, f"{PICTURES}/sweep-{phase.replace(' ', '-')}.png")
    pictures.save(pictures.compared(compared, f"Sweep {phase}: measured over simulated"), path)
    told = [measured.attrs[name] for name in ("guesses", "how", "notes") if measured.attrs.get(name)]
    where = position_label({name: value for name, value in at.items() if name in amp.controls})
    told += [f"Kept as {kept}; held against {amp.variant} with the controls at: {where}"]
    told += [each.words for each in compared_findings(compared, amp.variant, where)]
    print("\n\n".join([*told, text_table(compared_table(compared)), f"The picture is {path}", CAUTION]))
