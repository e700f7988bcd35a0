"""Networks that are known by how their parts hang together: the three-band stack, the feedback line with presence."""

from __future__ import annotations

from collections.abc import Iterator

from ..feedback import find_loop
from ..stages.template import GROUND, Element
from .signal import Signal
from .spots import Spot
from .ways import Ways, far, pin_at

Jobs = dict[str, list[Spot]]


def lugs_of(part: Element) -> Spot:
    """A part with all its lugs, by their own names."""
    return Spot(part.designator, tuple((pin, pin) for pin, _ in part.pins))


def _two(part: Element, near: str, first: str, second: str) -> Spot:
    pin = pin_at(part, near)
    other = next(each for each in part.end_pins if each != pin)
    return Spot(part.designator, ((first, pin), (second, other)))


def stacks(signal: Signal) -> list[Jobs]:
    """The three-band stacks: a slope resistor and two capacitors behind it, a third at the top of the treble pot."""
    return [jobs for treble in signal.ways.parts if treble.kind == "pot" for jobs in _stack(signal.ways, treble)]


def _stack(ways: Ways, treble: Element) -> Iterator[Jobs]:
    top, wiper, low = (treble.net(pin) for pin in ("top", "wiper", "bottom"))
    if len({top, wiper, low}) < 3 or {top, low} & ways.dead:
        return
    for treble_capacitor in ways.at(top, "capacitor"):
        source = far(treble_capacitor, top)
        for bass_capacitor in ways.at(low, "capacitor"):
            slope = far(bass_capacitor, low)
            resistors = [each for each in ways.at(slope, "resistor") if far(each, slope) == source != slope]
            if {source, slope} & ways.dead or not resistors or slope in (top, wiper):
                continue
            yield from _foot(ways, treble, low, slope, {
                "slope resistor": [_two(each, source, "source end", "far end") for each in resistors],
                "treble capacitor": [_two(treble_capacitor, source, "source end", "far end")],
                "bass capacitor": [_two(bass_capacitor, slope, "source end", "far end")],
                "treble pot": [lugs_of(treble)],
            })  # fmt: skip


def _foot(ways: Ways, treble: Element, low: str, slope: str, jobs: Jobs) -> Iterator[Jobs]:
    """The bass pot below the treble pot, and the middle pot or resistor that the third capacitor meets."""
    for bass in ways.at(low, "pot", "resistor"):
        below = far(bass, low)
        for middle in ways.at(below, "pot", "resistor"):
            nets = dict(middle.pins)
            tapped = nets.get("wiper", below)
            third = [each for each in ways.at(slope, "capacitor") if far(each, slope) == tapped]
            if bass is treble or middle in (bass, treble) or not third or far(middle, below) != GROUND:
                continue
            jobs |= {
                "middle capacitor": [_two(each, slope, "source end", "far end") for each in third],
                "bass pot": [lugs_of(bass)] if bass.kind == "pot" else [],
                "middle pot": [lugs_of(middle)] if middle.kind == "pot" else [],
                "middle resistor": [_two(middle, below, "top", "foot")] if middle.kind == "resistor" else [],
                "foot": [Spot(f"{middle.designator}.{pin_at(middle, GROUND)}")],
            }
            yield jobs
            return


def feedback_lines(signal: Signal) -> list[Jobs]:
    """The line that leads back from the output: its resistor, what it meets at its foot, presence."""
    ways = signal.ways
    loop = find_loop(ways.wired.amp) if ways.led_back else None
    starts = {ways.wired.net(place) for side in (loop.cut if loop else ()) for place in side}
    hops = ways.hops(starts)
    resistors = [each for each in ways.parts if each.kind == "resistor" and {n for _, n in each.pins} <= hops.keys()]
    sole = [
        each for each in resistors if not ways.hops(starts, without={each.designator}).keys() & signal.order.driven_at
    ]
    if not sole:
        return []
    part = min(sole, key=lambda each: (sum(hops[net] for _, net in each.pins), each.designator))
    output, foot = sorted((net for _, net in part.pins), key=lambda net: hops[net])
    shunts = [each for each in ways.at(foot, "resistor") if far(each, foot) == GROUND]
    jobs = {
        "resistor": [_two(part, output, "output end", "foot")],
        "shunt resistor": [_two(each, foot, "foot", "ground end") for each in shunts],
    }
    return [jobs | _presence(ways, foot)]


def _presence(ways: Ways, foot: str) -> Jobs:
    """A capacitor from the foot to ground, through a pot or behind its wiper."""
    for pot in ways.at(foot, "pot"):
        for net in {net for _, net in pot.pins} - {foot, GROUND}:
            found = [each for each in ways.at(net, "capacitor") if far(each, net) == GROUND]
            if found:
                return {"presence pot": [lugs_of(pot)],
                        "presence capacitor": [_two(each, net, "pot end", "ground end") for each in found]}  # fmt: skip
    found = [each for each in ways.at(foot, "capacitor") if far(each, foot) == GROUND]
    return {"presence capacitor": [_two(each, foot, "pot end", "ground end") for each in found]}


STACK_JOBS = {
    "slope resistor": "R",
    "treble capacitor": "C",
    "bass capacitor": "C",
    "middle capacitor": "C",
    "treble pot": "P",
    "bass pot": "P",
    "middle pot": "P",
    "middle resistor": "R",
    "foot": "",
}
"""What a stack is made of, each with the letter of such a part; "foot" is a lug."""

LINE_JOBS = {"resistor": "R", "shunt resistor": "R", "presence capacitor": "C", "presence pot": "P"}
"""What a feedback line is made of."""
