"""Kinds of mod at the output stage, its feedback and the supply, for `tests.tools.any_mods`."""

from __future__ import annotations

from tests.tools.any_amps import written
from tests.tools.any_mods import OUTPUTS, Bench, NoPlaceError, kind


def _near(bench: Bench, value: float) -> str:
    return written(bench.lot.near(value, 0))


@kind("feedback resistor replaced")
def feedback_replaced(bench: Bench) -> None:
    """Less or a little more feedback."""
    line = bench.feedback()
    if not line:
        raise NoPlaceError
    factor = bench.lot.one((0.68, 1.8, 3.3))
    bench.edits.append({"replace": line.resistor, "with": _near(bench, bench.value(line.resistor) * factor)})


@kind("feedback resistor paralleled")
def feedback_paralleled(bench: Bench) -> None:
    """A resistor across the one that is there."""
    line = bench.feedback()
    if not line:
        raise NoPlaceError
    resistor = bench.new("R", bench.lot.near(bench.value(line.resistor) * 2.2))
    bench.edits.append({"fit": resistor, "across": line.resistor})


@kind("feedback resistor in series")
def feedback_series(bench: Bench) -> None:
    """A resistor in a row with the one that is there."""
    line = bench.feedback()
    if not line:
        raise NoPlaceError
    bench.edits.append({"fit": bench.new("R", bench.lot.near(bench.value(line.resistor))), "in_series_at": line.start})


@kind("feedback lifted")
def feedback_lifted(bench: Bench) -> None:
    """Without."""
    line = bench.feedback()
    if not line:
        raise NoPlaceError
    bench.edits.append({"lift": line.resistor})


@kind("feedback switched")
def feedback_switched(bench: Bench) -> None:
    """Three-way: as drawn, half, none."""
    line = bench.feedback()
    if not line:
        raise NoPlaceError
    half = [{"replace": line.resistor, "with": _near(bench, bench.value(line.resistor) * 2.2)}]
    bench.switch("feedback", "as drawn", as_drawn=[], half=half, none=[{"lift": line.resistor}])


@kind("feedback at another tap")
def feedback_moved(bench: Bench) -> None:
    """The same resistance to a smaller tap."""
    line = bench.feedback()
    if not line or line.depth:
        raise NoPlaceError
    transformer, _, used = line.tap.partition(".tap")
    taps = [each for each in bench.made.tables["parts"][transformer]["taps"] if each != used]
    if not taps:
        raise NoPlaceError
    moved = bench.new("R", bench.value(line.resistor))
    other = f"{transformer}.tap{bench.lot.one(taps)}"
    bench.edits += [{"lift": line.resistor}, {"fit": moved, "between": [other, line.entry]}]


@kind("feedback roll-off")
def feedback_rolloff(bench: Bench) -> None:
    """A small capacitor across the feedback resistor, by a switch."""
    line = bench.feedback()
    if not line:
        raise NoPlaceError
    lead = bench.new("C", bench.lot.near(100e-12))
    bench.switch("air", "out", out=[], fitted=[{"fit": lead, "across": line.resistor}])


@kind("depth")
def depth(bench: Bench) -> None:
    """A pot in the feedback line with a capacitor across it."""
    line = bench.feedback()
    if not line:
        raise NoPlaceError
    control = {"track": "500k", "taper": "audio 10 %", "control": "low girth", "rotation": 0.0}
    pot, capacitor = bench.new("P", control), bench.new("C", bench.lot.near(5.6e-9))
    bench.edits += [
        {"fit": pot, "in_series_at": line.start, "wired": "rising"},
        {"fit": capacitor, "across": pot},
    ]


@kind("presence")
def presence(bench: Bench) -> None:
    """A capacitor with a pot from where the feedback comes in to ground."""
    line = bench.feedback()
    if not line or any("presence_capacitor" in each for each in bench.made.stages("feedback")):
        raise NoPlaceError
    control = {"track": "4.7k", "taper": "linear", "control": "sheen", "rotation": 0.2}
    capacitor, pot = bench.new("C", bench.lot.near(120e-9)), bench.new("P", control)
    bench.edits += [
        {"fit": capacitor, "between": [line.entry, "ground"]},
        {"fit": pot, "in_series_at": f"{capacitor}.2", "wired": "falling"},
    ]


@kind("screen stopper")
def screen_stopper(bench: Bench) -> None:
    """Larger ones."""
    stage = bench.stage(*OUTPUTS)
    roles = [role for role in stage if role.startswith("screen_resistor")] if stage else []
    if not stage or not roles:
        raise NoPlaceError
    bench.edits += [{"replace": stage[role], "with": "1k"} for role in roles]


@kind("output cathode resistor")
def output_cathode(bench: Bench) -> None:
    """A cooler output stage."""
    stage = bench.stage(*OUTPUTS)
    roles = [role for role in stage if role.startswith("cathode_resistor")] if stage else []
    if not stage or not roles:
        raise NoPlaceError
    bench.edits += [{"replace": stage[role], "with": _near(bench, bench.value(stage[role]) * 1.2)} for role in roles]


@kind("bias switch")
def bias_switch(bench: Bench) -> None:
    """Cooler in one position: resistors in series that the other bridges."""
    stage = bench.stage(*OUTPUTS, having=("cathode_resistor",))
    if not stage:
        raise NoPlaceError
    part = stage["cathode_resistor"]
    row = bench.new("R", bench.lot.near(bench.value(part) / 3.0))
    bench.edits.append({"fit": row, "in_series_at": f"{part}.2"})
    bench.switch("bias", "hot", hot=[{"bridge": [f"{row}.1", f"{row}.2"]}], cool=[])


@kind("triode switch")
def triode_switch(bench: Bench) -> None:
    """Screens to the plates, by resistors of their own."""
    stage = bench.stage(*OUTPUTS, without=("triode_connected",))
    roles = [role for role in stage if role.startswith("screen_resistor")] if stage else []
    if not stage or not roles:
        raise NoPlaceError
    edits = []
    for role in roles:
        valve = stage[role.replace("screen_resistor", "valve")]
        own = bench.new("R", 220.0)
        edits += [{"lift": stage[role]}, {"fit": own, "between": [f"{valve}.plate", f"{valve}.screen"]}]
    bench.switch("mode", "pentode", pentode=[], triode=edits)


@kind("output coupling")
def output_coupling(bench: Bench) -> None:
    """Other coupling capacitors at the output valves."""
    stage = bench.stage(*OUTPUTS)
    if not stage:
        raise NoPlaceError
    value = _near(bench, 47e-9 * bench.lot.one((0.22, 0.47, 2.2)))
    bench.edits += [{"replace": stage[role], "with": value} for role in stage if role.startswith("coupling")]


@kind("snubber")
def snubber(bench: Bench) -> None:
    """A damping network across the primary."""
    stage = bench.stage(*OUTPUTS, without=("snubber_resistor",))
    if not stage:
        raise NoPlaceError
    primary = stage["transformer"]
    capacitor, resistor = bench.new("C", bench.lot.near(1e-9)), bench.new("R", bench.lot.near(10e3))
    bench.edits.append({"fit": capacitor, "between": [f"{primary}.primary_a", f"{primary}.primary_b"]})
    bench.edits.append({"fit": resistor, "in_series_at": f"{capacitor}.1"})


@kind("supply filter")
def supply_filter(bench: Bench) -> None:
    """A larger reservoir."""
    rail = bench.lot.one([each for each in bench.made.tables["rails"] if isinstance(each.get("reservoir"), str)])
    part = rail["reservoir"]
    bench.edits.append({"replace": part, "with": _near(bench, bench.value(part) * bench.lot.one((0.68, 2.2)))})


@kind("supply resistor")
def supply_resistor(bench: Bench) -> None:
    """A resistor beside the one that feeds a rail."""
    rail = bench.lot.one([each for each in bench.made.tables["rails"] if "from" in each])
    part = bench.lot.one([rail["through"]] if isinstance(rail["through"], str) else rail["through"])
    bench.edits.append({"fit": bench.new("R", bench.lot.near(bench.value(part) * 3.3)), "across": part})
