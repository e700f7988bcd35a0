"""Answers to a chunk of netlists as plain arrays, and the files they are kept in."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..base.errors import EngineError
from ..base.files import write_whole
from .netlist import Netlist
from .ngspice import engine
from .ngspice.engine import Arrays, Outcome

_SEAL = "seal"
UNREADABLE = (OSError, ValueError, KeyError, EOFError, MemoryError, TypeError, zipfile.BadZipFile)
"""What arises where a file of arrays is damaged or none of ours."""


class Packed(NamedTuple):
    """Answers to the netlists of a chunk as plain arrays.

    `numbers` float64: for each netlist its scale and then its rows, one behind the other, complex numbers as pairs.
    `points`, `scaled`, `paired` (netlists,): length of each row (0 for a failure), whether there is a scale, whether
    the rows are complex. `problems` and `notes` (netlists,) are texts.
    """

    numbers: NDArray[np.float64]
    points: NDArray[np.int64]
    scaled: NDArray[np.bool_]
    paired: NDArray[np.bool_]
    problems: NDArray[np.str_]
    notes: NDArray[np.str_]


def pack(outcomes: Iterable[Outcome]) -> Packed:
    """Turn outcomes into plain arrays."""
    pieces: list[NDArray[np.float64]] = []
    heads: list[tuple[int, bool, bool, str, str]] = []
    for outcome in outcomes:
        if isinstance(outcome, EngineError):
            heads.append((0, False, False, str(outcome) or "no reason given", ""))
            continue
        rows = np.stack(list(outcome.vectors.values()))
        pieces += [outcome.scale, np.ascontiguousarray(rows).view(np.float64).ravel()]
        heads.append((rows.shape[1], bool(outcome.scale.size), np.iscomplexobj(rows), "", "\n".join(outcome.notes)))
    points, scaled, paired, problems, notes = zip(*heads, strict=True)
    numbers = np.concatenate(pieces) if pieces else np.empty(0)
    texts = np.array(problems, dtype=np.str_), np.array(notes, dtype=np.str_)
    return Packed(numbers, np.array(points, dtype=np.int64), np.array(scaled), np.array(paired), *texts)


def unpack(chunk: tuple[Netlist, ...], packed: Packed) -> list[Outcome]:
    """Turn arrays back into outcomes.

    Raises
    ------
    ValueError
        When they do not fit the netlists.
    """
    found: list[Outcome] = []
    place = 0
    if any(len(each) != len(chunk) for each in packed[1:]):
        raise ValueError("another number of netlists")
    for netlist, points, scaled, paired, problem, notes in zip(chunk, *packed[1:], strict=True):
        if problem:
            found.append(EngineError(str(problem)))
            continue
        if points < 1 or netlist.form.points not in (0, points):
            raise ValueError(f"{points} points, {netlist.form.points} expected")
        size = int(points) * len(netlist.form.vectors) * (2 if paired else 1)
        scale = packed.numbers[place : place + int(points) * bool(scaled)]
        place += scale.size
        rows = packed.numbers[place : place + size].view(np.complex128 if paired else np.float64)
        place += size
        vectors = dict(zip(netlist.form.vectors, rows.reshape(len(netlist.form.vectors), int(points)), strict=True))
        found.append(Arrays(vectors, scale, tuple(str(notes).split("\n")) if notes else ()))
    if place != packed.numbers.size or not np.isfinite(packed.numbers).all():
        raise ValueError("numbers are missing or not finite")
    return found


class Keeper:
    """Finished chunks as files named after all that their numbers depend on."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._versions = repr(sorted(engine.versions().items()))

    def path(self, chunk: tuple[Netlist, ...]) -> Path:
        """Where the answers to a chunk are kept: SHA-256 of netlists, vectors and the engine's versions."""
        content = repr((self._versions, [(netlist.digest, netlist.form.vectors) for netlist in chunk]))
        return self._folder / f"{hashlib.sha256(content.encode()).hexdigest()}.npz"

    def find(self, chunk: tuple[Netlist, ...]) -> Packed | None:
        """The answers kept for a chunk; None when there are none that can be trusted to be whole."""
        path = self.path(chunk)
        try:
            with zipfile.ZipFile(path) as listed:
                members = listed.infolist()
            # As they were written: a member that unpacks to more than the file holds is not ours.
            if any(member.compress_type != zipfile.ZIP_STORED for member in members):
                return None
            with np.load(path, allow_pickle=False) as stored:
                packed = Packed(*(stored[name] for name in Packed._fields))
                if str(stored[_SEAL]) != _seal(path.name, packed):
                    return None
            unpack(chunk, packed)
        except UNREADABLE:
            return None
        return packed

    def keep(self, chunk: tuple[Netlist, ...], packed: Packed) -> None:
        """Write the answers to a chunk; nothing half-written ever stands under the name."""
        content, path = io.BytesIO(), self.path(chunk)
        arrays: dict[str, Any] = {**packed._asdict(), _SEAL: np.array(_seal(path.name, packed))}
        np.savez(content, **arrays)
        write_whole(path, content.getvalue())


def _seal(name: str, packed: Packed) -> str:
    """SHA-256 of a file's name and arrays: one that was edited, or copied over another, does not fit its seal."""
    content = hashlib.sha256(name.encode())
    for field, array in packed._asdict().items():
        content.update(f"{field} {array.dtype.str} {array.shape}".encode())
        content.update(np.ascontiguousarray(array).tobytes())
    return content.hexdigest()
