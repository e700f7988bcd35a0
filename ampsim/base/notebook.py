"""What is printed in a notebook fits its paper: Jupyter splits words of lines that are longer."""

from __future__ import annotations

import re
import sys
import textwrap

PAPER = 76  # signs to a line of a notebook on A4
_TERMINAL = 100
_BULLET = re.compile(r"\s*(?:[-*]\s+|\d+[.)]\s+|[a-f]\)\s+)?")


def in_notebook() -> bool:
    """Whether this runs in the kernel of a notebook."""
    if "ipykernel" not in sys.modules:
        return False
    from IPython import get_ipython

    return getattr(get_ipython(), "kernel", None) is not None


def line_width() -> int:
    """Signs that a line may have."""
    return PAPER if in_notebook() else _TERMINAL


def say(*texts: object) -> None:
    """Print texts, their long lines broken between words; what follows stands below the words, not the bullet."""
    for text in texts:
        print(broken_lines(str(text)))


def broken_lines(text: str) -> str:
    """A text with its long lines broken between words; a word that is longer than a line stays whole."""
    return "\n".join(each for line in text.split("\n") for each in _lines(line, line_width()))


def _lines(line: str, width: int) -> list[str]:
    bullet = _BULLET.match(line)
    below = " " * min(len(bullet[0]) if bullet else 0, width // 4)
    if len(line) <= width:
        return [line]
    return textwrap.wrap(
        line, width, subsequent_indent=below, break_long_words=False, break_on_hyphens=False, replace_whitespace=False
    )
