"""What came of a comparison by ear alone: how often the hidden one was named, and what guessing would have done."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import comb

from ..base.errors import DescriptionError, shown
from ..base.wording import join_words

MOST_ROUNDS = 10_000
_LINE = re.compile(r"(Heard blind: (\d{1,4}) of (\d{1,4}) right, one of (\d{1,2}): (.+)) \(([0-9a-f]{8})\)")
_BETWEEN = " / "


@dataclass(frozen=True)
class BlindResult:
    """So many of so many rounds right among some positions, by their labels."""

    among: tuple[str, ...]
    rounds: int
    right: int

    @property
    def chance(self) -> float:
        """How likely mere guessing does as well or better [ratio]: the upper tail of the binomial distribution."""
        hit = 1.0 / len(self.among)
        tail = range(self.right, self.rounds + 1)
        return min(1.0, sum(comb(self.rounds, n) * hit**n * (1.0 - hit) ** (self.rounds - n) for n in tail))

    @property
    def words(self) -> str:
        """The result in a sentence."""
        chance = f"{100.0 * self.chance:.2g} %" if self.chance >= 0.001 else "less than 0.1 %"
        return (
            f"{self.right} of {self.rounds} right, told apart: {join_words(self.among)}; "
            f"whoever only guesses does as well or better in {chance} of all trials"
        )


def read_blind(labels: Sequence[str], sent: object) -> BlindResult:
    """A result as the player sends it: numbers of positions, rounds, how many were right.

    Raises
    ------
    DescriptionError
        For anything that the player does not send.
    """
    table = sent if isinstance(sent, Mapping) else {}
    among, rounds, right = (table.get(key) for key in ("among", "rounds", "right"))
    if (
        not isinstance(among, list)
        or len(set(map(str, among))) != len(among)
        or len(among) < 2
        or any(type(each) is not int or not 0 <= each < len(labels) for each in among)
        or type(rounds) is not int
        or type(right) is not int
        or not 0 <= right <= rounds <= MOST_ROUNDS
        or not rounds
    ):
        raise DescriptionError(f"the page sent {shown(sent)} in place of a blind comparison; nothing was kept")
    return BlindResult(tuple(labels[each] for each in among), rounds, right)


def read_line(text: str) -> BlindResult:
    """Read the line that a page with sounds gives its reader to send (`embedded.js` writes it).

    Line breaks and spaces that were added on its way do not matter.

    Raises
    ------
    DescriptionError
        For another text, and for a line that was changed or cut off on its way.
    """
    found = _LINE.fullmatch(" ".join(text.split()))
    if not found:
        raise DescriptionError(f'{shown(text)}: not the line of a blind comparison, which begins with "Heard blind:"')
    told, right, rounds, count, names, digest = found.groups()
    result = BlindResult(tuple(names.split(_BETWEEN)), int(rounds), int(right))
    sound = 2 <= len(result.among) == int(count) and result.right <= result.rounds and result.rounds
    if digest != _checksum(told) or not sound:
        raise DescriptionError(f"{shown(text)}: was changed or cut off on its way; have it copied and sent again")
    return result


def _checksum(text: str) -> str:
    """FNV-1a of 32 bits: it finds slips, and is no signature."""
    total = 0x811C9DC5
    for byte in text.encode():
        total = (total ^ byte) * 0x01000193 & 0xFFFFFFFF
    return f"{total:08x}"
