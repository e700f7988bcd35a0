"""What was understood of a file, in plain text: stages in signal order, nodes, controls, parts, edits."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from .amp import Amp, Loudspeaker, Mod, Part, Pot, Socket, Transformer
from .circuit import circuit
from .mods import describe_part, where
from .quantities import FARAD, HENRY, HERTZ, OHM, format_value


def describe_amp(amp: Amp) -> str:
    """Say what an amp file means: stages, nodes with every place on them, rails, controls and parts."""
    lines = [f"{amp.name} ({amp.file})" if amp.file else amp.name]
    lines += ["", "Stages, in signal order"] + _indent(_stages(amp))
    lines += ["", "Rails"] + _indent(_rails(amp))
    lines += ["", "Controls"] + _indent(_controls(amp))
    lines += ["", "Nodes (places that are one piece of wire)"] + _indent(_nodes(amp))
    lines += ["", "Parts"] + _indent(_parts(amp.parts))
    return "\n".join(lines)


def describe_mod(mod: Mod) -> str:
    """Say what a mod file means: reason, parts it brings, what is done, always and per switch position."""
    lines = [f"{mod.name} ({mod.file})" if mod.file else mod.name, "", f"Why: {mod.reason}"]
    if mod.parts:
        lines += ["", "Parts it brings"] + _indent(_parts(mod.parts))
    if mod.edits:
        lines += ["", "Done always"] + _indent(say(edit) for edit in mod.edits)
    for switch in mod.switches:
        lines += ["", f"Switch {switch.designator} '{switch.control}', drawn at '{switch.drawn}'"]
        for label, edits in switch.positions:
            lines += _indent([f"{label}: {'; '.join(say(edit) for edit in edits) or 'nothing'}"])
    return "\n".join(lines)


def say(edit: object) -> str:
    """One edit in words."""
    from .amp import Edit

    assert isinstance(edit, Edit)
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


def _indent(lines: Iterable[str]) -> list[str]:
    return [f"  {line}" for line in lines]


def _stages(amp: Amp) -> Iterator[str]:
    width = max(len(stage.name) for stage in amp.stages)
    for stage in amp.stages:
        yield f"{stage.name:<{width}}  {stage.template}: {', '.join(_roles(stage.roles))}"


def _roles(roles: Iterable[tuple[str, object]]) -> Iterator[str]:
    for role, given in roles:
        if role == "wires":
            yield "; ".join(f"{part} {', '.join(f'{pin}={net}' for pin, net in pins)}" for part, pins in given)  # type: ignore[attr-defined]
        else:
            names = " and ".join(given) if isinstance(given, tuple) else str(given)
            yield f"{role.replace('_', ' ')} {names}"


def _rails(amp: Amp) -> Iterator[str]:
    for rail in amp.rails:
        source = f"{rail.volts:g} V" if rail.volts is not None else f"from {rail.fed_from}"
        through = f" through {', '.join(rail.series)}" if rail.series else ""
        reservoir = f", reservoir {', '.join(rail.reservoir)}" if rail.reservoir else ""
        yield f"{rail.name}: {source}{through}{reservoir}"


def _controls(amp: Amp) -> Iterator[str]:
    for control in amp.controls.values():
        names = ", ".join(control.designators)
        if control.kind == "switch":
            yield f"{control.name} ({names}): {' | '.join(control.positions)}; drawn at '{control.drawn}'"
        else:
            part = amp.part_by_designator[control.designators[0]]
            yield f"{control.name} ({names}): {describe_part(part)}; drawn at {10 * float(control.drawn):g} of 10"


def _nodes(amp: Amp) -> Iterator[str]:
    for places in sorted(circuit(amp).places_by_net.values(), key=lambda each: each[0]):
        if len(places) > 1:
            yield " = ".join(places)


def _parts(parts: Iterable[object]) -> Iterator[str]:
    for part in parts:
        if isinstance(part, Transformer):
            taps = ", ".join(f"{tap:g}" for tap in part.taps)
            yield (f"{part.designator}  {format_value(part.primary, OHM)} to {taps} ohm, "
                   f"{format_value(part.inductance, HENRY)} H, leakage {format_value(part.leakage, HENRY)} H")  # fmt: skip
        elif isinstance(part, Loudspeaker):
            yield (f"{part.designator}  loudspeaker, coil {part.resistance:g} ohm, resonance at "
                   f"{format_value(part.resonance, HERTZ)} Hz with {part.resistance + part.peak:g} ohm")  # fmt: skip
        elif isinstance(part, (Part, Pot, Socket)):
            yield f"{part.designator}  {describe_part(part)}"
