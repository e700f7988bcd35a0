"""What an audition compares and shows, as plain data: a reader of files needs no more."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..circuit.amp import Amp
from ..circuit.neighbours import knobs_beside
from ..simulation.analyses import Transient
from ..simulation.stimuli import Sine

FREQUENCIES = (82.0, 200.0, 500.0, 1000.0, 3000.0, 5000.0)


ROTATIONS = (0.0, 0.25, 0.5, 0.75, 1.0)

_MOST_BESIDE = 4  # knobs of the amp itself that are shown


Setting = dict[str, float | str]


@dataclass(frozen=True)
class View:
    """One family of lines: a title and the positions of the modded amp to show."""

    title: str
    positions: tuple[Setting, ...] = field(hash=False)


@dataclass(frozen=True)
class Audition:
    """An audition: the stock amp, the modded amp, what to compare and what to show.

    `compare_at` is the position in which stock and modded are laid over one another; `views` are families of
    positions; `wave` is the stimulus of the waveform picture at `wave_at`.
    """

    name: str
    about: str
    stock: Amp
    modded: Amp
    listen_at: str
    frequencies: tuple[float, ...]
    compare_title: str
    compare_at: Setting = field(hash=False)
    views: tuple[View, ...] = ()
    wave: Transient = field(default_factory=lambda: Transient(Sine(220.0, 0.05)))
    wave_at: Setting = field(default_factory=dict, hash=False)
    file: str = field(default="", compare=False)


def named_controls(audition: Audition) -> list[str]:
    """The controls an audition is about, in the order in which page and player name them: switches, then knobs.

    Of either those that the mods add, then the amp's own that the job names, then knobs beside what the mods change.
    """
    amp, own = audition.modded, audition.stock.controls
    told = [audition.compare_at, *(each for view in audition.views for each in view.positions)]
    named = [name for setting in told for name in setting if name in amp.controls]
    added = [name for name in amp.controls if name not in own]
    beside = [name for name in knobs_beside(amp) if name in own and own[name].kind == "knob"]
    found = list(dict.fromkeys([*added, *named, *beside]))
    return sorted(found, key=lambda name: amp.controls[name].kind == "knob")


def default_audition(stock: Amp, modded: Amp) -> Audition:
    """An audition for an amp and mods without a job file.

    Every switch and every knob that the mods add is shown, and so are the amp's own knobs beside what they change.
    """
    added = [name for name in modded.controls if name not in stock.controls]
    views = tuple(
        View(f"{name} of {modded.variant}", tuple(swept_positions(modded, name, ROTATIONS))) for name in added
    )
    at = {name: last_position(modded, name) for name in added}
    for name in knobs_beside(modded)[:_MOST_BESIDE]:
        if name in stock.controls:
            turned = tuple({**at, **each} for each in swept_positions(modded, name, ROTATIONS))
            views += (View(f"{name} with {modded.variant}", turned),)
    title = f"as drawn against {modded.variant}"
    return Audition(modded.variant, "", stock, modded, "speaker", FREQUENCIES, title, at, views, wave_at=at)


def last_position(amp: Amp, name: str) -> float | str:
    """Where a control shows most of what it does, as mods are described: its last position, or turned up [ratio]."""
    control = amp.controls[name]
    return control.positions[-1] if control.kind == "switch" else 1.0


def swept_positions(amp: Amp, name: str, rotations: tuple[float, ...]) -> list[Setting]:
    """Positions of one control: each of a switch, the given rotations [0 to 1] of a knob."""
    control = amp.controls[name]
    values: tuple[float | str, ...] = control.positions if control.kind == "switch" else rotations
    return [{name: value} for value in values]
