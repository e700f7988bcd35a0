"""Putting what changed into a TOML text, and leaving the rest as a person wrote it: comments, order, spelling."""

from __future__ import annotations

from typing import Any, TypeGuard

import tomlkit
from tomlkit.items import InlineTable

from .tables import Tables

MARK = "# Positions kept by the panel: everything below this line is written anew when they are saved."
_HEAD = "A job of ampsim. It may be edited by hand: comments and order stay."


def fresh_text(tables: Tables, heading: str = _HEAD) -> str:
    """A text written anew, under a comment."""
    document = tomlkit.document()
    if heading:
        document.add(tomlkit.comment(heading))
    for key, value in tables.items():
        document[key] = _item(value)
    return tomlkit.dumps(document)


def merge_text(text: str, old: Tables, new: Tables) -> str:
    """The text, with plain line ends, with the changes from `old`, which it says, to `new`.

    Raises
    ------
    Exception
        Whatever tomlkit raises for texts that it does not follow; the caller then writes the text anew.
    """
    document = tomlkit.parse(text)
    _merge(document, old, new)
    # In a job of format 1 the panel's positions stood below this line.
    return tomlkit.dumps(document).replace(f"{MARK}\n", "")


def _merge(table: Any, old: Tables, new: Tables) -> None:
    for key in [key for key in old if key not in new and key in table]:
        del table[key]
    for key, value in new.items():
        before = old.get(key)
        if key in table and value == before:
            continue
        if key in table and isinstance(value, dict) and isinstance(before, dict):
            _merge(table[key], before, value)
        elif key in table and _are_rows(value) and _are_rows(before):
            _merge_rows(table[key], before, value)
        else:
            table[key] = _item(value)


def _merge_rows(rows: Any, old: list[Tables], new: list[Tables]) -> None:
    for row, before, after in zip(rows, old, new, strict=False):
        _merge(row, before, after)
    for _ in old[len(new) :]:
        del rows[-1]
    for each in new[len(old) :]:
        _end_with_blank(rows[-1])
        rows.append(_table(each))
        _end_with_blank(rows[-1])


def _end_with_blank(row: Any) -> None:
    if not row.as_string().endswith("\n\n") and not isinstance(row, InlineTable):
        row.add(tomlkit.nl())


def _are_rows(value: object) -> TypeGuard[list[Tables]]:
    return isinstance(value, list) and bool(value) and all(isinstance(each, dict) for each in value)


def _table(value: Tables) -> Any:
    table = tomlkit.table()
    for key, each in value.items():
        # Readings are many: a line for each.
        table[key] = (
            _table(each) if key == "volts" else _inline(each) if isinstance(each, (dict, list)) else _item(each)
        )
    return table


def _item(value: Any) -> Any:
    if _are_rows(value):
        rows = tomlkit.aot()
        for each in value:
            rows.append(_table(each))
        return rows
    if isinstance(value, dict):
        return _table(value)
    if isinstance(value, str) and "\n" in value:
        risky = '"""' in value or value.endswith('"')
        escaped = value.replace("\\", "\\\\").replace("\r", "\\r").replace('"', '\\"' if risky else '"')
        return tomlkit.string(escaped, multiline=True, escape=False)
    return tomlkit.item(value)


def _inline(value: Any) -> Any:
    if isinstance(value, dict):
        table = tomlkit.inline_table()
        for key, each in value.items():
            table[key] = _inline(each)
        return table
    if isinstance(value, list):
        array = tomlkit.array().multiline(_are_rows(value))  # tables in a list: a line for each
        for each in value:
            array.append(_inline(each))
        return array
    return tomlkit.item(value)
