"""Rules for parts hold where the circuit says so: the same in every amp, however it is written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache

import pytest

from ampsim.circuit.amp import Amp, Edit, Mod, Part, Pot
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.neighbours import feeds_from_supply, input_valves
from ampsim.circuit.nets import reachable_nets
from ampsim.circuit.output_stage import output_valves
from ampsim.circuit.stages.template import GROUND, rail_net
from ampsim.library.loader import load_amp
from ampsim.simulation.operating_points import at_rest
from ampsim.studies.ratings.simulate import stress
from ampsim.studies.ratings.usual import FILM_VOLTS
from ampsim.work.parts_list.lines import PartLine
from ampsim.work.parts_list.parts_list import parts_list
from ampsim.work.parts_list.ratings_needed import Surroundings
from ampsim.work.parts_list.surroundings import surroundings
from tests.tools.any_amps import MadeAmp, made_amp
from tests.tools.equal_forms import equal_amps

AMPS = range(10)
SEED = 13


@lru_cache(maxsize=32)
def made(number: int) -> MadeAmp:
    return made_amp(SEED, number)


def stands(amp: Amp, part: Part | Pot) -> Surroundings:
    return surroundings(amp, part, [({}, build_circuit(amp))])


def parts_of(amp: Amp, kind: str) -> list[Part | Pot]:
    inside = {each.designator for each in build_circuit(amp).elements}
    known = (each for each in amp.parts if isinstance(each, (Part, Pot)) and each.kind == kind)
    return [each for each in known if each.designator in inside]


def test_a_leak_moves_a_bias_only_where_the_wires_lead_to_a_grid() -> None:
    """Where no direct current gets to a grid no bias moves; behind a capacitor between plate and grid it does."""
    coupled = [name for number in AMPS for name in coupling_capacitors(made(number).amp)]
    assert len(coupled) > 5


def coupling_capacitors(amp: Amp) -> Iterator[str]:
    """Check every capacitor of an amp; those between direct volts and a grid that no cathode holds."""
    wired = build_circuit(amp)
    grids = {each.net("grid") for each in wired.elements if each.kind == "valve"}
    cathodes = {each.net("cathode") for each in wired.elements if each.kind == "valve"}
    resistive = [each for each in wired.elements if each.kind in ("resistor", "pot", "inductor")]
    dead = {GROUND, *(rail_net(rail.name) for rail in amp.rails)}
    for part in parts_of(amp, "capacitor"):
        where = stands(amp, part)
        ends = {wired.net(f"{part.designator}.{end}") for end in "12"}
        reached = set(reachable_nets(resistive, ends - dead, dead))
        if where.dc_volts < 1.0 or not ends - dead:
            assert not where.grids or ends <= dead, (part, where)
        elif not reached & grids and part.value < 1e-6:
            assert not where.grids, (part, where)
        elif ends & grids and not ends & dead and where.dc_volts > 20.0 and not reached & cathodes:
            yield part.designator
            assert where.grids, (part, where)


@pytest.mark.parametrize("number", AMPS[:3])
def test_the_same_part_stands_at_the_same_place_however_the_amp_is_written(number: int) -> None:
    first = made(number)
    for other in equal_amps(first):
        amp = other.made.amp
        for part in (each for kind in ("resistor", "capacitor", "pot") for each in parts_of(first.amp, kind)):
            name = other.names.get(part.designator, part.designator)
            if part.designator in other.split or not isinstance(amp.part_by_designator.get(name), (Part, Pot)):
                continue
            one, two = stands(first.amp, part), stands(amp, amp.part_by_designator[name])  # type: ignore[arg-type]
            assert _comparable(one, other.names) == _comparable(two, {}), (other.form, part)


def _comparable(each: Surroundings, names: Mapping[str, str]) -> Surroundings:
    """With valves as they are called in the other amp, and no end: a part may be turned round."""

    def renamed(valves: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(sorted(names.get(valve, valve) for valve in valves))

    return replace(each, grids=renamed(each.grids), first_valves=renamed(each.first_valves), plus="", **_rounded(each))


def _rounded(each: Surroundings) -> dict[str, float]:
    return {name: float(f"{max(getattr(each, name), 1e-6):.3g}") for name in ("short_watts", "dc_volts")}


@pytest.mark.parametrize("number", AMPS)
def test_the_first_and_the_last_valves_are_those_that_the_wires_show(number: int) -> None:
    wired = build_circuit(made(number).amp)
    stages = [each["name"] for each in made(number).stages("triode stage", "free wiring")]
    first = {each.stage for each in wired.elements if each.designator in input_valves(wired)}
    assert first == {stages[0]}
    outputs = {each["name"] for each in made(number).stages("push-pull output", "single-ended output")}
    assert {each.stage for each in wired.elements if each.designator in output_valves(wired)} == outputs


def lines(amp: Amp, *edits: Edit, parts: tuple[Part | Pot, ...] = ()) -> dict[str, PartLine]:
    modded = apply_mods(amp, Mod("tried", "a test", parts, edits, ()))
    found = parts_list(amp, modded, [{}], response=stress([amp, modded], [{}]))
    return {each.part: each for each in found.lines}


def test_the_kind_of_capacitor_follows_its_place_not_its_value() -> None:
    """A megohm behind 1 uF is a grid; a cathode behind 680n is none."""
    amp = load_amp("workshop-a")
    bypass, coupling = Part("C301", "capacitor", 680e-9), Edit("replace", "C3", 1e-6)
    found = lines(amp, Edit("fit", "C301", across="R7"), coupling, parts=(bypass,))
    assert found["C301"].rating.volts < FILM_VOLTS
    assert "grid" not in found["C301"].rating.why
    assert "bias" not in found["C301"].rating.why
    assert found["C3"].rating.make.startswith("film")
    assert "move the bias of V2A" in found["C3"].rating.why
    rest = at_rest([(amp, {})], ["C3"])[0].across["C3"]
    assert found["C3"].rating.volts >= 1.1 * abs(rest)


def test_a_pot_that_sets_the_bias_is_meant_to_have_direct_volts() -> None:
    """A trimmer from the bias rail is; no pot of the generated amps, which all carry signal."""
    for number in AMPS:
        wired = build_circuit(made(number).amp)
        pots = [each.designator for each in wired.elements if each.kind == "pot"]
        assert not [name for name in pots if feeds_from_supply(wired, name)]
    amp = next(made(n).amp for n in AMPS if any(rail.name == "bias" for rail in made(n).amp.rails))
    trimmer = Pot("P9990", 1e5, "linear", "trim", 0.5)
    edit = Edit("fit", "P9990", pins=(("top", "ground"), ("wiper", "bias"), ("bottom", "bias")))
    trimmed = apply_mods(amp, Mod("trim", "a test", (trimmer,), (edit,), ()))
    assert feeds_from_supply(build_circuit(trimmed), "P9990")
    assert stands(trimmed, trimmer).sets_supply
