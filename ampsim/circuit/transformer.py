"""An output transformer: what its windings are, and the pins they end at."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from ..base.quantities import HENRY, OHM, format_value, with_unit
from .inner_nets import inner_net

WINDING = r"[a-z][a-z0-9]{0,11}"
"""What a winding besides primary and secondary may be called."""
_PIN = re.compile(rf"primary_[ab]|common|centre|screen_[ab]|tap[0-9r]{{1,6}}|{WINDING}_[12]")
_PRIMARY = ("primary", "centre", "screen")


@dataclass(frozen=True)
class Winding:
    """A winding of its own: its turns for each turn of the whole primary [ratio], and its resistance [ohm].

    Its first end swings with the plate at `primary_a` against its second.
    """

    name: str
    turns: float
    resistance: float


@dataclass(frozen=True)
class Section:
    """A piece of the primary between two pins: `share` of its turns and `leakage` of its own [H].

    `outer` is the pin towards a plate, `backwards` says that the other one comes first from `primary_a` on.
    """

    name: str
    outer: str
    inner: str
    share: float
    leakage: float
    backwards: bool = False


@dataclass(frozen=True)
class Transformer:
    """An output transformer.

    `primary` is the plate load [ohm] (plate to plate in push-pull) that the primary shows when `taps` are loaded
    with the resistances they are named after [ohm]. `inductance` [H] of the whole primary; `leakage` [H] and
    `primary_resistance` [ohm] of the whole primary; `secondary_resistance` [ohm] of the largest tap;
    `capacitance` [F] across the primary with `damping` [ohm] in series; `core_loss` [ohm] across the primary.
    The taps swing with the plate at `primary_a`; `reversed` says that the secondary is connected the other way round.

    `screen_taps` is how much of the turns lies between the supply and a tap for a screen [ratio], 0 without such taps.
    `first_share` of the leakage is that of the half at `primary_a` [ratio]. At a flux of `saturation` [V s], that of
    the whole primary, the core takes twice the magnetising current of its inductance. `windings` has more of them.
    """

    designator: str
    primary: float
    taps: tuple[float, ...]
    inductance: float
    leakage: float
    primary_resistance: float
    secondary_resistance: float
    capacitance: float
    damping: float
    core_loss: float
    reversed: bool = False
    screen_taps: float = 0.0
    first_share: float = 0.5
    saturation: float = math.inf
    windings: tuple[Winding, ...] = ()
    kind: str = "transformer"

    def sections(self, centre: bool) -> tuple[Section, ...]:
        """The pieces of the primary from `primary_a` on, with or without a `centre`."""
        taps = self.screen_taps
        if not centre:
            whole = self.leakage
            if not taps:
                return (Section("a", "primary_a", "primary_b", 1.0, whole),)
            return (
                Section("a", "primary_a", "screen_a", 1.0 - taps, whole * (1.0 - taps)),
                Section("a_screen", "screen_a", "primary_b", taps, whole * taps),
            )
        halves = []
        for side, share in (("a", self.first_share), ("b", 1.0 - self.first_share)):
            plate, screen, own = f"primary_{side}", f"screen_{side}", share * self.leakage
            if taps:
                pieces = [
                    Section(side, plate, screen, 0.5 * (1.0 - taps), own * (1.0 - taps), side == "b"),
                    Section(f"{side}_screen", screen, "centre", 0.5 * taps, own * taps, side == "b"),
                ]
            else:
                pieces = [Section(side, plate, "centre", 0.5, own, side == "b")]
            halves += pieces if side == "a" else pieces[::-1]
        return tuple(halves)

    def describe(self) -> str:
        """Its figures, each with its unit [ohm, H, V s]."""
        taps = ", ".join(f"{tap:g}" for tap in self.taps)
        words = [
            f"{format_value(self.primary, OHM)} to {taps} ohm ({math.sqrt(self.primary / self.taps[-1]):.3g} to 1)",
            with_unit(self.inductance, HENRY),
            f"leakage {with_unit(self.leakage, HENRY)}" + (
                "" if self.first_share == 0.5 else f", {100.0 * self.first_share:.0f} % of it at primary_a"),
        ]  # fmt: skip
        if self.screen_taps:
            words.append(f"taps for screens at {100.0 * self.screen_taps:g} %")
        if math.isfinite(self.saturation):
            words.append(f"core saturates from {self.saturation:.3g} V s on")
        words += [f"winding {each.name} {1.0 / each.turns:.3g} to 1" for each in self.windings]
        return ", ".join(words)

    def net(self, pin: str, nets: Mapping[str, str]) -> str:
        """The net of a pin, or one inside the transformer where nothing is soldered to it."""
        return nets.get(pin) or inner_net(self.designator, pin)

    def has_pin(self, pin: str) -> bool:
        """Whether there is a pin of this name."""
        if pin.startswith("screen_"):
            return self.screen_taps > 0.0 and pin in ("screen_a", "screen_b")
        if pin.startswith("tap"):
            return pin in map(tap_pin, self.taps)
        known = ("primary_a", "primary_b", "centre", "common")
        return pin in known or pin[:-2] in {each.name for each in self.windings}


def fits_pin(pin: str) -> bool:
    """Whether some transformer could have a pin of this name."""
    return bool(_PIN.fullmatch(pin))


def winding_of(pin: str) -> str:
    """Which winding a pin belongs to: "primary", "secondary" or the name of one of its own."""
    if pin.startswith(_PRIMARY):
        return "primary"
    return "secondary" if pin == "common" or pin.startswith("tap") else pin[:-2]


def windings_of(pins: Iterable[str]) -> Iterator[tuple[str, ...]]:
    """The pins of a transformer winding by winding: direct current gets between those of one."""
    groups: dict[str, list[str]] = {}
    for pin in pins:
        groups.setdefault(winding_of(pin), []).append(pin)
    yield from map(tuple, groups.values())


def tap_pin(ohms: float) -> str:
    """The pin of the secondary tap for a load [ohm], such as tap8."""
    return f"tap{ohms:g}".replace(".", "r")


def pins_with(part: Transformer, pins: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    """The pins and nets of another transformer, and those of one put in its place that nothing is soldered to yet."""
    known, own = dict(pins), part.designator.lower()
    further = [pin for pin in map(tap_pin, part.taps) if pin not in known]
    if part.screen_taps:
        further += [pin for pin in ("screen_a", *(["screen_b"] if "centre" in known else [])) if pin not in known]
    # A winding that nothing is on does nothing; its ends are places to solder to all the same.
    further += [f"{each.name}_{end}" for each in part.windings for end in "12" if f"{each.name}_1" not in known]
    return (*pins, *((pin, f"{own}_{pin}") for pin in further))
