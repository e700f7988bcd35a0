"""What a file leaves open and ampsim fills in: tapers, a transformer's and a loudspeaker's data, units, the source."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from typing import Any

from ..base.entries import Entry
from ..base.quantities import FARAD, HENRY, HERTZ, OHM, Quantity, format_value, with_unit
from ..base.wording import plain
from ..circuit.amp import Amp, AnyPart, Mod, Part, Pot, Socket
from ..circuit.build import build_circuit
from ..circuit.designators import kind_of
from ..circuit.loudspeaker import Loudspeaker
from ..circuit.positions import face
from ..circuit.reverb_tank import ReverbTank
from ..circuit.semiconductors.device import Device
from ..circuit.stages import TEMPLATES, Kind, stages_of
from ..circuit.stages.template import StageBuilder
from ..circuit.supply.transformer import MainsTransformer
from ..circuit.transformer import Transformer
from .files import models_in
from .lamps import WARM_OR_LIT, assumed_of_warm_or_lit
from .parts import in_socket, read_track
from .reverb_tanks import assumed_of_tank
from .type_names import meant_type, what_differs

# The entries of a transformer and a loudspeaker that a file may leave out, and what they are [SI unit].
_TRANSFORMER: dict[str, Quantity] = {
    "inductance": HENRY,
    "leakage": HENRY,
    "primary_resistance": OHM,
    "secondary_resistance": OHM,
    "capacitance": FARAD,
}
_FARADS = {0: "farads", -6: "microfarads", -12: "picofarads"}
_LOUDSPEAKER: dict[str, Quantity] = {"resonance": HERTZ, "peak": OHM, "reactance": OHM}


def assumptions(tables: Mapping[str, Any], read: Amp | Mod) -> list[str]:
    """Say what was filled in or read by a convention, a line for each part.

    Parameters
    ----------
    tables : mapping
        Of the file.
    read : Amp or Mod
        What was read of them.
    """
    parts = tables.get("parts", {})
    own = (each for each in read.parts if each.designator in parts)  # the coil of a relay stands at its switch
    found = [line for part in own for line in _of_part(part, parts[part.designator], read.file)]
    found += list(_of_edits(tables))
    found += [f"{name}: kept as it is written, however odd (sure)" for name in _names(tables.get("sure", ()))]
    return [*found, *_of_amp(read)] if isinstance(read, Amp) else found


def _names(given: object) -> list[str]:
    return [str(each) for each in (given if isinstance(given, (list, tuple)) else [given])]


def _of_part(part: AnyPart, given: Any, file: str) -> Iterator[str]:
    if isinstance(part, Pot):
        yield from (f"{part.designator}: {words}" for words in _of_pot(part, given, file))
    elif isinstance(part, Part) and part.kind == "capacitor" and not re.search(r"[A-Za-zµμ]", str(given)):
        power = round(math.log10(part.value / float(str(given).replace(",", "."))))
        yield f"{part.designator}: {given} is in {_FARADS[power]}, {format_value(part.value, FARAD)}"
    elif isinstance(part, Transformer):
        yield from _filled_in(part, given, _TRANSFORMER)
        if "core" not in given:
            yield f"{part.designator}: its core never saturates (no core is given)"
        if "secondary" not in given:
            yield f"{part.designator}: secondary in phase with primary_a"
    elif isinstance(part, Loudspeaker):
        yield from _filled_in(part, given, _LOUDSPEAKER)
    elif isinstance(part, Device) and part.kind in WARM_OR_LIT:
        yield from assumed_of_warm_or_lit(part, given)
    elif isinstance(part, MainsTransformer) and part.inrush:
        warm, cold = part.line_ohms - part.primary_resistance, part.colder_ohms
        drawn = "" if "draws" in given else ", its rated current (what the whole amp draws is not given as draws)"
        yield (f"{part.designator}: the thermistor before its primary is taken at {warm:.3g} ohm, as {part.draws:g} A "
               f"warm it{drawn}; at switch-on it has {warm + cold:.3g} ohm")  # fmt: skip
    elif isinstance(part, (Socket, Device)) and in_socket(part) and given != part.type:
        yield f"{part.designator}: {_other_name(str(given), part.type)}"
    elif isinstance(part, ReverbTank):
        yield from assumed_of_tank(part, given)


def _other_name(written: str, meant: str) -> str:
    differs = what_differs(written, meant)
    return f"{plain(written)} is read as {meant}" + (f"; {differs}" if differs else "")


def _of_edits(tables: Mapping[str, Any]) -> Iterator[str]:
    """Valves that edits put in under another of their names."""
    positions = (each.get("positions", {}) for each in tables.get("switches", ()))
    edits = [*tables.get("edits", ()), *(edit for each in positions for does in each.values() for edit in does)]
    for edit in edits:
        part, written = edit.get("replace", ""), edit.get("with")
        if isinstance(written, str) and kind_of(part) == "valve":
            meant = meant_type(written, {**models_in("valves"), **models_in("rectifiers")})
            if meant not in ("", written):
                yield f"{part}: {_other_name(written, meant)}"


def _of_pot(part: Pot, given: Any, file: str) -> Iterator[str]:
    table = given if isinstance(given, Mapping) else {"track": given}
    marked = read_track(Entry(table, file), "track")[1]
    written = str(table.get("taper", table["track"] if marked else ""))
    if not written:
        yield f"no taper is given; {part.taper}"
    elif re.search(r"\b[abc]\b|[abc]$|^[abc](?=[0-9])", written, re.I) and not re.search(r"[0-9] ?%", written):
        letters = "letters as on pots made today; older European ones have A for linear and B for audio"
        yield f"'{written}' is {part.taper} ({letters})"
    elif "%" not in written and part.taper != "linear":
        yield f"'{written}' is {part.taper}"
    if "rotation" not in table:
        yield f"no rotation is given; it stands at {face(part.rotation)} of 10"


def _filled_in(
    part: Transformer | Loudspeaker, given: Mapping[str, Any], known: Mapping[str, Quantity]
) -> Iterator[str]:
    lacking = [name for name in known if name not in given]
    said = [f"{name.replace('_', ' ')} {with_unit(getattr(part, name), known[name])}" for name in lacking]
    if isinstance(part, Loudspeaker) and "q" not in given:
        said.append(f"q {part.q:g}")
    if said:
        yield f"{part.designator}: {', '.join(said)} (usual ones; none are given)"


def _whole_windings(amp: Amp) -> Iterator[str]:
    """Bridges across both halves of a winding with a middle: twice the volts that diodes with that on ground give."""
    wired = build_circuit(amp)
    bridges = [each for each in wired.elements if each.kind == "bridge rectifier"]
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        for winding in part.windings if isinstance(part, MainsTransformer) else ():
            ends = {element.net(f"{winding.name}_{end}") for end in "ab"}
            for each in bridges if winding.centre else ():
                if {each.net("ac1"), each.net("ac2")} == ends:
                    yield (
                        f"{each.designator}: rectifies all of {element.designator}'s winding {winding.name}, "
                        f"{winding.volts:g} V from end to end; a bridge on a winding of {winding.volts / 2:g} V, or "
                        "two diodes and its middle on ground, would give half of that"
                    )


def _of_amp(amp: Amp) -> Iterator[str]:
    yield from _whole_windings(amp)
    if not stages_of(amp, Kind.INSTRUMENT, Kind.SOURCE) and not amp.jacks:
        yield "no guitar and no generator stage: the input is driven without any source resistance"
    for stage in amp.stages:
        given = dict(stage.roles)
        for role, rule in TEMPLATES[stage.template].roles.items():
            default = re.search(r"\(default: (.+?)\)", rule.about)
            if default and role not in given and not rule.moot(StageBuilder(amp, stage, ())):
                yield f"{stage.name}: no {role.replace('_', ' ')} is given; {default[1]}"
