"""The player as a notebook widget. Sounds are sent when a view asks for them, so that no notebook file holds them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import anywidget

from ...measures.blind import BlindResult, read_blind
from ..clips import Clip, Clips
from .content import player_facts, player_script, player_style, sample_rows
from .front_end import HIDDEN, show_with_words

# The shortcuts of JupyterLab look at the ancestors of what has the focus, those of Notebook 7 at itself first.
KEEP_KEYS = """
function keepKeys(el) {
  el.dataset.lmSuppressShortcuts = "true";
  el.addEventListener("focusin", (event) => (event.target.dataset.lmSuppressShortcuts = "true"));
  el.addEventListener("keydown", (event) => event.stopPropagation());
}
"""
_RENDER = """
function render({ model, el }) {
  const root = document.createElement("div");
  root.className = "on-its-own";
  el.append(root);
  keepKeys(el);
  const player = makePlayer(root, {
    soundless: "Asking the kernel for the sounds; run the cell again if none come.",
    judged: (found) => model.send({ do: "blind", ...found }),
  });
  const listen = (content, rows) => player.load(content.facts, rows.map(samplesOf), content.rate, content.complete);
  model.on("msg:custom", listen);
  model.send({ do: "sounds" });
  return () => {
    model.off("msg:custom", listen);
    player.close();
  };
}

export default { render };
"""


def side_by_side(clips: Clips, true_level: Sequence[Clip] = ()) -> Player:
    """Show clips to switch between while they play, without gap, click or seek; by ear alone, too (blind).

    Parameters
    ----------
    clips : Clips
        Equally loud and equally long, as rendering leaves them.
    true_level : sequence of Clip
        What is heard beside them at its true level: what two positions differ by, the pop of a switch.

    Returns
    -------
    Player
        A widget; put it on the last line of a cell.
    """
    return Player(clips, true_level)


class Player(anywidget.AnyWidget):
    """Clips side by side; `side_by_side` makes one. `blind` are the results of comparing them by ear alone."""

    _esm = player_script() + KEEP_KEYS + _RENDER
    _css = player_style() + HIDDEN

    def __init__(self, clips: Clips, true_level: Sequence[Clip] = ()) -> None:
        self.clips, self.true_level = clips, tuple(true_level)
        self.blind: list[BlindResult] = []
        super().__init__()
        self.on_msg(self._answer)

    def _answer(self, _: Any, content: Any, __: Any) -> None:
        """A view wants the sounds, or tells how a round of a blind comparison went."""
        if content == {"do": "sounds"}:
            self.send(*player_message(self.clips, self.true_level))
        elif isinstance(content, Mapping) and content.get("do") == "blind" and not content.get("ended"):
            found = read_blind(self.clips.labels, content)
            if found.rounds > 1 and self.blind and self.blind[-1].among == found.among:
                self.blind.pop()  # a round more of the same
            self.blind.append(found)

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """The widget, and a few lines of text for readers without a kernel."""
        found = super()._repr_mimebundle_(**kwargs)
        data, metadata = found if isinstance(found, tuple) else (found or {}, {})
        return {**data, "text/plain": describe_clips(self.clips, self.true_level)}, metadata

    def _ipython_display_(self) -> None:
        """In a notebook: the widget, and words where it cannot be shown."""
        words = describe_clips(self.clips, self.true_level)
        show_with_words(super()._repr_mimebundle_(), "The buttons of this player", words)


def player_message(
    clips: Clips, true_level: Sequence[Clip] = (), complete: bool = True
) -> tuple[dict[str, Any], list[bytes]]:
    """What a view is sent: words and rate, and the samples of each clip; `complete` is whether that is all of them."""
    return {"facts": player_facts(clips, true_level), "rate": clips.rate, "complete": complete}, sample_rows(
        clips, true_level
    )


def describe_clips(clips: Clips, true_level: Sequence[Clip] = ()) -> str:
    """What can be heard, in a few lines."""
    told = player_facts(clips, true_level)
    lines = [f"{number} {each['label']}: {each['level']}" for number, each in enumerate(told["positions"], 1)]
    head = f"To be heard, {clips.seconds:.1f} s each:"
    return "\n".join([head, *lines, told["how"], told["scope"], told["caution"]])
