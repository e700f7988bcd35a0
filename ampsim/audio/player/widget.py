"""The player as a notebook widget. Sounds are sent when a view asks for them, so that no notebook file holds them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import anywidget

from ..clips import Clip, Clips
from .content import code, facts, look, rows

_RENDER = """
function render({ model, el }) {
  const root = document.createElement("div");
  root.className = "on-its-own";
  el.append(root);
  // Jupyter's own shortcuts must not take the keys of the player.
  el.dataset.lmSuppressShortcuts = "true";
  el.addEventListener("keydown", (event) => event.stopPropagation());
  const player = makePlayer(root, { soundless: "Asking the kernel for the sounds; run the cell again if none come." });
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


def side_by_side(clips: Clips, alone: Sequence[Clip] = ()) -> Player:
    """Show clips to switch between while they play, without gap, click or seek; by ear alone, too (blind).

    Parameters
    ----------
    clips : Clips
        Equally loud and equally long, as rendering leaves them.
    alone : sequence of Clip
        What is heard beside them at its true level: what two positions differ by, the pop of a switch.

    Returns
    -------
    Player
        A widget; put it on the last line of a cell.
    """
    return Player(clips, alone)


class Player(anywidget.AnyWidget):
    """Clips side by side; `side_by_side` makes one."""

    _esm = code() + _RENDER
    _css = look()

    def __init__(self, clips: Clips, alone: Sequence[Clip] = ()) -> None:
        self.clips, self.alone = clips, tuple(alone)
        super().__init__()
        self.on_msg(self._asked)

    def _asked(self, _: Any, content: Any, __: Any) -> None:
        """A view wants the sounds."""
        if content == {"do": "sounds"}:
            self.send(*message(self.clips, self.alone))

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """The widget, and a few lines of text for readers without a kernel."""
        found = super()._repr_mimebundle_(**kwargs)
        data, metadata = found if isinstance(found, tuple) else (found or {}, {})
        return {**data, "text/plain": in_words(self.clips, self.alone)}, metadata


def message(clips: Clips, alone: Sequence[Clip] = (), complete: bool = True) -> tuple[dict[str, Any], list[bytes]]:
    """What a view is sent: words and rate, and the samples of each clip; `complete` is whether that is all of them."""
    return {"facts": facts(clips, alone), "rate": clips.rate, "complete": complete}, rows(clips, alone)


def in_words(clips: Clips, alone: Sequence[Clip] = ()) -> str:
    """What can be heard, in a few lines."""
    told = facts(clips, alone)
    lines = [f"{number} {each['label']}: {each['level']}" for number, each in enumerate(told["positions"], 1)]
    head = f"To be heard, {clips.seconds:.1f} s each:"
    return "\n".join([head, *lines, told["how"], told["scope"], told["caution"]])
