"""Where in a TOML text an entry stands, so that a message about it can name the line."""

from __future__ import annotations

import re
import tomllib
from collections import Counter

from ..base.entries import Entry
from ..base.errors import shown

# A key ends on its line.
_ONE = r"""(?:"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|[A-Za-z0-9_-]+)"""
_DOTTED = rf"({_ONE}(?:[ \t]*\.[ \t]*{_ONE})*)"
_HEADER = re.compile(rf"[ \t]*\[(\[?)[ \t]*{_DOTTED}[ \t]*\]")
_KEY = re.compile(rf"[ \t]*{_DOTTED}[ \t]*=")
# A text (to the end where nothing closes it, so that no part is looked at twice), a comment, a bracket; anything else
# in a value is passed over.
_TOKEN = re.compile(
    r'\"\"\"(?:[^\\]|\\.)*?(?:\"{3,5}|\\?\Z)|\'\'\'.*?(?:\'{3,5}|\Z)|"(?:[^"\\\n]|\\[^\n])*"?|\'[^\'\n]*\'?|#[^\n]*|[\[\]{}\n]',
    re.DOTALL,
)

_MOST_SEARCHED = 200_000  # signs; each of a dozen tries reads the text


def with_line(message: str, file: str, text: str) -> str:
    """Put a line number into a message that begins with a file's name and an entry of it.

    Parameters
    ----------
    message : str
        As `Entry.fail` words it: "job.toml: measured[1].volts.V1A: ...".
    file : str
        The name that the message begins with; other messages come back as they are.
    text : str
        The file's content, which is TOML.
    """
    if not message.startswith(f"{file}: "):
        return message
    rest = message[len(file) + 2 :]
    found = [(entry, line) for entry, line in lines_of(text).items() if _begins(rest, entry)]
    if not found:
        return message
    return f"{file}, line {max(found, key=lambda each: len(each[0]))[1]}: {rest}"


def broken_at(text: str) -> str:
    """Where a text stops being TOML: "line 12, at measured[1].date"; "" when that cannot be said."""
    if len(text) > _MOST_SEARCHED:
        return ""
    found = sorted((line, entry) for entry, line in lines_of(text).items())
    lines = [f"{line}\n" for line in text.split("\n")]
    ends = [line - 1 for line, _ in found[1:]] + [len(lines)]
    first, last = 0, len(found) - 1
    while first < last:
        middle = (first + last) // 2
        first, last = (middle + 1, last) if _is_toml("".join(lines[: ends[middle]])) else (first, middle)
    return f"line {found[first][0]}, at {found[first][1]}" if found else ""


def _is_toml(text: str) -> bool:
    try:
        tomllib.loads(text)
    except (ValueError, RecursionError):
        return False
    return True


def _begins(rest: str, entry: str) -> bool:
    return rest.startswith(entry) and rest[len(entry) : len(entry) + 1] in ("", ":", ".", "[")


def lines_of(text: str) -> dict[str, int]:
    """The line of every header and every entry of a TOML text, by its name as messages write it."""
    found: dict[str, int] = {}
    counts: Counter[str] = Counter()
    text = text.replace("\r\n", "\n")
    table, start, line = "", 0, 1
    while start < len(text):
        header, entry = _HEADER.match(text, start), _KEY.match(text, start)
        if header:
            table = _name("", header[2], counts)
            table = _numbered(table, counts) if header[1] else table
            found.setdefault(table, line)
        elif entry:
            found.setdefault(_name(table, entry[1], counts), line)
        end = _end(text, header.end() if header else start)
        line += text.count("\n", start, end + 1)
        start = end + 1
    return found


def _end(text: str, start: int) -> int:
    """The end of the statement that goes on here: the first line end outside texts and brackets."""
    depth = 0
    for token in _TOKEN.finditer(text, start):
        depth += token[0] in ("[", "{")
        depth -= token[0] in ("]", "}")
        if token[0] == "\n" and depth <= 0:
            return token.start()
    return len(text)


def _numbered(name: str, counts: Counter[str]) -> str:
    counts[name] += 1
    return f"{name}[{counts[name]}]"


def _name(table: str, key: str, counts: Counter[str]) -> str:
    """A dotted key below a table as `Entry.where` words it; a list of tables on the way means its last one."""
    name = table
    try:
        tables = tomllib.loads(f"{key} = 0")
    except ValueError:  # a key that is none, in a text that is no TOML
        return f"{name}.{shown(key)}" if name else shown(key)
    while isinstance(tables, dict):
        part, tables = next(iter(tables.items()))
        name = Entry({}, "", name).where(part)
        if isinstance(tables, dict) and counts[name]:
            name = f"{name}[{counts[name]}]"
    return name
