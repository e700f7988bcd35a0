"""What the iron leaves behind: every element with its pins on nets, what was lifted, where stages and jacks are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from .amp import Amp, AnyPart
from .nets import INPUT
from .stages.template import Element


@dataclass(frozen=True)
class JackNets:
    """A jack in a circuit: the net of its tip, and the one its contact holds it at with nothing in it ("": none)."""

    name: str
    tip: str
    rest: str = ""


@dataclass(frozen=True, eq=False)
class Soldered:
    """An amp with its switches in one position: its elements, those lifted out of it, and its parts.

    `outputs` maps each stage's name to the net it hands on; `jacks` are in the order of `plugs.jacks_from`, the
    first at the net `entry`. `inputs` has the nets of the signal lines that reach each stage.
    """

    amp: Amp
    elements: tuple[Element, ...]
    removed: tuple[Element, ...]
    parts: Mapping[str, AnyPart]
    outputs: Mapping[str, str]
    jacks: tuple[JackNets, ...] = ()
    entry: str = INPUT
    inputs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
