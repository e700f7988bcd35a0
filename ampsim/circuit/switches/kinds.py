"""Kinds of switch as the trade names them: how many positions, what may lie between two, which contact moves first."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from enum import Enum, StrEnum

from ...base.errors import DescriptionError, nearest, shown


class Action(Enum):
    """How a usual switch works; `NONE` where nothing is to be switched, or no usual switch does it."""

    NONE = ""
    ON_OFF = "toggle on-off"
    ON_ON = "toggle on-on"
    ON_OFF_ON = "toggle on-off-on, centre off"
    ON_ON_ON = "toggle on-on-on"
    PUSH_PULL = "push-pull switch"
    TRACK_END = "switch at the end of the track"
    RELAY = "relay"
    LEVER = "lever switch"
    ROTARY = "rotary"


class ContactOrder(StrEnum):
    """In which order the contacts of a switch move on the way from one position to the next."""

    EITHER = "either"
    BREAK_FIRST = "break before make"
    MAKE_FIRST = "make before break"


ON_POTS = (Action.PUSH_PULL, Action.TRACK_END)
"""Switches on the shaft of a pot."""
CLOSERS = (Action.ON_OFF, Action.TRACK_END)
"""Switches whose contacts close in one of two positions and do nothing in the other."""
TOGGLES = (Action.ON_OFF, Action.ON_ON, Action.ON_OFF_ON, Action.ON_ON_ON)
_USUAL_ORDER = {
    **dict.fromkeys((*TOGGLES, Action.PUSH_PULL, Action.TRACK_END, Action.RELAY), ContactOrder.BREAK_FIRST),
    Action.LEVER: ContactOrder.MAKE_FIRST,
}
_WAYS = {
    **dict.fromkeys((Action.ON_OFF, Action.ON_ON, *ON_POTS, Action.RELAY), 2),
    **dict.fromkeys((Action.ON_OFF_ON, Action.ON_ON_ON), 3),
}


@dataclass(frozen=True)
class SwitchKind:
    """Which switch a description asks for.

    `action` is how it works (`NONE`: not said), `order` in which order its contacts move (`EITHER`: not said, and
    nothing that all switches of its kind do), `poles` and `ways` how many of each (0: not said).
    """

    action: Action = Action.NONE
    order: ContactOrder = ContactOrder.EITHER
    poles: int = 0
    ways: int = 0

    @property
    def words(self) -> str:
        """What was said, in the words of the trade."""
        said = [self.action.value] if self.action is not Action.NONE else []
        said += [f"{self.poles} pole" + ("s" if self.poles > 1 else "")] if self.poles else []
        said += [f"{self.ways} ways"] if self.ways and self.action not in _WAYS else []
        said += [self.order.value] if self.order is not usual_order(self.action) else []
        return ", ".join(said) or "any"


@dataclass(frozen=True)
class Coil:
    """The coil of a relay: its resistance [ohm], the volts [V] it is made for, and the switch that feeds it."""

    ohms: float
    volts: float
    driver: str

    @property
    def words(self) -> str:
        """As it is asked for at the counter."""
        return f"coil {self.volts:g} V, {self.ohms:.4g} ohm ({1e3 * self.volts / self.ohms:.3g} mA)"


ANY_SWITCH = SwitchKind()
"""Where a description does not say which switch it is."""


def usual_order(action: Action) -> ContactOrder:
    """The order that contacts of such a switch move in; `EITHER` where both kinds are sold (rotary switches).

    Toggles and push-pull switches break before they make, the blade of a lever switch bridges: common practice, no
    source.
    """
    return _USUAL_ORDER.get(action, ContactOrder.EITHER)


_NUMBERS = {"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "s": 1, "single": 1, "d": 2, "double": 2,
            "t": 3, "triple": 3, "q": 4}  # fmt: skip
_COUNT = r"(\d{1,2}|one|two|three|four|five|six|single|double|triple)"
_ACTIONS = {
    "on-on-on": Action.ON_ON_ON,
    "on-off-on": Action.ON_OFF_ON,
    "centre-off": Action.ON_OFF_ON,
    "on-on": Action.ON_ON,
    "changeover": Action.ON_ON,
    "on-off": Action.ON_OFF,
    "off-on": Action.ON_OFF,
    "push-pull": Action.PUSH_PULL,
    "push-push": Action.PUSH_PULL,
    "pull-push": Action.PUSH_PULL,
    "pull": Action.PUSH_PULL,
    "track-end": Action.TRACK_END,
    "relay": Action.RELAY,
    "rotary": Action.ROTARY,
    "lever": Action.LEVER,
    "blade": Action.LEVER,
}
_ORDERS = {
    "non-shorting": ContactOrder.BREAK_FIRST,
    "break-before-make": ContactOrder.BREAK_FIRST,
    "make-before-break": ContactOrder.MAKE_FIRST,
    "shorting": ContactOrder.MAKE_FIRST,
}
_PLAIN = {"toggle", "slide", "mini", "miniature", "switch", "footswitch", "pot", "selector", "wafer", "latching", "a",
          "an", "with"}  # fmt: skip
_EXAMPLES = ("on-off", "on-on", "on-off-on", "on-on-on", "push-pull", "rotary", "rotary, shorting", "four-way", "DPDT")


def parse_switch_kind(text: str) -> SwitchKind:
    """Read the name of a switch as the trade writes it: "on-off-on", "DPDT on-on-on", "rotary, 4 ways, shorting".

    Raises
    ------
    DescriptionError
        For a word that names no switch, or for words that say two different things.

    Examples
    --------
    >>> parse_switch_kind("SPDT, center off").words
    'toggle on-off-on, centre off, 1 pole'
    >>> parse_switch_kind("4-way rotary, make before break").words
    'rotary, 4 ways, make before break'
    """
    if re.search(r"\(\s*(on|off)\s*\)|momentary", text.lower()):
        raise DescriptionError(f"{shown(text)} springs back; a switch with named positions stays where it is put")
    kind, rest = ANY_SWITCH, _plain_words(text)
    if not rest.strip():
        raise DescriptionError(f"{shown(text)} is no kind of switch; such as {', '.join(_EXAMPLES)}")
    for part, pattern in (("poles", rf"{_COUNT}[ -]?poles?"), ("ways", rf"{_COUNT}[ -]?(?:ways?|positions?|throws?)")):
        for found in re.findall(rf"(?<![\w-]){pattern}(?![\w-])", rest):
            kind = _with(kind, text, part, _NUMBERS.get(found) or int(found))
        rest = re.sub(rf"(?<![\w-]){pattern}(?![\w-])", " ", rest)
    contacts = re.findall(r"(?<![\w-])([sdtq]|[1-9])p([sdt]|\d{1,2})t(?![\w-])", rest)
    rest = re.sub(r"(?<![\w-])([sdtq]|[1-9])p([sdt]|\d{1,2})t(?![\w-])", " ", rest)
    for word in rest.split():
        if word in _ACTIONS:
            kind = _with(kind, text, "action", _ACTIONS[word])
        elif word in _ORDERS:
            kind = _with(kind, text, "order", _ORDERS[word])
        elif word not in _PLAIN:
            raise DescriptionError(f"{shown(text)} is no kind of switch{nearest(text, _EXAMPLES)}")
    for poles, throws in contacts:
        kind = _with_contacts(_with(kind, text, "poles", _NUMBERS.get(poles) or int(poles)), text, throws)
    return _complete(kind, text)


def _plain_words(text: str) -> str:
    """Small letters, one kind of hyphen, and every name of more than one word in one piece."""
    words = re.sub(r"\s*[-\u2010-\u2015_/]\s*", "-", text.lower().replace("center", "centre"))
    words = re.sub(r"[,;()]", " ", words)
    words = re.sub(r"\b(?:at[ -])?(?:the[ -])?end[ -]of[ -](?:the[ -])?track\b", "track-end", words)
    for name in ("centre off", "make before break", "break before make", "change over", "non shorting", "push pull",
                 "on on on", "on off on", "on on", "on off"):  # fmt: skip
        words = re.sub(rf"\b{name.replace(' ', '[ -]')}\b", name.replace(" ", "-"), words)
    return words.replace("change-over", "changeover")


def _with(kind: SwitchKind, text: str, part: str, value: object) -> SwitchKind:
    known = getattr(kind, part)
    if known not in (value, getattr(ANY_SWITCH, part)):
        raise DescriptionError(f"{shown(text)} says two different things of one switch; one kind is fitted")
    return replace(kind, **{part: value})  # type: ignore[arg-type]


def _with_contacts(kind: SwitchKind, text: str, throws: str) -> SwitchKind:
    """What the throws of "SPDT" or "DP3T" add where the way it works is not said."""
    number = _NUMBERS.get(throws) or int(throws)
    if kind.action is not Action.NONE:
        return kind
    if number <= 2:
        return replace(kind, action=Action.ON_OFF if number == 1 else Action.ON_ON)
    return _with(kind, text, "ways", number)


def _complete(kind: SwitchKind, text: str) -> SwitchKind:
    """The kind with what its name implies, refused where that contradicts what was said."""
    if kind.action is Action.NONE and kind.ways == 2:
        kind = replace(kind, action=Action.ON_ON)
    if kind.action is Action.NONE and kind.ways > 3:
        kind = replace(kind, action=Action.LEVER if kind.ways <= _LEVER_WAYS else Action.ROTARY)
    ways, order = _WAYS.get(kind.action, kind.ways), usual_order(kind.action)
    if kind.ways not in (0, ways):
        raise DescriptionError(f"{shown(text)}: a {kind.action.value} switch has {ways} positions")
    if kind.action in _WAYS and kind.order not in (ContactOrder.EITHER, order):
        raise DescriptionError(f"{shown(text)}: a {kind.action.value} is {order.value}")
    return replace(kind, ways=ways, order=order if kind.order is ContactOrder.EITHER else kind.order)


_LEVER_WAYS = 5  # more are rotary
