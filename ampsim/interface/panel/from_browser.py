"""What the browser sends, checked before anything is changed: a page may be old, or not ours at all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from ...base.errors import DescriptionError, nearest, shown
from .dials import Dial

_MOST_WORDS = 1000  # of a name or a path that is typed


class Button(NamedTuple):
    """A button pressed: what to do, the words typed for it, and where the dials stood."""

    action: str
    words: str
    steps: dict[str, int]


def read_steps(dials: Sequence[Dial], sent: object) -> dict[str, int]:
    """The steps of some dials.

    Raises
    ------
    DescriptionError
        For a dial that the panel does not have, and a step that the dial does not have.
    """
    if not isinstance(sent, Mapping):
        raise DescriptionError(f"the page sent {shown(sent)} in place of the steps of the dials; nothing was changed")
    known = {dial.key: dial for dial in dials}
    for key in sent:
        if key not in known:
            raise DescriptionError(
                f"the page sent a step of {shown(key)}, which the panel does not have; nothing was changed"
            )
    return {key: _step(known[key], step) for key, step in sent.items()}


def _step(dial: Dial, step: object) -> int:
    # Python takes True for 1, and -1 for the last position.
    if type(step) is not int or not 0 <= step < len(dial.values):
        raise DescriptionError(
            f"the page sent step {shown(step)} of {dial.name}, which has 0 to {len(dial.values) - 1}; "
            "nothing was changed"
        )
    return step


def read_button(dials: Sequence[Dial], actions: Sequence[str], sent: object) -> Button:
    """A button with its words and steps.

    Raises
    ------
    DescriptionError
        For anything that the panel's own page does not send.
    """
    if not isinstance(sent, Mapping):
        raise DescriptionError(f"the page sent {shown(sent)} in place of a button; nothing was changed")
    action, words = sent.get("do"), sent.get("with", "")
    if not isinstance(action, str) or action not in actions:
        raise DescriptionError(
            f"the page sent the button {shown(action)}, which the panel does not have{nearest(action, actions)}; "
            "nothing was changed"
        )
    if not isinstance(words, str) or len(words) > _MOST_WORDS:
        raise DescriptionError(f"the page sent {shown(words)} with the button {action}; nothing was changed")
    return Button(action, words, read_steps(dials, sent.get("at", {})))
