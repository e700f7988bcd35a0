"""A circuit as ampsim simulates it: in the place of its mains side what the amp sees of it, mean current over volts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from ..amp import Amp, Part, Rail
from ..light import lit
from ..nets import idle_windings
from ..semiconductors.description import Semiconductor
from ..semiconductors.device import Device
from ..soldered import Soldered
from ..stages.template import GROUND, Element, net_word, rail_net
from .inrush import MEAN_THERMISTOR, thermistor_of, to_the_mean
from .mains_edges import SMOOTHING
from .mean_law import KNOTS, fitted_numbers
from .paths import MainsSide, Rectified, mains_side
from .steady import Filter, Supply

Array = NDArray[np.float64]
MEAN_RECTIFIER = "mean rectifier"
_LOADS = 40
C = TypeVar("C", bound=Soldered)


@dataclass(frozen=True)
class MeanRectifier:
    """What stands for rectifiers: the numbers of `mean_law.mean_current`, pairs of name and value [V, A/V^2]."""

    designator: str
    numbers: tuple[tuple[str, float], ...]
    kind: str = MEAN_RECTIFIER


@lru_cache(maxsize=512)
def mains_of(wired: Soldered) -> MainsSide:
    """The mains side of a circuit; errors as `mains_side`."""
    return mains_side(wired)


@lru_cache(maxsize=512)
def supplied(wired: C) -> C:
    """The circuit with its mains side replaced by sources behind mean rectifiers, and the light of lamps as nets.

    The same where it has neither.

    A source holds the peak volts of the winding, and is a rail of the name of that which it feeds.

    Raises
    ------
    DescriptionError
        For a mains side that cannot be worked out, with the reason.
    EngineError
        When its steady state is not found.
    """
    mains, wired = mains_of(wired), lit(wired)
    if not mains.parts:
        return wired
    idle = idle_windings(wired.elements)
    out = mains.parts | {each.designator for each in wired.elements if not idle.isdisjoint(net for _, net in each.pins)}
    elements = [each for each in wired.elements if each.designator not in out]
    # They keep their places, as parts that were lifted out do.
    gone = tuple(each for each in wired.elements if each.designator in out)
    parts, amp = dict(wired.parts), wired.amp
    moving: dict[str, Any] = dict(getattr(wired, "contacts", {}))
    for source, rail in zip(mains.rectified, rail_names(wired), strict=True):
        stands = source.start != GROUND
        given = half_filter(wired, source) if stands else filter_of(wired, source)
        warming, numbers = thermistor_of(source, wired.amp.file), mean_numbers(source, given)
        if stands:
            numbers = upon(numbers, source.peak)
        held, name, far = f"{rail_net(rail)}_mains", f"{rail}_mean", source.net
        for number, contact in enumerate(source.contacts, 1):
            # What a switch on its way breaks in every way is broken behind the rectifier.
            own, near = f"{contact}_{rail}", f"{rail_net(rail)}_contact_{number}"
            moving[own] = replace(moving[contact], designator=own)
            elements.append(Element(own, "contact", (("1", near), ("2", far)), "supply"))
            far = near
        if warming:
            own, near = f"{warming[0]}_{rail}_mean", f"{rail_net(rail)}_warm"
            device = mean_thermistor(wired, source, given, warming)
            parts[own] = Device(own, device.type, MEAN_THERMISTOR, device)
            amp = replace(amp, semiconductors=(*amp.semiconductors, device))
            elements.append(Element(own, MEAN_THERMISTOR, (("1", near), ("2", far)), "supply"))
            far = near
        ends = (source.start if stands else held, far)
        ends = ends if source.sign > 0.0 else (ends[1], ends[0])
        parts[name] = cast("Part", MeanRectifier(name, numbers))
        if not stands:
            elements.append(Element(rail, "rail", (("1", held),), "supply"))
            amp = _with_source(amp, rail, source.sign * source.peak)
        elements.append(Element(name, MEAN_RECTIFIER, (("1", ends[0]), ("2", ends[1])), "supply"))
    for net in _dead(wired):
        # Nothing feeds it: what leaks through its capacitor is all that holds it.
        name = f"{net}_leak"
        parts[name] = cast("Part", MeanRectifier(name, tuple(dict.fromkeys(KNOTS, 0.0).items())))
        elements.append(Element(name, MEAN_RECTIFIER, (("1", net), ("2", GROUND)), "supply"))
    more: dict[str, Any] = {"contacts": moving} if moving else {}
    return replace(wired, amp=amp, elements=tuple(elements), removed=(*wired.removed, *gone), parts=parts, **more)


def mean_thermistor(
    wired: Soldered, source: Rectified, given: Filter, warming: tuple[str, Semiconductor]
) -> Semiconductor:
    """What a thermistor of a source is to its mean current.

    Parameters
    ----------
    wired : Soldered
    source : Rectified
    given : Filter
    warming : tuple
        Name and data of the thermistor, as `thermistor_of` finds it.
    """
    bare = replace(source, start=GROUND)
    shared = _sharing(mains_of(wired).rectified, warming[0])
    return to_the_mean(bare, given, warming[1], short_circuit_amps(source), shared)


def _sharing(sources: Iterable[Rectified], thermistor: str) -> int:
    """How many rectified currents pass a thermistor: in a voltage doubler those of both halves may."""
    return sum(thermistor in {name for way in each.ways for name, _ in way.thermistors} for each in sources)


def upon(numbers: tuple[tuple[str, float], ...], peak: float) -> tuple[tuple[str, float], ...]:
    """The law over what is left of the volts below a source's net, where it stands on another net than a source's.

    Parameters
    ----------
    numbers : tuple of pairs
        Of `mean_numbers`.
    peak : float
        What the net comes to without load [V].
    """
    return tuple((name, value - peak if name.startswith("knot") else value) for name, value in numbers)


def half_filter(wired: Soldered, source: Rectified) -> Filter:
    """What filters the upper half of a voltage doubler: the capacitors across it, taken from where it stands."""
    across = (
        (source.smooth, GROUND, cast("Part", wired.parts[each.designator]).value)
        for each in wired.elements
        if each.kind == "capacitor" and {net for _, net in each.pins} == {source.start, source.smooth}
    )
    return Filter((), tuple(across), ())


def doubled(wired: Soldered, source: Rectified) -> tuple[Rectified, ...]:
    """The source with those that stand on it, as the upper half of a voltage doubler does."""
    found = [source]
    for each in mains_of(wired).rectified:
        if each.start != GROUND and each.start in {one.smooth for one in found}:
            found.append(each)
    return tuple(found)


def _dead(wired: Soldered) -> list[str]:
    """Reservoirs of rails that no rectifier feeds, such as those behind a standby switch that is open."""
    alive = {net for source in mains_of(wired).rectified for net in (*filter_of(wired, source).nets, source.net)}
    reservoirs = {net for net, _ in _reservoirs(wired)}
    nets = (_net_of(wired, rail.name) for rail in wired.amp.rails if rail.volts is None)
    return [net for net in dict.fromkeys(nets) if net in reservoirs - alive - {GROUND}]


def _with_source(amp: Amp, name: str, volts: float) -> Amp:
    if any(each.name == name for each in amp.rails):
        return replace(
            amp,
            rails=tuple(replace(each, volts=volts, fed_from="") if each.name == name else each for each in amp.rails),
        )
    return replace(amp, rails=(*amp.rails, Rail(name, volts, "", (), ())))


def rail_names(wired: Soldered) -> tuple[str, ...]:
    """To each of `MainsSide.rectified` the rail that it feeds first: at its reservoir, else a name of its own."""
    taken = {element.designator for element in wired.elements if element.kind == "rail"}
    found: list[str] = []
    for source in mains_of(wired).rectified:
        named = [rail.name for rail in wired.amp.rails if _net_of(wired, rail.name) == source.smooth]
        free = [name for name in named if name not in taken]
        own = f"{net_word(source.ways[0].rectifiers[0])}_{net_word(source.transformer)}_{len(found)}"
        found.append(free[0] if free else own)
        taken.add(found[-1])
    return tuple(found)


def _net_of(wired: Soldered, rail: str) -> str:
    places: dict[str, str] = wired.net_by_place  # type: ignore[attr-defined]
    return places[rail]


def mean_numbers(source: Rectified, given: Filter) -> tuple[tuple[str, float], ...]:
    """The law of a rectifier in a supply: mean current [A] by the volts [V] its net lies below the peak."""
    return _numbers(replace(source, start=GROUND), given)


@lru_cache(maxsize=256)
def _numbers(source: Rectified, given: Filter) -> tuple[tuple[str, float], ...]:
    supply = Supply(given, source)
    most = short_circuit_amps(source)
    amps = np.geomspace(1e-4, 0.95, _LOADS) * most
    loads = np.zeros((len(supply.nets), len(amps)))
    loads[supply.nets.index(source.smooth)] = amps
    found = supply.settled(loads)
    below = source.peak - np.abs(found.mean(source.net)) * np.sign(source.sign * found.mean(source.net))
    return tuple(fitted_numbers(below, found.total).items())


def short_circuit_amps(source: Rectified) -> float:
    """The mean current [A] into a short circuit."""
    amps = np.geomspace(1e-9, 300.0, 2000)
    cosine = np.cos(2.0 * np.pi * np.arange(400) / 400.0)
    ways = [np.interp(way.peak * cosine, way.drop(amps), amps, left=0.0) for way in source.ways]
    return float(np.maximum.reduce(ways).mean())


def filter_of(wired: Soldered, source: Rectified, amps: float = 0.0, upper: tuple[Rectified, ...] = ()) -> Filter:
    """What of a circuit filters a rectifier: reservoirs, and what leads through one part from one to the next.

    Resistors to ground count as load. Chokes have the inductance that a direct current [A] leaves them.

    Parameters
    ----------
    wired : Soldered
    source : Rectified
    amps : float
        Through its chokes [A].
    upper : tuple of Rectified
        Those that stand on it.
    """
    reservoirs = list(_reservoirs(wired))
    smooth = {net for net, _ in reservoirs} | {each.smooth for each in upper}
    links = [each for each in wired.elements if each.kind in ("resistor", "inductor")]
    reached = [source.smooth, *(each.smooth for each in upper)]
    used: list[Element] = []
    for net in reached:
        for element in links:
            ends = [pin_net for _, pin_net in element.pins]
            far = ends[1] if ends[0] == net else ends[0]
            if net in ends and element not in used and far in (smooth | {source.net}) - {GROUND, net}:
                used.append(element)
                if far not in reached and far != source.net:
                    reached.append(far)
    resistors, coils = [], []
    for element in used:
        part = cast("Part", wired.parts[element.designator])
        first, second = element.net("1"), element.net("2")
        if element.kind == "resistor":
            resistors.append((first, second, part.value))
        elif part.resistance:
            middle = f"{element.designator.lower()}_coil"
            coils.append((first, middle, inductance_at(part, amps)))
            resistors.append((middle, second, part.resistance))
        else:
            coils.append((first, second, inductance_at(part, amps)))
    kept = tuple((net, GROUND, farads) for net, farads in reservoirs if net in reached)
    across = ((each.smooth, each.start, farads) for each in upper for *_, farads in half_filter(wired, each).capacitors)
    return Filter(tuple(resistors), (*kept, *across), tuple(coils))


def inductance_at(choke: Part, amps: float) -> float:
    """The inductance [H] of a choke that carries a direct current [A].

    Flux over current after O. Froelich, Elektrotechnische Zeitschrift 2, 1881 (from memory), L I / (1 + I / k), of
    slope L / (1 + I / k)^2; k is such that half of it is left at the current that the description gives.
    """
    if not choke.saturation_amps:
        return choke.value
    return float(choke.value / (1.0 + (2.0**0.5 - 1.0) * abs(amps) / choke.saturation_amps) ** 2)


def _reservoirs(wired: Soldered) -> Iterator[tuple[str, float]]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        nets = [net for _, net in element.pins]
        if element.kind == "capacitor" and GROUND in nets and cast("Part", part).value >= SMOOTHING:
            yield nets[0] if nets[1] == GROUND else nets[1], cast("Part", part).value
