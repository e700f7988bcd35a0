"""Parts that are drawn as several symbols: bridges, mains transformers, tapped pots, opto-couplers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from ...circuit.supply.mains_edges import DIODES
from .items import Item


def drawn_items(item: Item) -> Iterator[Item]:
    """An item as it is; bridge and rectifier valve as their diodes, a mains transformer as its windings.

    A tapped pot is drawn as the track above its tap, with the wiper, and that below it.
    """
    if item.kind == "opto-coupler":
        diode = tuple((pin, item.net(pin)) for pin in ("anode", "cathode"))
        yield replace(item, name=f"{item.name} (diode)", kind="diode", pins=diode)
        ends = (("1", item.net("cell1")), ("2", item.net("cell2")))
        yield replace(item, name=f"{item.name} (cell)", kind="resistor", pins=ends)
        return
    if item.kind in ("lamp", "light-dependent resistor", "thermistor"):
        yield replace(item, kind="resistor", look=item.kind)
    elif item.kind == "mains transformer":
        yield from _windings(item)
    elif item.kind in DIODES:
        look = "vacuum diode" if item.kind == "rectifier valve" else ""
        for number, (anode, cathode) in enumerate(DIODES[item.kind], 1):
            pins = (("anode", item.net(anode)), ("cathode", item.net(cathode)))
            yield replace(item, name=f"{item.name} ({number})", kind="diode", pins=pins, look=look)
    elif item.kind == "pot" and any(pin == "tap" for pin, _ in item.pins):
        yield from _tapped(item)
    else:
        yield item


def _tapped(item: Item) -> Iterator[Item]:
    pins = tuple((pin, item.net("tap" if pin == "bottom" else pin)) for pin in ("top", "wiper", "bottom"))
    yield replace(item, pins=pins, words=(*item.words, "the wiper runs over both stretches"))
    lower = (("1", item.net("tap")), ("2", item.net("bottom")))
    yield replace(item, name=f"{item.name} (below its tap)", kind="resistor", pins=lower, words=())


def _windings(item: Item) -> Iterator[Item]:
    """The windings of a mains transformer, from tap to tap."""
    for name in dict.fromkeys(pin.rpartition("_")[0] for pin, _ in item.pins):
        nets = [(pin.rpartition("_")[2], net) for pin, net in item.pins if pin.rpartition("_")[0] == name]
        words = next((word for word in item.words if word.startswith(f"{name} ")), "")
        for number, ((upper, first), (lower, second)) in enumerate(pairwise(nets)):
            if first != second:
                place = f"{item.name} ({name} {upper} to {lower})"
                pins = (("1", first), ("2", second))
                yield replace(item, name=place, kind="inductor", pins=pins, words=(words,) if not number else ())
