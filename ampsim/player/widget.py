"""The player as a notebook widget. Sounds are sent when a view asks for them, so that no notebook file holds them."""

from __future__ import annotations

from typing import Any

import anywidget

from ..listening import Clips
from .telling import code, facts, look, sixteen_bit

_RENDER = """
function render({ model, el }) {
  const root = document.createElement("div");
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


def side_by_side(clips: Clips) -> Player:
    """Show clips to switch between while they play, without gap, click or seek; by ear alone, too (blind).

    Parameters
    ----------
    clips : Clips
        Equally loud and equally long, as rendering leaves them.

    Returns
    -------
    Player
        A widget; put it on the last line of a cell.
    """
    return Player(clips)


class Player(anywidget.AnyWidget):
    """Clips side by side; `side_by_side` makes one."""

    _esm = code() + _RENDER
    _css = look()

    def __init__(self, clips: Clips) -> None:
        self.clips = clips
        super().__init__()
        self.on_msg(self._asked)

    def _asked(self, _: Any, content: Any, __: Any) -> None:
        """A view wants the sounds."""
        if content == {"do": "sounds"}:
            self.send(*message(self.clips))

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """The widget, and a few lines of text for readers without a kernel."""
        found = super()._repr_mimebundle_(**kwargs)
        data, metadata = found if isinstance(found, tuple) else (found or {}, {})
        return {**data, "text/plain": in_words(self.clips)}, metadata


def message(clips: Clips, complete: bool = True) -> tuple[dict[str, Any], list[bytes]]:
    """What a view is sent: words and rate, and the samples of each clip; `complete` is whether that is all of them."""
    content = {"facts": facts(clips), "rate": clips.rate, "complete": complete}
    return content, [sixteen_bit(clip.samples) for clip in clips]


def in_words(clips: Clips) -> str:
    """What can be heard, in a few lines."""
    told = facts(clips)
    positions = enumerate(told["positions"], 1)
    lines = [f"{number} {each['label']}: {each['words']} {each['level']}".rstrip() for number, each in positions]
    head = f"To be heard, {clips.seconds:.1f} s each:"
    return "\n".join([head, *lines, told["how"], told["scope"], told["caution"]])
