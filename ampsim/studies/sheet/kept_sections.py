"""What was found of a mod before: the record says the same as the sheet, and nothing is examined twice for it.

Kept are findings, tables and notes of a topic, without its pictures, under a hash of all that they depend on: both
amps to the last word, the positions, the simulator and the whole package.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from ...base.kept_files import drop_oldest, fetch_kept, keep, kept_folder
from ...base.progress import Progress
from ...simulation.ngspice.kept_answers import path_of
from ..findings import Finding, Grade
from ..section import Examination, Section
from ..topics import topic_section

MOST_BYTES, _MOST_OF_ONE = 50_000_000, 5_000_000
_FOLDER, _ENDING = "sections", ".json"
_PLAIN = (str, int, float, bool, type(None))


def section_in_words(topic: str, examined: Examination, progress: Progress | None = None) -> Section:
    """As `topics.topic_section`, perhaps without pictures: what was kept where the same was examined before.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    path = _path(topic, examined)
    kept = path and fetch_kept(path, _MOST_OF_ONE)
    if kept:
        try:
            return _unpacked(json.loads(bytes(kept)))
        except (ValueError, KeyError, TypeError, RecursionError):
            pass  # of another version of ampsim: as good as none
    return section_kept(topic, examined, progress)


def section_kept(topic: str, examined: Examination, progress: Progress | None = None) -> Section:
    """As `topics.topic_section`, whose words are kept for `section_in_words`.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    found, path = topic_section(topic, examined, progress), _path(topic, examined)
    packed = _packed(found)
    if path and packed is not None:
        keep(path, json.dumps(packed).encode())
        drop_oldest(path.parent, _ENDING, MOST_BYTES)
    return found


def _path(topic: str, examined: Examination) -> Path | None:
    """Where a topic is kept; None without a simulator."""
    found = path_of((topic, repr(examined), _package()))
    return found and kept_folder() / _FOLDER / f"{found.stem}{_ENDING}"


@lru_cache(maxsize=1)
def _package() -> str:
    """A hash of everything that comes with the package and is read or run, and of what it computes with."""
    home, digest = Path(__file__).resolve().parents[2], hashlib.sha256(f"{np.__version__} {pd.__version__}".encode())
    for path in sorted(home.rglob("*")):
        if path.suffix in (".py", ".toml") and path.is_file():
            digest.update(f"{path.relative_to(home)}\0".encode() + path.read_bytes())
    return digest.hexdigest()


def _packed(section: Section) -> dict[str, Any] | None:
    """A section as plain data; None where a table holds what is none."""
    tables = [(title, _packed_table(table)) for title, table in section.tables.items()]
    if any(packed is None for _, packed in tables):
        return None
    return {
        "title": section.title,
        "findings": [{**asdict(each), "value": float(each.value)} for each in section.findings],
        "tables": tables,
        "notes": section.notes,
        "key_tables": section.key_tables,
    }


def _unpacked(packed: dict[str, Any]) -> Section:
    findings = [Finding(**{**each, "grade": Grade(each["grade"])}) for each in packed["findings"]]
    tables = {title: _unpacked_table(table) for title, table in packed["tables"]}
    return Section(packed["title"], tuple(findings), tables, {}, tuple(packed["notes"]), tuple(packed["key_tables"]))


def _packed_table(table: pd.DataFrame) -> dict[str, Any] | None:
    """Rows' numbers, and name, kind and values of each column; None where something else than plain values is there."""
    columns = [(name, str(table[name].dtype), table[name].tolist()) for name in table.columns]
    plain = all(isinstance(each, _PLAIN) for name, _, values in columns for each in (name, *values))
    packed = {"rows": table.index.tolist(), "columns": columns}
    return packed if plain and _unpacked_table(packed).equals(table) else None


def _unpacked_table(packed: dict[str, Any]) -> pd.DataFrame:
    rows = packed["rows"]
    made = {name: pd.Series(values, index=rows, dtype=kind) for name, kind, values in packed["columns"]}
    return pd.DataFrame(made, index=rows)
