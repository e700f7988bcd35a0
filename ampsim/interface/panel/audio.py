"""What the panel lets be heard: both amps where it stands, and every held position, side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import anywidget
import numpy as np
import traitlets
import xarray as xr

from ...audio.cache import default_folder
from ...audio.clips import Clips
from ...audio.listen import Ways
from ...audio.loads import load_words, on_load
from ...audio.loudness_standards import find_standard
from ...audio.matching import clips
from ...audio.phrases import RATE, Phrase, phrase
from ...audio.player.widget import message
from ...audio.render import Means, Task, compute, repaired_words
from ...base.errors import AmpsimError
from ...circuit.amp import Amp
from .background import Errand, Progress
from .simulator import AS_SET
from .state import Desk

_FIRST = 1.0  # s that are computed before all the rest, so that there is something to hear
_COARSE, _FINE = 4, 8  # oversampling of the first second, and of everything
_STILL_COMING = "\nThis is the first second, computed more coarsely; the rest, and its final level, are on the way."


@dataclass(frozen=True)
class Case:
    """One position to hear: its label, the amp with the values it has there, and where its controls stand."""

    label: str
    amp: Amp
    settings: Mapping[str, float | str]

    @property
    def own(self) -> dict[str, float | str]:
        """Where the controls stand that this amp has."""
        return {name: value for name, value in self.settings.items() if name in self.amp.controls}


def cases(desk: Desk) -> list[Case]:
    """Stock and modded amp where the panel stands, and the modded amp at every held position."""
    bench, here = desk.bench, desk.here()
    found = [Case("stock, as set", bench.stock, here.settings), _modded(desk, "modded, as set", here)]
    return [*found, *(_modded(desk, f"held {place}: {each.name}", each) for place, each in enumerate(desk.held, 1))]


def _modded(desk: Desk, label: str, position: Any) -> Case:
    return Case(label, desk.bench.amp_at(position), position.settings)


def heard(ways: Ways, chosen: Sequence[Case], progress: Progress) -> Clips:
    """Render a phrase through each case, kept by content, and bring all to equal loudness.

    Raises
    ------
    DescriptionError, EngineError
        When a position is silent, a sample could not be solved, or there is no such load or standard.
    """
    played = ways.played or phrase()
    find_standard(ways.standard)
    tasks = [Task(on_load(each.amp, ways.load), each.own) for each in chosen]
    done = compute(tasks, played.volts, Means(oversampling=ways.oversampling, folder=default_folder()), progress)
    told = (played.words, load_words(chosen[0].amp, ways.load), repaired_words([kept for kept, _ in done]))
    rendered = xr.Dataset(
        {"volts": (("variant", "position", "time"), np.stack([kept.volts for kept, _ in done])[:, np.newaxis])},
        {"variant": [each.label for each in chosen], "position": [AS_SET]},
        {"words": " ".join(told)},
    )
    return clips(rendered, ways.standard, ways.response, ways.response_name)


class Aloud(anywidget.AnyWidget):
    """The part of the panel that sounds; `hear` says how far it is, and the sounds go to every view that asks.

    `phrase` is what is played: the computed phrase, until another one is put there; `ways` is how: on which load,
    equally loud by which standard, through which impulse response.
    """

    hear: Any = traitlets.Dict({"state": "none"}).tag(sync=True)
    _desk: Desk

    def __init__(self, **kwargs: Any) -> None:
        self.phrase: Phrase = phrase()
        self.ways: Ways = Ways()
        self._sounds: tuple[Clips, bool] | None = None
        self._playing: Errand[Clips] = Errand()
        super().__init__(**kwargs)

    @property
    def sounds(self) -> Clips | None:
        """What can be heard; None before anything was computed."""
        return self._sounds[0] if self._sounds else None

    def compute_sound(self) -> None:
        """Render the phrase here and at the held positions in a thread of its own, the first second first."""
        chosen, played = cases(self._desk), self.phrase
        whole = replace(self.ways, played=played, oversampling=_FINE)
        of = {"of": self._desk.at, "position": self._desk.in_words(), "positions": len(chosen)}
        begin = replace(whole, played=replace(played, volts=played.volts[: round(_FIRST * RATE)]), oversampling=_COARSE)
        short = played.volts.size <= 1.5 * _FIRST * RATE
        self.hear = {**of, "state": "computing", "percent": 0}

        def rest(answer: Clips | AmpsimError) -> None:
            self._deliver(of, answer, complete=True)

        def first(answer: Clips | AmpsimError) -> None:
            # What cannot be heard yet (a second of silence) may be heard later: the rest tells.
            if isinstance(answer, Clips):
                self._deliver(of, replace(answer, words=answer.words + _STILL_COMING), complete=False)
            self._playing.start(lambda progress: heard(whole, chosen, progress), rest, self._said)

        if short:
            self._playing.start(lambda progress: heard(whole, chosen, progress), rest, self._said)
        else:
            self._playing.start(lambda progress: heard(begin, chosen, progress), first)

    def cancel_sound(self) -> None:
        """Stop what is being rendered; what could be heard before stays."""
        self._playing.stop()
        if self.hear["state"] in ("computing", "first"):
            self.hear = {"state": "cancelled"}

    def _said(self, done: int, total: int) -> None:
        percent = 100 * done // total
        if percent != self.hear.get("percent"):
            self.hear = {**self.hear, "percent": percent}

    def _deliver(self, of: dict[str, Any], answer: Clips | AmpsimError, complete: bool) -> None:
        if isinstance(answer, AmpsimError):
            self.hear = {**of, "state": "failed", "problem": str(answer)}
            return
        self._sounds = answer, complete
        self._send_sounds()
        self.hear = {**of, "state": "done" if complete else "first", "percent": 100 if complete else 0}

    def _send_sounds(self) -> None:
        """To every view; also when a new one asks."""
        if self._sounds is not None:
            self.send(*message(self._sounds[0], complete=self._sounds[1]))
