"""A mod with a switch of each kind in the trade, for any amp of `tests.tools.any_amps`: `switch_mod(name, made)`."""

from __future__ import annotations

from collections.abc import Callable

from tests.tools.any_amps import Lot, MadeAmp, Tables, written
from tests.tools.any_mods import VOLUMES, Bench, Edits, MadeMod, NoPlaceError

SWITCH_KINDS: dict[str, Callable[[Bench], dict[str, Edits]]] = {}


def switch_mod(name: str, made: MadeAmp) -> MadeMod | None:
    """A mod whose switch is of this kind; None where the amp has no place for it."""
    bench = Bench(made, Lot(made.seed, made.number, 77))
    try:
        positions = SWITCH_KINDS[name](bench)
    except NoPlaceError:
        return None
    entries: Tables = {"designator": "S901", "control": "by lot", "type": name, "positions": positions}
    entries |= {"shaft": _volume(bench)} if name.startswith("push") else {}
    tables: Tables = {"name": name, "reason": "Tried by lot.", "parts": bench.parts, "switches": [entries]}
    return MadeMod(name, made, {key: each for key, each in tables.items() if each})


Positions = Callable[[Bench], dict[str, Edits]]


def _kind(name: str) -> Callable[[Positions], Positions]:
    def enter(make: Positions) -> Positions:
        SWITCH_KINDS[name] = make
        return make

    return enter


def _cathode(bench: Bench) -> str:
    """A cathode resistor of a triode stage."""
    stage = bench.stage("triode stage", having=("cathode_resistor",))
    if stage is None:
        raise NoPlaceError
    return str(stage["cathode_resistor"])


def _volume(bench: Bench) -> str:
    """The first volume pot."""
    stages = [each for each in bench.made.stages(*VOLUMES) if isinstance(each.get("pot"), str)]
    if not stages:
        raise NoPlaceError
    return str(stages[0]["pot"])


def _capacitor(bench: Bench, farads: float) -> str:
    return bench.new("C", bench.lot.near(farads, 2))


def _other(bench: Bench, part: str, factor: float) -> Edits:
    return [{"replace": part, "with": written(bench.value(part) * factor)}]


def _across(bench: Bench, part: str, farads: float) -> Edits:
    return [{"fit": _capacitor(bench, farads), "across": part}]


def _bright(bench: Bench, farads: float) -> Edits:
    pot = _volume(bench)
    return [{"fit": _capacitor(bench, farads), "between": [f"{pot}.top", f"{pot}.wiper"]}]


@_kind("on-off")
def _one_contact(bench: Bench) -> dict[str, Edits]:
    return {"plain": [], "more": _across(bench, _cathode(bench), 2.2e-6)}


@_kind("SPDT")
def _change_over(bench: Bench) -> dict[str, Edits]:
    part = _cathode(bench)
    return {"as drawn": [], "colder": _other(bench, part, 1.5)}


@_kind("on-off-on")
def _centre_off(bench: Bench) -> dict[str, Edits]:
    part = _cathode(bench)
    return {"lean": _across(bench, part, 0.47e-6), "none": [], "full": _across(bench, part, 22e-6)}


@_kind("on-on-on")
def _three_values(bench: Bench) -> dict[str, Edits]:
    part = _cathode(bench)
    return {"hot": _other(bench, part, 0.7), "as drawn": [], "cold": _other(bench, part, 1.5)}


@_kind("4PDT on-on-on")
def _two_parts_in_three_ways(bench: Bench) -> dict[str, Edits]:
    load, part = bench.stage("triode stage", having=("plate_load", "cathode_resistor")), _cathode(bench)
    if load is None:
        raise NoPlaceError
    ways = [(0.8, 0.7), (1.2, 1.3), (1.5, 1.6)]
    return {f"way {k}": _other(bench, load["plate_load"], a) + _other(bench, part, b) for k, (a, b) in enumerate(ways)}


@_kind("push-pull")
def _on_the_old_shaft(bench: Bench) -> dict[str, Edits]:
    return {"in": [], "out": _bright(bench, 150e-12)}


@_kind("rotary, shorting")
def _five_ways(bench: Bench) -> dict[str, Edits]:
    part = _cathode(bench)
    return {f"{each:g} times": _other(bench, part, each) if each != 1.0 else [] for each in (0.6, 1.0, 1.4, 1.8, 2.2)}


@_kind("rotary, 2 poles, non-shorting")
def _two_poles(bench: Bench) -> dict[str, Edits]:
    part = _cathode(bench)
    return {f"step {k}": _across(bench, part, 0.33e-6 * k) + _bright(bench, 47e-12 * k) for k in (1, 2, 3, 4)}


@_kind("four-way")
def _lever(bench: Bench) -> dict[str, Edits]:
    return {"off": [], "a": _bright(bench, 47e-12), "b": _bright(bench, 100e-12), "c": _bright(bench, 270e-12)}


@_kind("DPDT on-on")
def _resistor_or_pot(bench: Bench) -> dict[str, Edits]:
    """A variable resistor in place of a fixed one."""
    part = _cathode(bench)
    control = {"track": "2.2k", "taper": "linear", "control": "trim by lot", "rotation": 0.5}
    pot = bench.new("P", control)
    row = bench.new("R", bench.value(part))
    ways = [{"lift": part}, {"fit": row, "across": part}, {"fit": pot, "in_series_at": f"{row}.2", "wired": "rising"}]
    return {"fixed": [], "trimmed": ways}
