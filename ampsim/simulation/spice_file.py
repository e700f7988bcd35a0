"""An amp at a position as a plain SPICE netlist, which any ngspice runs alone and people can read.

The numbers are those of `netlist`, and so is the answer. Nets are named after places, and remarks say what is what:
above a part that is more than one element stands its entry of an amp file, so that an import finds it again.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from dataclasses import replace

import numpy as np

from ..base.errors import DescriptionError
from ..circuit.amp import Amp, Pot
from ..circuit.build import Circuit, circuit_at
from ..circuit.nets import INPUT
from ..circuit.part_entries import entry_text, is_plain, part_entry, plain_word
from ..circuit.positions import Position, position_label
from ..circuit.stages.template import GROUND, Element
from ..circuit.supply.averaged import MEAN_RECTIFIER, supplied
from ..circuit.supply.inrush import MEAN_THERMISTOR
from .analyses import Analysis, FrequencySweep, OperatingPoint, Transient
from .devices import WRITERS
from .drives import command, options, write_drive
from .netlist import slot_value, subcircuits, write
from .netlist_writer import Writer
from .oscillator_state import write_oscillators

REST_AND_SWEEP: tuple[Analysis, ...] = (OperatingPoint(), FrequencySweep())
_TELLING = re.compile(r"[a-z]+[0-9]*[a-z]?_[a-z][a-z0-9_]*")
_REMARK = re.compile(r"[^A-Za-z0-9 .,:()+=_/%\"{}\[\]-]")
_MOST = 2000
STANDS_FOR = "* Below stands for"
MAINS_SIDE = " in the mains side"


def spice_file(
    amp: Amp,
    position: Position | None = None,
    analyses: Iterable[Analysis] = REST_AND_SWEEP,
    nodes: Iterable[str] = ("speaker",),
) -> str:
    """Write an amp with its mods, at a position, as a netlist that runs alone.

    Parameters
    ----------
    amp : Amp
    position : mapping, optional
        Control name to rotation (0 to 1) or switch position; controls not named stand as drawn.
    analyses : iterable of Analysis
        `OperatingPoint`, `FrequencySweep`, or a `Transient` alone, which ngspice works out with options of its own.
    nodes : iterable of str
        Places whose voltages [V] are printed; a rawfile holds every one.

    Returns
    -------
    str
        Its first line is the title; every other text of the amp's file stands in remarks, plain signs alone.

    Raises
    ------
    DescriptionError
        For an unknown place, position or rotation, and for analyses that do not go together in one file.
    """
    asked = tuple(analyses)
    _check(asked)
    setting = amp.setting(position or {})
    drawn = supplied(circuit_at(amp, setting))
    names = readable_nets(drawn, _inner_nets(circuit_at(amp, setting), drawn.live_nets, setting, asked[0]))
    wired = _renamed(drawn, names)
    writer = Writer(in_time=isinstance(asked[0], Transient))
    for text in (*_title(amp, position or {}, setting), *subcircuits(wired), "* What drives it"):
        writer.line(text.rstrip())
    write_drive(writer, wired, asked[0])
    _write_parts(writer, wired, setting)
    moving = isinstance(asked[0], Transient) and asked[0].moving
    held = _apart(lambda alone: write_oscillators(alone, wired, moving))
    if held:
        writer.line(f"{STANDS_FOR} an oscillator that {'is pushed' if moving else 'stands still'}: {len(held)} lines")
    write_oscillators(writer, wired, moving)
    for net, places in drawn.places_by_net.items():
        if net in drawn.live_nets and net != GROUND:
            writer.line(remark(f"net {names[net]}: {', '.join(places)}"[:_MOST]))
    vectors = [f"v({names[net]})" for net in map(drawn.net, nodes) if net in drawn.live_nets and net != GROUND]
    writer.line(f"{options(asked[0], writer)} numdgt=12")
    for each in asked:
        writer.line(f".{command(each, wired, writer)}")
        if not isinstance(each, OperatingPoint) and vectors:
            writer.line(f".print {command(each, wired, writer).split()[0]} {' '.join(vectors)}")
    writer.line(".end")
    values = (slot_value(source, half, setting) for source, half in writer.sources)
    first, *others = writer.skeleton()
    return first + "".join(f"{_number(value)}{text}" for value, text in zip(values, others, strict=True))


def _number(value: float) -> str:
    """A value to the last digit, with an exponent where a drawing's 0.001 could be microfarads."""
    return np.format_float_scientific(value, trim="-") if 0.0 < value < 1.0 else repr(value)


def _check(asked: tuple[Analysis, ...]) -> None:
    kinds = [type(each) for each in asked]
    if kinds != [Transient] and (not kinds or set(kinds) - {OperatingPoint, FrequencySweep}):
        names = ", ".join(each.__name__ for each in kinds) or "nothing"
        raise DescriptionError(
            f"a netlist file that asks for {names}; it can ask for operating points and frequency sweeps, or for one "
            "transient"
        )
    if OperatingPoint(cold=True) in asked:
        raise DescriptionError("OperatingPoint(cold=True): a netlist file has warm valves; ask for OperatingPoint()")


def _inner_nets(wired: Circuit, nets: Set[str], setting: Mapping[str, float | str], analysis: Analysis) -> set[str]:
    """Every word of the netlist as it is simulated that is no net of the circuit: no net may go by such a name."""
    return set(write(wired, setting, analysis, ("speaker",)).text.split()) - nets


def remark(text: str) -> str:
    """A line that SPICE passes over, whatever the text: plain signs alone, on one line, of bounded length.

    Raises
    ------
    DescriptionError
        For a text of more than 2,000 signs.
    """
    if len(text) > _MOST:
        raise DescriptionError(f"{text[:40]}...: too long for a remark in a netlist")
    return f"* {_REMARK.sub('_', text)}"


def _title(amp: Amp, position: Position, setting: Mapping[str, float | str]) -> Iterator[str]:
    yield remark(f"{amp.name}, {amp.variant}, {position_label(position)}"[:200])
    yield remark("Run: ngspice -b THIS_FILE prints, ngspice -b -r OUT.raw THIS_FILE keeps every voltage and current.")
    yield remark("Nets are named after a place on them. An x is a valve or a semiconductor, v..._rail an ideal supply.")
    for name, where in setting.items():
        yield remark(f"control {name[:100]} stands at {str(where)[:100]}")
    yield remark("Laws of the valves and semiconductors")


def _write_parts(writer: Writer, wired: Circuit, setting: Mapping[str, float | str]) -> None:
    stage = None
    mains = {each.designator: each for each in wired.elements if each.kind == MEAN_RECTIFIER}
    for element in wired.elements:
        if element.stage != stage:
            stage = element.stage
            writer.line(remark(f"--- {plain_word(stage)[:100]} ---"))
        part = wired.parts.get(element.designator)
        if element.kind == "rail" and f"{element.designator}_mean" in mains:
            behind = mains[f"{element.designator}_mean"]
            lines = _apart(lambda alone: WRITERS[behind.kind](alone, behind, wired))  # noqa: B023
            writer.line(f"{STANDS_FOR} a mains side: {len(lines) + 1} lines")
        elif element.kind == MEAN_THERMISTOR or (element.kind == MEAN_RECTIFIER and not _has_rail(element, wired)):
            lines = _apart(lambda alone: WRITERS[element.kind](alone, element, wired))  # noqa: B023
            writer.line(f"{STANDS_FOR} a mains side: {len(lines)} lines")
        elif part is not None and element.kind != MEAN_RECTIFIER and not is_plain(part):
            known = replace(part, rotation=float(setting[part.control])) if isinstance(part, Pot) else part
            writer.line(part_remark(element, entry_text(part_entry(known))))
        WRITERS[element.kind](writer, element, wired)
    if mains:
        for element in wired.removed:
            writer.line(part_remark(element, entry_text(part_entry(wired.parts[element.designator]))) + MAINS_SIDE)


def _has_rail(behind: Element, wired: Circuit) -> bool:
    """Whether a source stands behind a mean rectifier; behind the upper half of a doubler its lower half stands."""
    return any(each.kind == "rail" and f"{each.designator}_mean" == behind.designator for each in wired.elements)


def _apart(write_lines: Callable[[Writer], object]) -> list[str]:
    """The lines that something writes, and nothing else."""
    alone = Writer()
    write_lines(alone)
    return "0.0".join(alone.skeleton()).splitlines()


def part_remark(element: Element, entry: str) -> str:
    """What a part is, and the nets of its pins: "* P1 = { track = 1e6, ... } on top v1a_plate, wiper p1_wiper"."""
    pins = ", ".join(f"{pin} {net}" for pin, net in element.pins)
    return remark(f"{element.designator} = {entry} on {pins}")


def readable_nets(wired: Circuit, taken: set[str]) -> dict[str, str]:
    """A name for every net after what is on it: a rail, a valve's pin, else another part's; none of those taken."""
    names = {GROUND: GROUND, INPUT: INPUT}
    taken = {*taken, *names}
    gone = {net for each in wired.removed for _, net in each.pins} if _has_mains(wired) else set()
    for net in sorted((wired.live_nets | gone) - names.keys()):
        name = wanted = _wanted(net, wired.places_by_net[net])
        number = 1
        while name in taken:
            number += 1
            name = f"{wanted}_{number}"
        names[net] = name
        taken.add(name)
    return names


def _has_mains(wired: Circuit) -> bool:
    return any(each.kind == MEAN_RECTIFIER for each in wired.elements)


def _wanted(net: str, places: tuple[str, ...]) -> str:
    if net.startswith("rail_"):
        return net.removeprefix("rail_")
    own = re.sub(r"^n[0-9]+_", "", net)  # of free wiring
    if own != net or _TELLING.fullmatch(net):
        return own
    named = next((place for place in places if "." in place), net)
    return re.sub(r"[^a-z0-9]+", "_", named.lower()).strip("_")


def _renamed(wired: Circuit, names: Mapping[str, str]) -> Circuit:
    def told(element: Element) -> Element:
        return replace(element, pins=tuple((pin, names.get(net, net)) for pin, net in element.pins))

    return replace(wired, elements=tuple(map(told, wired.elements)), removed=tuple(map(told, wired.removed)))
