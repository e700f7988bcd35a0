"""The panel as a notebook widget: what the browser asks for, and what it is sent back."""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import traitlets
import xarray as xr

from ...audio.player.content import code, look
from ...base.errors import AmpsimError
from ...circuit.amp import Amp
from ...job.record.frozen import open_audition
from ...job.record.reading import read_record
from ...pictures import burst
from ...pictures.canvas import Picture, png, svg_element
from ...studies.audition import FREQUENCIES
from . import positions_file
from .audio import Aloud
from .background import Errand, Progress
from .dials import Values
from .picture import MOST_HELD
from .simulator import Position
from .state import Desk, Shown

_HERE = Path(__file__).parent
_STILL_DPI = 110  # of the picture a notebook stores


def explore(
    stock: Amp,
    modded: Amp,
    listen_at: str = "speaker",
    values: Values | None = None,
    frequencies: Sequence[float] = FREQUENCIES,
    job: str | Path | None = None,
) -> Panel:
    """Show two amps on a live panel: every control, stock against modded, and the change, while you turn.

    Parameters
    ----------
    stock, modded : Amp
        The amp as drawn, and with mods. A control that both have moves both.
    listen_at : str
        The place to listen at first; the panel offers the output of every stage.
    values : mapping
        Parts of the modded amp to try other values in, by designator: least, most and E series, such as
        ``{"C101": ("47p", "22n", "E6")}``.
    frequencies : sequence of float
        Where the table gives gains [Hz].
    job : str or Path
        A job folder or a job file to keep positions in: read at once when it is there, written whenever the panel
        comes to rest.

    Returns
    -------
    Panel
        A widget; put it on the last line of a cell.

    Raises
    ------
    DescriptionError
        For unknown places, parts and series, or a job file with mistakes.
    EngineError
        When ngspice gives no trustworthy answer as drawn.
    """
    return Panel(Desk(stock, modded, listen_at, values or {}, frequencies), job)


class Panel(Aloud):
    """A live panel; `explore` makes one.

    `position` and `part_values` say where it stands, `response` is what it shows; `turn`, `hold`, `drop`, `clear`,
    `as_drawn`, `save` and `read` do from Python what its controls and buttons do; `phrase` is what is played when it
    is asked to be heard, `sounds` what came of it.
    """

    _esm = code() + (_HERE / "panel.js").read_text("utf-8")
    _css = (_HERE / "panel.css").read_text("utf-8") + look()

    dials: Any = traitlets.List().tag(sync=True)
    at = traitlets.Dict().tag(sync=True, echo_update=False)
    drawing = traitlets.Unicode().tag(sync=True)
    curves = traitlets.Dict().tag(sync=True)
    tables = traitlets.Dict().tag(sync=True)
    held: Any = traitlets.List().tag(sync=True)
    wave: Any = traitlets.Dict({"state": "none"}).tag(sync=True)
    said = traitlets.Unicode().tag(sync=True)
    file = traitlets.Unicode("positions.toml").tag(sync=True)

    def __init__(self, desk: Desk, job: str | Path | None = None) -> None:
        self._desk = desk
        self._keeps = False  # whether positions go to the job file by themselves
        self._known: tuple[Path, list[Position]] = (Path(), [])  # what this panel read or wrote last, and where
        self._errand: Errand[list[str]] = Errand()
        super().__init__(dials=desk.for_browser(), at=desk.at, **desk.draw())
        self._show(desk.settle())
        self.on_msg(self._asked)
        self.observe(self._turned, "at")
        if job is not None:
            self.file, self._keeps = str(job), True
            if Path(job).exists():
                self.read(job)

    @property
    def position(self) -> dict[str, float | str]:
        """Every control: rotation 0 to 1 of a knob, position of a switch."""
        return self._desk.values("knob", "switch")

    @property
    def part_values(self) -> dict[str, float]:
        """The parts on the panel and their values [SI unit]."""
        return self._desk.values("part")

    @property
    def listen_at(self) -> str:
        """The place listened at."""
        return self._desk.node

    @property
    def response(self) -> xr.Dataset:
        """The frequency sweep of both amps that the picture shows."""
        return self._desk.response()

    def picture(self) -> Picture:
        """The picture as it stands, drawn fresh, for a page or a file."""
        return self._desk.picture()

    def turn(
        self, position: Mapping[str, float | str] | None = None, values: Mapping[str, float] | None = None
    ) -> None:
        """Turn controls and put in part values [SI unit]; what is not named stays.

        Raises
        ------
        DescriptionError
            For a control or part the panel does not have, or a value it cannot take.
        """
        at = self._desk.stand(position or {}, values or {})
        with self.hold_sync():
            self.dials = self._desk.for_browser()
            self.at = at
            self._show(self._desk.settle())

    def as_drawn(self) -> None:
        """Put every control and every part back to how it is drawn; held lines stay."""
        self.at = self._desk.as_drawn()
        self._show(self._desk.settle())

    def hold(self, name: str = "") -> None:
        """Keep the present position as a named faint line; at most eight.

        Raises
        ------
        DescriptionError
            When eight are held already, or one has this name.
        """
        self._desk.hold(name)
        self._redraw()

    def drop(self, name: str) -> None:
        """Let go of one held position."""
        self._desk.held = [each for each in self._desk.held if each.name != name]
        self._redraw()

    def clear(self) -> None:
        """Let go of all held positions."""
        self._desk.held = []
        self._redraw()

    def save(self, job: str | Path | None = None) -> None:
        """Save the panel's position and the held ones to a job file; from then on they are kept there.

        Raises
        ------
        DescriptionError
            When it cannot be written; an older file then stays as it was.
        """
        path, desk = Path(job or self.file), self._desk
        amps = (desk.bench.stock, desk.bench.modded)
        here = [desk.here(), *desk.held]
        positions_file.write_positions(path, here, *amps, desk.node, self._known[1] if self._known[0] == path else ())
        self._known = path, here
        self.file, self._keeps = str(path), True
        self.said = f"Saved to {path.name}."

    def read(self, job: str | Path | None = None) -> None:
        """Take the positions of a job file: the panel's own, and the held ones in place of those held now.

        Raises
        ------
        DescriptionError
            For a file that cannot be read, or holds what these amps do not have.
        """
        path, desk = Path(job or self.file), self._desk
        found = positions_file.read_positions(path, desk.bench.stock, desk.bench.modded)
        desk.held = [each for each in found if each.name != positions_file.PANEL][:MOST_HELD]
        for each in found:
            if each.name == positions_file.PANEL:
                known = {name: value for name, value in each.values.items() if name in self.part_values}
                self.turn(each.settings, known)
        self._redraw()
        self._known = path, [each for each in found if each.name == positions_file.PANEL or each in desk.held]
        self.file, self._keeps = str(path), True
        self.said = f"Read {len(found)} positions from {path.name}." if found else f"{path.name} holds no positions."

    def compute_wave(self) -> None:
        """Simulate the waveform at the chosen level, in a thread of its own; `wave` says how far it is."""
        desk, node, here = self._desk, self._desk.node, self._desk.here()
        stimulus = burst.tone(desk.value("shape"), desk.value("tone"), desk.value("level"))
        of: Shown = {"of": desk.at, "position": desk.in_words()}

        def work(progress: Progress) -> list[str]:
            response = desk.bench.wave(here, node, stimulus, progress)
            return [svg_element(each) for each in burst.wave_pictures(response, node)]

        def deliver(answer: list[str] | AmpsimError) -> None:
            if isinstance(answer, AmpsimError):
                self.wave = {**of, "state": "failed", "problem": str(answer)}
            else:
                self.wave = {**of, "state": "done", "pictures": answer}

        self.wave = {**of, "state": "computing"}
        self._errand.start(work, deliver)

    def cancel_wave(self) -> None:
        """Stop the waveform under way; its answer never appears."""
        self._errand.stop()
        if self.wave["state"] == "computing":
            self.wave = {"state": "cancelled"}

    # From the browser, and back to it -------------------------------------------------------------------------------

    def _turned(self, change: Any) -> None:
        self._show(self._desk.turn(change["new"]))

    def _rest(self) -> None:
        """Nothing has moved for a moment: there is time for tables and for the job file."""
        self._show(self._desk.settle())
        self._keep()

    def _redraw(self) -> None:
        self._show({**self._desk.draw(), **self._desk.settle()})

    def _show(self, found: Shown) -> None:
        """Send what changed in one message, so that a drawing never appears without its curves."""
        with self.hold_sync():
            for name, content in found.items():
                setattr(self, name, content)

    def _keep(self) -> None:
        if self._keeps:
            self.save()

    def _asked(self, _: Any, content: Any, __: Any) -> None:
        """A button. The steps of the controls travel with it, so that it cannot overtake a move."""
        doing: dict[str, Callable[[str], None]] = {
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
        }
        try:
            self.at = {**self.at, **content["at"]}
            self.said = self.said if content["do"] == "rest" else ""
            doing[content["do"]](content["with"])
            if content["do"] in ("hold", "drop", "clear", "drawn"):
                self._keep()
        except AmpsimError as problem:
            self.said = str(problem)

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        """The widget, and beside it a PNG picture and a line of text for readers without a kernel."""
        found = super()._repr_mimebundle_(**kwargs)
        data, metadata = found if isinstance(found, tuple) else (found or {}, {})
        drawn = self.picture()
        still = {
            "image/png": base64.b64encode(png(drawn, dpi=_STILL_DPI)).decode(),
            "text/plain": f"{drawn.heading}: {self._desk.in_words()}. {drawn.alternative}",
        }
        return {**data, **still}, metadata


def open_panel(folder: str | Path) -> Panel:
    """Open the panel on a job; positions are kept in its folder.

    It stands where it was left; before it was ever used, where the job compares stock and modded.

    Parameters
    ----------
    folder : str or Path
        The job's folder.

    Returns
    -------
    Panel
        A widget; put it on the last line of a cell.

    Raises
    ------
    DescriptionError
        For a folder without a job, a job without mods, or mistakes in it.
    EngineError
        When ngspice gives no trustworthy answer as drawn.
    """
    record = read_record(folder)
    job = open_audition(record, folder)
    panel = explore(job.stock, job.modded, job.listen_at, frequencies=job.frequencies, job=folder)
    if not record.positions:
        panel.turn(job.compare_at)
    return panel
