"""What a player notices of an amp beside the stock one, as numbers: plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from .drive import Drive
from .pops import Pop


@dataclass(frozen=True)
class Hiss:
    """Noise with nothing played: its level [dB(A) against 1 W into 8 ohm] and how much more than stock [dB(A)]."""

    level: float
    more: float


@dataclass(frozen=True)
class Playing:
    """What a player notices, by label of the position of the switches (`position_label`).

    Attributes
    ----------
    stock, modded : mapping
        How either amp is driven; without positions that gave no answer.
    hiss : mapping
        Noise of the modded amp beside the stock one.
    back : mapping
        After a hard stroke, how long a soft note stays more than 3 dB down [ms], stock and modded; infinite where that
        was not the end of it. Only where no more than one switch stands elsewhere than drawn.
    pops : tuple of Pop
        Of each switch of the modded amp, the loudest.
    missing : tuple of str
        What could not be worked out, and why.
    """

    stock: Mapping[str, Drive] = field(default_factory=dict)
    modded: Mapping[str, Drive] = field(default_factory=dict)
    hiss: Mapping[str, Hiss] = field(default_factory=dict)
    back: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    pops: tuple[Pop, ...] = ()
    missing: tuple[str, ...] = ()
