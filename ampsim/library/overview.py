"""What was understood of a file, in plain text: stages in signal order, nodes, controls, parts, edits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from ..base.quantities import FARAD, HENRY, HERTZ, OHM, format_value
from ..circuit.amp import Amp, Edit, Loudspeaker, Mod, Part, Pot, Socket, Transformer
from ..circuit.build import build_circuit
from ..circuit.mods import describe_part, where


def describe_amp(amp: Amp) -> str:
    """Say what an amp file means: stages, nodes with every place on them, rails, controls and parts."""
    return _page(
        f"{amp.name} ({amp.file})",
        {
            "Stages, in signal order": _stages(amp),
            "Rails": _rails(amp),
            "Controls": _controls(amp),
            "Nodes (places that are one piece of wire)": _nodes(amp),
            "Parts": _parts(amp.parts),
        },
    )


def describe_mod(mod: Mod) -> str:
    """Say what a mod file means: reason, parts it brings, what is done, always and per switch position."""
    sections: dict[str, Iterable[str]] = {
        "Why": [mod.reason],
        "Parts it brings": _parts(mod.parts),
        "Done always": [say(edit) for edit in mod.edits],
    }
    for switch in mod.switches:
        shaft = f" on the shaft of {switch.shaft}" if switch.shaft else ""
        title = f"Switch {switch.designator} '{switch.control}'{shaft}, drawn at '{switch.drawn}'"
        sections[title] = [_when(label, edits) for label, edits in switch.positions]
    return _page(f"{mod.name} ({mod.file})", sections)


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
    if edit.action == "replace":
        value = edit.value
        if isinstance(value, float):
            value = format_value(value, {"C": FARAD, "L": HENRY}.get(edit.part[0], OHM))
        return f"replace {edit.part} with {value}"
    if edit.action == "fit":
        turn = f" (resistance {edit.wired} with rotation)" if edit.wired else ""
        return f"fit {edit.part} {where(edit)}{turn}"
    if edit.action == "lift":
        return f"lift {edit.part}"
    return f"bridge {edit.part or ' and '.join(edit.between or ())}"


def _stages(amp: Amp) -> Iterator[str]:
    width = max(len(stage.name) for stage in amp.stages)
    for stage in amp.stages:
        yield f"{stage.name:<{width}}  {stage.template}: {', '.join(_roles(stage.roles))}"


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
    for control in amp.controls.values():
        names = ", ".join(control.designators) + shafts.get(control.name, "")
        if control.kind == "switch":
            yield f"{control.name} ({names}): {' | '.join(control.positions)}; drawn at '{control.drawn}'"
        else:
            part = amp.part_by_designator[control.designators[0]]
            yield f"{control.name} ({names}): {describe_part(part)}; drawn at {10 * float(control.drawn):g} of 10"


def _nodes(amp: Amp) -> Iterator[str]:
    for places in sorted(build_circuit(amp).places_by_net.values(), key=lambda each: each[0]):
        if len(places) > 1:
            yield " = ".join(places)


def _parts(parts: Iterable[object]) -> Iterator[str]:
    for part in parts:
        if isinstance(part, Transformer):
            taps = ", ".join(f"{tap:g}" for tap in part.taps)
            yield (
                f"{part.designator}  {format_value(part.primary, OHM)} to {taps} ohm, "
                f"{format_value(part.inductance, HENRY)} H, leakage {format_value(part.leakage, HENRY)} H"
            )
        elif isinstance(part, Loudspeaker):
            yield (
                f"{part.designator}  loudspeaker, coil {part.resistance:g} ohm, resonance at "
                f"{format_value(part.resonance, HERTZ)} Hz with {part.resistance + part.peak:g} ohm"
            )
        elif isinstance(part, (Part, Pot, Socket)):
            yield f"{part.designator}  {describe_part(part)}"
