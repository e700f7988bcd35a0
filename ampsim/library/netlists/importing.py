"""A netlist file as an amp file: read, asked about, written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from ...base.entries import Entry
from ...base.errors import DescriptionError, shown
from ...base.files import printable, read_bounded
from ...base.quantities import format_value
from ...base.wording import one_line
from ...circuit.amp import Amp, Part
from ...circuit.designators import kind_of
from ...circuit.part_entries import entry_text, plain_word
from ..files import toml_tables
from ..loader import parse_amp
from ..parts import QUANTITY, read_parts
from .drawing import GROUND, NO_ANSWERS, Answers, Drawing, Remark
from .kicad import read_kicad
from .part_remarks import mains_side_is
from .spice_parts import SpiceReader

_MOST_BYTES = 4_000_000
_MOST_SHOWN = 40


@dataclass(frozen=True)
class Imported:
    """What became of a netlist.

    Attributes
    ----------
    text
        The amp file.
    left_out, assumed
        What was not read, and what was read by a convention, line by line.
    beside
        Folder of types of one's own.
    """

    text: str
    left_out: tuple[Remark, ...]
    assumed: tuple[Remark, ...]
    beside: Path | None = None

    @cached_property
    def amp(self) -> Amp:
        """The amp; errors as those of `parse_amp` where what was left out makes it none."""
        return parse_amp(toml_tables(self.text.encode(), "amp"), "amp", self.beside)


def import_netlist(path: str | Path, answers: Answers = NO_ANSWERS) -> Imported:
    """Read a SPICE netlist or a netlist of KiCad as an amp in free wiring.

    Parameters
    ----------
    path : str or Path
        A file of at most 4 MB; KiCad's begins with a bracket.
    answers : Answers
        To what it leaves open.

    Raises
    ------
    DescriptionError
        When it cannot be read, or leaves something open: every question with its line, and what answers it.
    """
    file = Path(path)
    return import_text(read_bounded(file, _MOST_BYTES), printable(file.name), answers, file.parent)


def import_text(
    data: bytes, name: str = "netlist", answers: Answers = NO_ANSWERS, beside: Path | None = None
) -> Imported:
    """Read the bytes of a netlist.

    Parameters
    ----------
    data : bytes
    name : str
        What messages call it.
    answers : Answers
    beside : Path, optional
        Folder of types of one's own, which win over those that come with ampsim.

    Raises
    ------
    DescriptionError
        As `import_netlist`.
    """
    drawing = Drawing(answers)
    text = data.decode("utf-8", "replace").lstrip("\ufeff")

    try:
        if text.lstrip().startswith("("):
            read_kicad(text, drawing, beside)
        else:
            SpiceReader(text, drawing, beside).read()
        tables = _Assembly(drawing).tables(name)
    except DescriptionError as problem:
        raise DescriptionError(f"{name}: {problem}") from None
    if drawing.questions:
        shown_ones = drawing.questions[:_MOST_SHOWN]
        more = len(drawing.questions) - len(shown_ones)
        rest = [f"and {more} more"] if more else []
        raise DescriptionError("\n  ".join([f"{name}: what is meant has to be said first:", *shown_ones, *rest]))
    for remarks in (drawing.left_out, drawing.assumed):
        remarks.sort(key=lambda each: each.line)
    found = Imported(amp_text(tables, drawing), tuple(drawing.left_out), tuple(drawing.assumed), beside)
    if drawing.mean_lines and not mains_side_is(found.amp, drawing.mean_lines):
        raise DescriptionError(
            f"{name}: the lines of the mains side are not those of the parts that it names; mend them"
        )
    return found


class _Assembly:
    """From a drawing to the tables of an amp file."""

    def __init__(self, drawing: Drawing) -> None:
        self._drawing, self._answers = drawing, drawing.answers
        find = drawing.wires.find
        self._parts = {
            name: (entry, {pin: find(net) for pin, net in pins.items()})
            for name, (entry, pins) in drawing.parts.items()
        }
        self._nets = dict.fromkeys(net for _, pins in self._parts.values() for net in pins.values())
        self._supplies = {find(net): volts for net, volts in {**drawing.supplies, **self._told_rails()}.items()}

    def _told_rails(self) -> dict[str, float]:
        for net in self._answers.rails:
            self._known(net, "--rail")
        return dict(self._answers.rails)

    def tables(self, name: str) -> dict[str, Any]:
        """The tables; what is missing is asked."""
        entry = self._end("input", self._answers.input, self._drawing.sources)
        out = self._end("output", self._answers.output, self._loudspeakers() or self._drawing.printed[:1])
        if self._holds_valves() and not self._supplies and not self._drawing.mean_lines:
            self._drawing.ask(0, "no supply holds any net; say --rail NET=VOLTS")
        rails = {net: own for net in self._supplies if (own := _rail_name(net))}
        taken = {each.lower() for each in rails.values()}
        free = (each for each in map("B{}".format, range(1, 9999)) if each.lower() not in taken)
        rails |= {net: next(free) for net in self._supplies if net not in rails}
        names = self._drawing.net_names(self._nets, rails)
        names |= {out: "out"} if out else {}
        names |= {entry: "in"} if entry else {}
        wires = {part: {pin: names[net] for pin, net in pins.items()} for part, (_, pins) in self._parts.items()}
        stages = [{"name": "netlist", "template": "free wiring", "wires": wires}, *self._oscillators(wires)]
        return {
            "name": plain_word(Path(name).stem)[:60].strip() or "netlist",
            "about": "Read from a netlist.",
            **({"sure": sorted(self._answers.sure)} if self._answers.sure else {}),
            "parts": {part: self._entry(part, entry) for part, (entry, _) in self._parts.items()},
            "rails": [{"name": rails[net], "volts": volts} for net, volts in self._supplies.items()],
            "stages": stages,
        }

    def _oscillators(self, wires: dict[str, dict[str, str]]) -> Iterator[dict[str, Any]]:
        """A stage for each valve that the netlist holds still, taken out of the wires, its pins at places of others."""
        for number, ((name, net, *_), *_) in enumerate(
            ([line.split() for line in lines] for lines in self._drawing.still_lines), 1
        ):
            active = name.removeprefix("c").removesuffix("_still").upper()
            if active not in wires or net not in self._parts[active][1].values():
                self._drawing.ask(0, f"{active} is held still, and is not on net {shown(net)}")
                continue
            pins = wires.pop(active)
            places = {net: f"{part}.{pin}" for part, given in wires.items() for pin, net in given.items()}
            rails_and_ground = {net: net for net in pins.values() if net not in places or net == "ground"}
            own = {pin: {**places, **rails_and_ground}[net] for pin, net in pins.items()}
            yield {"name": f"oscillator {number}", "template": "oscillator of any wiring", "wires": {active: own}}

    def _holds_valves(self) -> bool:
        return any("plate" in pins for _, pins in self._parts.values())

    def _known(self, net: str, option: str) -> str:
        word = net if net in self._nets else net.lower()
        if word not in self._nets:
            self._drawing.ask(0, f"{option}: no part is on a net {shown(net)}")
        return self._drawing.wires.find(word)

    def _end(self, what: str, told: str, found: list[str]) -> str:
        if told:
            return self._known(told, f"--{what}")
        live = [
            net for net in dict.fromkeys(map(self._drawing.wires.find, found)) if net in self._nets and net != GROUND
        ]
        if len(live) != 1:
            may = f": {', '.join(live[:6])}" if live else ""
            self._drawing.ask(0, f"which net is the {what}{may}? Say --{what} NET")
        return live[0] if live else ""

    def _loudspeakers(self) -> list[str]:
        pins = [pins for name, (_, pins) in self._parts.items() if name.startswith(("LS", "SPK"))]
        return [next((net for net in each.values() if net != GROUND), GROUND) for each in pins][:1]

    def _entry(self, designator: str, entry: Any) -> Any:
        """An entry as a drawing writes it, where that is the same to the last digit."""
        quantity = QUANTITY.get(kind_of(designator))
        if not isinstance(entry, float) or quantity is None:
            return entry
        text = format_value(entry, quantity)
        (again,) = read_parts(Entry({designator: text}, "--value", "parts"))
        return text if isinstance(again, Part) and again.value == entry else entry


def _rail_name(net: str) -> str:
    """A net's own name where a rail may have it; else ""."""
    word = net.strip("+-")
    fits = word.isidentifier() and word.isascii() and word[0].isalpha() and len(word) <= 16
    taken = word.lower() in ("ground", "input", "speaker", "in", "out", "in_b", "out_b")
    return word if fits and not taken and not kind_of(word.upper()) else ""


def amp_text(tables: Mapping[str, Any], drawing: Drawing) -> str:
    """The amp file, with what was left out in remarks at its end."""
    lines = [f"{key} = {entry_text(tables[key])}" for key in ("name", "about", "sure") if key in tables]
    lines += ["", "[parts]", *(f"{name} = {entry_text(entry)}" for name, entry in tables["parts"].items())]
    for rail in tables["rails"]:
        lines += ["", "[[rails]]", *(f"{key} = {entry_text(value)}" for key, value in rail.items())]
    for stage in tables["stages"]:
        lines += ["", "[[stages]]", *(f"{key} = {entry_text(stage[key])}" for key in ("name", "template"))]
        lines += ["", "[stages.wires]"]
        for name, pins in stage["wires"].items():
            plain = tuple(pins) == ("1", "2")
            lines.append(f"{name} = {entry_text(list(pins.values()) if plain else pins)}")
    for title, remarks in (("Not read", drawing.left_out), ("Read by a convention", drawing.assumed)):
        if remarks:
            lines += ["", f"# {title}:", *(f"# {one_line(str(each))[:240]}" for each in remarks)]
    return "\n".join(lines) + "\n"
