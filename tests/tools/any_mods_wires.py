"""Kinds of mod that work on wires and on the supply, for `tests.tools.any_mods`."""

from __future__ import annotations

from ampsim.base.quantities import OHM, parse_value
from ampsim.circuit.transformer import tap_pin
from tests.tools.any_mods import OUTPUTS, VOLUMES, Bench, NoPlaceError, kind


@kind("wire cut and mended")
def wire_cut(bench: Bench) -> None:
    """The foot of a volume pot off ground, a resistor in between."""
    foot, floor = _foot(bench), bench.new("R", bench.lot.near(22e3))
    bench.edits.append({"cut": bench.lot.shuffled([foot, "ground"])})
    bench.edits.append({"fit": floor, "between": bench.lot.shuffled([foot, "ground"])})


@kind("foot switch of a pot")
def foot_switch(bench: Bench) -> None:
    """A switch that takes the foot of a volume pot off ground and puts it on a resistor."""
    foot, floor = _foot(bench), bench.new("R", bench.lot.near(47e3))
    bench.switch("floor", "down", down=[], up=[{"cut": [foot, "ground"]}, {"fit": floor, "between": [foot, "ground"]}])


@kind("network with a node of its own")
def own_node(bench: Bench) -> None:
    """A capacitor and a pot to ground from a plate, met at a new wire."""
    stage = bench.stage("triode stage")
    if not stage:
        raise NoPlaceError
    pot = bench.new("P", {"track": "500k", "taper": "linear", "control": "cut by lot", "rotation": 0.3})
    capacitor = bench.new("C", bench.lot.near(470e-12))
    bench.nets.append("node")
    fits = [{"fit": capacitor, "between": [f"{stage['valve']}.plate", "node"]}]
    fits.append({"fit": pot, "between": ["node", "ground"], "wired": bench.lot.one(["rising", "falling"])})
    bench.edits += bench.lot.shuffled(fits)


@kind("load on another tap")
def other_tap(bench: Bench) -> None:
    """The loudspeaker moved to another tap, the feedback line left where it is."""
    taps, load = _taps(bench)
    bench.edits.append({"move": f"{load}.1", "to": bench.lot.one(taps)})


@kind("another rail voltage")
def other_rail(bench: Bench) -> None:
    """The first rail with volts of its own at some per cent less."""
    rail = next(each for each in bench.made.tables["rails"] if "volts" in each)
    bench.edits.append({"rail": rail["name"], "volts": round(0.93 * float(rail["volts"]), 1)})


@kind("another track and taper")
def other_taper(bench: Bench) -> None:
    """A volume pot of other letters."""
    stage = bench.stage(*VOLUMES)
    if not stage:
        raise NoPlaceError
    bench.edits.append({"replace": stage["pot"], "with": bench.lot.one(["A250k", "B500k", "C1M"])})


def _foot(bench: Bench) -> str:
    """The end on ground of a volume pot."""
    stage = bench.stage(*VOLUMES, without=("foot_resistor",))
    if not stage:
        raise NoPlaceError
    return f"{stage['pot']}.bottom"


def _taps(bench: Bench) -> tuple[list[str], str]:
    """The taps that the load does not hang on, and the load."""
    for stage in bench.made.stages(*OUTPUTS):
        name, load = stage["transformer"], next(iter(bench.made.stages("load")), {}).get("load")
        ohms = bench.made.tables["parts"][name]["taps"]
        taps = [tap_pin(parse_value(each, OHM)) for each in (ohms if isinstance(ohms, list) else [ohms])]
        others = [f"{name}.{tap}" for tap in taps if tap != stage.get("tap", taps[-1])]
        if others and isinstance(load, str):
            return others, load
    raise NoPlaceError
