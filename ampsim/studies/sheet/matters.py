"""Findings gathered into matters: what must be decided, what is near a limit, what is not known, what is fine."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ...base.wording import join_words
from ...circuit.positions import AS_DRAWN
from ..findings import Finding, Grade
from ..section import Section

_EQUALLY = 0.02  # [ratio] within which two findings stand equally badly
_MOST_NAMED = 4  # positions that are named one by one
_MOST_IN_FULL = 3  # matters to decide of which every sentence is said
HEADINGS = {
    Grade.BEYOND: "Must be decided",
    Grade.NEAR: "Look again: near a limit, or past it as in the stock amp",
    Grade.UNKNOWN: "Not known",
}
"""What the matters of each grade that somebody has to read are headed with, in the order of reading."""
NOTHING = "Nothing must be decided"


@dataclass(frozen=True)
class Matter:
    """Findings of one grade on one subject: the one that stands worst, and the positions at which others stand too."""

    section: Section
    finding: Finding
    others: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The first sentence of its worst finding, and where else it is so."""
        return self._with_others(first_sentence(self.finding.sentence))

    @property
    def sentences(self) -> str:
        """Every sentence of its worst finding, and where else it is so."""
        return self._with_others(f"{self.finding.sentence.rstrip('.')}.")

    def _with_others(self, words: str) -> str:
        if not self.others:
            return words
        named = [other if other == AS_DRAWN else f"at {other}" for other in self.others]
        if len(named) > _MOST_NAMED:
            named = [*named[: _MOST_NAMED - 1], f"at {len(named) - _MOST_NAMED + 1} more positions"]
        return f"{words} Likewise {join_words(named)}."


def matters(sections: Sequence[Section], grade: Grade) -> list[Matter]:
    """What stands at a grade, a matter to each subject of each section, in the order of the sections."""
    found = []
    for section in sections:
        subjects: dict[str, list[Finding]] = {}
        for finding in section.in_order:
            if finding.grade == grade:
                subjects.setdefault(finding.subject, []).append(finding)
        found += [_matter(section, findings) for findings in subjects.values()]
    return found


def matter_words(found: Sequence[Matter]) -> list[str]:
    """Each matter in words: in full where something must be decided and there is little of it, else in a sentence."""
    in_full = len(found) <= _MOST_IN_FULL and all(each.finding.grade == Grade.BEYOND for each in found)
    return [each.sentences if in_full else each.sentence for each in found]


def fine_words(sections: Sequence[Section]) -> str:
    """All that is fine, folded in one sentence; empty where nothing is."""
    whole, rest, count = [], [], 0
    for section in sections:
        fine = sum(finding.grade == Grade.FINE for finding in section.in_order)
        if fine and section.grade == Grade.FINE:
            whole.append(section.title)
        elif fine:
            rest.append(section.title)
            count += fine
    # A title may hold an "and" of its own.
    others = [f"{count} more {'finding' if count == 1 else 'findings'} ({'; '.join(rest)})"] if rest else []
    return f"{'; '.join([*whole, *others])}." if whole or rest else ""


def silent_words(sections: Sequence[Section]) -> list[str]:
    """Topics in which nothing was judged, each with the reason."""
    return [
        f"{section.title}: nothing to judge. {first_sentence(' '.join(section.notes[:1]))}".removesuffix(" .")
        for section in sections
        if not section.findings
    ]


def _matter(section: Section, findings: Sequence[Finding]) -> Matter:
    most = max(map(_excess, findings))
    # The first of those that stand about equally badly.
    worst = next(each for each in findings if math.isclose(_excess(each), most, rel_tol=_EQUALLY))
    others = dict.fromkeys(each.settings for each in findings if each.settings != worst.settings)
    return Matter(section, worst, tuple(others))


def _excess(finding: Finding) -> float:
    """How far a number is past its limit [its own unit]; a number without a limit comes after those with one."""
    return -math.inf if math.isnan(finding.excess) else finding.excess


def first_sentence(words: str) -> str:
    """Up to the first full stop that ends a sentence, not a number."""
    return re.split(r"(?<=[a-z\d%)])\. (?=[A-Z])", words, maxsplit=1)[0].rstrip(".") + "."
