"""Steps at the iron, made from the edits: out, in, switches, and the cold readings that catch a mistake."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from ...base.errors import DescriptionError
from ...base.wording import with_capitals
from ...circuit.amp import Amp, Edit, Pot, Socket, Switch
from ...circuit.build import Circuit, build_circuit
from ...circuit.mods import describe_part, where
from ...circuit.stages.template import GROUND
from ...simulation.operating_points import at_rest
from ...simulation.unpowered import DeadAmp, dead_amp
from ..new_parts import describe_bought, new_mods, part_put_in, rewiring_words, switches_on, work_mods
from ..parts_list.switch_need import name_in_wiring, needs_of, wiring_of
from .checks import Check, diode_checks, ground_checks, loose_part_checks, resistance_check
from .drilling import drilling_steps
from .step import Phase, Step
from .wired_names import wired_names, with_wired_names
from .working_order import ModEdit, partly_modded, working_order

_POLARISED = 1e-6  # F and more
_SURE_VOLTS = 1.0
_BLIND = " No reading in circuit would show that it is missing: buzz each joint from the part's lead to its place."


def knobs_down(amp: Amp) -> dict[str, float | str]:
    """Every knob fully down, switches as drawn: then no reading hangs on where a wiper stands."""
    return {name: 0.0 if each.kind == "knob" else each.drawn for name, each in amp.controls.items()}


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
    yield from edit.places


def reading_steps(stock: Amp, places: Sequence[str]) -> Iterator[Step]:
    """Cold readings before the iron: is this the amp of the drawing."""
    yield Step(
        Phase.BEFORE_THE_IRON,
        "Turn every knob fully down, switches as drawn, and lift the lead for the readings: the amp of the drawing "
        "reads so. What does not fit now is older than this work.",
        ground_checks(dead_amp(stock, knobs_down(stock)), places),
    )


def iron_steps(stock: Amp, modded: Amp) -> Iterator[Step]:
    """Remove, fit, and wire switches."""
    doings = working_order(work_mods(stock, modded))
    for doing in doings:
        yield from _removal_steps(stock, modded, doing.edit)
    yield from drilling_steps(stock, modded)
    for number, doing in enumerate(doings, 1):
        part = part_put_in(modded, doing.edit)
        checks = list(loose_part_checks(part, part_name(modded, doing.edit))) if part else []
        checks += diode_checks(modded, part, part_name(modded, doing.edit))
        found, blind = _in_circuit(stock, modded, doings[:number])
        if doing.edit.action not in ("lift", "cut"):
            yield Step(Phase.FIT, f"{_fit_words(modded, doing.edit)}{blind}", [*checks, *found])
    for mod in new_mods(stock, modded):
        for switch in mod.switches:
            yield from _switch_steps(modded, switch)


def _removal_steps(stock: Amp, modded: Amp, edit: Edit) -> Iterator[Step]:
    old = modded.part_by_designator.get(edit.part)
    if edit.action in ("replace", "lift") and old is not None:
        kind = describe_part(old)
        wires = ", each wire on it marked by its lug" if isinstance(old, Pot) else ""
        words = f"Take out {edit.part} ({kind}){wires}; mark it, keep it with the amp for the way back."
        yield Step(Phase.REMOVE, words, list(loose_part_checks(old, f"{edit.part}, taken out,")))
    if edit.action == "move":
        yield Step(Phase.REMOVE, f"Take the wire off {edit.opened[0]} and mark it.")
    if edit.action == "cut":
        first, second = (" and ".join(side) for side in edit.sides)
        yield Step(Phase.REMOVE, f"Cut the wire between {first} and {second}; mark both ends.")
    if edit.in_series and edit.in_series.partition(".")[0] in stock.part_by_designator:
        yield Step(
            Phase.REMOVE, f"Take the wire off {edit.in_series} and mark it; the end of the part stays where it is."
        )


def part_name(amp: Amp, edit: Edit) -> str:
    """The part that an edit puts in, with what it is."""
    part = part_put_in(amp, edit)
    return f"{edit.part} ({describe_bought(amp, part)})" if part else edit.part


def _fit_words(modded: Amp, edit: Edit) -> str:
    if edit.action == "bridge":
        return f"Bridge {' and '.join(edit.between) if edit.between else edit.part} with wire."
    if edit.action == "move":
        return f"Solder a wire from {where(edit)}."
    if edit.action == "supply":
        return f"Set {edit.part} to {edit.value:g} V, and measure it with the output valves out before they go in."
    lugs = ", each wire on its lug" if modded.part_by_designator[edit.part].kind == "pot" else ""
    place = (
        f"where {edit.part} was{lugs}" if edit.action == "replace" else f"{where(edit)}{_lug_words(modded, edit.part)}"
    )
    part = part_put_in(modded, edit)
    anew = rewiring_words(modded, part).removeprefix("; ") if isinstance(part, Socket) else ""
    place += f". {with_capitals(anew)}" if anew else ""
    buzz = "".join(f" Buzz {each.designator} first, in and out." for each in switches_on(modded, edit.part))
    return f"Fit {part_name(modded, edit)} {place}.{buzz}{plus_words(modded, edit.part)}"


def _lug_words(modded: Amp, part: str) -> str:
    """What is soldered to what, by the from-to list; nothing where no wiring was found."""
    try:
        wires = wiring_of(modded).wires
    except DescriptionError:
        return ""
    told = []
    for wire in wires:
        ends = [end for end in (wire.start, wire.end) if end.partition(".")[0] == part]
        if len(ends) == 2:
            told.append(f"{wire.start} and {wire.end.partition('.')[2]} strapped")
        elif ends and (wire.what != "wire" or wire.start == ends[0]):
            told.append(f"{ends[0]} to {wire.end if wire.start == ends[0] else wire.start}")
    return f": {', '.join(told)}" if told else ""


def plus_words(amp: Amp, part: str) -> str:
    """Which end of an electrolytic capacitor is plus, from the volts at rest of a position that has it."""
    found = amp.part_by_designator[part]
    if found.kind == "diode":
        return " The band marks the cathode (of an LED the short leg)."
    if found.kind != "capacitor" or getattr(found, "value", 0.0) < _POLARISED:
        return ""
    positions: list[dict[str, float | str]] = [{}]
    positions += [{switch.control: label} for switch in amp.all_switches for label in switch.labels]
    for position in positions:
        across = at_rest([(amp, position)], [part])[0].across
        if part in across:
            volts = across[part]
            sure = abs(volts) >= _SURE_VOLTS
            return (
                f" Plus to {_end(amp, position, part, volts)}." if sure else " A film or bipolar one, either way round."
            )
    return ""


def _end(amp: Amp, position: Mapping[str, float | str], part: str, volts: float) -> str:
    """The higher end of a part, with a place it is soldered to."""
    wired = dead_amp(amp, position).wired
    place = f"{part}.{1 if volts > 0.0 else 2}"
    others = [each for each in wired.places_by_net[wired.net(place)] if not each.startswith(f"{part}.")]
    return f"{place} (at {others[0]})" if others else place


def _in_circuit(stock: Amp, modded: Amp, done: Sequence[ModEdit]) -> tuple[list[Check], str]:
    """Resistances where the last edit was made, with the edits so far, and a word where they would not miss the part.

    None where the amp is not whole yet.
    """
    edit = done[-1].edit
    try:
        amp = partly_modded(stock, modded, done)
        dead = dead_amp(amp, knobs_down(amp))
    except DescriptionError:
        return [], _BLIND
    checks = _edit_checks(modded, dead, edit)
    part = modded.part_by_designator.get(edit.part)
    if edit.action == "bridge" or part is None or part.kind == "valve":
        return checks, ""
    without = DeadAmp(dead.wired, tuple(path for path in dead.paths if path[0] != edit.part))
    return checks, _BLIND if all(each.passes(without.ohms(each.place, each.against)) for each in checks) else ""


def _edit_checks(modded: Amp, dead: DeadAmp, edit: Edit) -> list[Check]:
    part = modded.part_by_designator.get(edit.part)
    places = [place for place in _around(dead.wired, edit) if place in dead.wired.net_by_place]
    capacitor = part is not None and part.kind == "capacitor"
    checks = [] if capacitor else ground_checks(dead, places)
    if edit.between and edit.action == "bridge":
        checks.append(resistance_check(dead, *edit.between))
    elif part is not None and part.kind in ("resistor", "capacitor", "inductor") and len(places) >= 2:
        checks.append(resistance_check(dead, places[0], places[1]))
    return checks


def _around(wired: Circuit, edit: Edit) -> Iterator[str]:
    for element in wired.elements:
        if element.designator == edit.part and element.kind != "rail":
            yield from (f"{element.designator}.{pin}" for pin, _ in element.pins)
    yield from edit.places


def _switch_steps(modded: Amp, switch: Switch) -> Iterator[Step]:
    need, *drivers = needs_of(modded, switch)
    edits_of_all = [edit for _, edits in switch.positions for edit in edits if edit.action in ("fit", "replace")]
    brought = dict.fromkeys(part for edit in edits_of_all if (part := part_put_in(modded, edit)) is not None)
    names = {part: name_in_wiring(modded, part) for part in brought}
    checks = [
        check
        for part, name in names.items()
        for check in loose_part_checks(part, f"{name} ({describe_bought(modded, part)})")
    ]
    pluses = {
        name: plus_words(modded, each.designator).replace(f"{each.designator}.", f"{name}.")
        for each, name in names.items()
    }
    plus = "".join(f" {name}:{told}" for name, told in pluses.items() if told)
    fed = (f"{each.designator} ({each.kind}): {'; '.join(each.contacts)}" for each in drivers)
    wires = "; ".join([*need.contacts, *fed])
    first = f"Buzz {switch.designator} ({need.kind}) on the bench, contact by contact, before it goes in."
    first = f"{switch.designator} ({need.kind}) is in with its pot." if switch.shaft else first
    yield Step(Phase.SWITCHES, first, checks)
    fit = f"Wire {switch.designator}" if switch.shaft else f"Fit {switch.designator} and wire it"
    yield Step(Phase.SWITCHES, f"{fit}: {wires}.{plus} Buzz each wire.")
    for label, edits in switch.positions:
        stands = knobs_down(modded) | {switch.control: label}
        dead = dead_amp(modded, stands)
        found = [check for edit in edits for check in _edit_checks(modded, dead, edit)]
        found = with_wired_names(found or ground_checks(dead, _all_places(modded, switch)), wired_names(modded, stands))
        yield Step(Phase.SWITCHES, f"Set {switch.control} to {label} and read, cold.", _once(found))


def _all_places(modded: Amp, switch: Switch) -> list[str]:
    wired = build_circuit(modded)
    return [place for _, edits in switch.positions for edit in edits for place in _ends(wired, edit)]


def _once(checks: Sequence[Check]) -> list[Check]:
    return list({check.what: check for check in checks}.values())


def cold_steps(amp: Amp, places: Sequence[str]) -> Iterator[Step]:
    """Everything once more before power: places, new knobs at both ends, shorts, earth."""
    dead = dead_amp(amp, knobs_down(amp))
    known = [place for place in places if place in dead.wired.net_by_place]
    yield Step(Phase.COLD_CHECK, "Look: no whiskers, no bare end near another, no joint left open, no tool inside.")
    words = "All knobs down, switches as drawn, discharge lead off for good. A rail near nought is a short."
    names = wired_names(amp, knobs_down(amp))
    yield Step(Phase.COLD_CHECK, words, with_wired_names(ground_checks(dead, known), names))
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
