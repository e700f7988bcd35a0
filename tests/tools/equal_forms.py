"""The same circuit written differently: `equal_amps(made)` for amps, `equal_mods(made_mod)` for mods.

Every form comes with the names that a part, a stage or a control of the first has there, so that what is said of the
one can be read as said of the other.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from ampsim.base.quantities import FARAD, OHM, parse_value
from ampsim.circuit.build import build_circuit
from ampsim.circuit.stages.template import GROUND
from tests.tools.any_amps import Lot, MadeAmp, Tables, renamed, written
from tests.tools.any_mods import MadeMod

_LISTS = ("resistor", "capacitor")


@dataclass(frozen=True, eq=False)
class EqualAmp:
    """An amp of the same circuit.

    Attributes
    ----------
    form
        What is written differently.
    made
        The other amp.
    names
        What designators and stages of the first are called there.
    split
        Designators of the first that are several parts there; a mod that names one does not mean the same.
    """

    form: str
    made: MadeAmp
    names: Mapping[str, str] = field(default_factory=dict)
    split: frozenset[str] = frozenset()

    def fitted(self, mod: MadeMod) -> MadeMod | None:
        """The same mod for this amp; None where it touches a part that is split here."""
        if self.split & set(mentioned(mod.tables)):
            return None
        return MadeMod(mod.kind, self.made, renamed(mod.tables, self.names))


def mentioned(value: object) -> Iterator[str]:
    """Designators that a mod's tables name."""
    if isinstance(value, dict):
        for each in value.values():
            yield from mentioned(each)
    elif isinstance(value, list):
        for each in value:
            yield from mentioned(each)
    elif isinstance(value, str):
        yield value.partition(".")[0]


# Amps -----------------------------------------------------------------------------------------------------------------


def equal_amps(made: MadeAmp, seed: int = 0) -> Iterator[EqualAmp]:
    """The amp in every form."""
    lot = Lot(made.seed, made.number, 900, seed)
    yield _other_parts(made, lot)
    yield _other_stages(made)
    yield _other_order(made, lot)
    yield from _side_by_side(made, lot)
    yield from _in_a_row(made, lot)
    yield from _in_free_wiring(made, lot)


def _with(made: MadeAmp, tables: Tables) -> MadeAmp:
    return MadeAmp(made.seed, made.number, made.kind, tables)


def _other_parts(made: MadeAmp, lot: Lot) -> EqualAmp:
    """Every part with a number of its own."""
    names: dict[str, str] = {}
    taken = iter(lot.shuffled(range(301, 301 + len(made.tables["parts"]))))
    for part in made.tables["parts"]:
        letters = part.rstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ").rstrip("0123456789")
        names[part] = f"{letters}{next(taken)}"
    return EqualAmp("renamed parts", _with(made, renamed(made.tables, names)), names)


def _other_stages(made: MadeAmp) -> EqualAmp:
    tables = copy.deepcopy(made.tables)
    names = {each["name"]: f"block {number}" for number, each in enumerate(tables["stages"], 1)}
    for stage in tables["stages"]:
        stage["name"] = names[stage["name"]]
        if "into" in stage:
            stage["into"] = names[stage["into"]]
    return EqualAmp("renamed stages", _with(made, tables), names)


def _other_order(made: MadeAmp, lot: Lot) -> EqualAmp:
    """Parts, rails and entries of stages in another order; stages keep that of the signal."""
    tables = copy.deepcopy(made.tables)
    tables["parts"] = dict(lot.shuffled(tables["parts"].items()))
    tables["rails"] = lot.shuffled(tables["rails"])
    tables["stages"] = [dict(lot.shuffled(each.items())) for each in tables["stages"]]
    return EqualAmp("another order", _with(made, dict(lot.shuffled(tables.items()))))


def fresh(made: MadeAmp, letters: str) -> str:
    """A designator that the amp does not have."""
    return next(f"{letters}{number}" for number in range(61, 999) if f"{letters}{number}" not in made.tables["parts"])


def value_of(made: MadeAmp, part: str) -> float:
    """Value of a resistor or capacitor [SI]."""
    return parse_value(made.tables["parts"][part], FARAD if part[0] == "C" else OHM)


def _roles_that_list(made: MadeAmp) -> list[tuple[Tables, str]]:
    """Stages (and rails) and roles where one resistor or capacitor stands that may be several in parallel."""
    found = [
        (each, role) for each in made.tables["rails"] for role in ("reservoir",) if isinstance(each.get(role), str)
    ]
    return found + [
        (stage, role)
        for stage in made.tables["stages"]
        for role, part in stage.items()
        if isinstance(part, str) and part in made.tables["parts"] and part[0] in "RC" and part[1].isdigit()
    ]


def _side_by_side(made: MadeAmp, lot: Lot) -> Iterator[EqualAmp]:
    """One part as two in parallel; the feedback resistor, where there is one, and another by lot."""
    places = _roles_that_list(made)
    wanted = [each for each in places if each[1] == "resistor" and each[0].get("template") == "feedback"]
    for entry, role in [*wanted, *lot.shuffled(places)[:2]]:
        tables = copy.deepcopy(made.tables)
        where = "rails" if entry in made.tables["rails"] else "stages"
        stage = tables[where][made.tables[where].index(entry)]
        part = stage[role]
        other = fresh(made, part[0])
        _halve(tables, made, part, other, parallel=True)
        stage[role] = [part, other]
        yield EqualAmp(f"{part} as two side by side", _with(made, tables), split=frozenset((part,)))


def _halve(tables: Tables, made: MadeAmp, part: str, other: str, parallel: bool) -> None:
    """Give a part's value to two parts, one third and two thirds of it."""
    value = value_of(made, part)
    larger = parallel if part[0] == "R" else not parallel
    factors = (1.5, 3.0) if larger else (2.0 / 3.0, 1.0 / 3.0)
    for name, factor in zip((part, other), factors, strict=True):
        tables["parts"][name] = written(value * factor)


def _in_a_row(made: MadeAmp, lot: Lot) -> Iterator[EqualAmp]:
    """A rail's resistor as two in a row."""
    number, rail = lot.one(
        [each for each in enumerate(made.tables["rails"]) if isinstance(each[1].get("through"), str)]
    )
    tables = copy.deepcopy(made.tables)
    part, other = rail["through"], fresh(made, "R")
    _halve(tables, made, part, other, parallel=False)
    tables["rails"][number]["through"] = [part, other]
    yield EqualAmp(f"{part} as two in a row", _with(made, tables), split=frozenset((part,)))


def _in_free_wiring(made: MadeAmp, lot: Lot) -> Iterator[EqualAmp]:
    """Stages of passive parts wired freely; a resistor of each as two in a row as well."""
    for stage in made.stages("coupling", "volume", "tone stack", "feedback"):
        tables = copy.deepcopy(made.tables)
        wires = free_wires(made, stage["name"])
        if wires is None:
            continue
        at = made.tables["stages"].index(stage)
        tables["stages"][at] = {"name": stage["name"], "template": "free wiring", "wires": wires}
        yield EqualAmp(f"{stage['name']} in free wiring", _with(made, tables))
        resistors = [part for part in wires if isinstance(wires[part], list) and part[0] == "R"]
        if resistors:
            part = stage["resistor"] if stage["template"] == "feedback" else lot.one(resistors)
            split = copy.deepcopy(tables)
            other = fresh(made, "R")
            _halve(split, made, part, other, parallel=False)
            first, second = wires[part]
            split["stages"][at]["wires"] |= {part: [first, "amid"], other: ["amid", second]}
            yield EqualAmp(f"{part} as two in a row", _with(made, split), split=frozenset((part,)))


def free_wires(made: MadeAmp, name: str) -> Tables | None:
    """What free wiring says of a stage; None where a net of it cannot be named."""
    circuit = build_circuit(made.amp)
    names = [each.name for each in made.amp.stages]
    inside = [each for each in circuit.elements if each.stage == name]
    before = circuit.lines_of(names[names.index(name) - 1]) if name != names[0] else ("input",)
    passes = {"in": before[0]}
    out = circuit.outputs[name]
    if out != before[0] and len(circuit.lines_of(name)) == 1:
        passes["out"] = out
    known = {GROUND: "ground"} | {f"rail_{each.name.lower()}": each.name for each in made.amp.rails}
    known |= {net: word for word, net in passes.items()}
    for net in dict.fromkeys(net for each in inside for _, net in each.pins):
        if net not in known:
            others = [
                f"{each.designator}.{pin}"
                for each in circuit.elements
                for pin, at in each.pins
                if at == net and each.stage != name
            ]
            known[net] = others[0] if others else f"n{len(known)}"
    made_wires: Tables = {}
    for each in inside:
        pins = {pin: known[net] for pin, net in each.pins}
        made_wires[each.designator] = pins if each.kind == "pot" else list(pins.values())
    if "out" in passes and not any("out" in _nets(pins) for pins in made_wires.values()):
        return None
    return made_wires or None


def _nets(pins: object) -> list[str]:
    return list(pins.values()) if isinstance(pins, dict) else list(pins)  # type: ignore[call-overload]


# Mods -----------------------------------------------------------------------------------------------------------------

Rewriting = Callable[[MadeMod, Tables, "Brought"], "list[Tables] | None"]


class Brought:
    """Parts that a form of a mod brings besides."""

    def __init__(self, mod: MadeMod) -> None:
        self.taken = {*mod.amp.tables["parts"], *mod.tables.get("parts", {})}
        self.parts: Tables = dict(mod.tables.get("parts", {}))

    def new(self, letters: str, value: float) -> str:
        """One more."""
        name = next(f"{letters}{number}" for number in range(951, 999) if f"{letters}{number}" not in self.taken)
        self.taken.add(name)
        self.parts[name] = written(value)
        return name

    def value(self, mod: MadeMod, part: str) -> float | None:
        """Value of a resistor or capacitor, the mod's or the amp's [SI]; None for what is neither."""
        given = (mod.amp.tables["parts"] | self.parts).get(part)
        if not isinstance(given, str) or part[0] not in "RC" or not part[1].isdigit():
            return None
        return parse_value(given, FARAD if part[0] == "C" else OHM)


def equal_mods(mod: MadeMod) -> Iterator[tuple[str, MadeMod]]:
    """The mod in every form that differs from how it is written, each with what is written differently."""
    for form, rewrite in _FORMS.items():
        brought = Brought(mod)
        tables = copy.deepcopy(mod.tables)
        changed = _rewrite_all(mod, tables, brought, rewrite)
        used = {each["fit"] for each in _every_edit(tables) if "fit" in each}
        tables["parts"] = {name: each for name, each in brought.parts.items() if name in used}
        if not tables["parts"]:
            del tables["parts"]
        if changed:
            yield form, MadeMod(mod.kind, mod.amp, tables)
    if len(mod.tables.get("edits", ())) > 1:
        tables = copy.deepcopy(mod.tables)
        tables["edits"].reverse()
        yield "another order", MadeMod(mod.kind, mod.amp, tables)


def _every_edit(tables: Tables) -> Iterator[Tables]:
    yield from tables.get("edits", ())
    for switch in tables.get("switches", ()):
        for edits in switch["positions"].values():
            yield from edits


def _rewrite_all(mod: MadeMod, tables: Tables, brought: Brought, rewrite: Rewriting) -> bool:
    lists: list[list[Tables]] = [tables["edits"]] if "edits" in tables else []
    lists += [edits for switch in tables.get("switches", ()) for edits in switch["positions"].values()]
    changed = False
    for edits in lists:
        made = [(each, rewrite(mod, each, brought)) for each in edits]
        changed = changed or any(other is not None for _, other in made)
        edits[:] = [new for old, other in made for new in ([old] if other is None else other)]
    return changed


def _lift_and_fit(mod: MadeMod, edit: Tables, brought: Brought) -> list[Tables] | None:
    part = edit.get("replace", "")
    if brought.value(mod, part or "-") is None:
        return None
    new = brought.new(part[0], parse_value(edit["with"], FARAD if part[0] == "C" else OHM))
    return [{"lift": part}, {"fit": new, "across": part}]


def _lift_and_fit_between(mod: MadeMod, edit: Tables, brought: Brought) -> list[Tables] | None:
    edits = _lift_and_fit(mod, edit, brought)
    return edits and [edits[0], {"fit": edits[1]["fit"], "between": [f"{edit['replace']}.2", f"{edit['replace']}.1"]}]


def _fit_beside(mod: MadeMod, edit: Tables, brought: Brought) -> list[Tables] | None:
    """A smaller resistor or a larger capacitor: what is missing goes beside."""
    part = edit.get("replace", "")
    old = brought.value(mod, part or "-")
    if old is None:
        return None
    new = parse_value(edit["with"], FARAD if part[0] == "C" else OHM)
    if (part[0] == "R") != (new < old) or new == old:
        return None
    beside = 1.0 / (1.0 / new - 1.0 / old) if part[0] == "R" else new - old
    return [{"fit": brought.new(part[0], beside), "across": part}]


def _fit_in_series(mod: MadeMod, edit: Tables, brought: Brought) -> list[Tables] | None:
    """A larger resistor: what is missing goes in a row with it."""
    part = edit.get("replace", "")
    old = brought.value(mod, part or "-")
    if old is None or part[0] != "R":
        return None
    new = parse_value(edit["with"], OHM)
    return [{"fit": brought.new("R", new - old), "in_series_at": f"{part}.1"}] if new > old else None


def _between_for_across(mod: MadeMod, edit: Tables, brought: Brought) -> list[Tables] | None:
    beside = edit.get("across", "")
    if brought.value(mod, beside or "-") is None:
        return None
    return [{"fit": edit["fit"], "between": [f"{beside}.1", f"{beside}.2"]}]


def _turned_round(mod: MadeMod, edit: Tables, brought: Brought) -> list[Tables] | None:
    if "between" not in edit or brought.value(mod, edit["fit"]) is None:
        return None
    return [{"fit": edit["fit"], "between": edit["between"][::-1]}]


def _two_beside(mod: MadeMod, edit: Tables, brought: Brought) -> list[Tables] | None:
    part = edit.get("fit", "")
    value = brought.value(mod, part or "-")
    if value is None or ("across" not in edit and "between" not in edit) or _leaned_on(mod, part):
        return None
    factors = (1.5, 3.0) if part[0] == "R" else (2.0 / 3.0, 1.0 / 3.0)
    first, second = (brought.new(part[0], value * factor) for factor in factors)
    return [edit | {"fit": first}, edit | {"fit": second}]


def _two_in_a_row(mod: MadeMod, edit: Tables, brought: Brought) -> list[Tables] | None:
    part = edit.get("fit", "")
    value = brought.value(mod, part or "-")
    if value is None or part[0] != "R" or ("across" not in edit and "between" not in edit) or _leaned_on(mod, part):
        return None
    first, second = (brought.new("R", value * factor) for factor in (2.0 / 3.0, 1.0 / 3.0))
    return [edit | {"fit": first}, {"fit": second, "in_series_at": f"{first}.2"}]


def _leaned_on(mod: MadeMod, part: str) -> bool:
    """Whether other edits name the part: it cannot be two parts then."""
    others = [each for each in _every_edit(mod.tables) if each.get("fit") != part]
    return part in mentioned(others) or sum(each.get("fit") == part for each in _every_edit(mod.tables)) > 1


_FORMS: dict[str, Rewriting] = {
    "lifted, another fitted": _lift_and_fit,
    "lifted, another between its lugs": _lift_and_fit_between,
    "the rest beside": _fit_beside,
    "the rest in a row": _fit_in_series,
    "between for across": _between_for_across,
    "turned round": _turned_round,
    "as two side by side": _two_beside,
    "as two in a row": _two_in_a_row,
}
