"""Whether the owner asked for switches that do not pop."""

from __future__ import annotations

import re

from .data import Record

# "pop" alone may be the owner's music: it counts where it is not wanted.
_POP = re.compile(
    r"\b(pops|popping|clicks?|clicking|thumps?|thumping|plops?)\b|(\bno|\bnot|n't|\bwithout|\bnever)\b[^.;]{0,30}\bpop\b",
    re.IGNORECASE,
)


def wishes_quiet_switches(record: Record) -> bool:
    """Whether the owner's words or wishes speak of a pop; nobody else can say so, least of all the circuit."""
    told = (record.words, *(wish.words for wish in record.wishes))
    return any(_POP.search(words) for words in told)
