"""The whole sheet: every topic of a mod's consequences, examined one after the other."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp
from ...circuit.positions import every_position
from ..findings import Finding, Grade, worst
from ..section import Examined, Section
from .summary import IN_WORDS, in_a_word, overview, section_text

# Title by module: sections are loaded when they are asked for.
TOPICS = {
    "ratings": "bias and ratings",
    "headroom": "headroom",
    "blocking": "blocking",
    "stability": "stability",
    "noise": "noise and hum",
    "pop": "pop of a switch",
    "spread": "spread and sensitivity",
}
_ENDS = (0.0, 1.0)


@dataclass(frozen=True, repr=False)
class Sheet:
    """What a mod does besides tone: the sections, in the order of the work."""

    examined: Examined
    sections: tuple[Section, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Every finding, section by section."""
        return tuple(finding for section in self.sections for finding in section.findings)

    @property
    def grade(self) -> Grade:
        """The most worrying grade of all."""
        return worst(self.findings)

    @property
    def text(self) -> str:
        """The sheet as plain text."""
        amp = self.examined.modded
        head = f"{amp.name} with {amp.variant}: {in_a_word(self.grade, self.findings)}"
        return "\n\n".join([head, *(section_text(section) for section in self.sections)])

    def __repr__(self) -> str:
        amp = self.examined.modded
        return f"<sheet of {amp.name} with {amp.variant}: {in_a_word(self.grade, self.findings)}>"

    def _repr_html_(self) -> str:
        """What a notebook shows: one line to each section."""
        return overview(self.sections)


def examine(stock: Amp, modded: Amp, positions: Sequence[dict[str, float | str]] | None = None) -> Examined:
    """What to look at: positions as given, or every position of each control that the mods add, one at a time.

    A switch goes through all of its positions, a knob through both ends; everything else stands as drawn.
    """
    if positions is not None:
        return Examined(stock, modded, tuple(dict(position) for position in positions))
    added = [name for name in modded.controls if name not in stock.controls]
    found: list[dict[str, float | str]] = [{}]
    for name in added:
        drawn = modded.controls[name].drawn
        ends = every_position(modded, name, rotations=_ENDS)
        found += [position for position in ends if position[name] != drawn]
    return Examined(stock, modded, tuple(found))


def consequences(
    examined: Examined,
    topics: Sequence[str] | None = None,
    tell: Callable[[str], object] | None = None,
) -> Sheet:
    """Examine a mod and return its sheet.

    Parameters
    ----------
    examined : Examined
        Of `examine`.
    topics : sequence of str
        Some of `TOPICS`; default all.
    tell : callable
        Called with a line of text before each topic and as it goes on.

    Raises
    ------
    DescriptionError
        For an unknown topic.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    wanted = list(TOPICS) if topics is None else list(topics)
    for topic in wanted:
        if topic not in TOPICS:
            raise DescriptionError(f"{shown(topic)} is no topic of the sheet{nearest(topic, TOPICS)}")
    return Sheet(examined, tuple(_section(topic, examined, tell) for topic in wanted))


def _section(topic: str, examined: Examined, tell: Callable[[str], object] | None) -> Section:
    if tell:
        tell(f"{TOPICS[topic]} ...")
    section: Section = import_module(f"..{topic}.section", __package__).section(examined, None)
    if tell:
        tell(f"{TOPICS[topic]}: {IN_WORDS[section.grade]}")
    return section
