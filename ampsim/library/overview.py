"""What was understood of a file, in plain text: stages in signal order, nodes, controls, parts, edits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from ..base.quantities import FARAD, HENRY, HERTZ, OHM, format_value, with_unit
from ..base.tables import text_of_rows
from ..circuit.amp import Amp, Edit, Mod, Part, Pot, Socket
from ..circuit.build import build_circuit
from ..circuit.designators import kind_of
from ..circuit.loudspeaker import Loudspeaker
from ..circuit.mods import describe_part, diff, where
from ..circuit.mounting import mounting_of
from ..circuit.plugging import jack_names
from ..circuit.plugs import plugged_stages
from ..circuit.positions import face
from ..circuit.reverb_tank import ReverbTank
from ..circuit.semiconductors.description import Semiconductor
from ..circuit.semiconductors.device import Device
from ..circuit.source import Jack
from ..circuit.supply.rectifier_valve import RectifierValve
from ..circuit.switches.kinds import ANY_SWITCH
from ..circuit.switches.planning import planned_switches
from ..circuit.transformer import Transformer
from ..circuit.valves.description import Valve
from ..simulation.drawn_volts import DRAWN_COLUMNS, volts_at_rest
from ..simulation.unpowered import jack_ohms
from .reverb_tanks import describe_tank
from .supply_overview import describe_supplies

if TYPE_CHECKING:
    from ..studies.audition_request import Audition
    from ..studies.search.wishes import Drawer, Stocked, WishList


def describe_amp(amp: Amp) -> str:
    """Say what an amp file means: stages, nodes with every place on them, rails, controls and parts."""
    return _page(
        f"{amp.name} ({amp.file})",
        {
            "Stages, in signal order": _stages(amp),
            "Jacks": _jacks(amp),
            "Rails": _rails(amp),
            "Controls": _controls(amp),
            "Nodes (places that are one piece of wire)": _nodes(amp),
            "Parts": _parts(amp.parts),
            "Mounted (as the plan to work by takes it)": _mounted(amp),
        },
    )


def describe_amp_and_volts(amp: Amp) -> str:
    """`describe_amp`, and the simulated volts [V] of every rail and valve pin, beside those printed on the drawing."""
    planned_switches(amp)  # what no switch can do is said here, not where it is simulated
    rows = volts_at_rest(amp)
    head = DRAWN_COLUMNS if amp.drawn_volts else ("place", "simulated [V]")
    told = rows if amp.drawn_volts else [(place, ours) for place, _, ours, _ in rows]
    title = "Volts at rest, beside those on the drawing" if amp.drawn_volts else "Volts at rest; the drawing has none"
    texts = (describe_amp(amp), f"{title}\n{text_of_rows(head, told)}" if rows else "", describe_supplies(amp))
    return "\n\n".join(filter(None, texts))


def describe_mod(mod: Mod) -> str:
    """Say what a mod file means: reason, parts it brings, what is done, always and per switch position."""
    sections: dict[str, Iterable[str]] = {
        "Why": [mod.reason],
        "From": [mod.source] if mod.source else [],
        "Expects": [f"{part}: {words}" for part, words in mod.expects],
        "Landed": [f"{said}: {place}" for said, place in mod.landing],
        "Parts it brings": _parts(mod.parts),
        "Done always": [say(edit) for edit in mod.edits],
    }
    for switch in mod.switches:
        shaft = f" on the shaft of {switch.shaft}" if switch.shaft else ""
        kind = "" if switch.kind == ANY_SWITCH else f" ({switch.kind.words})"
        title = f"Switch {switch.designator} '{switch.control}'{kind}{shaft}, drawn at '{switch.drawn}'"
        sections[title] = [_when(label, edits) for label, edits in switch.positions]
    return _page(f"{mod.name} ({mod.file})", sections)


def describe_audition(audition: Audition) -> str:
    """Say what a job file means: its amp, what the mods do, and the pictures."""
    build_circuit(audition.modded)
    changes = [(c.mod, c.when, c.place, c.before, c.after) for c in diff(audition.stock, audition.modded)]
    head = f"{audition.name} ({audition.file})\n\nAmp: {audition.stock.name}"
    does = text_of_rows(("mod", "when", "where", "before", "after"), changes)
    views = "\n".join(f"  {view.title}: {len(view.positions)} positions" for view in audition.views)
    return f"{head}\n\nWhat the mods do\n{does}\n\nPictures\n{views}"


def describe_wishes(wanted: WishList) -> str:
    """Say what a wish file means: amp, wishes, and the parts that may be chosen."""
    parts = [f"{choice.part}: {len(choice.values)} values" for choice in wanted.choices]
    sections: dict[str, Iterable[str]] = {
        "Amp": [wanted.stock.name],
        "Wishes": [wish.label for wish in wanted.wishes],
        "Parts to choose": [*parts, f"{wanted.circuits:,} sets of values"],
    }
    return _page(f"{wanted.name} ({wanted.file})", sections)


def describe_drawer(drawer: Drawer) -> str:
    """Say what a drawer file means: its parts."""
    return _page(drawer.name, {"Parts at hand": [_drawer_line(part) for part in drawer.parts]})


def _drawer_line(part: Stocked) -> str:
    value = format_value(part.value, FARAD if part.kind == "capacitor" else OHM)
    share = f", {100.0 * part.tolerance:g} %" if part.tolerance else ""
    limits = ((part.volts, "V"), (part.watts, "W"))
    rated = "".join(f", {limit:g} {unit}" for limit, unit in limits if limit != float("inf"))
    return f"{part.kind} {value}{share}{rated}"


def describe_valve(valve: Valve) -> str:
    """Say what a valve file means: type, law, parameters, and where they come from."""
    numbers = ", ".join(f"{name} {value:g}" for name, value in valve.parameters)
    return f"{valve.type}: {valve.family}, {valve.law}\n  {numbers}\n  source: {valve.source}"


def describe_semiconductor(device: Semiconductor) -> str:
    """Say what the file of a semiconductor means: type, law, parameters, ratings, and what is not simulated."""
    numbers = ", ".join(f"{name} {value:g}" for name, value in (*device.parameters, *device.capacitances))
    ratings = ", ".join(f"{name} {value:g}" for name, value in device.limits)
    within = "".join(f"\n  specimens: {name} {low:g} to {high:g}" for name, low, high in device.spread)
    left = within + f"\n  not simulated: {device.leaves_out}" if device.leaves_out else within
    head = f"{device.type}: {device.family}, {device.law}\n  {numbers}\n  ratings: {ratings}"
    return f"{head}{left}\n  source: {device.source}"


def describe_rectifier_valve(valve: RectifierValve) -> str:
    """Say what the file of a rectifier valve means, its heater and what is to lie before its plates included."""
    lines = [describe_semiconductor(valve)]
    if valve.heater:
        way = "directly" if valve.heater.direct else "indirectly"
        lines.append(f"  heater: {valve.heater.volts:g} V, {valve.heater.amps:g} A, {way} heated, "
                     f"conducts after {valve.heater.warm_up_seconds:g} s")  # fmt: skip
    rows = ", ".join(f"{ohms:g} ohm at {volts:g} V" for volts, ohms in valve.least_ohms)
    return "\n".join([*lines, *([f"  before each plate at least: {rows}"] if rows else [])])


def _when(label: str, edits: Iterable[Edit]) -> str:
    return f"{label}: {'; '.join(say(edit) for edit in edits) or 'nothing'}"


def _page(title: str, sections: Mapping[str, Iterable[str]]) -> str:
    lines = [title]
    for name, content in sections.items():
        found = [f"  {line}" for line in content]
        if found:
            lines += ["", name, *found]
    return "\n".join(lines)


def say(edit: Edit) -> str:
    """One edit in words."""
    if edit.action == "replace" and edit.value is not None:
        value = edit.value
        if isinstance(value, float):
            value = format_value(value, {"capacitor": FARAD, "inductor": HENRY}.get(kind_of(edit.part), OHM))
        return f"replace {edit.part} with {value if isinstance(value, str) else describe_part(value)}"
    if edit.action == "supply":
        return f"{edit.part} at {edit.value:g} V"
    if edit.action in ("cut", "move"):
        return f"{'cut the wire between' if edit.action == 'cut' else 'move'} {where(edit)}"
    if edit.action == "fit":
        turn = f" (resistance {edit.wired} with rotation)" if edit.wired else ""
        return f"fit {edit.part} {where(edit)}{turn}"
    if edit.action == "lift":
        return f"lift {edit.part}"
    return f"bridge {edit.part or ' and '.join(edit.between or ())}"


def _stages(amp: Amp) -> Iterator[str]:
    width = max(len(stage.name) for stage in amp.stages)
    for stage in amp.stages:
        begins = f" from {' and '.join(stage.inputs)}" if stage.inputs else ""
        yield f"{stage.name:<{width}}  {stage.template}{begins}: {', '.join(_roles(stage.roles))}"


def _jacks(amp: Amp) -> Iterator[str]:
    """Every jack with the resistance that a plug meets there, and what its contact does without one."""
    given = {jack.name: jack for jack in amp.jacks}
    for number, name in enumerate(jack_names(amp)):
        jack = given.get(name, Jack(name))
        place = f"before {jack.before}" if jack.before else jack.tip or _begun(amp, name)
        empty = "the signal passes" if jack.before else f"it lies on {jack.rest}" if jack.rest else "it is open"
        first = "; the drawing begins here" if number == 0 else ""
        ohms = jack_ohms(amp, name)
        meets = f"{with_unit(ohms, OHM)} to ground" if math.isfinite(ohms) else "no way to ground"
        yield f"{name}: {place}; a plug meets {meets}; without one {empty}{first}"


def _begun(amp: Amp, jack: str) -> str:
    stages = [stage.name for stage in amp.stages if jack in stage.inputs]
    return f"where {' and '.join(stages)} begins" if stages else "where the first stage begins"


def _roles(roles: Iterable[tuple[str, Any]]) -> Iterator[str]:
    for role, given in roles:
        if role == "wires":
            for part, pins in given:
                yield f"{part} {' '.join(f'{pin}={net}' for pin, net in pins)}"
        else:
            yield f"{role.replace('_', ' ')} {' and '.join(given) if isinstance(given, tuple) else given}"


def _rails(amp: Amp) -> Iterator[str]:
    for rail in amp.rails:
        source = f"{rail.volts:g} V" if rail.volts is not None else f"from {rail.fed_from}"
        through = f" through {', '.join(rail.series)}" if rail.series else ""
        reservoir = f", reservoir {', '.join(rail.reservoir)}" if rail.reservoir else ""
        yield f"{rail.name}: {source}{through}{reservoir}"


def _controls(amp: Amp) -> Iterator[str]:
    shafts = {switch.control: f" on the shaft of {switch.shaft}" for switch in amp.all_switches if switch.shaft}
    kinds = {each.control: f"{each.kind.words}; " for each in amp.all_switches if each.kind != ANY_SWITCH}
    for control in amp.controls.values():
        names = ", ".join(control.designators) + shafts.get(control.name, "")
        if control.kind == "switch":
            kind = kinds.get(control.name, "")
            yield f"{control.name} ({names}): {kind}{' | '.join(control.positions)}; drawn at '{control.drawn}'"
        else:
            tracks = dict.fromkeys(describe_part(amp.part_by_designator[each]) for each in control.designators)
            yield f"{control.name} ({names}): {' and '.join(tracks)}; drawn at {face(float(control.drawn))} of 10"


def _nodes(amp: Amp) -> Iterator[str]:
    for places in sorted(build_circuit(amp).places_by_net.values(), key=lambda each: each[0]):
        if len(places) > 1:
            yield " = ".join(places)


def _mounted(amp: Amp) -> Iterator[str]:
    """To each way to mount parts those that are mounted so, and those of which nothing is said."""
    groups: dict[str, list[str]] = {}
    wired = build_circuit(amp)
    plugged = {each.designator for each in wired.elements if each.stage in plugged_stages(wired)}
    for part in (each for each in amp.parts if amp.mounting and each.designator not in plugged):
        mounted = mounting_of(amp, part.designator)
        groups.setdefault(mounted.words if mounted else "not said", []).append(part.designator)
    yield from (f"{words}: {', '.join(names)}" for words, names in groups.items())


def _parts(parts: Iterable[object]) -> Iterator[str]:
    for part in parts:
        if isinstance(part, Transformer):
            yield f"{part.designator}  {part.describe()}"
        elif isinstance(part, Loudspeaker):
            yield (
                f"{part.designator}  loudspeaker, coil {part.resistance:g} ohm, resonance at "
                f"{format_value(part.resonance, HERTZ)} Hz with {part.resistance + part.peak:g} ohm"
            )
        elif isinstance(part, ReverbTank):
            yield f"{part.designator}  {describe_tank(part)}"
        elif isinstance(part, (Part, Pot, Socket, Device)):
            yield f"{part.designator}  {describe_part(part)}"
