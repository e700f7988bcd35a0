"""Which offers serve for what is needed, and why the others do not: never a lower rating, never another value.

An offer serves when all it may be lies within what is wanted: its value with its whole tolerance, at least the watts
and volts, the taper, the contacts, the space. One that is more than asked for serves too, and is said to be a
substitute. What a list does not say is never taken to be enough where it matters to safety; where it does not, it is
said that it must be checked.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ...base.quantities import FARAD, HENRY, OHM, format_value
from ...circuit.switches.kinds import Action, ContactOrder, SwitchKind
from ...studies.ratings.usual import FITTED_VOLTS, LARGER_VOLTS
from ...work.parts_list.switch_need import SwitchNeed
from .needs import Need
from .offered_parts import families, type_meant
from .price_rows import Offer, PriceList

_UNITS = {"resistor": OHM, "pot": OHM, "capacitor": FARAD, "inductor": HENRY}
_CLOSE = 1.0 + 1e-6
# What serves in place of a make, and what is said of it (common practice, no source).
_SUBSTITUTES = {
    "electrolytic": {
        "bipolar electrolytic": "a bipolar one has no wrong way round",
        "film": "film in place of an electrolytic: it lasts longer and is larger",
    },
    "metal film": {"metal oxide": "metal oxide in place of metal film"},
    "metal oxide": {"metal film": "metal film of the same watts"},
}
_ASKED_WORDS = ("105 degrees", "flameproof")
_ON_OFF_TOO = (Action.ON_ON,)


@dataclass(frozen=True)
class Fit:
    """An offer that serves: in which ways it is more than was asked for, and what must be checked before it is used."""

    offer: Offer
    more: tuple[str, ...] = ()
    check: tuple[str, ...] = ()

    @property
    def note(self) -> str:
        """Why a substitute is fine, and what to check; "" where it is just what was asked for."""
        return "; ".join((*self.more, *self.check))


@dataclass(frozen=True)
class Candidates:
    """What serves for a need, and of the nearest that do not the reasons."""

    need: Need
    fits: tuple[Fit, ...]
    refused: tuple[str, ...] = ()


def candidates(need: Need, prices: PriceList) -> Candidates:
    """Look through a price list for what serves."""
    if not need.rated:
        return Candidates(need, (), ("what it carries was not worked out: choose it by hand",))
    fits: list[Fit] = []
    near: list[tuple[float, int, str]] = []
    for offer in prices.offers.get(need.kind, ()):
        if not _is_near(need, offer) or need.number not in ("", offer.number):
            continue
        refused = list(_refusals(need, offer))
        if refused:
            near.append((_distance(need, offer), len(refused), f"{offer.where_from}: {refused[0]}"))
        else:
            fits.append(Fit(offer, tuple(_more(need, offer)), tuple(_checks(need, offer))))
    if need.number and not fits and not near:
        near = [(0.0, 0, f"no {need.kind} of about this value has the order number {need.number}")]
    return Candidates(need, tuple(fits), tuple(told for _, _, told in sorted(near)[:3]))


def _distance(need: Need, offer: Offer) -> float:
    """How far the value of an offer lies off [ratio]; 0 for what has a type."""
    value = offer.described.value
    return 0.0 if math.isnan(value) else round(abs(value / need.value - 1.0), 6)


def _is_near(need: Need, offer: Offer) -> bool:
    """Whether an offer is worth a word: of about this value, of this type, or a switch."""
    value = offer.described.value
    if not math.isnan(value):
        return not math.isnan(need.value) and 0.7 * need.value <= value <= 1.4 * need.value
    if offer.described.switch is not None:
        return need.switch is not None
    return offer.described.name == type_meant(need.kind, need.wanted)


def _refusals(need: Need, offer: Offer) -> Iterator[str]:
    """Every reason why an offer does not serve, the weightiest first."""
    if not math.isnan(need.value):
        yield from _wrong_value(need, offer)
        yield from _too_weak(need, offer)
        yield from _wrong_make(need, offer)
    if need.kind == "pot":
        yield from _wrong_pot(need, offer)
    if need.switch is not None:
        yield from _wrong_switch(need.switch, offer.described.switch)
    elif offer.described.switch is not None:
        yield "it has a switch"
    if need.room and offer.size and any(a > b for a, b in zip(offer.size, need.room, strict=False)):
        yield f"{_size(offer.size)} is larger than the room for it, {_size(need.room)}"
    if offer.price is None:
        yield "the list says no price"


def _wrong_value(need: Need, offer: Offer) -> Iterator[str]:
    """A value whose whole tolerance does not lie within what is wanted."""
    off = offer.described.value / need.value - 1.0
    unit = _UNITS[need.kind]
    said = format_value(offer.described.value, unit)
    wide = need.tolerance if need.tolerance > 0.0 else 0.0
    if math.isnan(offer.tolerance):
        if abs(off) * 1e6 > 1.0:
            yield f"{said} without a tolerance is not {format_value(need.value, unit)}"
        elif wide and need.kind == "resistor":
            yield f"its tolerance is not said; {100.0 * wide:g} % is asked for"
        return
    low, high = ((1.0 + off) * (1.0 + sign * offer.tolerance) - 1.0 for sign in (-1.0, 1.0))
    if wide and (low < -wide * _CLOSE or high > wide * _CLOSE):
        yield (
            f"{said} {100.0 * offer.tolerance:g} % may lie outside {format_value(need.value, unit)} {100.0 * wide:g} %"
        )
    elif not wide and abs(off) * 1e6 > 1.0:
        yield f"{said} is not {format_value(need.value, unit)}"


def _too_weak(need: Need, offer: Offer) -> Iterator[str]:
    if math.isinf(need.volts):
        yield "no single part stands the volts: see the parts list"
    if need.watts > 0.0 and math.isnan(offer.watts):
        yield f"its watts are not said; {need.watts:g} W are needed"
    elif offer.watts < need.watts:
        yield f"{offer.watts:g} W is less than the {need.watts:g} W needed"
    needed, stated = _volts(need, offer)
    if math.isnan(stated) and needed > 0.0:
        yield f"its volts are not said; {needed:.0f} V are needed"
    elif stated < needed:
        yield f"{stated:g} V is less than the {needed:.0f} V needed"


def _volts(need: Need, offer: Offer) -> tuple[float, float]:
    """The volts that an offer must stand, and those it stands [V].

    Lists seldom say it of resistors and pots: there a usual body is taken, and what is carried decides.
    """
    if need.kind not in FITTED_VOLTS:
        return need.volts, offer.volts
    usual = LARGER_VOLTS if need.kind == "resistor" and offer.watts >= 1.0 else FITTED_VOLTS[need.kind]
    return need.carried_volts, usual if math.isnan(offer.volts) else offer.volts


def _wrong_make(need: Need, offer: Offer) -> Iterator[str]:
    wanted = families(need.make)
    if not wanted:
        return
    given = families(f"{offer.make} {offer.what}")
    if not given:
        if need.kind == "capacitor":
            yield f"what it is made of is not said; {need.make} is asked for"
    elif not given & wanted and not any(each in _SUBSTITUTES.get(one, {}) for one in wanted for each in given):
        yield f"{' and '.join(sorted(given))} is not {need.make}"


def _wrong_pot(need: Need, offer: Offer) -> Iterator[str]:
    if not offer.described.taper:
        yield f"its taper is not said; {need.taper} is asked for"
    elif offer.described.taper != need.taper:
        yield f"its taper is {offer.described.taper}, not {need.taper}"
    if offer.gang != need.gang:
        yield f"it has {offer.gang} track{'s' * (offer.gang != 1)}, not {need.gang}"


def _wrong_switch(need: SwitchNeed, kind: SwitchKind | None) -> Iterator[str]:
    if not need.poles:
        yield "which switch is needed is not known"
    elif kind is None:
        yield f"it has no switch; {need.kind} is asked for"
    elif kind.action is not need.action and not (need.action is Action.ON_OFF and kind.action in _ON_OFF_TOO):
        yield f"{kind.words} is not {need.kind}"
    elif not kind.poles:
        yield f"its poles are not said; {need.poles} are needed"
    elif kind.poles < need.poles:
        yield f"{kind.poles} pole{'s' * (kind.poles != 1)}, {need.poles} are needed"
    elif kind.action is Action.ROTARY and kind.ways < need.throws:
        yield f"{kind.ways} ways, {need.throws} are needed"
    elif need.sequence is not ContactOrder.EITHER and kind.order is not need.sequence:
        yield (
            f"that its contacts {need.sequence} is not said"
            if kind.order is ContactOrder.EITHER
            else (f"its contacts are {kind.order}, {need.sequence} is needed")
        )


def _more(need: Need, offer: Offer) -> Iterator[str]:
    """In which ways an offer is more than was asked for, and why that is fine."""
    if not math.isnan(need.value):
        if abs(offer.described.value / need.value - 1.0) * 1e6 > 1.0:
            unit = _UNITS[need.kind]
            yield (
                f"{format_value(offer.described.value, unit)} {100.0 * offer.tolerance:g} % lies within "
                f"{format_value(need.value, unit)} {100.0 * need.tolerance:g} %"
            )
        if offer.watts > need.watts:
            yield f"{offer.watts:g} W where {need.watts:g} W are needed: runs cooler, its body is larger"
        if need.kind == "capacitor" and offer.volts > need.volts:
            yield f"{offer.volts:g} V where {need.volts:g} V are needed"
        yield from _other_make(need, offer)
    kind, wanted = offer.described.switch, need.switch
    if kind is not None and wanted is not None:
        if kind.action is not wanted.action:
            yield f"{kind.words} in place of {wanted.action.value}: one contact of each pole stays free"
        if kind.poles > wanted.poles:
            yield f"{kind.poles} poles where {wanted.poles} are needed"
        if kind.action is Action.ROTARY and kind.ways > wanted.throws:
            yield f"{kind.ways} ways where {wanted.throws} are needed: set its stop"


def _other_make(need: Need, offer: Offer) -> Iterator[str]:
    wanted, given = families(need.make), families(f"{offer.make} {offer.what}")
    if not given & wanted:
        said = [words for one in wanted for make, words in _SUBSTITUTES.get(one, {}).items() if make in given]
        yield from said[:1]


def _checks(need: Need, offer: Offer) -> Iterator[str]:
    """What a list leaves open and must be looked at."""
    told = f"{offer.make} {offer.what}".lower()
    electrolytic = "electrolytic" in families(told)
    for word in _ASKED_WORDS:
        if word in need.make and word.split()[0] not in told and (word != "105 degrees" or electrolytic):
            yield f"check that it is made for {word}" if word[0].isdigit() else f"check that it is {word}"
    if need.make and need.kind == "resistor" and not families(told):
        yield f"check what it is made of: {need.make} is asked for"
    if need.kind == "capacitor" and math.isnan(offer.tolerance):
        yield "its tolerance is not said"
    if need.room and not offer.size:
        yield f"its size is not said: the room for it is {_size(need.room)}"
    if need.kind == "valve" and offer.described.text.lower() != need.wanted.lower():
        yield f"{offer.described.text} is another name of {need.wanted}; see what differs with ampsim check"


def _size(size: Sequence[float]) -> str:
    return f"{' x '.join(f'{each:g}' for each in size)} mm"
