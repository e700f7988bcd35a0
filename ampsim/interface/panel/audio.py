"""What the panel lets be heard: both amps where it stands, and every held position, side by side."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import anywidget
import numpy as np
import traitlets
import xarray as xr

from ...audio.clips import Clips
from ...audio.listen import ListeningOptions
from ...audio.loads import load_words, with_load
from ...audio.loudness_standards import find_standard
from ...audio.matching import match_loudness
from ...audio.phrases import RATE, Phrase, phrase
from ...audio.player.widget import player_message
from ...audio.render import RenderOptions, RenderTask, compute, repaired_words
from ...base.errors import AmpsimError
from ...base.kept_files import kept_folder
from ...base.progress import Progress
from ...circuit.amp import Amp
from ...job.record.blind import keep_blind
from ...job.record.reading import is_job, read_record
from ...job.record.saving import save_record
from ...measures.blind import BlindResult, read_blind
from .background import BackgroundTask, Guard, one_at_a_time
from .simulator import AS_SET
from .state import PanelState

_FIRST = 1.0  # s that are computed before all the rest, so that there is something to hear
_COARSE, _FINE = 4, 8  # oversampling of the first second, and of everything
_STILL_COMING = "\nThis is the first second, computed more coarsely; the rest, and its final level, are on the way."


@dataclass(frozen=True)
class SoundCase:
    """One position to hear: its label, the amp with the values it has there, and where its controls stand."""

    label: str
    amp: Amp
    settings: Mapping[str, float | str]

    @property
    def own(self) -> dict[str, float | str]:
        """Where the controls stand that this amp has."""
        return {name: value for name, value in self.settings.items() if name in self.amp.controls}


def sound_cases(state: PanelState) -> list[SoundCase]:
    """Stock and modded amp where the panel stands, and the modded amp at every held position."""
    simulator, here = state.simulator, state.here()
    found = [SoundCase("stock, as set", simulator.stock, here.settings), _modded_case(state, "modded, as set", here)]
    return [
        *found,
        *(_modded_case(state, f"held {place}: {each.name}", each) for place, each in enumerate(state.held, 1)),
    ]


def _modded_case(state: PanelState, label: str, position: Any) -> SoundCase:
    return SoundCase(label, state.simulator.amp_at(position), position.settings)


def render_cases(options: ListeningOptions, chosen: Sequence[SoundCase], progress: Progress) -> Clips:
    """Render a phrase through each case, kept by content, and bring all to equal loudness.

    Raises
    ------
    DescriptionError, EngineError
        When a position is silent, a sample could not be solved, or there is no such load or standard.
    """
    played = options.played or phrase()
    find_standard(options.standard)
    tasks = [RenderTask(with_load(each.amp, options.load), each.own) for each in chosen]
    done = compute(
        tasks, played.volts, RenderOptions(oversampling=options.oversampling, folder=kept_folder()), progress
    )
    told = (played.words, load_words(chosen[0].amp, options.load), repaired_words([kept for kept, _ in done]))
    rendered = xr.Dataset(
        {"volts": (("variant", "position", "time"), np.stack([kept.volts for kept, _ in done])[:, np.newaxis])},
        {"variant": [each.label for each in chosen], "position": [AS_SET]},
        {"words": " ".join(told)},
    )
    return match_loudness(rendered, options.standard, options.response, options.response_name)


class PanelSound(anywidget.AnyWidget):
    """The part of the panel that sounds; `hear` says how far it is, and the sounds go to every view that asks.

    `phrase` is what is played: the computed phrase, until another one is put there; `options` is how: on which load,
    equally loud by which standard, through which impulse response; `blind` is what came of comparing by ear alone.
    """

    hear: Any = traitlets.Dict({"state": "none"}).tag(sync=True)
    _state: PanelState
    _guard: Guard

    def __init__(self, **kwargs: Any) -> None:
        self.phrase: Phrase = phrase()
        self.options: ListeningOptions = ListeningOptions()
        self.blind: list[BlindResult] = []
        self._job: Path | None = None
        self._sounds: tuple[Clips, bool] | None = None
        self._sound_task: BackgroundTask[Clips] = BackgroundTask(self._guard)
        super().__init__(**kwargs)

    @property
    def sounds(self) -> Clips | None:
        """What can be heard; None before anything was computed."""
        return self._sounds[0] if self._sounds else None

    @one_at_a_time
    def compute_sound(self) -> None:
        """Render the phrase here and at the held positions in a thread of its own, the first second first."""
        chosen, played = sound_cases(self._state), self.phrase
        whole = replace(self.options, played=played, oversampling=_FINE)
        of = {"of": self._state.at, "position": self._state.in_words(), "positions": len(chosen)}
        begin = replace(whole, played=replace(played, volts=played.volts[: round(_FIRST * RATE)]), oversampling=_COARSE)
        short = played.volts.size <= 1.5 * _FIRST * RATE
        self.hear = {**of, "state": "computing", "percent": 0}

        def rest(answer: Clips | AmpsimError) -> None:
            self._deliver(of, answer, complete=True)

        def first(answer: Clips | AmpsimError) -> None:
            # What cannot be heard yet (a second of silence) may be heard later: the rest tells.
            if isinstance(answer, Clips):
                self._deliver(of, replace(answer, words=answer.words + _STILL_COMING), complete=False)
            self._sound_task.start(lambda progress: render_cases(whole, chosen, progress), rest, self._show_percent)

        if short:
            self._sound_task.start(lambda progress: render_cases(whole, chosen, progress), rest, self._show_percent)
        else:
            self._sound_task.start(lambda progress: render_cases(begin, chosen, progress), first)

    @one_at_a_time
    def cancel_sound(self) -> None:
        """Stop what is being rendered; what could be heard before stays."""
        self._sound_task.stop()
        if self.hear["state"] in ("computing", "first"):
            self.hear = {"state": "cancelled"}

    def _show_percent(self, done: int, total: int, _: str) -> None:
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

    def keep_blind(self, words: str) -> str:
        """Keep what came of a comparison by ear alone, in the job where the panel is that of one; return it in words.

        Raises
        ------
        DescriptionError
            For what no player sends, or a job that cannot be written.
        """
        labels = self.sounds.labels if self.sounds else ()
        try:
            sent = json.loads(words)
        except (ValueError, RecursionError):
            sent = words
        found = read_blind(labels, sent)
        self.blind.append(found)
        if not self._job or not is_job(self._job):
            return found.words
        note = f"on the panel; as set: {self.hear.get('position', 'as drawn')}"
        save_record(keep_blind(read_record(self._job), found, note), self._job)
        return f"{found.words}. Kept in the job."

    def _send_sounds(self) -> None:
        """To every view; also when a new one asks."""
        if self._sounds is not None:
            self.send(*player_message(self._sounds[0], complete=self._sounds[1]))
