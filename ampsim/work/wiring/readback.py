"""The table read back: from the from-to list and the contacts closed in a position to a circuit, and compared."""

from __future__ import annotations

import itertools

from ...base.errors import DescriptionError
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, Circuit, build_circuit
from ...circuit.nets import INPUT, Nets
from ...circuit.positions import Switches, every_setting, setting_clause
from ...circuit.stages.template import GROUND, Element
from ...circuit.switches.same_circuit import compare_circuits, switched_parts, without_idle
from .from_to import Wiring, list_wiring

_BASES = 16  # stands of the other switches from which one is looked at


def wiring(amp: Amp) -> Wiring:
    """How the mods of an amp are wired, every combination of switch positions read back and found right.

    Without mods: how the amp's own switches are wired. Where one switch hides what another does (it shorts the part
    the other lifts), the wiring is looked for with the switches standing otherwise.

    Raises
    ------
    DescriptionError
        When a switch changes what no switch can, two switches work on the same part or wire, or no wiring was found
        that does in every combination what the description says.
    """
    fault = ""
    drawn = tuple((each.control, each.drawn) for each in amp.all_switches)
    for base in itertools.islice(itertools.chain([drawn], every_setting(amp)), _BASES):
        try:
            found = list_wiring(amp, base)
        except DescriptionError as error:
            fault = fault or str(error)
            continue
        faults = mismatches(found)
        if not faults:
            return found
        fault = fault or f"{amp.name}: no wiring found that does what the description says with {faults[0]}"
    raise DescriptionError(fault)


def read_back(wired: Wiring, switches: Switches) -> Circuit:
    """Build the circuit of a position from the list and the table alone.

    The places soldered together before the work, less what was unsoldered, plus the wires of the list, plus the
    contacts that the table closes. Parts left hanging on one net carry no current and are left out; a part that a
    switch puts in another's place goes under its own name.
    """
    nets = _join_places(wired, switches)
    name = _names(nets, wired)
    elements = [
        Element(part, kind, tuple((pin, name[nets.find(f"{part}.{pin}")]) for pin in pins), stage)
        for part, (kind, pins, stage) in wired.kinds.items()
    ]
    drawn = build_circuit(wired.amp, switches)
    switched = set(wired.bought) | switched_parts(wired.amp) | set(wired.bought.values())
    used = without_idle(elements, switched)
    # What a stage hands on is a net of the drawing; its part ends are found again here.
    here = {f"{each.designator}.{pin}": net for each in used for pin, net in each.pins}
    outputs = {}
    for stage, net in drawn.outputs.items():
        ends = (here.get(place) for place in drawn.places_by_net.get(net, ()))
        outputs[stage] = next((end for end in ends if end), GROUND)
    return Circuit(wired.amp, used, (), wired.parts, outputs)


def _join_places(wired: Wiring, switches: Switches) -> Nets:
    nets = Nets()
    off = {place for place, _ in wired.unsoldered}
    for places in wired.before:
        kept = [each for each in places if each not in off and each.partition(".")[0] not in wired.taken_out]
        for place in kept[1:]:
            nets.join(kept[0], place)
    for wire in wired.wires:
        nets.join(wire.start, wire.end)
    stands = dict(switches)
    for each in wired.switches:
        for first, second in each.closed(stands[each.control]):
            nets.join(f"{each.designator}.{first}", f"{each.designator}.{second}")
    return nets


def _names(nets: Nets, wired: Wiring) -> dict[str, str]:
    """A net's name for the root of every piece: ground and input keep theirs, the others take a number."""
    places = [f"{part}.{pin}" for part, (_, pins, _) in wired.kinds.items() for pin in pins]
    found = {nets.find("ground"): GROUND, nets.find(INPUT): INPUT}
    for number, root in enumerate(dict.fromkeys(nets.find(place) for place in places)):
        found.setdefault(root, f"wire_{number}")
    return found


def mismatches(wired: Wiring) -> list[str]:
    """Compare every position read back with the drawing's circuit; what differs, in words (empty: nothing).

    Compared are the parts in circuit with their values, and which of their ends are one net. Parts that hang on one
    net are left out on both sides.
    """
    found = []
    for switches in every_setting(wired.amp):
        faults = compare_circuits(wired.bought, read_back(wired, switches), build_circuit(wired.amp, switches))
        if faults:
            stands = ", ".join(setting_clause(control, label) for control, label in switches) or "as drawn"
            found.append(f"{stands}: {faults}")
    return found


def listening_places(drawn: Circuit) -> tuple[str, ...]:
    """Places to compare voltages at: each valve's pins and the speaker."""
    pins = {f"{each.designator}.{pin}" for each in drawn.elements if each.kind == "valve" for pin, _ in each.pins}
    return (*sorted(pins), SPEAKER)
