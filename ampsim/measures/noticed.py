"""The least changes that are noticed, each with where it comes from: a published listening test, or our choice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .loudness import NOTICED_ACUM, NOTICED_DB


@dataclass(frozen=True)
class Noticed:
    """What is noticed from `least` on, in `unit`, of `what`; `source` says who found it, or that it is our choice."""

    what: str
    least: float
    unit: str
    source: str

    @property
    def words(self) -> str:
        """In one sentence."""
        return f"{self.what}: {self.least:g} {self.unit} ({self.source})."


LEVEL = Noticed(
    "Loudness, bass and middle", NOTICED_DB, "dB",
    "listeners just tell tones 0.5 to 1.5 dB apart: W. Jesteadt, C. C. Wier and D. M. Green, Journal of the Acoustical "
    "Society of America 61, 1977, from memory",
)  # fmt: skip
FREQUENCY = Noticed(
    "Tone at any one frequency", NOTICED_DB, "dB",
    "broad resonances of about 1 dB are just heard: F. E. Toole and S. E. Olive, Journal of the Audio Engineering "
    "Society 36, 1988, from memory",
)  # fmt: skip
SHARPNESS = Noticed(
    "Brightness", NOTICED_ACUM, "acum",
    "S. You and J. Y. Jeon, Noise Control Engineering Journal 56, 2008, with the noise of refrigerators, from memory",
)  # fmt: skip
HISS = Noticed(
    "Hiss", 1.0, "dB(A)",
    "a hiss is told from one 0.5 dB louder: G. A. Miller, Journal of the Acoustical Society of America 19, 1947, from "
    "memory; twice that is our choice, since nobody hears both in a row",
)  # fmt: skip
BREAKING_UP = Noticed(
    "Breaking up", 1.0, "dB", "our choice: as for loudness, since playing harder by that does the same"
)
EVENING_OUT = Noticed("Evening out", 2.0, "dB", "our choice, and about as exactly as it is known here")
TIGHTNESS = Noticed("Tightness", 1.0, "dB", "our choice: as for bass")
BACK = Noticed(
    "Soft notes after a hard stroke", 20.0, "ms", "our choice; the ear itself misses them for 100 ms and more"
)
POP = Noticed("A pop", 0.1, "W", "our choice: the peak of a steady tone of that power")
EVERY: Sequence[Noticed] = (LEVEL, FREQUENCY, SHARPNESS, BREAKING_UP, EVENING_OUT, TIGHTNESS, HISS, BACK, POP)
