"""The sentences that ampsim writes about a mod, `sentences_of(mod)`, and what none may look like, `oddities(text)`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from ampsim.base.errors import DescriptionError
from ampsim.job.papers.wiring import wiring_tables
from ampsim.library.overview import describe_amp, describe_mod
from ampsim.studies.brightness.reasons import explain_brightness
from ampsim.studies.brightness.sentences import brightness_sentences
from ampsim.studies.sheet.sheet import examine
from ampsim.studies.topics import topic_section
from ampsim.work.cautions.sheet import caution_sheet
from ampsim.work.parts_list.parts_list import parts_list
from ampsim.work.steps.work_plan import work_steps
from ampsim.work.wiring.readback import wiring
from tests.tools.any_mods import MadeMod

_PART = r"(?:R|C|V|P|S|T|L)\d+[A-B]?"
# What is odd in any text, each with why.
ODD: dict[str, str] = {
    r"(?<=\S)  +(?=\S)": "two blanks",
    r"\bat as drawn\b": "a label used as a place",
    r"\bnot\b[^.;:]{0,40}\bnot\b(?! known)": "not ... not",
    r"\b(\d[\d.]*)( \w+)? against \1\b(?![.\d])": "a number against itself",
    r"\((\w[^()]*) against \1\)": "something against itself",
    r"[-+\u2212]0(?:\.0+)? (?:dB|V|W|%|acum)": "nothing with a sign",
    r"\b0\.00 acum": "nothing, counted",
    r"[-\u2212]\d[\d.]* dB(?:\(A\))? (?:lower|less|down|below)": "negative and lower",
    r"\d[munpkM] (?:H|F|ohm|V|A|W)\b": "a value with two units",
    r"\d[eE][+-]?\d": "a number as a computer has it",
    r"\bnan\b|\binf\b|\bNone\b": "a number as a computer has it",
    r"\b\w[\w ]*=(?:\d|[a-z])": "a setting as a programmer has it",
    rf"(?<![\w,] )(?<!\w){_PART} (?:hang|carry|stand|take|have|need)\b": "one part, a verb for several",
    rf"{_PART}(?:,| and) {_PART} (?:hangs|carries|stands|takes|has|needs)\b": "several parts, a verb for one",
    r"\b1 (?:parts|amps|positions|capacitors|resistors|valves|readings|places|degrees)\b": "one of several",
    r"\b(\w+) \1\b(?<!that that)(?<!had had)": "a word twice",
    r"[,;:]\s*[,;:.]": "two signs in a row",
    r"\.\.(?!\.)|\. \.": "two full stops",
    r" [,;.](?!\d)": "a blank before a sign",
    r"\(\s*\)": "empty brackets",
    r"(?<=[A-Za-z%)])[.] [a-z](?!\.)": "a sentence without a capital",
}


def oddities(text: str) -> Iterator[str]:
    """What is odd in a text, each with where."""
    for pattern, why in ODD.items():
        for found in re.finditer(pattern, text):
            start = max(found.start() - 40, 0)
            yield f"{why}: ...{text[start : found.end() + 40]}..."


def sentences_of(
    mod: MadeMod, topics: Sequence[str] = ("ratings", "stability", "noise", "pop")
) -> Iterator[tuple[str, str]]:
    """Where a text stands, and the text, of everything about a mod that takes no long."""
    stock, modded = mod.amp.amp, mod.modded
    yield from _lines("check", [describe_amp(stock), describe_mod(mod.mod)])
    for topic in topics:
        section = topic_section(topic, examine(stock, modded))
        yield from ((topic, each.sentence) for each in section.findings)
        yield from ((topic, note) for note in section.notes)
        yield from ((f"{topic}, picture", picture.alternative) for picture in section.pictures.values())
    yield from _lines("parts", [parts_list(stock, modded).text()])
    yield from _lines("steps", [work_steps(stock, modded).text()])
    yield from _lines("cautions", [caution_sheet(modded).text()])
    for title, table in wiring_tables(wiring(modded)).items():
        yield "wiring", title
        yield from (("wiring", str(cell)) for row in table.itertuples(index=False) for cell in row)
    for setting in ({}, *({each.control: label} for each in modded.all_switches for label in each.labels)):
        try:
            yield from (
                ("brightness", each) for each in brightness_sentences(explain_brightness(stock, modded, setting))
            )
        except DescriptionError as problem:
            yield "brightness", str(problem)


def _lines(where: str, texts: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Lines of a text that are no rows of a table."""
    for text in texts:
        yield from (
            (where, line.strip()) for line in text.splitlines() if "  " not in line.strip() and line.strip(" -")
        )
