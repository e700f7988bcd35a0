"""Steps at the iron, made from the edits: parts out, parts in; pots and switches prepared, fitted and wired."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from ...base.errors import DescriptionError
from ...base.wording import join_words, with_capitals
from ...circuit.amp import Amp, Edit, Pot, Socket
from ...circuit.designators import part_of
from ...circuit.mods import describe_part, where
from ..new_parts import body_name, in_one_body, part_name, part_put_in, rewiring_words, work_mods
from ..parts_list.switch_need import wiring_of
from ..wiring.difference import rewired
from ..wiring.wanted_lugs import bridged_lugs
from .bodies import Bodies, bodies_of, fit_bodies, prepare_bodies, wire_switches
from .checks import Check, diode_checks, loose_part_checks
from .cold_readings import readings_in_circuit
from .drilling import drilling_steps
from .mounted import at_words, cut_words, in_words, is_plugged, on_board, out_words
from .polarity import plus_words
from .step import Phase, Step
from .working_order import ModEdit, working_order


def iron_steps(stock: Amp, modded: Amp) -> Iterator[Step]:
    """Remove, prepare, fit and wire."""
    bodies = bodies_of(stock, modded)
    doings = working_order(work_mods(stock, modded))
    edits = [doing.edit for doing in doings]
    loose = _loosened(stock, modded, edits)
    lifted = on_lifted_board(stock, modded, edits, [lug for lug, _ in loose])
    if lifted:
        yield lift_step(lifted)
    for doing in doings:
        yield from _removal_steps(stock, modded, doing.edit, in_one_body(stock, doing.edit, edits))
    yield from prepare_bodies(modded, bodies)
    yield from drilling_steps(stock, modded)
    first = [doing for doing in doings if not bodies.holds(doing.edit)]
    # A pot is wired after the plain parts are in: what is soldered to it comes with it.
    order = [*first, *(doing for doing in doings if doing not in first)]
    for number in range(1, len(first) + 1):
        yield from _fit_steps(stock, modded, order, number, Phase.FIT, bodies)
    yield from fit_bodies(stock, modded, bodies)
    for number in range(len(first) + 1, len(order) + 1):
        yield from _fit_steps(stock, modded, order, number, Phase.WIRE, bodies)
    for lug, at in loose:  # not before the readings above, which know of no switch
        tool, how = _off_words(stock, lug)
        words = f"Take {lug} off {at}: where it goes from now on, its switch says."
        yield Step(Phase.WIRE, words, tool=tool, how=how)
    yield from wire_switches(stock, modded)
    if lifted:
        yield lower_step(Phase.WIRE)


def parts_touched(stock: Amp, modded: Amp) -> tuple[str, ...]:
    """The parts of the stock amp that the work takes hold of, in the order of the work."""
    edits = [edit for mod in work_mods(stock, modded) for edit in mod.every_edit()]
    names = [name for edit in edits for name in (edit.part, edit.across, *(p.partition(".")[0] for p in edit.places))]
    return tuple(name for name in dict.fromkeys(names) if name in stock.part_by_designator)


def lift_step(parts: Sequence[str]) -> Step:
    """The board comes up once for all that must be reached from below."""
    how = (
        "Photograph every wire and connector on it first. Undo only what holds it; unplug connectors by their "
        "body; wires that are too short come off, marked, rather than being pulled. Prop it so that no joint bends.",
    )
    return Step(
        Phase.REMOVE, f"Lift the board, once for all: {join_words(parts)}.", tool="screwdriver, camera", how=how
    )


def lower_step(phase: Phase) -> Step:
    """The board goes back when everything on it is soldered."""
    how = (
        "Look along its underside: no lead longer than 2 mm, no splash of solder, nothing that can touch the chassis. "
        "Every spacer, screw, earth washer and connector is back where the photographs show it.",
    )
    return Step(phase, "Put the board back.", tool="screwdriver, cutter", how=how)


def _loosened(stock: Amp, modded: Amp, edits: Sequence[Edit]) -> list[tuple[str, str]]:
    """Lugs that come off their wire for a switch, each with where it was; other edits have steps of their own."""
    change = rewired(stock, modded)
    known = {lug for edit in edits for lug in edit.opened}
    return [(lug, at) for lug, at in (change.back if change else ()) if lug not in known]


def on_lifted_board(stock: Amp, modded: Amp, edits: Sequence[Edit], lugs: Sequence[str] = ()) -> list[str]:
    """The parts on a board that come out, are exchanged, or lose a wire: what is only added can be done from above.

    Parameters
    ----------
    stock, modded : Amp
    edits : sequence of Edit
        What the iron does.
    lugs : sequence of str
        What comes off its wire besides.
    """
    named = [edit.part for edit in edits if edit.action in ("replace", "lift") and not is_plugged(modded, edit.part)]
    named += [part_of(lug) for lug in (*(lug for edit in edits for lug in edit.opened), *lugs)]
    own = stock.part_by_designator
    return [part for part in dict.fromkeys(named) if part in own and on_board(stock, part)]


def _removal_steps(stock: Amp, modded: Amp, edit: Edit, body: Sequence[str]) -> Iterator[Step]:
    known = modded.part_by_designator
    if edit.action in ("replace", "lift") and edit.part in known and edit.part == body[0]:
        kind = " and ".join(dict.fromkeys(describe_part(known[name]) for name in body))
        wires = ", each wire on it marked by its lug" if isinstance(known[edit.part], Pot) else ""
        words = f"Take out {body_name(body)} ({kind}){wires}; mark it, keep it with the amp for the way back."
        tool, how = out_words(stock, edit.part)
        checks = [check for name in body for check in loose_part_checks(known[name], f"{name}, taken out,")]
        yield Step(Phase.REMOVE, words, checks, tool, (how,))
    if edit.action == "move":
        tool, told = at_words(stock, edit.opened[:1])
        yield Step(Phase.REMOVE, f"Take the wire off {edit.opened[0]} and mark it.", tool=tool, how=told)
    if edit.action == "cut":
        first, second = (join_words(side) for side in edit.sides)
        several = any(len(side) > 1 for side in edit.sides)
        ends = f"{first} on one side and {second} on the other" if several else f"{first} and {second}"
        words = f"Cut the wire between {ends}; mark both ends."
        yield Step(Phase.REMOVE, words, tool="cutter, sleeve", how=cut_words(stock, edit.places))
    if edit.in_series and part_of(edit.in_series) in stock.part_by_designator:
        yield _series_step(stock, edit.in_series)


def _series_step(stock: Amp, lug: str) -> Step:
    part = part_of(lug)
    words = f"Take the wire off {lug} and mark it; the end of the part stays where it is."
    if on_board(stock, part) and not isinstance(stock.part_by_designator[part], Socket):
        words = f"Lift the leg {lug} out of its hole and bend it up; its pad is the wire from now on: mark both."
    tool, how = _off_words(stock, lug)
    return Step(Phase.REMOVE, words, tool=tool, how=how)


def _off_words(stock: Amp, lug: str) -> tuple[str, list[str]]:
    """The tool that takes a wire off a lug, and how: at a valve at its socket, the valve itself stays."""
    if is_plugged(stock, part_of(lug)):
        return at_words(stock, [lug])
    tool, how = out_words(stock, part_of(lug))
    return tool, [how]


def _fit_steps(
    stock: Amp, modded: Amp, order: Sequence[ModEdit], number: int, phase: Phase, bodies: Bodies
) -> Iterator[Step]:
    """What the last of the first edits in an order puts in, with the readings that then show it."""
    cuts = [doing for doing in order[number:] if doing.edit.action == "cut"]
    done = [*cuts, *order[:number]]
    edit = done[-1].edit
    body = in_one_body(stock, edit, [doing.edit for doing in order])
    waits = {doing.edit.part for doing in order[number:] if doing.edit.action == edit.action} & set(body)
    if edit.action in ("lift", "cut") or edit.part in bodies.prepared or waits:
        return
    part, pot = part_put_in(modded, edit), edit.part in bodies.pots
    dead = bodies.hanging(done) | _out_of_circuit(stock, order, number)
    loose = bodies.loose_lugs(done)
    found = readings_in_circuit(stock, modded, done, dead, loose)
    checks: list[Check] = []
    halves = [doing for doing in done[:-1] if doing.edit.action == edit.action and doing.edit.part in body]
    for half in halves:  # of one bottle, which goes in with this one
        checks += readings_in_circuit(
            stock, modded, [*(each for each in done if each is not half), half], dead, loose
        ).checks
    if part and not pot:  # a pot was read when it was prepared
        checks = [
            *checks,
            *loose_part_checks(part, part_name(modded, edit)),
            *diode_checks(modded, part, part_name(modded, edit)),
        ]
    for prepared in bodies.on(edit.part):
        inside = next((doing for doing in bodies.doings if doing.edit.part == prepared), None)
        checks += readings_in_circuit(stock, modded, [*done, inside], dead, loose).checks if inside else ()
    later = bodies.waiting(done) - bodies.pots
    words = _wire_words(modded, edit, bodies) if pot else _fit_words(modded, edit, later, body)
    places = [edit.part] if edit.action == "replace" else [*edit.places, *_ends_across(edit)]
    places = [*bridged_lugs(modded, edit)] if edit.action == "bridge" else places
    tool, how = at_words(stock, places)
    if edit.action == "replace" and isinstance(part, Socket):
        tool, how = _into_socket(stock, modded, part, tool, how)
    new = (edit.part,) if part and not pot else ()
    yield Step(phase, f"{words}{found.blind}", [*checks, *found.checks], tool, how, new, found.wrong)


def _into_socket(stock: Amp, modded: Amp, part: Socket, tool: str, how: list[str]) -> tuple[str, list[str]]:
    """The tool and the way of a valve that goes where another was: no iron where the pins are the same."""
    drawn = stock.part_by_designator[part.designator]
    bases = [modded.valve_by_type[each.type].pinout for each in (drawn, part) if isinstance(each, Socket)]
    same = all(bases) and len({base.pins for base in bases if base}) == 1
    return "none" if same else tool, [*([] if same else how), in_words(stock, part.designator)]


def _out_of_circuit(stock: Amp, order: Sequence[ModEdit], number: int) -> frozenset[str]:
    """Parts that carry no current once some edits of an order are done: all that comes out or off is so by then.

    Those are parts that were taken out, to be exchanged too, and those of which a lead still waits for its place.
    """
    waiting = [doing.edit for doing in order[number:]]
    out = [doing.edit.part for doing in order if doing.edit.action == "lift"]
    out += [edit.part for edit in waiting if edit.action == "replace"]
    lugs = [lug for edit in waiting if edit.action == "move" or edit.in_series for lug in edit.opened]
    known = stock.part_by_designator
    leads = (name for lug in lugs if (name := part_of(lug)) in known)
    two_ended = ("resistor", "capacitor", "inductor", "loudspeaker")
    return frozenset([*out, *(name for name in leads if known[name].kind in two_ended)])


def _ends_across(edit: Edit) -> list[str]:
    return [f"{edit.across}.1", f"{edit.across}.2"] if edit.across else []


def _wire_words(modded: Amp, edit: Edit, bodies: Bodies) -> str:
    """Lug by lug, where the wires of a pot go; what was soldered to it before it went in is done."""
    if edit.action == "replace":
        return f"Wire {edit.part}: each wire on its lug, as marked."
    told = [(lug, place) for lug, place in bodies.wires if part_of(lug) == edit.part]
    lugs = ", ".join(f"{lug} to {place}" for lug, place in told)
    return f"Wire {edit.part} {where(edit)}{f': {lugs}' if lugs else ''}."


def _fit_words(modded: Amp, edit: Edit, later: Collection[str], body: Sequence[str]) -> str:
    if edit.action == "bridge":
        stays = f"; {edit.part} stays" if edit.part else ""
        return f"Bridge {' and '.join(bridged_lugs(modded, edit))} with wire{stays}."
    if edit.action == "move":
        return f"Solder a wire from {where(edit)}."
    if edit.action == "supply":
        return f"Change what feeds {edit.part} so that it gives {edit.value:g} V; measured at first power, not before."
    place = (
        f"where {body_name(body)} was"
        if edit.action == "replace"
        else f"{where(edit)}{_lug_words(modded, edit.part, later)}"
    )
    part = part_put_in(modded, edit)
    anew = rewiring_words(modded, part).removeprefix("; ") if isinstance(part, Socket) else ""
    place += f". {with_capitals(anew)}" if anew else ""
    return f"Fit {part_name(modded, edit, body)} {place}.{plus_words(modded, edit.part)}"


def _lug_words(modded: Amp, part: str, later: Collection[str]) -> str:
    """What is soldered to what, by the from-to list; nothing where no wiring was found.

    What leads to parts that come `later`, or to a switch, is said with them.
    """
    try:
        wires = wiring_of(modded).wires
    except DescriptionError:
        return ""
    told = []
    for wire in wires:
        ends = [end for end in (wire.start, wire.end) if part_of(end) == part]
        others = [end for end in (wire.start, wire.end) if end not in ends[:1]]
        if ends and not {part_of(end) for end in others} & set(later):
            told.append(f"{ends[0]} to {others[0]}")
    return f": {', '.join(told)}" if told else ""
