"""A small reader of s-expressions: words, texts in quotes and brackets within bounds; nothing has a meaning here."""

from __future__ import annotations

import re
from collections.abc import Iterator

from ...base.errors import DescriptionError

_DEEPEST = 30
_MOST = 400_000
_TOKEN = re.compile(r'\s*(?:([()])|"((?:[^"\\]|\\.)*)"|([^\s()"]+))')


class Expression(list["Expression | str"]):
    """What stands between two brackets: its first word is its name; `line` is where it begins."""

    def __init__(self, line: int = 0) -> None:
        super().__init__()
        self.line = line

    @property
    def name(self) -> str:
        """Its first word; "" without one."""
        return self[0] if self and isinstance(self[0], str) else ""

    def all(self, name: str) -> Iterator[Expression]:
        """The expressions of a name directly within."""
        return (each for each in self if isinstance(each, Expression) and each.name == name)

    def part(self, *names: str) -> Expression:
        """The first expression along a way of names; an empty one where there is none."""
        found: Expression = self
        for name in names:
            found = next(found.all(name), Expression(found.line))
        return found

    def word(self, *names: str) -> str:
        """The text of the first expression along a way of names; "" where there is none."""
        found = self.part(*names)
        return found[1] if len(found) > 1 and isinstance(found[1], str) else ""


def read_expression(text: str) -> Expression:
    """The one expression that a text holds.

    Raises
    ------
    DescriptionError
        With its line, when brackets or quotes do not close, when it is too deep or too long, or holds more than one.
    """
    top, at, line = Expression(), 0, 1
    nested = [top]
    for _ in range(_MOST):
        found = _TOKEN.match(text, at)
        if not found:
            break
        line += text.count("\n", at, found.start(found.lastindex or 0))
        at = found.end()
        bracket, quoted, word = found.groups()
        if bracket == "(":
            inner = Expression(line)
            nested[-1].append(inner)
            nested.append(inner)
        elif bracket == ")":
            nested.pop()
        else:
            nested[-1].append(re.sub(r"\\(.)", r"\1", quoted) if quoted is not None else word)
            line += text.count("\n", found.start(found.lastindex or 0), at)
        if not 0 < len(nested) <= _DEEPEST:
            raise DescriptionError(f"line {line}: brackets within brackets do not go together, or go too deep")
    if text[at:].strip() or len(nested) != 1:
        raise DescriptionError(f"line {line}: brackets or quotes that do not close, or too much of them")
    if len(top) != 1 or not isinstance(top[0], Expression):
        raise DescriptionError("not one expression in brackets, as a netlist of KiCad is")
    return top[0]
