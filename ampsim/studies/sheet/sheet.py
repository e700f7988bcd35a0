"""The whole sheet: every topic of a mod's consequences, two of them examined at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from ...base.progress import Progress, ProgressBar
from ...base.side_by_side import side_by_side
from ...base.system import cores
from ...circuit.amp import Amp
from ...circuit.positions import every_position
from ..combinations import combined_positions, with_fewer_settings
from ..findings import Finding, Grade, verdict, worst
from ..section import Examination, Section
from ..stability.steady import unsteady_sections
from ..topics import chosen_topics, topic_title
from .kept_sections import kept_section
from .overview import overview_html
from .text import first_answer, section_text

_ENDS = (0.0, 1.0)
_HANDS = 2  # topics under way at once: Python computes for one at a time, simulators and compiled loops go on beside


@dataclass(frozen=True, repr=False)
class Sheet:
    """What a mod does besides tone: the sections, in the order of the work."""

    examined: Examination
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
    def headline(self) -> str:
        """Amp, mods and verdict on one line."""
        amp = self.examined.modded
        return f"{amp.name} with {amp.variant}: {verdict(self.findings)}"

    @property
    def first_answer(self) -> str:
        """What must be decided, what is near a limit, and all that is fine in one line: it fits a screen."""
        return f"{self.headline}\n\n{first_answer(self.sections)}"

    @property
    def text(self) -> str:
        """Everything as plain text: every finding, every table."""
        return "\n\n".join([self.headline, *(section_text(section) for section in self.sections)])

    def __repr__(self) -> str:
        return f"<sheet of {self.headline}>"

    def _repr_html_(self) -> str:
        """What a notebook shows: one line to each section."""
        return overview_html(self.sections)


def examine(stock: Amp, modded: Amp, positions: Sequence[dict[str, float | str]] | None = None) -> Examination:
    """What to look at: positions as given, or every position of each control that the mods add, one at a time.

    A switch goes through all of its positions, a knob through both ends; everything else stands as drawn. Besides,
    they are combined: all of them where that makes up to `combinations.MOST`, else so that each pair meets. Positions
    as given are looked at with each of their settings left out too, so that a finding can name the one that makes it.
    """
    if positions is not None:
        return Examination(stock, modded, tuple(_with_settings_left_out(positions)))
    added = [name for name in modded.controls if name not in stock.controls]
    chosen: list[dict[str, float | str]] = [{}]
    for name in added:
        drawn = modded.controls[name].drawn
        ends = every_position(modded, name, rotations=_ENDS)
        chosen += [position for position in ends if position[name] != drawn]
    combined = [each for each in combined_positions(modded, added) if each not in chosen]
    return Examination(stock, modded, tuple(chosen), tuple(combined))


def _with_settings_left_out(positions: Sequence[dict[str, float | str]]) -> list[dict[str, float | str]]:
    """Positions, and after them each without one of its settings, and without any."""
    found = with_fewer_settings(positions)
    return found if {} in found else [*found, {}]


def consequences(
    examined: Examination,
    topics: Sequence[str] | None = None,
    progress: Progress | None = None,
) -> Sheet:
    """Examine a mod and return its sheet; what was found of the same before is taken from where it is kept.

    Parameters
    ----------
    examined : Examination
        Of `examine`.
    topics : sequence of str
        Some of `studies.topics.TOPICS`; default all.
    progress : callable
        See `base.progress`; called before each topic and after it, with its title and its grade; two are at work.

    Raises
    ------
    DescriptionError
        For an unknown topic.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    chosen = chosen_topics(topics)
    # An amp that oscillates is said first, whatever else is asked.
    first = [] if "stability" in chosen else unsteady_sections(examined)
    # The runs of amps, which stand last, take longest; neighbours ask ngspice alike, and one finds what the other kept.
    order = [*chosen[-1:], *chosen[:-1][::2], *chosen[:-1][1::2]]
    pieces = [partial(kept_section, topic, examined) for topic in order]
    with ProgressBar() as bar:
        found = side_by_side(pieces, min(_HANDS, cores()), _teller(order, progress or bar))
    sections = dict(zip(order, found, strict=True))
    return Sheet(examined, (*first, *(sections[topic] for topic in chosen)))


def _teller(order: Sequence[str], progress: Progress) -> Callable[[int, Section | None], None]:
    """Says which topic begins, and how each stands that is done."""
    done = 0

    def tell(place: int, section: Section | None) -> None:
        nonlocal done
        done += section is not None
        progress(done, len(order), f"{topic_title(order[place])}{f': {section.grade.advice}' if section else ' ...'}")

    return tell
