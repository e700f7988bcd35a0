"""What several commands share: options that mean the same everywhere, the audition they name, how far the work is."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...base.errors import DescriptionError, nearest, shown
from ...base.progress import Progress

if TYPE_CHECKING:
    import xarray as xr

    from ...audio.clips import Clips
    from ...circuit.amp import Amp
    from ...studies.audition_request import Audition

_JOB = "bright-cathode-depth"
JOB = f"a job folder, a job file or the name of one (default: {_JOB})"


def named_path(text: str) -> Path:
    """A path that was given; an empty one is no name, and not the folder one stands in.

    Raises
    ------
    argparse.ArgumentTypeError
        For an empty one.
    """
    if not text.strip():
        raise argparse.ArgumentTypeError("it is empty; a name is expected")
    return Path(text)


def job_argument(parser: argparse.ArgumentParser) -> None:
    """Add the job to take, which may be left out."""
    parser.add_argument("job", nargs="?", help=JOB)


def audition_options(parser: argparse.ArgumentParser) -> None:
    """Add what names an audition: a job, or `--amp` with `--mod`."""
    job_argument(parser)
    parser.add_argument("--amp", help="without a job: an amp file or the name of one")
    parser.add_argument("--mod", action="append", default=[], help="without a job: a mod file or name; repeatable")
    source_option(parser, "as the job says, else what the amp file has")


def amp_options(parser: argparse.ArgumentParser) -> None:
    """Add the amp, which must be given, and its mods."""
    parser.add_argument("--amp", required=True, help="an amp file or the name of one")
    parser.add_argument("--mod", action="append", default=[], help="a mod file or name; repeatable")


def to_option(parser: argparse.ArgumentParser, what: str, default: str) -> None:
    """Add `--to`: where something is written."""
    parser.add_argument("--to", type=named_path, help=f"{what} (default: {default})")


def source_option(parser: argparse.ArgumentParser, default: str) -> None:
    """Add `--source`: where the signal enters the amp."""
    parser.add_argument(
        "--source",
        default="",
        help='where the signal enters: "guitar", "guitar at JACK", "generator 600 at JACK" (or at any place, such as '
        f'V2A.grid), "nothing" (default: {default})',
    )


def heard_option(parser: argparse.ArgumentParser) -> None:
    """Add `--heard`: the place that was recorded."""
    parser.add_argument("--heard", default="speaker", help="the place that was recorded (default: speaker)")


def at_option(parser: argparse.ArgumentParser, default: str, more: str = "") -> None:
    """Add `--at`: where controls stood; `more` is said besides."""
    parser.add_argument(
        "--at",
        action="append",
        default=[],
        metavar="CONTROL=WHERE",
        help=f"where a control stood, such as gain=0.3 (0 to 1) or bright=120p{more}; repeatable (default: {default})",
    )


def asked_position(amp: Amp, texts: list[str]) -> dict[str, float | str]:
    """The controls of `--at`, and where they stood.

    Raises
    ------
    DescriptionError
        For a control that the amp does not have, and what is no position of it.
    """
    return dict(_control_position(amp, each) for each in texts)


def _control_position(amp: Amp, text: str) -> tuple[str, float | str]:
    name, equals, where = (part.strip() for part in text.partition("="))
    if not equals:
        raise DescriptionError(f"--at: {shown(text)} does not say where a control stood, such as gain=0.3")
    if name not in amp.controls:
        raise DescriptionError(f"--at: {amp.name} has no control {shown(name)}{nearest(name, amp.controls)}")
    if amp.controls[name].kind == "switch":
        return name, where
    try:
        return name, float(where.replace(",", "."))
    except ValueError:
        raise DescriptionError(f"--at: {shown(text)} does not say where a control stood, such as gain=0.3") from None


def page_options(parser: argparse.ArgumentParser) -> None:
    """Add what a page for the owner may offer."""
    own = "those the mods add or stand beside, and the job names"
    parser.add_argument("--control", action="append", help=f"a control to offer (default: {own}); repeatable")
    parser.add_argument("--hear", action="store_true", help="with sounds to switch between; adds up to 4 MB")


def topic_option(parser: argparse.ArgumentParser) -> None:
    """Add `--topic`: some topics of the sheet of consequences only."""
    parser.add_argument("--topic", action="append", help="one topic only, such as ratings; repeatable")


def all_option(parser: argparse.ArgumentParser) -> None:
    """Add `--all`: everything, where the first answer is what has to be read."""
    parser.add_argument("--all", action="store_true", help="print everything: every finding and every table")


def find_audition(job: str | None, amp: str | None, mods: list[str]) -> Audition:
    """The audition of a job folder, a file or name; or one made of an amp and mods; or the demo job's.

    Raises
    ------
    DescriptionError
        When both are given, or an amp without mods.
    """
    from ...job.record.frozen import open_audition
    from ...job.record.reading import is_job, read_record
    from ...library.landing import apply_mods
    from ...library.loader import load_amp, load_audition, load_mod
    from ...studies.audition_request import default_audition

    if amp or mods:
        if job or not amp or not mods:
            raise DescriptionError("give either a job, or --amp with at least one --mod")
        stock = load_amp(amp)
        return default_audition(stock, apply_mods(stock, *(load_mod(mod) for mod in mods)))
    if job and is_job(job):
        return open_audition(read_record(job), job)
    return load_audition(job or _JOB)


def asked_audition(options: argparse.Namespace) -> Audition:
    """The audition that `audition_options` name, with the source that they name."""
    from ...circuit.plugging import plug_in

    found = find_audition(options.job, options.amp, options.mod)
    if not options.source:
        return found
    stock, modded = (plug_in(amp, options.source, "--source") for amp in (found.stock, found.modded))
    return replace(found, stock=stock, modded=modded)


def asked_amp(options: argparse.Namespace) -> Amp:
    """The amp with the mods that `amp_options` name."""
    from ...library.landing import apply_mods
    from ...library.loader import load_amp, load_mod

    return apply_mods(load_amp(options.amp), *(load_mod(mod) for mod in options.mod))


def report(line: str) -> None:
    """Write a line beside what is printed: how far the work is."""
    print(line, file=sys.stderr, flush=True)


def report_tenths() -> Progress:
    """A progress callback that reports how much of a phrase is played, in tenths of the whole."""
    reached = 0

    def progress(done: int, total: int, _: str) -> None:
        nonlocal reached
        tenth = 10 * done // total
        if tenth > reached:
            reached = tenth
            report(f"{10 * tenth} % played")

    return progress


def report_step(_done: int, _total: int, text: str) -> None:
    """Report what was done last, in its own words."""
    report(text)


def report_counted(done: int, total: int, text: str) -> None:
    """Report how many of what is worked out are done, by its name."""
    report(f"{done} of {total} {text} done")


def page_clips(options: argparse.Namespace, audition: Audition) -> Clips | None:
    """What can be heard on the page, with `--hear`; else None."""
    if not options.hear:
        return None
    from ...audio.listen import equally_loud

    report("a phrase is played through both amps at every position")
    return equally_loud(audition, controls=options.control, progress=report_tenths())


def sweep_remarks(measured: xr.Dataset) -> list[str]:
    """What the file of a measured sweep left to guess, and how it was measured."""
    return [measured.attrs[name] for name in ("guesses", "how", "notes") if measured.attrs.get(name)]


Commands = Any
"""What argparse gives to add commands to; it has no public name."""
