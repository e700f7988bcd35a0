"""Hostile files: strings that try to run a command, to read or to write a file, in every text of every file kind.

Every string carries its own number, so a mark left behind tells which one it was. The known holes are those of the
ngspice manual (control language, `.include`, redirection) and those found by trying them on ngspice 39 to 45.
"""

from __future__ import annotations

import contextlib
import copy
import datetime
import math
import random
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from ampsim.base.errors import AmpsimError
from ampsim.circuit.amp import Amp, Mod
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.valves.description import Valve
from ampsim.circuit.valves.parsing import parse_valve
from ampsim.library.files import models
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ampsim.simulation.netlist import Netlist, build
from ampsim.simulation.stimuli import Burst, Sine

Tables = dict[str, Any]
Place = tuple[str | int, ...]

# {do} is a shell command that leaves a mark, {mark} that mark's path, {trap} a file that leaves one when read.
HOLES = (
    "\n.control\nshell {do}\n.endc\n", "1k\n.control\nshell {do}\n.endc\n.end\n", ".control\nshell {do}\n.endc",
    "\r.control\rshell {do}\r.endc\r", "1k\r\n.control\r\nshell {do}\r\n.endc\r\n", "\r*# shell {do}\r",
    "*# shell {do}", "\n*# shell {do}\n", "\n*#shell {do}\n", "1k\n*# shell {do}", "*#shell {do}", "`{do}`",
    "1k `{do}`", "$(`{do}`)", "$({do})", "1k $({do})", "${{IFS}}{do}", "$`{do}`", "\n.title `{do}`\n", ";shell {do}",
    "1k; shell {do}", "1k;{do}", "; shell {do};", "shell {do}", "\nshell {do}\n", "1k\nshell {do}", "!{do}", "| {do}",
    "1k | {do}", "&& {do}", "& {do} &", "|| {do}", "-c '{do}'", "'{do}'", "\"{do}\"", "';{do};'", ".include {trap}",
    "\n.include {trap}\n", "1k\n.include '{trap}'", "\n.inc {trap}\n", "\n.lib {trap} x\n", "\n.lib '{trap}'\n",
    "source {trap}", "1k; source {trap}", "\n.control\nsource {trap}\n.endc\n", "\nload {trap}\n", "print > {mark}",
    "print all > {mark}", "\nprint all >> {mark}\n", "1k; print v(1) > {mark}", "echo x > {mark}", "\nwrite {mark}\n",
    "\n.control\nop\nwrite {mark}\n.endc\n", "\nwrdata {mark} v(1)\n", "\nhardcopy {mark} v(1)\n",
    "\n.control\necho x > {mark}\n.endc\n", "\nsnsave {mark}\n", "\n.control\nlisting r > {mark}\n.endc\n",
    "codemodel {trap}", "\ncodemodel {trap}\n", "use {trap}", "pre_osdi {trap}", "\nosdi {trap}\n",
    "set sourcepath={trap}", "\na1 %vd(1 0) fs\n.model fs filesource (file='{trap}')\n", "\nv1 1 0 pwlfile={trap}\n",
    "\n.hdl {trap}\n", "\n.param x='{do}'\n", "\n.csparam x={{ {do} }}\n", "\n.func f(x) {{{do}}}\n",
    "\n.if (1)\n.control\nshell {do}\n.endc\n", "{{1k}}", "{{{do}}}", "{{`{do}`}}", "'1k'\n+ .control", "\n+ 1k\n",
    "1k $ {do}", "1k // {do}", "1k ;{do}", "1k * {do}", ".end\n.control\nshell {do}\n.endc", "\n.end\n* {do}\n",
    "\n.ends\n.control\nshell {do}\n.endc\n", "quit {mark}", "\nquit {mark}\n", "1k; quit {mark}", "\n.spiceinit\n",
    "\n.control\nset interactive\n{do}\n.endc", "alter @r1 = `{do}`", "@r1[resistance]", "v(1)#branch",
    "__import__('os').system('{do}')", "'; import os; os.system('{do}'); '", "{{0.__class__.__init__.__globals__}}",
    "%s%n%x", "{{{{7*7}}}}", "<script>{do}</script>", "<!--#exec cmd=\"{do}\"-->", "\\input{{{trap}}}",
    "\\write18{{{do}}}", "$\\mathrm{{{do}}}$", "=cmd|'{do}'!A0", "@SUM(1+1)*cmd|'{do}'!A0", "\x1b]0;{do}\x07",
    "\x1b[2J{do}", "\u2028.control\u2028shell {do}\u2028.endc\u2028", "\u2029*# shell {do}",
    "\u0085.control\u0085shell {do}", "\x0b*# shell {do}", "\x0c.control\x0cshell {do}\x0c.endc", "\x1c*# shell {do}",
    "\x1d\x1e\x1f{do}", "\x00", "1k\x00\n.control\nshell {do}", "\x00shell {do}", "\x08\x08\x08{do}",
    "\ufeff.control\nshell {do}", "\u200b*# shell {do}", "\u202e{do}", "\u00a0;shell {do}", "\ud800{do}",
    "\U000e0001{do}", "\uff0einclude {trap}", "\uff40{do}\uff40", "\uff1bshell {do}", "\u037eshell {do}",
    "\u0661\u0662k{mark}", "1\u06f0k {mark}", "\u00b2{mark}", "\u00bd {mark}", "\uff34{mark}", "R\u0031\u0301{mark}",
    "\u2126{mark}", "../../{trap}", "../../../../..{trap}", "{trap}", "file://{trap}", "~/{mark}", "..\\..\\{mark}",
    "/dev/stdin{mark}", "{mark}.toml", "..", "../{mark}", "./{mark}", "C:\\{mark}", "\\\\host\\{mark}", "NUL{mark}",
    "-{mark}", "--help {mark}", "\"\"\"{do}\"\"\"", "\n[[stages]]\nname = '{do}'", "\"\n[parts]\nR1 = '{do}'",
    "a.b.c{mark}", "{mark}\n" * 40, "x{mark}" * 3000, "(" * 500 + "{do}",
)  # fmt: skip
NUMBERS = (
    "1e999{n}", "-1e999{n}", "nan{n}", "-nan{n}", "inf{n}", "infinity{n}", "1M{n}", "{n}M", "{n}Meg", "{n}MEG",
    "{n}m", "0x{n}", "0b{n}", "0o{n}", "1_000_{n}", "12abc{n}", "1e{n}", "1e-{n}", "{n}e{n}", ".{n}", "-.{n}", "{n}.",
    "1,{n}", "1,2,{n}", "4k7k{n}", "{n}k", "{n}u", "{n}p", "{n}n", "{n}R", "R{n}", "{n}F", "{n}H", "--{n}", "+{n}",
    "+-{n}", "{n}%", "{n} k", " {n}", "{n} ", "\t{n}", "{n}\n", "{n}\x00", "9" * 5000 + "{n}",
    "0." + "0" * 5000 + "{n}", "{n}" * 2000, "1e" + "9" * 400 + "{n}", "\u0661{n}", "{n}\u00b2", "{n}\u03bc",
    "{n}\u00b5", "{n}\u03a9", "{n}k\u03a9",
)  # fmt: skip
_HARMLESS = re.compile(r"[A-Za-z0-9_ .,%+\-]*")


@dataclass(frozen=True)
class Case:
    """A file's tables with one hostile thing in them: the file kind, where it stands, and the thing itself."""

    kind: str
    place: Place
    text: str
    tables: Tables

    @property
    def telling(self) -> bool:
        """Whether the string is one that can never be part of a netlist, as plain words and numbers may be."""
        return not _HARMLESS.fullmatch(self.text)


@lru_cache(maxsize=1)
def originals() -> tuple[tuple[str, Tables], ...]:
    """Healthy files of every kind that the hostile ones are made from."""
    names = [("amp", "amps/workshop-a"), ("amp", "amps/workshop-b")]
    names += [("mod", f"mods/{path.stem}") for path in sorted((models() / "mods").glob("*.toml"))]
    names += [("valve", f"valves/{name}") for name in ("12AX7", "EL84", "published/12AX7-dempwolf-zoelzer-2011")]
    names += [("job", f"jobs/{path.stem}") for path in sorted((models() / "jobs").glob("*.toml"))]
    read = [(kind, tomllib.loads((models() / f"{name}.toml").read_text("utf-8"))) for kind, name in names]
    return (*((kind, _short(tables)) for kind, tables in read), ("mod", ALL_FORMS), ("amp", SMALL))


def _short(tables: Tables) -> Tables:
    """A valve file's published figures are many and alike: three rows stand for all."""
    return tables | ({"points": tables["points"][:3]} if "points" in tables else {})


# Every entry that the files above do not use.
ALL_FORMS: Tables = {
    "name": "all forms",
    "reason": "every way to write an edit",
    "parts": {
        "V9": "12AX7", "R301": "10k", "C301": "1n", "L301": "1", "T301": {"primary": "8k", "taps": ["8"]},
        "P301": {"track": "1M", "taper": "linear", "control": "extra", "rotation": 0.5}, "R302": "1M",
    },
    "edits": [
        {"fit": "V9", "pins": {"plate": "V1B.plate", "grid": "V1B.grid", "cathode": "V1B.cathode"}},
        {"fit": "P301", "pins": {"top": "V1B.plate", "wiper": "P1.bottom", "bottom": "ground"}},
        {"fit": "L301", "in_series_at": "R19.2"}, {"bridge": "R2"}, {"bridge": ["R20.1", "R20.2"]},
        {"replace": "V2A", "with": "12AT7"}, {"replace": "P5", "with": "500k"}, {"lift": "C10"},
        {"fit": "T301", "pins": {"primary_a": "R15.2", "primary_b": "B2", "common": "ground"}},
    ],
    "switches": [{
        "designator": "S301", "control": "extra switch", "drawn": "off", "shaft": "P301",
        "positions": {"off": [], "on": [{"fit": "R301", "across": "R7"}, {"fit": "C301", "between": ["R302.1", "B2"]},
                                       {"fit": "R302", "between": ["P1.wiper", "ground"]}]},
    }],
}  # fmt: skip
SMALL: Tables = {
    "name": "small", "about": "what the others lack",
    "parts": {"V1": "12AX7", "R1": "1M", "R2": "100k", "R3": "1k5", "R4": "1M", "R5": "10k", "C1": "22n"},
    "rails": [{"name": "B1", "volts": "300"}],
    "stages": [
        {"name": "one", "template": "triode stage", "valve": "V1", "supply": "B1", "grid_leak": "R1",
         "plate_load": "R2", "cathode_resistor": "R3"},
        {"name": "free", "template": "free wiring", "wires": {"C1": ["in", "out"], "R4": {"1": "out", "2": "own"},
                                                             "R5": ["own", "ground"]}},
    ],
    "switches": [{"designator": "S1", "control": "cut", "shaft": "P1", "drawn": "full",
                  "positions": {"full": [], "half": [{"replace": "R4", "with": "470k"}]}}],
    "drawn_volts": {"V1.plate": "180"},
}  # fmt: skip


def places(tables: Any, so_far: Place = ()) -> Iterator[Place]:
    """Every key and every value that a file holds; a key's place ends in an extra "key"."""
    pairs = tables.items() if isinstance(tables, dict) else enumerate(tables)
    for key, value in pairs:
        if isinstance(tables, dict):
            yield (*so_far, key, "key")
        yield (*so_far, key, "value")
        if isinstance(value, (dict, list)):
            yield from places(value, (*so_far, key))


def changed(tables: Tables, place: Place, new: Any) -> Tables:
    """The tables with the key or value at a place replaced; what does not lead there is shared with the original."""
    whole = copy.copy(tables)
    *way, key, what = place
    inner: Any = whole
    for step in way:
        inner[step] = copy.copy(inner[step])
        inner = inner[step]
    if what == "value":
        inner[key] = new
    else:
        items = [(new if each == key else each, value) for each, value in inner.items()]
        inner.clear()
        inner.update(items)
    return whole


def original(tables: Tables, place: Place) -> str:
    """What stands at a place, as text."""
    *way, key, what = place
    inner: Any = tables
    for step in way:
        inner = inner[step]
    return str(key if what == "key" else inner[key])


def string(number: int, folder: Path, was: str) -> str:
    """The hostile string of this number: each hole alone, and before, behind and inside what belongs there."""
    forms = (*HOLES, *HOLES, *NUMBERS)
    mark = folder / f"m{number}"
    form = forms[number % len(forms)]
    text = form.format(do=f"touch {mark}", mark=mark, trap=folder / "trap", n=number)
    glue = (text, was + text, text + was, was[:1] + text + was[1:])
    return glue[(number // len(forms)) % 4] if form in HOLES else text


def cases(count: int, folder: Path, seed: int = 1) -> Iterator[Case]:
    """`count` hostile files with as many different strings, over all places of all files in turn."""
    draw = random.Random(seed)
    every = [(kind, tables, place) for kind, tables in originals() for place in places(tables)]
    seen: set[str] = set()
    number = 0
    while len(seen) < count:
        if number % len(every) == 0:
            draw.shuffle(every)
        kind, tables, place = every[number % len(every)]
        text = string(number, folder, original(tables, place))
        number += 1
        if text not in seen:
            seen.add(text)
            yield Case(kind, place, text, changed(tables, place, text))


def things(seed: int = 2) -> Iterator[Case]:
    """Files with something else than a text where one belongs: wrong types, huge numbers, deep nesting."""
    deep: Any = 1
    for _ in range(3000):
        deep = [deep]
    tables_deep: Any = {"a": 1}
    for _ in range(3000):
        tables_deep = {"a": tables_deep}
    odd = (
        10**400, 10**5000, -(10**400), math.nan, math.inf, -math.inf, -0.0, 1e308, True, None, [], {}, [[]],
        [{}], [1, [2]], datetime.datetime(2020, 1, 1), datetime.date(2020, 1, 1), datetime.time(1), deep,
        tables_deep, b"R1", 1j, ["R1"] * 5000,
        {"1": "in", "2": "out"}, [None], {"": ""}, "", " ", "\n",
    )  # fmt: skip
    draw = random.Random(seed)
    for kind, tables in originals():
        for place in places(tables):
            if place[-1] == "value":
                new = draw.choice(odd)
                yield Case(kind, place, "", changed(tables, place, new))


# Files ----------------------------------------------------------------------------------------------------------------


def toml(tables: Tables) -> str:
    """Write tables as TOML, every string escaped; ValueError for what TOML cannot hold."""
    return "".join(f"{_quoted(key)} = {_toml_value(value)}\n" for key, value in tables.items())


def _toml_value(value: Any) -> str:
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml_value, value)) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_quoted(key)} = {_toml_value(each)}" for key, each in value.items()) + " }"
    raise ValueError(value)


def _quoted(text: str) -> str:
    if any("\ud800" <= letter <= "\udfff" for letter in text):
        raise ValueError("lone surrogate")
    return '"' + "".join(each if each.isascii() and each.isalnum() else f"\\U{ord(each):08X}" for each in text) + '"'


# Whole files that are no tables, or such as no table can be.
RAW_FILES: tuple[bytes, ...] = (
    b"", b"\x00", b"\xff\xfe", b"name", b"name =", b"name = 'x", b"[parts", b"[[stages]]\n" * 3000,
    b"\xef\xbb\xbfname = 'x'\n", b"name = 'a'\nname = 'b'\n", b"a = " + b"[" * 5000, b"a = " + b"{a = " * 5000,
    b"a" + b".a" * 3000 + b" = 1\n", b"[a" + b".a" * 3000 + b"]\n",
    b"parts.R1" + b".a" * 3000 + b" = 1\nname = 'x'\n", b"name = " + b"9" * 10000,
    b"name = 'x'\nparts.R1 = " + b"9" * 400, b"name = 'x'\nparts.R1 = " + b"9" * 5000,
    b"name = 'x'\nstages = " + b"9" * 4000, b"name = 'x'\nparts.R1 = 1e400", b"name = 'x'\nparts.R1 = nan",
    b"name = 'x'\nparts.R1 = -inf", b"name = 1979-05-27T07:32:00Z", b"name = 'x'\r.control\rshell touch m\r",
    b"name = \"\\u0000\"", b"name = \"\\uD800\"", b"x" * 2_000_000, b".control\nshell touch m\n",
    b"name = 'x'\nparts = [" + b"[" * 300 + b"]" * 300 + b"]\n", b"name = 'x'\nparts.\"R1\\n.control\" = '1k'\n",
    b"name = 'x'\nparts.\"R1\\u001b[2J\" = '1k'\n", b"\"a\\nb\" = 1\nname = 'x'\n",
)  # fmt: skip
FILE_NAMES = (
    "", ".", "..", "/", "~", "../../x", "../../x.toml", "/dev/null", "/etc/passwd", "..\\x", "x\x00.toml", "\x00",
    "a" * 5000, "a" * 5000 + ".toml", "x\n.toml", "\ud800", "\ud800.toml", "`touch m`", "$(touch m).toml",
    "| touch m", "; touch m", "-", "--help", "12AX7\n", "12AX7;", "../valves/12AX7", "../valves/12AX7.tom", ".toml",
    "con.toml", "http://x/y.toml", "file:///x.toml", "*", "*.toml", "\u202e.toml", "%s%n", "{0}",
    "a/../../../../b.toml", "/dev/zero/x.toml", "models", "workshop-a/", "workshop-a\t", "\x1b[2J.toml",
)  # fmt: skip


# Carrying them in ----------------------------------------------------------------------------------------------------

ANALYSES = (OperatingPoint(), FrequencySweep(), Transient(Sine(1000.0, 0.1, 0.0, 1)), Transient(Burst()))


def parse(case: Case, file: str = "file") -> Any:
    """The Amp, Mod or Valve that an accepted file means; AmpsimError for a refused one. Jobs come from disk only."""
    by_kind: dict[str, Any] = {"amp": parse_amp, "mod": parse_mod, "valve": parse_valve, "job": lambda *_: None}
    return by_kind[case.kind](case.tables, file)


def netlists(made: Any, amps: tuple[Amp, ...]) -> Iterator[Netlist]:
    """Every netlist that an accepted file leads to: each analysis, each position of each switch."""
    for amp in _with(made, amps):
        for analysis in ANALYSES:
            positions: list[dict[str, Any]] = [{}]
            positions += [{switch.control: label} for switch in amp.all_switches for label in switch.labels]
            for position in positions:
                with contextlib.suppress(AmpsimError):
                    yield build(amp, position, analysis, ("speaker",), True)


def _with(made: Any, amps: tuple[Amp, ...]) -> Iterator[Amp]:
    if isinstance(made, Valve):
        valves = (*(valve for valve in amps[0].valves if valve.family != made.family), made)
        yield replace(amps[0], valves=valves, parts=tuple(_socketed(part, made) for part in amps[0].parts))
    elif isinstance(made, Mod):
        for amp in amps:
            with contextlib.suppress(AmpsimError):
                yield apply_mods(amp, made)
    elif isinstance(made, Amp):
        yield made


def _socketed(part: Any, valve: Valve) -> Any:
    family = {"12AX7": "triode", "EL84": "pentode"}.get(getattr(part, "type", ""))
    return replace(part, type=valve.type) if family == valve.family else part


# What a netlist may consist of ----------------------------------------------------------------------------------------

_N = r"-?[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?"
_NET = r"[a-z0-9_]{1,80}"
_NAMES = "V|max|min|pow|ln|exp|sqrt|atan|uramp|sin|time|plate|grid|screen|cathode|ia|is|ig|gi|[xwueiqftyjdo]"
_WORD = rf"(?:{_NAMES})(?![A-Za-z0-9_])"
# Words and numbers of an expression, and single blanks only around the marks of a choice.
_EXPRESSION = rf"(?:{_WORD}|[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?| [?:] |[-+*/()<>,])++"
_INSIDE = re.compile(
    "|".join(
        (
            rf"[GI][A-Z0-9]* (?:0|[a-z]{{1,7}})(?: (?:0|[a-z]{{1,7}})){{1,3}} {_N}",
            rf"R{_NET} {_NET} 0 1 noisy=0",
            rf"B{_NET} 0 {_NET} I={_EXPRESSION}",
            rf"VGO grid gi {_N}",
            r"DG gi cathode grid_diode",
            rf"\.model grid_diode D\(IS={_N} N={_N} RS={_N}\)",
            rf"C(?:GP grid plate|GK grid cathode|PK plate cathode) {_N}",
        )
    )
)
_OPENING = re.compile(r"\.subckt (valve_[a-z0-9_]{1,60}) plate grid (?:screen )?cathode")
_MAIN = re.compile(
    "|".join(
        (
            rf"[rcl]{_NET} {_NET} {_NET} {_N}",
            rf"kt[0-9]+_[0-9]+ l{_NET} l{_NET} 0\.99999",
            rf"v{_NET} {_NET} 0 dc {_N}",
            rf"xv[0-9]+[a-z]? {_NET}(?: {_NET}){{2,3}} valve_[a-z0-9_]{{1,60}}",
            rf"vgenerator input 0 dc (?:0 ac 1|0 sin\(0 {_N} {_N}\)|{_N} pwl\({_N}(?: {_N})++\))",
            rf"bgenerator input 0 V={_EXPRESSION}",
            rf"\.save(?: v\({_NET}(?:\.ia|\.is)?\)| v\.x{_NET}\.vgo#branch| v{_NET}_rail#branch)++",
            r"\.options(?: (?:reltol|abstol|method|gmin|itl4|trtol|rshunt|noopiter|chgtol|vntol)=[a-z0-9.+-]+)++",
        )
    )
)
_COMMAND = re.compile(rf"op|ac dec [0-9]+ {_N} {_N}|tran {_N} {_N} 0\.0 {_N}")


def strange_line(text: str) -> str | None:
    """The first line of a netlist that is none of those a netlist may consist of; None when all are."""
    title, *lines = text.split("\n")
    if title != "* ampsim":
        return title
    if lines[-2:] != [".end", ""]:
        return lines[-1]
    inside = ""
    for line in lines[:-2]:
        opening = _OPENING.fullmatch(line)
        if inside:
            if line == f".ends {inside}":
                inside = ""
            elif not _INSIDE.fullmatch(line):
                return line
        elif opening:
            inside = opening[1]
        elif not _MAIN.fullmatch(line):
            return line
    return inside or None


def strange_command(command: str) -> bool:
    """Whether a command is none that ampsim gives."""
    return not _COMMAND.fullmatch(command)
