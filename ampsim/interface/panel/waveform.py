"""The part of the panel that computes waveforms: what takes seconds, in a thread of its own."""

from __future__ import annotations

from typing import Any

import traitlets

from ...base.errors import AmpsimError
from ...base.progress import Progress
from ...pictures import burst
from ...pictures.export import svg_element
from .audio import PanelSound
from .background import BackgroundTask, one_at_a_time
from .state import Shown


class PanelWave(PanelSound):
    """Waveform and harmonics where the panel stands; `wave` says how far they are."""

    wave: Any = traitlets.Dict({"state": "none"}).tag(sync=True)

    def __init__(self, **kwargs: Any) -> None:
        self._wave_task: BackgroundTask[list[str]] = BackgroundTask(self._guard)
        super().__init__(**kwargs)

    @one_at_a_time
    def compute_wave(self) -> None:
        """Simulate the waveform at the chosen level, in a thread of its own; `wave` says how far it is."""
        state, node, here = self._state, self._state.node, self._state.here()
        stimulus = burst.wave_stimulus(state.value("shape"), state.value("tone"), state.value("level"))
        of: Shown = {"of": state.at, "position": state.in_words()}

        def work(progress: Progress) -> list[str]:
            response = state.simulator.wave(here, node, stimulus, progress)
            return [svg_element(each) for each in burst.wave_pictures(response, node)]

        def deliver(answer: list[str] | AmpsimError) -> None:
            if isinstance(answer, AmpsimError):
                self.wave = {**of, "state": "failed", "problem": str(answer)}
            else:
                self.wave = {**of, "state": "done", "pictures": answer}

        self.wave = {**of, "state": "computing"}
        self._wave_task.start(work, deliver)

    @one_at_a_time
    def cancel_wave(self) -> None:
        """Stop the waveform under way; its answer never appears."""
        self._wave_task.stop()
        if self.wave["state"] == "computing":
            self.wave = {"state": "cancelled"}
