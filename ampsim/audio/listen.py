"""A whole listening: both amps at the positions of an audition, what they differ by, and the pops of switches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.errors import DescriptionError, nearest, shown
from ..base.progress import Progress
from ..circuit.positions import position_label, switches_at
from ..circuit.switches.moving import moving
from ..circuit.switches.planning import lever_way
from ..studies.audition_request import Audition, Setting, named_controls
from ..studies.pop.moves import Transition
from .clips import Clip, Clips
from .differences import difference, pop_clip, sound_alike
from .files import clips_text, write_clips
from .linear import render_linear
from .loads import LOUDSPEAKER
from .loudness_standards import BS_1770, find_standard
from .matching import clip_labels, leave_out_silent, match_loudness
from .phrases import Phrase, phrase
from .render import Play, render

MOST_POSITIONS = 16


@dataclass(frozen=True)
class ListeningOptions:
    """How an audition is listened to: as `render` and `clips` have it, or `linear`, as if nothing ever clipped."""

    played: Phrase | None = None
    load: str = LOUDSPEAKER
    standard: str = BS_1770
    response: NDArray[np.float64] | None = None
    response_name: str = ""
    oversampling: int = 8
    cache: Path | bool = True
    linear: bool = False


@dataclass(frozen=True, eq=False)
class Listening:
    """What is heard of an audition: clips equally loud, clips at their true level, and the volts they come from."""

    clips: Clips
    true_level: tuple[Clip, ...]
    rendered: xr.Dataset
    notes: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """All of it in words."""
        return "\n".join([clips_text(self.clips, self.true_level), *self.notes])

    def write(self, folder: str | Path) -> tuple[Path, ...]:
        """Write WAV files and a text, as `write_clips`."""
        return write_clips(self.clips, folder, self.true_level, self.notes)


def listening_positions(audition: Audition, controls: Sequence[str] | None = None) -> list[Setting]:
    """The position in which the audition compares, and from there each control on its own: switches whole, knobs' ends.

    Parameters
    ----------
    audition : Audition
    controls : sequence of str
        Default: those that the mods add.

    Raises
    ------
    DescriptionError
        For no such control, or more than 16 positions.
    """
    known = audition.modded.controls
    chosen = [name for name in known if name not in audition.stock.controls] if controls is None else list(controls)
    order = [*named_controls(audition), *known]
    start = {name: audition.compare_at[name] for name in sorted(audition.compare_at, key=order.index)}
    found = [start]
    for name in chosen:
        if name not in known:
            raise DescriptionError(f"{audition.modded.name} has no control {shown(name)}{nearest(name, known)}")
        ends = known[name].positions if known[name].kind == "switch" else (0.0, 1.0)
        found += [one for value in ends if (one := {**start, name: value}) not in found]
    if len(found) > MOST_POSITIONS:
        raise DescriptionError(f"{len(found)} positions to listen to; at most {MOST_POSITIONS}: name fewer controls")
    return found


def listen(
    audition: Audition,
    options: ListeningOptions | None = None,
    controls: Sequence[str] | None = None,
    progress: Progress | None = None,
    play: Play | None = None,
) -> Listening:
    """Hear an audition: stock and modded amp at `listening_positions`, the difference where it compares, and pops.

    What was rendered before is taken from the cache. Positions at which nothing is heard are left out, and said.

    Parameters
    ----------
    audition : Audition
    options : ListeningOptions
    controls : sequence of str
        Whose positions are heard; default those that the mods add. Pops are those of their switches, from where the
        audition compares to every other position; there are none of them when `options` are linear.
    progress, play
        As in `render`.

    Raises
    ------
    DescriptionError, EngineError, Stopped
        As `render`.
    """
    options, settings = options or ListeningOptions(), listening_positions(audition, controls)
    moves, notes = ([], ()) if options.linear else moves_heard(audition, settings)
    rendered, matched = _equally_loud(audition, options, settings, progress, play)
    gains = {place: matched[label].gain_db for place, label in clip_labels(rendered).items()}
    at = position_label(settings[0])
    stock, modded = (audition.stock.variant, at), (audition.modded.variant, at)
    alike = sound_alike(rendered, stock, modded, options.response)
    true_level = [] if alike else [difference(rendered, stock, modded, gains[stock], options.response)]
    true_level += [
        pop_clip(
            audition.modded,
            move,
            gains[modded],
            settings[0],
            load=options.load,
            response=options.response,
            oversampling=options.oversampling,
            cache=options.cache,
            progress=progress,
            play=play,
        )
        for move in moves
    ]
    return Listening(matched, tuple(true_level), rendered, notes)


def equally_loud(
    audition: Audition,
    options: ListeningOptions | None = None,
    controls: Sequence[str] | None = None,
    progress: Progress | None = None,
    play: Play | None = None,
) -> Clips:
    """The clips of `listen` alone, where nobody hears difference and pops: these are not played then.

    Parameters
    ----------
    audition, options, controls, progress, play
        As in `listen`.

    Raises
    ------
    DescriptionError, EngineError, Stopped
        As `listen`.
    """
    settings = listening_positions(audition, controls)
    return _equally_loud(audition, options or ListeningOptions(), settings, progress, play)[1]


def _equally_loud(
    audition: Audition,
    options: ListeningOptions,
    settings: Sequence[Setting],
    progress: Progress | None,
    play: Play | None,
) -> tuple[xr.Dataset, Clips]:
    """What is heard of either amp at some positions, and the clips made of it."""
    # Before anything is computed: what is asked for by a wrong name would be refused at the very end.
    find_standard(options.standard)
    amps, played = [audition.stock, audition.modded], options.played or phrase()
    if options.linear:
        rendered = render_linear(amps, settings, played, load=options.load)
    else:
        rendered = render(
            amps,
            settings,
            played,
            loads=(options.load,),
            oversampling=options.oversampling,
            cache=options.cache,
            progress=progress,
            play=play,
        )
    rendered = leave_out_silent(rendered)
    return rendered, match_loudness(rendered, options.standard, options.response, options.response_name)


def moves_heard(audition: Audition, settings: Sequence[Setting]) -> tuple[list[Transition], tuple[str, ...]]:
    """What levers pass from the first setting to every other position that the others give a switch.

    Switches whose pop cannot be worked out, such as one that takes a valve out, are left out, and why is said.
    """
    found: dict[Transition, None] = {}
    notes: list[str] = []
    for name, control in audition.modded.controls.items():
        stands = str(settings[0].get(name, control.drawn))
        others = [str(each[name]) for each in settings if name in each and each[name] != stands]
        if control.kind != "switch":
            continue
        try:
            switches = switches_at(audition.modded, settings[0])
            for other in dict.fromkeys(others):
                moving(audition.modded, switches, name, other)
        except DescriptionError as problem:
            notes.append(f"No pop of the switch {name} is among the clips: {problem}")
            continue
        ways = [lever_way(audition.modded, name, stands, other) for other in dict.fromkeys(others)]
        found |= dict.fromkeys(Transition(name, *step) for way in ways for step in way.steps)
    return list(found), tuple(notes)
