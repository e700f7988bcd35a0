"""The panel as a notebook widget: what the browser asks for, and what it is sent back."""

from __future__ import annotations

import base64
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import traitlets
import xarray as xr

from ...audio.player.content import player_script, player_style
from ...audio.player.front_end import HIDDEN, show_with_words
from ...audio.player.widget import KEEP_KEYS
from ...base.errors import AmpsimError
from ...pictures.canvas import Picture, png
from ...simulation.port_tables import port_script
from . import positions_file
from .background import BackgroundTask, Guard, one_at_a_time
from .from_browser import read_button, read_steps
from .idle import idle_at_rest
from .knob_tables import KnobTables
from .picture import MOST_HELD
from .simulator import Position
from .state import PanelState, Shown
from .still import Still
from .waveform import PanelWave

_HERE = Path(__file__).parent
_STILL_DPI = 110  # of the picture a notebook stores


def _read(name: str) -> str:
    return (_HERE / name).read_text("utf-8")


class Panel(PanelWave):
    """A live panel; `opening.explore` makes one.

    `position` and `part_values` say where it stands, `response` is what it shows; `turn`, `hold`, `drop`, `clear`,
    `as_drawn`, `save` and `read` do from Python what its controls and buttons do; `phrase` is what is played when it
    is asked to be heard, `sounds` what came of it.
    """

    _esm = player_script() + KEEP_KEYS + port_script() + "".join(map(_read, ("curves.js", "knobs.js", "panel.js")))
    _css = _read("panel.css") + player_style() + HIDDEN

    dials: Any = traitlets.List().tag(sync=True)
    at = traitlets.Dict().tag(sync=True)  # what one view sets the others are told: one state for all
    drawing = traitlets.Unicode().tag(sync=True)
    frames: Any = traitlets.List().tag(sync=True)
    curves = traitlets.Dict().tag(sync=True)
    tables = traitlets.Dict().tag(sync=True)
    held: Any = traitlets.List().tag(sync=True)
    idle: Any = traitlets.Dict({"of": {}}).tag(sync=True)  # what changes no gain here
    said = traitlets.Unicode().tag(sync=True)
    file = traitlets.Unicode("positions.toml").tag(sync=True)
    answered = traitlets.Int().tag(sync=True)  # buttons so far
    # What to do when nothing answers, in the place where it is shown.
    remedy = traitlets.Unicode("If the kernel was restarted or has ended, run this cell again.").tag(sync=True)

    def __init__(self, state: PanelState, job: str | Path | None = None) -> None:
        self._state = state
        self._guard: Guard = threading.RLock()
        self._keeps = False  # whether positions go to the job file by themselves
        self._known: tuple[Path, list[Position]] = (Path(), [])  # what this panel read or wrote last, and where
        self._idle_task: BackgroundTask[list[str]] = BackgroundTask(self._guard)
        self._still = Still(self._as_it_stands)
        self.knob_tables = KnobTables(state, self.send, self._guard)
        super().__init__(dials=state.for_browser(), at=state.at, **state.draw())
        self._show(state.settle())
        self.on_msg(self._on_button)
        self.observe(self._on_turn, "at")
        if job is not None:
            self.file, self._keeps, self._job = str(job), True, Path(job)
            if Path(job).exists():
                self.read(job)

    @property
    def position(self) -> dict[str, float | str]:
        """Every control: rotation 0 to 1 of a knob, position of a switch."""
        return self._state.values("knob", "switch")

    @property
    def part_values(self) -> dict[str, float]:
        """The parts on the panel and their values [SI unit]."""
        return self._state.values("part")

    @property
    def listen_at(self) -> str:
        """The place listened at."""
        return self._state.node

    @property
    def response(self) -> xr.Dataset:
        """The frequency sweep of both amps that the picture shows."""
        return self._state.response()

    @one_at_a_time
    def picture(self) -> Picture:
        """The picture as it stands, drawn fresh, for a page or a file."""
        return self._state.picture()

    @one_at_a_time
    def turn(
        self, position: Mapping[str, float | str] | None = None, values: Mapping[str, float] | None = None
    ) -> None:
        """Turn controls and put in part values [SI unit]; what is not named stays.

        Raises
        ------
        DescriptionError
            For a control or part the panel does not have, or a value it cannot take.
        """
        at = self._state.steps_at(position or {}, values or {})
        with self.hold_sync():
            self.dials = self._state.for_browser()
            self.at = at
            self._show(self._state.settle())

    @one_at_a_time
    def as_drawn(self) -> None:
        """Put every control and every part back to how it is drawn; held lines stay."""
        self.at = self._state.as_drawn()
        self._show(self._state.settle())

    @one_at_a_time
    def hold(self, name: str = "") -> None:
        """Keep the present position as a named faint line; at most eight.

        Raises
        ------
        DescriptionError
            When eight are held already, or one has this name.
        """
        self._state.hold(name)
        self._redraw()

    @one_at_a_time
    def drop(self, name: str) -> None:
        """Let go of one held position."""
        self._state.held = [each for each in self._state.held if each.name != name]
        self._redraw()

    @one_at_a_time
    def clear(self) -> None:
        """Let go of all held positions."""
        self._state.held = []
        self._redraw()

    @one_at_a_time
    def save(self, job: str | Path | None = None) -> None:
        """Save the panel's position and the held ones to a job file; from then on they are kept there.

        Raises
        ------
        DescriptionError
            When it cannot be written; an older file then stays as it was.
        """
        path, state = Path(job or self.file), self._state
        amps = (state.simulator.stock, state.simulator.modded)
        here = [state.here(), *state.held]
        positions_file.write_positions(path, here, *amps, state.node, self._known[1] if self._known[0] == path else ())
        self._known = path, here
        self.file, self._keeps = str(path), True
        self.said = f"Saved to {path.name}."

    @one_at_a_time
    def read(self, job: str | Path | None = None) -> None:
        """Take the positions of a job file: the panel's own, and the held ones in place of those held now.

        Where it has none, all stays as it is.

        Raises
        ------
        DescriptionError
            For a file that cannot be read, or holds what these amps do not have.
        """
        path, state = Path(job or self.file), self._state
        found = positions_file.read_positions(path, state.simulator.stock, state.simulator.modded)
        if found:
            state.held = [each for each in found if each.name != positions_file.PANEL][:MOST_HELD]
        for each in found:
            if each.name == positions_file.PANEL:
                known = {name: value for name, value in each.values.items() if name in self.part_values}
                self.turn(each.settings, known)
        self._redraw()
        self._known = path, [each for each in found if each.name == positions_file.PANEL or each in state.held]
        self.file, self._keeps = str(path), True
        none = f"{path.name} holds no positions; the panel stays as it is."
        self.said = f"Read {len(found)} positions from {path.name}." if found else none

    @one_at_a_time
    def look_for_idle(self) -> None:
        """Find in the background which controls and parts change nothing here; `idle` says it when it is known."""
        state, node, here, of = self._state, self._state.node, self._state.here(), self._state.at

        def deliver(answer: list[str] | AmpsimError) -> None:
            if not isinstance(answer, AmpsimError):
                self.idle = {"of": of, "keys": answer}

        if self.idle["of"] != of:
            dials = state.dials
            self._idle_task.start(lambda progress: idle_at_rest(state.simulator, dials, here, node, progress), deliver)

    # From the browser, and back to it -------------------------------------------------------------------------------

    @one_at_a_time
    def set_state(self, sync_data: Any) -> None:
        """Take the steps of the dials from the browser, if the panel has them; nothing else is the browser's to set."""
        sent = sync_data.get("at", {}) if isinstance(sync_data, Mapping) else sync_data
        try:
            at = {**self._state.at, **read_steps(self._state.dials, sent)}
        except AmpsimError as problem:
            self.said = str(problem)
            self.send_state(["at", "said"])  # the page stands where the panel does not
            return
        super().set_state({"at": at})

    @one_at_a_time
    def _on_turn(self, change: Any) -> None:
        self._idle_task.stop()
        self._show(self._state.turn(change["new"]))

    def _rest(self) -> None:
        """Nothing has moved for a moment: there is time for tables and for the job file."""
        self._show(self._state.settle())
        self._keep()
        self.look_for_idle()
        self._still.renew()

    def _redraw(self) -> None:
        self._show({**self._state.draw(), **self._state.settle()})

    def _show(self, found: Shown) -> None:
        """Send what changed in one message, so that a drawing never appears without its curves."""
        with self.hold_sync():
            for name, content in found.items():
                setattr(self, name, content)

    def _keep(self) -> None:
        if self._keeps:
            self.save()

    @one_at_a_time
    def _on_button(self, _: Any, content: Any, __: Any) -> None:
        """A button. The steps of the controls travel with it, so that it cannot overtake a move."""
        actions: dict[str, Callable[[str], None]] = {
            "rest": lambda _: self._rest(),
            "hold": self.hold,
            "drop": self.drop,
            "clear": lambda _: self.clear(),
            "drawn": lambda _: self.as_drawn(),
            "save": self.save,
            "read": self.read,
            "wave": lambda _: self.compute_wave(),
            "cancel": lambda _: self.cancel_wave(),
            "hear": lambda _: self.compute_sound(),
            "quiet": lambda _: self.cancel_sound(),
            "sounds": lambda _: self._send_sounds(),
            "blind": lambda words: setattr(self, "said", self.keep_blind(words)),
        }
        try:
            button = read_button(self._state.dials, (*actions, "table"), content)
            if button.action == "table":  # of the steps that travel with it; nothing moves
                self.knob_tables.ask({**self.at, **button.steps})
                return
            self.at = {**self.at, **button.steps}
            self.said = self.said if button.action in ("rest", "sounds") else ""
            actions[button.action](button.words)
            if button.action in ("hold", "drop", "clear", "drawn"):
                self._keep()
        except AmpsimError as problem:
            self.said = str(problem)
        self.answered += 1

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """The widget, and beside it a PNG picture and a line of text for readers without a kernel."""
        found = super()._repr_mimebundle_(**kwargs)
        data, metadata = found if isinstance(found, tuple) else (found or {}, {})
        return {**data, **self._as_it_stands()}, metadata

    def _as_it_stands(self) -> dict[str, str]:
        drawn = self.picture()
        return {
            "image/png": base64.b64encode(png(drawn, dpi=_STILL_DPI)).decode(),
            "text/plain": f"{drawn.heading}: {self._state.in_words()}. {drawn.alternative}",
        }

    def _ipython_display_(self) -> None:
        """In a notebook: the widget, words where it cannot be shown, and the picture that a saved notebook keeps."""
        words = "Below stands the panel as it was left."
        show_with_words(super()._repr_mimebundle_(), "The knobs of this panel", words)
        self._still.show()
