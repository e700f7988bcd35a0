"""Cold readings: before the iron, after each edit, and everything once more before power."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from ...base.errors import DescriptionError
from ...circuit.amp import Amp, Edit, Pot, Switch
from ...circuit.build import Circuit, build_circuit
from ...circuit.conductances import Branch
from ...circuit.designators import part_of
from ...circuit.positions import setting_clause
from ...circuit.stages.template import GROUND
from ...simulation.unpowered import DeadAmp, dead_amp
from ..new_parts import new_mods
from ..wiring.wanted_lugs import bridged_lugs
from .checks import Check, ground_checks, resistance_check
from .cold_signs import part_slips, slip_signs, track_slips
from .step import Phase, Step
from .wired_names import wired_names, with_wired_names
from .working_order import ModEdit, partly_modded

_BLIND = " No reading in circuit would show that it is missing: buzz each joint from the part's lead to its place."


def knobs_down(amp: Amp) -> dict[str, float | str]:
    """Every knob fully down, switches as drawn: then no reading hangs on where a wiper stands.

    A relay that is drawn pulled in has let go without power.
    """
    down = {name: 0.0 if each.kind == "knob" else each.drawn for name, each in amp.controls.items()}
    return down | {each.control: each.labels[0] for each in amp.all_switches if each.coil is not None}


def _switches_stand(amp: Amp) -> str:
    """Where switches stand for a cold reading, in words."""
    drawn = [each for each in amp.all_switches if each.coil is not None and each.drawn != each.labels[0]]
    told = "".join(f", {setting_clause(each.control, each.labels[0])}" for each in drawn)
    return f"switches as drawn{told}{' (without power a relay lets go)' if told else ''}"


def places_touched(stock: Amp, modded: Amp) -> tuple[str, ...]:
    """The rails of the stock amp, and a place on every other net that the work touches."""
    wired = build_circuit(stock)
    nets = {wired.net(rail.name): rail.name for rail in stock.rails}
    for mod in new_mods(stock, modded):
        for edit in mod.every_edit():
            for place in _ends(wired, edit):
                nets.setdefault(wired.net_by_place.get(place, ""), place)
    return tuple(place for net, place in nets.items() if net not in ("", GROUND))


def _ends(wired: Circuit, edit: Edit) -> Iterator[str]:
    """Places that an edit takes hold of."""
    parts = [edit.across, edit.part if edit.action != "fit" else ""]
    for element in (*wired.elements, *wired.removed):
        if element.designator in parts and element.kind != "rail":
            yield from (f"{element.designator}.{pin}" for pin, _ in element.pins)
    yield from edit.places if edit.action != "bridge" else bridged_lugs(wired.amp, edit)


def reading_steps(stock: Amp, places: Sequence[str]) -> Iterator[Step]:
    """Cold readings before the iron: is this the amp of the drawing."""
    yield Step(
        Phase.BEFORE_THE_IRON,
        f"Turn every knob fully down, {_switches_stand(stock)}, and lift the lead for the readings: the amp of the "
        "drawing reads so. What does not fit now is older than this work.",
        ground_checks(dead_amp(stock, knobs_down(stock)), places),
    )


@dataclass(frozen=True)
class InCircuit:
    """Readings where an edit was made, a word where they would not miss its part, and what shows when it went wrong."""

    checks: tuple[Check, ...] = ()
    blind: str = ""
    wrong: tuple[str, ...] = ()


def readings_in_circuit(
    stock: Amp, modded: Amp, done: Sequence[ModEdit], idle: Collection[str] = (), loose: Collection[str] = ()
) -> InCircuit:
    """Resistances where the last edit was made, with the edits so far; none where the amp is not whole yet.

    Parameters
    ----------
    stock, modded : Amp
    done : sequence of ModEdit
        What is done so far.
    idle : collection of str
        Parts that carry no current: out of the amp, or with a lead that is soldered to nothing else so far.
    loose : collection of str
        Lugs of pots that are soldered to nothing so far.
    """
    edit = done[-1].edit
    if edit.part in idle:
        return InCircuit(blind=_BLIND)
    try:
        amp = partly_modded(stock, modded, done)
        whole = dead_amp(amp, knobs_down(amp))
    except DescriptionError:
        return InCircuit(blind=_BLIND)
    dead = DeadAmp(whole.wired, tuple(path for path in _with_loose(whole, loose) if path[0] not in idle))
    checks = [check for check in edit_checks(modded, dead, edit) if not {check.place, check.against} & set(loose)]
    part = modded.part_by_designator.get(edit.part)
    if edit.action == "bridge" or part is None or part.kind == "valve":
        return InCircuit(tuple(checks))
    without = DeadAmp(dead.wired, tuple(path for path in dead.paths if path[0] != edit.part))
    missed = all(each.passes(without.ohms(each.place, each.against)) for each in checks)
    slips = list(part_slips(modded, dead, edit.part))
    if isinstance(part, Pot) and edit.action == "fit" and not any(part_of(lug) == edit.part for lug in loose):
        slips += track_slips(amp, knobs_down(amp), part)
    return InCircuit(tuple(checks), _BLIND if missed else "", tuple(slip_signs(checks, slips)))


def _with_loose(whole: DeadAmp, loose: Collection[str]) -> Iterator[tuple[str, Branch]]:
    """The paths of an amp in which some lugs of pots are on no wire."""
    own = {(part_of(lug), whole.wired.net_by_place.get(lug, "")): lug for lug in loose}
    for part, branch in whole.paths:
        first, second, ohms = branch
        yield part, (own.get((part, first), first), own.get((part, second), second), ohms)


def edit_checks(modded: Amp, dead: DeadAmp, edit: Edit) -> list[Check]:
    """The readings that show one edit, with the amp as it then is."""
    part = modded.part_by_designator.get(edit.part)
    places = [place for place in _around(dead.wired, edit) if place in dead.wired.net_by_place]
    capacitor = part is not None and part.kind == "capacitor"
    checks = [] if capacitor else ground_checks(dead, places)
    if edit.action == "bridge":
        first, second = bridged_lugs(modded, edit)
        checks.append(resistance_check(dead, first, second))
    elif part is not None and part.kind in ("resistor", "capacitor", "inductor") and len(places) >= 2:
        checks.append(resistance_check(dead, places[0], places[1]))
    return checks


def _around(wired: Circuit, edit: Edit) -> Iterator[str]:
    for element in wired.elements:
        if element.designator == edit.part and element.kind != "rail":
            yield from (f"{element.designator}.{pin}" for pin, _ in element.pins)
    yield from edit.places if edit.action != "bridge" else bridged_lugs(wired.amp, edit)


def all_places(modded: Amp, switch: Switch) -> list[str]:
    """Every place that any position of a switch takes hold of."""
    wired = build_circuit(modded)
    return [place for _, edits in switch.positions for edit in edits for place in _ends(wired, edit)]


def distinct_checks(checks: Sequence[Check]) -> list[Check]:
    """The checks, those of the same words once."""
    return list({check.what: check for check in checks}.values())


def still_there(wired: Circuit, place: str) -> str:
    """A place on the same piece of wire whose part is not taken out."""
    out = {each.designator for each in wired.removed}
    if place.partition(".")[0] not in out:
        return place
    others = [each for each in wired.places_by_net[wired.net(place)] if each.partition(".")[0] not in out]
    return next(iter(others), place)


def cold_steps(amp: Amp, places: Sequence[str]) -> Iterator[Step]:
    """Everything once more before power: places, new knobs at both ends, shorts, earth."""
    dead = dead_amp(amp, knobs_down(amp))
    known = [still_there(dead.wired, place) for place in places if place in dead.wired.net_by_place]
    yield Step(Phase.COLD_CHECK, "Look: no whiskers, no bare end near another, no joint left open, no tool inside.")
    words = f"All knobs down, {_switches_stand(amp)}, discharge lead off for good. A rail near nought is a short."
    names = wired_names(amp, knobs_down(amp))
    checks = with_wired_names(ground_checks(dead, known), names)
    yield Step(Phase.COLD_CHECK, words, checks, "meter")
    for mod in amp.mods:
        for part in mod.parts:
            if isinstance(part, Pot) and part.designator in {each.designator for each in dead.wired.elements}:
                up = dead_amp(amp, knobs_down(amp) | {part.control: 1.0})
                pins = [f"{part.designator}.{pin}" for pin in ("top", "bottom")]
                checks = [resistance_check(up, *pins), *ground_checks(up, pins)]
                yield Step(Phase.COLD_CHECK, f"Turn {part.control} fully up and read.", checks)
    earth = Check("earth pin of the mains plug to chassis", 0.1, 0.0, 0.5, "ohm")
    yield Step(
        Phase.COLD_CHECK, "Fuse of the rated value and kind in its holder; mains lead whole; earth sound.", [earth]
    )
