"""Clips: what a player plays and a WAV file holds, with what was done to each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..base.errors import DescriptionError, nearest, shown

Sound = NDArray[np.float32]
MOST_CLIPS, LONGEST = 64, 120.0  # clips in a set, and the seconds of one


@dataclass(frozen=True, eq=False)
class Clip:
    """One sound, ready to be played.

    Attributes
    ----------
    label
        Short and unique in its set: "stock, bright 120p".
    words
        What is heard and what was done to it, in sentences.
    rate
        Samples a second.
    samples
        Shape (samples,), one channel, float32, finite, between -1 and 1 (full scale).
    loudness
        After the gain, in the unit of the set (`Clips.unit`).
    gain_db
        20 log10 of full scale per volt at the loudspeaker: between two clips of a set, how much one was turned up.
    variant
        Of the amp that is heard; "" where there is none.
    setting
        Where its controls stand that were set: rotation [ratio] or name of a position.
    """

    label: str
    words: str
    rate: int
    samples: Sound = field(repr=False)
    loudness: float
    gain_db: float
    variant: str = ""
    setting: Mapping[str, float | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.samples.dtype != np.float32 or self.samples.ndim != 1 or not self.samples.size:
            raise DescriptionError(f"{shown(self.label)}: a clip is one row of 32 bit floats")
        # A sample that is no number fails this comparison as well.
        if not float(np.abs(self.samples).max()) <= 1.0:
            raise DescriptionError(f"{shown(self.label)}: a clip has samples beyond full scale, or that are no numbers")
        if self.seconds > LONGEST:
            raise DescriptionError(f"{shown(self.label)}: {self.seconds:.0f} s long; at most {LONGEST:g} s are kept")

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return self.samples.size / self.rate

    @property
    def peak(self) -> float:
        """Largest sample [full scale]."""
        return float(np.abs(self.samples).max())


@dataclass(frozen=True, eq=False)
class Clips:
    """Clips to switch between while they play: equally loud, equally long, in step sample by sample.

    Attributes
    ----------
    clips
        In the order of variants and positions; the first is the one to begin with.
    standard
        What "equally loud" goes by, with its source.
    unit
        Of `Clip.loudness`: "LUFS", "dB(A)" or "phon".
    words
        What is heard in all of them (phrase, input level, load, cabinet) and how far other standards disagree; a line
        to each.
    caution
        To be shown wherever they can be played.
    """

    clips: tuple[Clip, ...]
    standard: str
    unit: str
    words: str
    caution: str

    def __post_init__(self) -> None:
        if not 1 <= len(self.clips) <= MOST_CLIPS:
            raise DescriptionError(f"{len(self.clips)} clips; a set has 1 to {MOST_CLIPS}")
        labels = [clip.label for clip in self.clips]
        if len(set(labels)) < len(labels):
            raise DescriptionError(f"two clips of a set have the same label: {shown(labels)}")
        kinds = {(clip.samples.size, clip.rate) for clip in self.clips}
        if len(kinds) > 1:
            told = ", ".join(f"{size} samples at {rate} a second" for size, rate in sorted(kinds))
            raise DescriptionError(f"clips of one set have one rate and length; these have {told}")

    def __iter__(self) -> Iterator[Clip]:
        return iter(self.clips)

    def __len__(self) -> int:
        return len(self.clips)

    def __getitem__(self, label: str) -> Clip:
        """Return the clip of a label; `DescriptionError` for one that is not there."""
        found = {clip.label: clip for clip in self.clips}
        if label not in found:
            raise DescriptionError(f"no clip {shown(label)}{nearest(label, found)}")
        return found[label]

    @property
    def rate(self) -> int:
        """Samples a second of every clip."""
        return self.clips[0].rate

    @property
    def seconds(self) -> float:
        """How long every clip is [s]."""
        return self.clips[0].seconds

    @property
    def labels(self) -> tuple[str, ...]:
        """The labels in order."""
        return tuple(clip.label for clip in self.clips)
