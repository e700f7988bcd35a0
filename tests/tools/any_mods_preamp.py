"""Kinds of mod before the output stage, for `tests.tools.any_mods`."""

from __future__ import annotations

from tests.tools.any_amps import written
from tests.tools.any_mods import VOLUMES, Bench, NoPlaceError, kind


def _track(bench: Bench, *without: str) -> str:
    stage = bench.stage(*VOLUMES, without=without)
    return str(stage["pot"]) if stage else ""


@kind("bright capacitor")
def bright_capacitor(bench: Bench) -> None:
    """From the top of a volume pot to its wiper."""
    pot = _track(bench, "bright_capacitor")
    if not pot:
        raise NoPlaceError
    bright = bench.new("C", bench.lot.near(150e-12, 3))
    bench.edits.append({"fit": bright, "between": bench.lot.shuffled([f"{pot}.top", f"{pot}.wiper"])})


@kind("bright switch")
def bright_switch(bench: Bench) -> None:
    """Two capacitors, or none."""
    pot = _track(bench, "bright_capacitor")
    if not pot:
        raise NoPlaceError
    ends = [f"{pot}.top", f"{pot}.wiper"]
    little, much = (bench.new("C", bench.lot.near(each)) for each in (82e-12, 330e-12))
    bench.switch(
        "bright", "off", off=[], some=[{"fit": little, "between": ends}], more=[{"fit": much, "between": ends}]
    )


@kind("treble bleed")
def treble_bleed(bench: Bench) -> None:
    """A resistor in series with a bright capacitor."""
    pot = _track(bench, "bright_capacitor")
    if not pot:
        raise NoPlaceError
    bright, taming = bench.new("C", bench.lot.near(680e-12)), bench.new("R", bench.lot.near(150e3))
    bench.edits.append({"fit": bright, "between": [f"{pot}.top", f"{pot}.wiper"]})
    bench.edits.append({"fit": taming, "in_series_at": f"{bright}.{bench.lot.one('12')}"})


@kind("bypass switch")
def bypass_switch(bench: Bench) -> None:
    """Three-way: none, small, large; where a capacitor is there already it is lifted."""
    stage = bench.stage("triode stage", having=("cathode_resistor",), without=("bypass_resistor",))
    if not stage:
        raise NoPlaceError
    old, ohms = stage.get("cathode_bypass"), stage["cathode_resistor"]
    small, large = bench.new("C", bench.lot.near(820e-9)), bench.new("C", 22e-6)
    lift = [{"lift": old}] if old else []
    given = {"as_drawn": [], "lean": [*lift, {"fit": small, "across": ohms}]}
    given["full"] = [*lift, {"fit": large, "across": ohms}]
    bench.switch("low end", "as drawn", **given)


@kind("on-off-on")
def on_off_on(bench: Bench) -> None:
    """The middle does nothing: warmer on one side, leaner on the other."""
    stage = bench.stage("triode stage", having=("cathode_resistor",), without=("cathode_bypass",))
    if not stage:
        raise NoPlaceError
    ohms = stage["cathode_resistor"]
    beside, capacitor = bench.new("R", bench.lot.near(2.0 * bench.value(ohms))), bench.new("C", bench.lot.near(680e-9))
    bench.switch(
        "voice", "plain",
        warm=[{"fit": beside, "across": ohms}], plain=[], lean=[{"fit": capacitor, "across": ohms}],
    )  # fmt: skip


@kind("bypass capacitor")
def bypass_capacitor(bench: Bench) -> None:
    """Across a bare cathode resistor."""
    stage = bench.stage("triode stage", having=("cathode_resistor",), without=("cathode_bypass",))
    if not stage:
        raise NoPlaceError
    bench.edits.append({"fit": bench.new("C", bench.lot.near(2.2e-6, 5)), "across": stage["cathode_resistor"]})


@kind("bypass resistor")
def bypass_resistor(bench: Bench) -> None:
    """In series with a bypass capacitor."""
    stage = bench.stage("triode stage", having=("cathode_bypass",), without=("bypass_resistor",))
    if not stage:
        raise NoPlaceError
    resistor = bench.new("R", bench.lot.near(680.0, 2))
    bench.edits.append({"fit": resistor, "in_series_at": f"{stage['cathode_bypass']}.{bench.lot.one('12')}"})


@kind("coupling capacitor")
def coupling(bench: Bench) -> None:
    """Another value."""
    stage = bench.stage(having=("coupling",)) or bench.stage("coupling", having=("capacitor",))
    if not stage:
        raise NoPlaceError
    part = stage.get("coupling") or stage["capacitor"]
    bench.edits.append({"replace": part, "with": _other(bench, part, (0.2, 0.33, 3.0))})


def _other(bench: Bench, part: str, factors: tuple[float, ...]) -> str:
    """Another value for a part, by one of some factors."""
    return written(bench.lot.near(bench.value(part) * bench.lot.one(factors), 0))


@kind("plate load")
def plate_load(bench: Bench) -> None:
    """Larger or smaller."""
    stage = bench.stage("triode stage")
    if not stage:
        raise NoPlaceError
    bench.edits.append({"replace": stage["plate_load"], "with": _other(bench, stage["plate_load"], (0.68, 1.5))})


@kind("plate roll-off")
def plate_rolloff(bench: Bench) -> None:
    """A capacitor across a plate load."""
    stage = bench.stage("triode stage", without=("plate_load_capacitor",))
    if not stage:
        raise NoPlaceError
    bench.edits.append({"fit": bench.new("C", bench.lot.near(330e-12, 2)), "across": stage["plate_load"]})


@kind("grid stopper")
def grid_stopper(bench: Bench) -> None:
    """Another value."""
    stage = bench.stage("triode stage", having=("grid_stopper",))
    if not stage:
        raise NoPlaceError
    bench.edits.append({"replace": stage["grid_stopper"], "with": _other(bench, stage["grid_stopper"], (0.33, 2.0))})


@kind("grid leak")
def grid_leak(bench: Bench) -> None:
    """Another value."""
    stage = bench.stage("triode stage", having=("grid_leak",))
    if not stage:
        raise NoPlaceError
    bench.edits.append({"replace": stage["grid_leak"], "with": _other(bench, stage["grid_leak"], (0.47, 0.68))})


@kind("grid leak moved")
def grid_leak_moved(bench: Bench) -> None:
    """From before the stopper to the grid itself."""
    stage = bench.stage("triode stage", having=("grid_leak", "grid_stopper"))
    if not stage:
        raise NoPlaceError
    moved = bench.new("R", bench.value(stage["grid_leak"]))
    bench.edits.append({"lift": stage["grid_leak"]})
    bench.edits.append({"fit": moved, "between": [f"{stage['valve']}.grid", "ground"]})


@kind("track resistor")
def track_resistor(bench: Bench) -> None:
    """Across the track of a volume pot."""
    pot = _track(bench, "track_resistor", "foot_resistor")
    if not pot:
        raise NoPlaceError
    resistor = bench.new("R", bench.lot.near(560e3, 2))
    bench.edits.append({"fit": resistor, "between": [f"{pot}.top", f"{pot}.bottom"]})


@kind("stack capacitor")
def stack_capacitor(bench: Bench) -> None:
    """Another treble capacitor."""
    stage = bench.stage("tone stack")
    if not stage:
        raise NoPlaceError
    part = stage[bench.lot.one(("treble_capacitor", "bass_capacitor", "middle_capacitor"))]
    bench.edits.append({"replace": part, "with": _other(bench, part, (0.47, 2.0))})


@kind("slope resistor")
def slope_resistor(bench: Bench) -> None:
    """Another slope, by a switch that fits a resistor beside it."""
    stage = bench.stage("tone stack")
    if not stage:
        raise NoPlaceError
    beside = bench.new("R", bench.lot.near(82e3))
    bench.switch("slope", "normal", normal=[], fuller=[{"fit": beside, "across": stage["slope_resistor"]}])


@kind("stack lift")
def stack_lift(bench: Bench) -> None:
    """The foot of the stack lifted by a resistor that a switch bridges."""
    stage = bench.stage("tone stack")
    if not stage:
        raise NoPlaceError
    middle = stage["middle"]
    foot = f"{middle}.bottom" if isinstance(bench.made.tables["parts"][middle], dict) else f"{middle}.2"
    lifting = bench.new("R", bench.lot.near(150e3))
    bench.edits.append({"fit": lifting, "in_series_at": foot})
    bench.switch("stack", "normal", normal=[{"bridge": [f"{lifting}.1", f"{lifting}.2"]}], raised=[])


@kind("cathode resistor")
def cathode_resistor(bench: Bench) -> None:
    """Another value at a triode."""
    stage = bench.stage("triode stage", having=("cathode_resistor",))
    if not stage:
        raise NoPlaceError
    part = stage["cathode_resistor"]
    bench.edits.append({"replace": part, "with": _other(bench, part, (0.56, 1.8))})


@kind("valve type")
def valve_type(bench: Bench) -> None:
    """Another triode in a socket."""
    stage = bench.stage("triode stage")
    if not stage:
        raise NoPlaceError
    now = bench.made.tables["parts"][stage["valve"]]
    other = {"12AX7": "12AY7", "12AY7": "12AX7"}.get(now, "12AY7")
    bench.edits.append({"replace": stage["valve"], "with": other})


@kind("local feedback")
def local_feedback(bench: Bench) -> None:
    """From a plate back to its own grid."""
    stage = bench.stage("triode stage", having=("grid_leak",))
    if not stage:
        raise NoPlaceError
    resistor, blocking = bench.new("R", bench.lot.near(3.3e6)), bench.new("C", 10e-9)
    bench.edits.append({"fit": resistor, "between": [f"{stage['valve']}.plate", f"{stage['valve']}.grid"]})
    bench.edits.append({"fit": blocking, "in_series_at": f"{resistor}.1"})


@kind("other taper")
def other_taper(bench: Bench) -> None:
    """A pot taken out for one of another track and taper."""
    pot = _track(bench)
    if not pot:
        raise NoPlaceError
    bench.edits += [{"lift": pot}, _new_pot(bench, pot)]


def _new_pot(bench: Bench, old: str) -> dict[str, object]:
    given = bench.made.tables["parts"][old]
    track = {"250k": "500k", "500k": "1M", "1M": "500k"}.get(given["track"], given["track"])
    fresh = {"track": track, "taper": bench.lot.one(("audio 15 %", "audio 10 %")), "control": f"new {given['control']}"}
    new = bench.new("P", fresh | {"rotation": given["rotation"]})
    return {"fit": new, "pins": {pin: f"{old}.{pin}" for pin in ("top", "wiper", "bottom")}}


@kind("pull-pot")
def pull_pot(bench: Bench) -> None:
    """A pot taken out for one with a switch on its shaft, which brings a bright capacitor."""
    pot = _track(bench, "bright_capacitor")
    if not pot:
        raise NoPlaceError
    fitting = _new_pot(bench, pot)
    bench.edits += [{"lift": pot}, fitting]
    bright, new = bench.new("C", bench.lot.near(220e-12)), fitting["fit"]
    pulled = [{"fit": bright, "between": [f"{new}.top", f"{new}.wiper"]}]
    bench.switch("shine", "pushed", shaft=str(new), pushed=[], pulled=pulled)


@kind("track exchanged")
def track_exchanged(bench: Bench) -> None:
    """Another track in the same place."""
    pot = _track(bench)
    if not pot:
        raise NoPlaceError
    bench.edits.append({"replace": pot, "with": "470k" if bench.value(pot) != 470e3 else "1M"})


@kind("master added")
def master_added(bench: Bench) -> None:
    """A variable resistor to ground behind a coupling capacitor and a resistor, with a capacitor to the grid."""
    stage = bench.stage("split-load inverter", "long-tailed pair", having=("coupling",))
    if not stage:
        raise NoPlaceError
    row, coupling = bench.new("R", bench.lot.near(220e3)), bench.new("C", 47e-9)
    pot = bench.new("P", {"track": "1M", "taper": "audio 10 %", "control": "added master", "rotation": 0.5})
    bench.edits += [
        {"fit": row, "in_series_at": f"{stage['coupling']}.2"},
        {"fit": coupling, "in_series_at": f"{row}.2"},
        {"fit": pot, "between": [f"{row}.2", "ground"], "wired": "rising"},
    ]
