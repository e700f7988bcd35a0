"""What the owner asked for, wish by wish, and what the mod does for it where the controls of the page stand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...base.wording import in_hertz
from ...studies.search.wishes import Wish, WishKind
from ..record.data import Record
from ..record.frozen import open_job

Array = NDArray[np.float64]
_ROUNDED = 0.05  # dB: what is printed to one digit counts as it is printed


@dataclass(frozen=True)
class Wished:
    """One wish in the owner's words, a remark of the shop's, and the measurable wish that it is tied to, if any."""

    words: str
    note: str = ""
    wish: Wish | None = None

    def answer(self, frequency: Array, change: Array) -> str:
        """What the mod does for it, by the change of gain [dB] over frequency [Hz]; "" where no gain was asked for."""
        if self.wish is None or self.wish.kind is not WishKind.GAIN:
            return ""
        low, high = self.wish.band
        logs = np.log(frequency)
        inside = change[(frequency >= low) & (frequency <= high)]
        ends = np.interp(np.log([low, high]), logs, change)
        return wish_words(asked_words(self.wish), float(min(*ends, *inside)), float(max(*ends, *inside)), self.wish)

    def facts(self) -> dict[str, Any] | None:
        """What the page's script needs to answer it where its controls stand."""
        if self.wish is None or self.wish.kind is not WishKind.GAIN:
            return None
        limits = [each if math.isfinite(each) else None for each in (self.wish.least, self.wish.most)]
        return {"band": self.wish.band, "limits": limits, "asked": asked_words(self.wish)}


def asked_words(wish: Wish) -> str:
    """What was asked for [dB], and where."""
    low, high = wish.band
    least, most = wish.least, wish.most
    if math.isinf(least) and math.isinf(most):
        size = "any change"
    elif math.isinf(most):
        size = f"at least {_change(least)}"
    elif math.isinf(least):
        size = f"at most {_change(most)}"
    elif least == -most:
        size = f"a change of at most {most:g} dB"
    else:
        size = f"{_change(least)} to {_change(most)}"
    return f"{size} from {in_hertz(low)} to {in_hertz(high)}"


def wish_words(asked: str, low: float, high: float, wish: Wish) -> str:
    """How what was reached stands to what was asked for.

    Parameters
    ----------
    asked : str
        `asked_words` of the wish.
    low, high : float
        The lowest and highest change in its band [dB].
    wish : Wish
    """
    met = low >= wish.least - _ROUNDED and high <= wish.most + _ROUNDED
    got = _change(high) if f"{low:.1f}" == f"{high:.1f}" else f"{_change(low)} to {_change(high)}"
    return f"Asked for: {asked}. Here: {got}, {'as asked for' if met else 'not what was asked for'}."


def _change(size: float) -> str:
    """A change [dB] to a digit: "3.2 dB more"."""
    digits = f"{abs(size):.1f}".removesuffix(".0")
    return f"{digits} dB" if float(digits) == 0.0 else f"{digits} dB {'more' if size > 0.0 else 'less'}"


def answers_to(wishes: Sequence[Wished], frequency: Array, change: Array) -> list[str]:
    """What the mod does for each, by the change of gain [dB] over frequency [Hz]."""
    return [each.answer(frequency, change) for each in wishes]


def wishes_of(record: Record, folder: str | Path) -> list[Wished]:
    """The wishes of a job, in the owner's words.

    Raises
    ------
    DescriptionError
        As `open_job`.
    """
    files = open_job(record, folder).wishes if any(each.wish for each in record.wishes) else {}
    return [
        Wished(each.words, each.note, files[each.wish].wishes[each.entry - 1] if each.wish else None)
        for each in record.wishes
    ]
