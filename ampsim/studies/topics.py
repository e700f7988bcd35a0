"""The topics of the sheet, in the order of the work: each word is the name of a folder beside this file.

Its `__init__` says its `TITLE`, its module `section` has a function `section(examined, progress)`. Nothing of a topic
is loaded before it is asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from pathlib import Path

from ..base.errors import DescriptionError, nearest, shown
from ..base.progress import Progress
from .section import Examination, Section

TOPICS = ("ratings", "headroom", "blocking", "stability", "noise", "pop", "spread")


def chosen_topics(topics: Sequence[str] | None = None) -> tuple[str, ...]:
    """Some of the topics, or all of them.

    Raises
    ------
    DescriptionError
        For an unknown topic, naming the nearest.
    """
    for topic in topics or ():
        if topic not in TOPICS:
            raise DescriptionError(f"{shown(topic)} is no topic of the sheet{nearest(topic, TOPICS)}")
    return TOPICS if topics is None else tuple(topics)


def topic_title(topic: str) -> str:
    """What a topic is called at the head of its section."""
    return str(import_module(f".{topic}", __package__).TITLE)


def topic_file(topic: str) -> Path:
    """Where the folder of a topic begins."""
    return Path(str(import_module(f".{topic}", __package__).__file__))


def topic_section(topic: str, examined: Examination, progress: Progress | None = None) -> Section:
    """Examine a mod in one topic.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    section: Section = import_module(f".{topic}.section", __package__).section(examined, progress)
    return section
