"""What the exercises ask, and how much of it is given."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress

from ...base.errors import DescriptionError, nearest, shown
from ...circuit.amp import Amp
from ...work.schematic.draw import schematic
from .asked import Asked
from .feedback_topic import feedback
from .own_amp import shop_amp
from .question import Exercise, Why
from .stage_topics import bias, corner, coupling, headroom, load_line, shelf

LEVELS = (1, 2, 3)
_LOOP = "feedback loop"  # the one that is asked of a whole amp
TOPICS: dict[str, Callable[[random.Random, Amp | None], Asked]] = {
    "bias": bias,
    "load line": load_line,
    "corner": corner,
    "shelf": shelf,
    "coupling capacitor": coupling,
    "headroom": headroom,
    _LOOP: feedback,
}


def exercise(topic: str, seed: int = 0, level: int = 2, amp: Amp | None = None) -> Exercise:
    """An exercise on a topic, with values by the seed.

    Parameters
    ----------
    topic : str
        One of `TOPICS`.
    seed : int
        The same gives the same exercise.
    level : int
        1: data and formula are given; 2: data; 3: the drawing alone. What is not given comes with the hints.
    amp : Amp
        Whose feedback is asked about, in place of workshop amp A, and whose stages lend their values; default the
        shop's own (see `lesson_amp`), as far as the formula is near enough there.

    Raises
    ------
    DescriptionError
        For a topic or level that there is none of, or an amp that was given without a feedback resistor.
    """
    if topic not in TOPICS:
        raise DescriptionError(
            f"no exercise on {shown(topic)}; there are {', '.join(TOPICS)}{nearest(str(topic), TOPICS)}"
        )
    if level not in LEVELS or isinstance(level, bool):
        raise DescriptionError(f"no level {shown(level)}; there are 1 (all is given), 2 and 3 (the drawing alone)")
    asked, draw = _asked(topic, seed, amp)
    given = {1: f"{asked.data} {asked.formula}", 2: asked.data, 3: ""}[level]
    hints = {1: (), 2: (asked.formula,), 3: (asked.data, asked.formula)}[level]
    ask, right, *wrong, model = asked.why
    statements = [right, *wrong]
    draw.shuffle(statements)
    return Exercise(
        asked.ask,
        given,
        asked.unit,
        asked.simulated,
        asked.by_hand,
        asked.reason,
        asked.close,
        (*hints, asked.last),
        Why(ask, tuple(statements), statements.index(right), model),
        level,
        lambda: schematic(asked.amp, whole=topic != _LOOP),
    )


def _asked(topic: str, seed: int, amp: Amp | None) -> tuple[Asked, random.Random]:
    """What a topic asks of an amp, else of the shop's own; of none where its formula is too far off there.

    And the lot behind that.
    """
    own = amp or shop_amp()
    if own is not None:
        with suppress(*([] if amp else [DescriptionError])):
            draw = random.Random(f"{topic} {seed}")
            asked = TOPICS[topic](draw, own)
            off = abs(asked.by_hand - asked.simulated)
            if off <= asked.close * (1.0 if asked.unit == "dB" else abs(asked.simulated)):
                return asked, draw
    draw = random.Random(f"{topic} {seed}")
    return TOPICS[topic](draw, None), draw
