"""How a stage template puts parts between nets: elements, roles and the bench it works on."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum

from ...base.errors import DescriptionError, nearest, shown
from ..amp import Amp, AnyPart, Pot, Stage
from ..semiconductors.description import PINS
from ..transformer import Transformer

GROUND = "0"


@dataclass(frozen=True)
class Element:
    """A part with each of its pins on a net; `stage` tells where in the drawing it stands."""

    designator: str
    kind: str
    pins: tuple[tuple[str, str], ...]
    stage: str

    def net(self, pin: str) -> str:
        """The net a pin is on."""
        return dict(self.pins)[pin]

    @property
    def end_pins(self) -> tuple[str, str]:
        """The two pins it lies between: a pot wired as a variable resistor counts from its live end to its wiper."""
        nets = dict(self.pins)
        if self.kind != "pot":
            first, second = list(nets)[:2]
            return first, second
        if nets["wiper"] == nets["top"]:
            return "bottom", "wiper"
        return ("top", "wiper") if nets["wiper"] == nets["bottom"] else ("top", "bottom")


@dataclass(frozen=True)
class Role:
    """What may stand in one role of a template: part kinds, or "rail", "place", "word"; `several`: more than one.

    `moot` says of a role left out whether its default is all that there could be, so that nobody need be told.
    """

    about: str
    kinds: tuple[str, ...]
    required: bool = False
    several: bool = False
    moot: Callable[[StageBuilder], bool] = lambda bench: False


class Kind(Enum):
    """What a stage is to the signal.

    `INSTRUMENT` is what is played, with its cable, and `SOURCE` a test source: both are plugged into the amp and are
    no part of it. `GAIN`, `FOLLOWER`, `INVERTER` (one line to two of opposite sign) and `OUTPUT` (with a transformer)
    have valves, transistors or amplifiers, a `NETWORK` has none, a `MASTER` sets the level before the power amp.
    `LOAD` is what the amp works into, `FEEDBACK` leads back and lets the signal pass. An `OSCILLATOR` is meant to
    oscillate. A `SUPPLY` feeds rails and has nothing to do with the signal. Of `ANY` only its wires tell.
    """

    INSTRUMENT = "instrument"
    SOURCE = "test source"
    GAIN = "gain"
    FOLLOWER = "follower"
    INVERTER = "inverter"
    OUTPUT = "output"
    NETWORK = "network"
    MASTER = "master"
    LOAD = "load"
    FEEDBACK = "feedback"
    OSCILLATOR = "oscillator"
    SUPPLY = "supply"
    ANY = "any"


@dataclass(frozen=True)
class Template:
    """A stage template.

    Attributes
    ----------
    name : str
        As amp files give it; nothing but the registry asks for it.
    kind : Kind
    about : str
    roles : mapping of str to Role
    inputs : int
        How many signal lines it needs.
    build : callable
        Fits the parts of a stage. The signal is carried by the roles it goes `StageBuilder.through` and by the valves;
        the nets returned are those handed on, where the stage may be listened to.
    """

    name: str
    kind: Kind
    about: str
    roles: Mapping[str, Role]
    inputs: int
    build: Callable[[StageBuilder], tuple[str, ...]]


@dataclass
class StageBuilder:
    """Where a template works: the stage's roles, the signal nets that reach it, and what it has fitted so far."""

    amp: Amp
    stage: Stage
    signal: tuple[str, ...]
    elements: list[Element] = field(default_factory=list)
    joins: list[tuple[str, str]] = field(default_factory=list)

    def fault(self, text: str) -> DescriptionError:
        """An error that names the file and the stage."""
        return DescriptionError(f"{self.amp.file}: stage '{self.stage.name}': {text}")

    def designators(self, role: str) -> tuple[str, ...]:
        """Designators in a role; none when the role is empty."""
        given = dict(self.stage.roles).get(role, ())
        return (given,) if isinstance(given, str) else tuple(given)  # type: ignore[arg-type]

    def has(self, role: str) -> bool:
        """Whether anything is fitted in the role."""
        return bool(self.designators(role))

    def part(self, designator: str) -> AnyPart:
        """The part of this designator.

        Raises
        ------
        DescriptionError
            When the amp has no such part.
        """
        known = self.amp.part_by_designator
        if designator not in known:
            raise self.fault(f"{shown(designator)} is not in [parts]{nearest(designator, known)}")
        return known[designator]

    def put(self, designator: str, **pins: str) -> None:
        """Fit a part with its pins on nets; the tap of a pot has a net of its own where none is said.

        Raises
        ------
        DescriptionError
            For a pin that a transformer does not have, and the tap of a pot that has none.
        """
        part = self.part(designator)
        lacking = [pin for pin in pins if isinstance(part, Transformer) and not part.has_pin(pin)]
        if lacking:
            raise self.fault(f"{designator} has no {lacking[0]}; its entry says which taps and windings there are")
        if isinstance(part, Pot) and (part.tap is None) == ("tap" in pins):
            if part.tap is None:
                raise self.fault(f"{designator} has no tap; written {designator} = {{ track = ..., tap = 0.4 }}")
            pins["tap"] = tap_net(designator)
        named = tuple((pin.removeprefix("end"), net) for pin, net in pins.items())
        self.elements.append(Element(designator, self.part(designator).kind, named, self.stage.name))

    def pins(self, role: str, nets: Mapping[str, str]) -> None:
        """Fit the part in a role with its pins, by name, on nets."""
        designator = self.designators(role)[0]
        self.elements.append(Element(designator, self.part(designator).kind, tuple(nets.items()), self.stage.name))

    def across(self, role: str, first: str, second: str) -> None:
        """Fit whatever stands in a role between two nets (several parts: in parallel; a pot: as a plain track)."""
        for designator in self.designators(role):
            if self.part(designator).kind == "pot":
                self.put(designator, top=first, wiper=first, bottom=second)
            else:
                one, other = end_names(self.part(designator).kind)
                self.elements.append(
                    Element(designator, self.part(designator).kind, ((one, first), (other, second)), self.stage.name)
                )

    def through(self, role: str, net: str, to: str = "") -> str:
        """Continue from a net through the part in a role and return the far net; the same net when empty."""
        if not self.has(role):
            if to:
                self.joins.append((net, to))
            return to or net
        far = to or f"{self.designators(role)[0].lower()}_2"
        self.across(role, net, far)
        return far

    def rail(self, role: str) -> str:
        """The net of the rail named in a role."""
        return rail_net(str(self.word(role)))

    def word(self, role: str) -> str:
        """The plain text in a role."""
        return str(dict(self.stage.roles)[role])

    def valve(self, role: str, plate: str, grid: str, cathode: str, screen: str = "") -> None:
        """Fit a valve.

        Parameters
        ----------
        role : str
            The role that names its socket.
        plate, grid, cathode : str
            Nets of its pins.
        screen : str
            Net of the screen; empty for a triode.

        Raises
        ------
        DescriptionError
            For a triode where a pentode belongs, and the other way round.
        """
        self.seat(self.designators(role)[0], plate, grid, cathode, screen)

    def seat(self, designator: str, plate: str, grid: str, cathode: str, screen: str = "") -> None:
        """Fit a valve by its designator.

        Parameters
        ----------
        designator : str
        plate, grid, cathode, screen : str
            As for `valve`.

        Raises
        ------
        DescriptionError
            For a triode where a pentode belongs, and the other way round.
        """
        socket = self.part(designator)
        family = self.amp.valve_by_type[socket.type].family  # type: ignore[union-attr]
        if (family == "pentode") != bool(screen):
            wanted = "pentode" if screen else "triode"
            raise self.fault(f"{designator} is an {socket.type}, a {family}; a {wanted} belongs here")  # type: ignore[union-attr]
        pins = {"plate": plate, "grid": grid, "cathode": cathode} | ({"screen": screen} if screen else {})
        self.put(designator, **pins)

    def net(self, pin: str, role: str = "valve") -> str:
        """The net named after a part's pin, such as v1a_plate."""
        return f"{self.designators(role)[0].lower()}_{pin}"


def end_names(kind: str) -> tuple[str, str]:
    """The pins of a kind of part with two ends, the first one first: of a diode the anode."""
    pins = PINS.get(kind, ("1", "2"))
    return pins[0], pins[1]


def tap_net(designator: str) -> str:
    """The net of a pot's tap with nothing on it."""
    return f"_tap_{designator.lower()}"


def net_word(name: str) -> str:
    """A stage's name as part of a net's name."""
    return re.sub(r"[^a-z0-9]", "_", name.lower())


def foot_net(stage: str) -> str:
    """The net at the foot of a stage's tail or cathode resistor, where a feedback line comes in."""
    return f"{net_word(stage)}_foot"


def place_net(bench: StageBuilder, name: str) -> str:
    """The net of "ground", of a rail, or of a place, as a stage's role names it.

    Raises
    ------
    DescriptionError
        When there is no such rail, and it is no place at a part.
    """
    rails = {rail.name for rail in bench.amp.rails}
    if name == "ground" or name in rails:
        return GROUND if name == "ground" else rail_net(name)
    if "." not in name:
        raise bench.fault(f"{shown(name)} is neither a rail nor a place{nearest(name, rails)}")
    return "@" + name


def rail_net(name: str) -> str:
    """The net of a rail."""
    return f"rail_{name.lower()}"


def supply_net(stage: str) -> str:
    """The net where a supply stage hands on its volts, by the stage's name."""
    return f"{net_word(stage)}_supply"


def two_ends(element: Element) -> tuple[str, str]:
    """The two nets a part lies between."""
    first, second = element.end_pins
    return element.net(first), element.net(second)
