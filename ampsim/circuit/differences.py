"""The single edits by which two amps differ, and which of them only make sense together."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from ..base.errors import DescriptionError, nearest, shown
from .amp import Amp, AnyPart, Edit, Mod
from .build import build_circuit
from .mods import describe_part, describe_put_in, touches, where
from .positions import Position

MOST_STEPS = 6
WAYS = ("part", "switch", "mod")


@dataclass(frozen=True)
class Step:
    """Edits that are done together.

    `name` is short ("C101"), `words` are for a reader ("capacitor C101 120p (bright switch)"); `does` are the edits
    that lead from the first amp to the second, `undoes` those of the first that the second lacks.
    """

    name: str
    words: str
    does: tuple[Edit, ...]
    undoes: tuple[Edit, ...]


@dataclass(frozen=True)
class _Doing:
    """An edit, whose it is (a mod or a switch), and whether it is done or undone."""

    edit: Edit
    mod: str
    switch: str
    undone: bool = False


def plan(
    stock: Amp,
    modded: Amp,
    position: Position | None = None,
    by: str | Mapping[str, str] = "part",
    base_position: Position | None = None,
) -> tuple[tuple[Step, ...], Amp]:
    """The steps that lead from one amp to another, and the amp on which every subset of them can be done.

    Parameters
    ----------
    stock, modded : Amp
        Two amps of one drawing.
    position : mapping
        Where the controls of `modded` stand: switches there do what their positions say.
    by : {"part", "switch", "mod"} or mapping
        What makes one step: a part, a switch with all its edits, a mod; or the name of the step by designator.
    base_position : mapping
        Where the controls of `stock` stand, where that is elsewhere; knobs may not move.

    Raises
    ------
    DescriptionError
        For amps of two drawings, an unknown control, a knob that moves, no difference at all or too many steps.
    """
    position = position or {}
    _check(stock, modded, position, base_position, by)
    before = _done(stock, base_position if base_position is not None else position)
    after = _done(modded, position)
    kept = {each.edit for each in before} & {each.edit for each in after}
    doings = [replace(each, undone=True) for each in before if each.edit not in kept]
    doings += [each for each in after if each.edit not in kept]
    base = _base(stock, modded, [each.edit for each in before])
    groups = _joined_by_wiring(_joined_by_need(_named_groups(doings, by), frozenset(base.mods[0].nets)), base)
    return tuple(_step(name, group, base) for name, group in groups.items()), base


def _check(
    stock: Amp, modded: Amp, position: Position, base_position: Position | None, by: str | Mapping[str, str]
) -> None:
    if (stock.parts, stock.stages, stock.rails) != (modded.parts, modded.stages, modded.rails):
        raise DescriptionError(f"{stock.name} and {modded.name} are not the same drawing")
    if isinstance(by, str) and by not in WAYS:
        raise DescriptionError(f"edits are counted by {', '.join(WAYS)}, not by {shown(by)}{nearest(by, WAYS)}")
    for name in {*position, *(base_position or {})}:
        if name not in modded.controls and name not in stock.controls:
            raise DescriptionError(f"{modded.name} has no control {shown(name)}{nearest(name, modded.controls)}")
    if base_position is None:
        return
    ours, theirs = stock.setting(base_position), modded.setting(position)
    moved = [name for name, value in ours.items() if not isinstance(value, str) and theirs[name] != value]
    if moved:
        raise DescriptionError(
            f"knob '{moved[0]}' stands differently in the two positions; only edits and switches can be told apart"
        )


def _done(amp: Amp, position: Position) -> list[_Doing]:
    """All edits in force, those of the switches at this position included."""
    setting = amp.setting(position)
    found = [
        _Doing(edit, switch.control, switch.control)
        for switch in amp.switches
        for edit in dict(switch.positions)[str(setting[switch.control])]
    ]
    for mod in amp.mods:
        found += [_Doing(edit, mod.name, mod.name) for edit in mod.edits]
        for switch in mod.switches:
            edits = dict(switch.positions)[str(setting[switch.control])]
            found += [_Doing(edit, mod.name, switch.control) for edit in edits]
    return found


def _base(stock: Amp, modded: Amp, edits: Iterable[Edit]) -> Amp:
    """The drawing with the given edits done for good, and every part and valve at hand that either amp brings."""
    mods = (*stock.mods, *modded.mods)
    parts: dict[str, AnyPart] = {part.designator: part for mod in mods for part in mod.parts}
    valves = {valve.type: valve for mod in mods for valve in mod.valves}
    devices = {each.type: each for mod in mods for each in mod.semiconductors}
    nets = tuple(dict.fromkeys(net for mod in mods for net in mod.nets))
    done = Mod("none of the edits", "", tuple(parts.values()), tuple(edits), (), tuple(valves.values()), modded.file,
               semiconductors=tuple(devices.values()), nets=nets)  # fmt: skip
    return replace(stock, mods=(done,), switches=())


def amp_with(base: Amp, does: Sequence[Edit], undoes: Sequence[Edit], names: Sequence[str]) -> Amp:
    """The amp of `plan` with some edits done and some undone.

    Parameters
    ----------
    base : Amp
        The amp that `plan` gives.
    does, undoes : sequence of Edit
        Edits to do, and edits of the base to leave out.
    names : sequence of str
        What the variant goes by.
    """
    (mod,) = base.mods
    edits = tuple(edit for edit in mod.edits if edit not in undoes) + tuple(does)
    return replace(base, mods=(replace(mod, name=", ".join(names) or mod.name, edits=edits),))


_Groups = dict[str, list[_Doing]]


def _named_groups(doings: Iterable[_Doing], by: str | Mapping[str, str]) -> _Groups:
    groups: _Groups = {}
    for doing in doings:
        part = doing.edit.part or " - ".join(doing.edit.places)
        name = (
            {"part": part, "switch": doing.switch, "mod": doing.mod}[by] if isinstance(by, str) else by.get(part, part)
        )
        groups.setdefault(name, []).append(doing)
    return groups


def _joined(groups: _Groups, names: Iterable[str]) -> _Groups:
    """Groups with those of these names made one, which stands where the first of them stood."""
    joined = [name for name in groups if name in set(names)]
    whole = [doing for name in joined for doing in groups[name]]
    return {
        (" with ".join(joined) if name == joined[0] else name): whole if name == joined[0] else doings
        for name, doings in groups.items()
        if name not in joined[1:]
    }


def _joined_by_need(groups: _Groups, nets: frozenset[str]) -> _Groups:
    """Join what cannot be done apart: parts fitted at one another or at a net of a mod's own, two edits of a part."""
    for one, other in itertools.permutations(groups, 2):
        if any(_needs(mine.edit, its.edit, nets) for mine in groups[one] for its in groups[other]):
            return _joined_by_need(_joined(groups, (one, other)), nets)
    return groups


def _needs(edit: Edit, other: Edit, nets: frozenset[str]) -> bool:
    if nets & set(edit.places) & set(other.places):
        return True
    met = {edit.across, edit.part, *(place.partition(".")[0] for place in edit.places)}
    return (other.action == "fit" and other.part in met) or bool(touches(edit) & touches(other))


def _joined_by_wiring(groups: _Groups, base: Amp) -> _Groups:
    """Join what leaves an impossible circuit when done apart, such as lifting a grid leak and fitting another."""
    if not groups:
        raise DescriptionError(
            f"{base.name}: the two amps do not differ at this position; there is nothing to share out"
        )
    if len(groups) > MOST_STEPS:
        raise DescriptionError(
            f"{len(groups)} edits ({', '.join(groups)}) would take {2 ** len(groups)} circuits; at most {MOST_STEPS} "
            'are told apart. Count them by="mod", or name parts that belong together'
        )
    subsets = [set(names) for size in range(len(groups) + 1) for names in itertools.combinations(groups, size)]
    for subset in subsets:
        problem = _problem(groups, subset, base)
        if problem:
            larger = [other for other in subsets if other > subset and not _problem(groups, other, base)]
            if not subset or not larger:
                raise problem
            return _joined_by_wiring(_joined(groups, larger[0]), base)
    return groups


def _problem(groups: _Groups, subset: Iterable[str], base: Amp) -> DescriptionError | None:
    doings = [doing for name in groups if name in subset for doing in groups[name]]
    does = [doing.edit for doing in doings if not doing.undone]
    undoes = [doing.edit for doing in doings if doing.undone]
    try:
        build_circuit(amp_with(base, does, undoes, [name for name in groups if name in subset]))
    except DescriptionError as problem:
        return problem
    return None


def _step(name: str, doings: Sequence[_Doing], base: Amp) -> Step:
    does = tuple(doing.edit for doing in doings if not doing.undone)
    undoes = tuple(doing.edit for doing in doings if doing.undone)
    done, undone = (" with ".join(_said(base, edit) for edit in edits) for edits in (does, undoes))
    said = f"{done} instead of {undone}" if done and undone else done or f"taking out {undone}"
    owners = dict.fromkeys(doing.mod for doing in doings)
    return Step(name, f"{said} ({', '.join(owners)})", does, undoes)


def _said(base: Amp, edit: Edit) -> str:
    """An edit in a reader's words: "capacitor C101 120p", "resistor R20 from 68k to 150k"."""
    if edit.action == "supply":
        return f"{edit.part} at {edit.value:g} V"
    if edit.action in ("cut", "move"):
        return f"{where(edit)} {'cut apart' if edit.action == 'cut' else 'moved'}"
    if not edit.part:
        return f"a wire from {' to '.join(edit.between or ())}"
    part = base.part_by_designator[edit.part]
    value = describe_part(part)
    what = f"{part.kind} {edit.part}" + (f" {value}" if value != part.kind else "")
    if edit.action == "replace":
        return f"{part.kind} {edit.part} from {value} to {describe_put_in(part, edit)}"
    return what + {"fit": "", "lift": " lifted", "bridge": " bridged"}[edit.action]
