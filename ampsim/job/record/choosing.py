"""A candidate that was chosen of several, as a mod of the job; what was held against it goes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from ...base.errors import DescriptionError, shown
from ...base.files import file_word
from ...base.wording import join_words
from ...circuit.build import build_circuit
from ...library.landing import apply_mods
from ...library.loader import load_mod, parse_mod
from ...library.mod_names import called
from ...library.mod_text import mod_text
from ...studies.candidates.question import Question
from .data import Record
from .frozen import freeze_files, open_audition, open_job

Made = str | Mapping[str, Any]


@dataclass(frozen=True)
class Choosing:
    """What a choice does to the mods of a job.

    Attributes
    ----------
    new
        What is frozen: names of mods, and entries of a mod file for what was said in words.
    mods
        The mods that the job has then, by the names of their files.
    out
        Those that it had, and has no more: other candidates held them.
    """

    new: tuple[Made, ...]
    mods: tuple[str, ...]
    out: tuple[str, ...]


def weigh_choice(record: Record, folder: str | Path, question: Question, chosen: str) -> Choosing:
    """What choosing a candidate does to the mods of a job, once they were found to go together.

    The chosen candidate is the answer to the question: mods of the job that only other candidates have go out, and all
    the others stay.

    Parameters
    ----------
    record : Record
    folder : str or Path
        The job's folder.
    question : Question
        What was compared.
    chosen : str
        The label of a candidate; that of the amp without one takes all candidates out.

    Raises
    ------
    DescriptionError
        For a candidate that does not go with the job's other mods, or without which the job does not open.
    """
    made = {each.label: each.made_of for each in question.candidates}
    wanted = {_stem(each): each for each in made.get(chosen, ())}
    rivals = {_stem(each) for pieces in made.values() for each in pieces} - set(wanted)
    stay = tuple(each for each in record.mods if each not in rivals)
    mods = tuple(dict.fromkeys([*stay, *wanted]))
    found = open_job(record, folder)
    own = dict(zip(record.mods, found.modded.mods, strict=True))
    new = {name: each for name, each in wanted.items() if name not in own}
    try:
        fitted = [own[name] if name in own else _mod_of(new[name]) for name in mods]
        build_circuit(apply_mods(found.stock, *fitted))
    except DescriptionError as problem:
        raise DescriptionError(
            f"{shown(chosen)} does not go with the other mods of the job: {problem}. Take out what is in its way first "
            "(ampsim job change FOLDER mods)"
        ) from None
    choosing = Choosing(tuple(new.values()), mods, tuple(each for each in record.mods if each not in mods))
    _check_audition(record, folder, choosing)
    return choosing


def take_choice(record: Record, folder: str | Path, choosing: Choosing, reason: str) -> Record:
    """The job with the mods of a choice, frozen; save the record afterwards.

    Parameters
    ----------
    record : Record
    folder : str or Path
        The job's folder.
    choosing : Choosing
        What `weigh_choice` gave.
    reason : str
        Why, and of what; it stands in the file of a mod that was said in words.

    Raises
    ------
    DescriptionError
        As `freeze_files`.
    """
    with TemporaryDirectory() as beside:
        files = [_file(each, Path(beside), " ".join(reason.split())) for each in choosing.new]
        taken = freeze_files(record, folder, mods=files) if files else record
    return replace(taken, mods=choosing.mods)


def choice_reason(asked: str, note: str, day: date) -> str:
    """The reason of a mod that was chosen: why, and of what."""
    why = f"{note.rstrip(' .')}. " if note.strip() else ""
    return f"{why}Chosen on {day} of {asked}."


def _stem(made: Made) -> str:
    """What the file of a mod is called in a job, without its ending."""
    return called(made) if isinstance(made, str) else file_word(str(made["name"]))


def _mod_of(made: Made) -> Any:
    return load_mod(made) if isinstance(made, str) else parse_mod(made, f"candidate {shown(str(made['name']))}")


def _file(made: Made, folder: Path, reason: str) -> str:
    if isinstance(made, str):
        return made
    path = folder / f"{_stem(made)}.toml"
    path.write_bytes(mod_text({**made, "reason": reason}))
    return str(path)


def _check_audition(record: Record, folder: str | Path, choosing: Choosing) -> None:
    """Refuse to take out a mod that what the job shows and compares cannot do without."""
    if not choosing.out or not record.mods:
        return
    open_audition(record, folder)
    left = tuple(each for each in choosing.mods if each in record.mods)
    try:
        if left:
            open_audition(replace(record, mods=left), folder)
    except DescriptionError as problem:
        raise DescriptionError(
            f"{join_words(choosing.out)} would go out of the job, and {problem}. Change that entry first"
        ) from None
