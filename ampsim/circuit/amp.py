"""What an amp is: parts by designator, rails, stages in signal order, switches and the mods fitted to it."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from .control import Control
from .designators import body_of
from .held_volts import HeldVolts
from .loudspeaker import Loudspeaker
from .mount import Mounting
from .reverb_tank import ReverbTank
from .semiconductors.description import Semiconductor
from .semiconductors.device import Device
from .source import DRAWN_SOURCE, Jack, Source
from .supply.transformer import MainsTransformer
from .switches.kinds import ANY_SWITCH, Action, Coil, SwitchKind
from .transformer import Transformer
from .valves.description import Valve
from .variants import short_variant


@dataclass(frozen=True)
class Part:
    """A resistor [ohm], capacitor [F] or inductor [H]; its `resistance` [ohm], and where half of it is left [A]."""

    designator: str
    kind: str
    value: float
    resistance: float = 0.0
    saturation_amps: float = 0.0


@dataclass(frozen=True)
class Pot:
    """A potentiometer: track [ohm], taper law, the control it belongs to and the rotation it is drawn at (0 to 1).

    `tap` is the share of the track that lies below a tap [ratio]; None without one.
    """

    designator: str
    value: float
    taper: str
    control: str
    rotation: float
    kind: str = "pot"
    tap: float | None = None


@dataclass(frozen=True)
class Socket:
    """A valve, or one section of a double valve, in its place: `type` names the valve file."""

    designator: str
    type: str
    kind: str = "valve"


AnyPart = Part | Pot | Socket | Device | Transformer | Loudspeaker | ReverbTank | HeldVolts | MainsTransformer


@dataclass(frozen=True)
class Edit:
    """One thing done with the iron.

    `action` is "replace", "fit", "lift", "bridge", "cut", "move" or "supply"; `part` is the designator replaced,
    fitted or lifted, or the rail (empty for a bridge between places and for what is done to a wire). A fitted part
    goes `across` a part, `between` two places, `in_series` at a part's end (the wire to that end is opened), or has
    its `pins` soldered to places. `value` is the new value, type or part of a replacement, or the volts of a rail.
    `wired` says how a two-terminal pot's resistance moves with rotation: "rising" or "falling". A wire is cut into
    two `sides`, the places of each; a lug is moved `between` its own place and the one that it goes to.
    """

    action: str
    part: str
    value: float | str | AnyPart | None = None
    across: str = ""
    between: tuple[str, str] | None = None
    in_series: str = ""
    pins: tuple[tuple[str, str], ...] = ()
    wired: str = ""
    sides: tuple[tuple[str, ...], ...] = ()

    @property
    def places(self) -> tuple[str, ...]:
        """The places that it names, as it writes them."""
        named = (self.in_series, *(self.between or ()), *(place for _, place in self.pins))
        return tuple(place for place in (*named, *(place for side in self.sides for place in side)) if place)

    @property
    def opened(self) -> tuple[str, ...]:
        """The lugs that it takes off the wire they are on."""
        lugs = (self.in_series, *((self.between or ())[:1] if self.action == "move" else ()))
        return tuple(lug for lug in (*lugs, *(lug for side in self.sides for lug in side if "." in lug)) if lug)


@dataclass(frozen=True)
class Switch:
    """A switch: what the iron would do in each of its named positions, and the position it is drawn in.

    `shaft` names the pot on whose shaft it is, "" for one of its own; a relay has a `coil`, which its second position
    feeds; `kind` is the switch to be fitted, where said.
    """

    designator: str
    control: str
    positions: tuple[tuple[str, tuple[Edit, ...]], ...]
    drawn: str
    shaft: str = ""
    kind: SwitchKind = ANY_SWITCH
    coil: Coil | None = None

    @property
    def labels(self) -> tuple[str, ...]:
        """The names of the positions, in order."""
        return tuple(label for label, _ in self.positions)


@dataclass(frozen=True)
class Mod:
    """A named change with its reason: the parts it brings, its edits, and the switches it adds.

    `sure` names the parts whose values are meant, however odd; `nets` are wires of its own that parts it fits meet at.
    `source` says where the practice is from. A mod that has something in `wants`, places said by what they are or what
    must hold there, is still to be landed in an amp; `landing` is where its places were found. `expects` says of parts
    by designator what they must be in any amp that it is fitted to.
    """

    name: str
    reason: str
    parts: tuple[AnyPart, ...]
    edits: tuple[Edit, ...]
    switches: tuple[Switch, ...]
    valves: tuple[Valve, ...] = ()
    file: str = ""
    sure: tuple[str, ...] = ()
    semiconductors: tuple[Semiconductor, ...] = ()
    nets: tuple[str, ...] = ()
    source: str = ""
    wants: tuple[str, ...] = ()
    landing: tuple[tuple[str, str], ...] = ()
    expects: tuple[tuple[str, str], ...] = ()

    def every_edit(self) -> tuple[Edit, ...]:
        """All edits of the mod, those of every switch position included."""
        return self.edits + tuple(edit for switch in self.switches for _, edits in switch.positions for edit in edits)


@dataclass(frozen=True)
class Rail:
    """A supply rail: an ideal source of `volts` behind `series` parts, or fed from rail `fed_from` through them."""

    name: str
    volts: float | None
    fed_from: str
    series: tuple[str, ...]
    reservoir: tuple[str, ...]


@dataclass(frozen=True)
class Stage:
    """One stage of the signal path: its template and the designator (or place, rail, word) in each role.

    `inputs` name where its signal lines come from: stages before it, jacks, places; none where it is the stage before.
    """

    name: str
    template: str
    roles: tuple[tuple[str, object], ...]
    inputs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Amp:
    """An amp as drawn, with the mods fitted to it. Values never change: `apply_mods` and `plug_in` return new amps.

    `source` is where the signal comes from, `unplugged` what pots went with a guitar that is not plugged in. `mounting`
    is how parts are mounted, as far as said; no circuit knows of it.
    """

    name: str
    about: str
    parts: tuple[AnyPart, ...]
    rails: tuple[Rail, ...]
    stages: tuple[Stage, ...]
    switches: tuple[Switch, ...]
    valves: tuple[Valve, ...]
    drawn_volts: tuple[tuple[str, float], ...] = ()
    mods: tuple[Mod, ...] = ()
    file: str = ""
    jacks: tuple[Jack, ...] = ()
    source: Source = DRAWN_SOURCE
    unplugged: tuple[str, ...] = ()
    semiconductors: tuple[Semiconductor, ...] = ()
    mounting: tuple[tuple[str, Mounting], ...] = ()

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        # Amps key every cache on the way to a netlist; hashing hundreds of fields each time would dominate a sweep.
        return hash(tuple(getattr(self, field.name) for field in dataclasses.fields(self)))

    @cached_property
    def part_by_designator(self) -> Mapping[str, AnyPart]:
        """Every part, those that mods bring included, by designator (values as drawn)."""
        brought = (part for mod in self.mods for part in mod.parts)
        return {part.designator: part for part in (*self.parts, *brought)}

    @cached_property
    def valve_by_type(self) -> Mapping[str, Valve]:
        """Valve data of every type used, those that mods bring included."""
        brought = (valve for mod in self.mods for valve in mod.valves)
        return {valve.type: valve for valve in (*self.valves, *brought)}

    @cached_property
    def semiconductor_by_type(self) -> Mapping[str, Semiconductor]:
        """Data of every semiconductor type used, those that mods bring included."""
        brought = (each for mod in self.mods for each in mod.semiconductors)
        return {each.type: each for each in (*self.semiconductors, *brought)}

    @cached_property
    def mounting_by_part(self) -> Mapping[str, Mounting]:
        """How parts are mounted by designator, as far as said."""
        return dict(self.mounting)

    @cached_property
    def fitted_rails(self) -> tuple[Rail, ...]:
        """The rails with the volts [V] that mods put them at."""
        volts = {edit.part: edit.value for mod in self.mods for edit in mod.edits if edit.action == "supply"}
        return tuple(replace(each, volts=volts.get(each.name, each.volts)) for each in self.rails)  # type: ignore[arg-type]

    @cached_property
    def all_switches(self) -> tuple[Switch, ...]:
        """Switches of the amp and of its mods."""
        return self.switches + tuple(switch for mod in self.mods for switch in mod.switches)

    @property
    def variant(self) -> str:
        """The names of the mods joined by " + ", the last of many only counted; "stock" without mods.

        Equal sets of mods have equal variants, others have other ones.
        """
        return short_variant([mod.name for mod in self.mods]) or "stock"

    @property
    def variant_legend(self) -> str:
        """What a shortened `variant` stands for, in words; "" where it says all."""
        names = [mod.name for mod in self.mods]
        return f"{self.variant} stands for: {'; '.join(names)}" if self.variant != " + ".join(names) and names else ""

    @cached_property
    def controls(self) -> Mapping[str, Control]:
        """Every knob and switch by name, in the order of the drawing; pots that share a control are ganged."""
        found: dict[str, Control] = {}
        for part in self.part_by_designator.values():
            if isinstance(part, Pot) and part.designator not in self.unplugged:
                gang = found[part.control].designators if part.control in found else ()
                found[part.control] = Control(part.control, "knob", (*gang, part.designator), (), part.rotation)
        for switch in self.all_switches:
            found[switch.control] = Control(switch.control, "switch", (switch.designator,), switch.labels, switch.drawn)
        return found

    def setting(self, position: Mapping[str, float | str]) -> dict[str, float | str]:
        """Complete a position: every control of this amp, as given or as drawn; those of another variant are left out.

        Raises
        ------
        DescriptionError
            For a rotation [ratio] outside 0 to 1, or a switch position that does not exist.
        """
        found = {
            name: control.check(position.get(name, control.drawn), self.name) for name, control in self.controls.items()
        }
        for switch, label, pots in self._track_ends:
            if found[switch] == label:
                found |= dict.fromkeys(pots, 0.0)
        return found

    @cached_property
    def _track_ends(self) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
        """Switches at the end of a track: control, the label they have there, and the controls that then are at 0."""
        pots = [part for part in self.part_by_designator.values() if isinstance(part, Pot)]
        return tuple(
            (each.control, each.labels[0],
             tuple(pot.control for pot in pots if each.shaft in (pot.designator, body_of(pot.designator))))
            for each in self.all_switches if each.kind.action is Action.TRACK_END
        )  # fmt: skip
