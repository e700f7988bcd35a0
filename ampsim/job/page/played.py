"""How stock and modded amp play at the positions of a page: which of what was played holds where its controls stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from ...base.progress import Progress
from ...circuit.build import build_circuit
from ...circuit.neighbours import feeds_from_supply
from ...circuit.positions import position_label
from ...measures.noticed import POP
from ...studies.audition_request import Audition, Setting
from ...studies.playing.drive import Drive
from ...studies.playing.figures import Hiss, Playing
from ...studies.playing.pops import Pop, Why
from ...studies.playing.simulate import moved, play
from .choices import Range

_WHY = {
    Why.REBIASED: "That is normal for this switch: it sets a valve to another working point, the loudspeaker hears the "
    "step, and by itself it is no fault.",
    Why.CHARGE: "A capacitor charges when the contact closes; a resistor across that contact would quieten it, so ask "
    "for one.",
    Why.STEP: "A steady voltage moves while the contacts are on their way; by itself it is no fault.",
}


@dataclass(frozen=True)
class Played:
    """What was played, and for which page; nothing where a page does without."""

    audition: Audition
    offered: Range
    playing: Playing

    def drives_at(self, setting: Setting) -> tuple[Drive, Drive] | None:
        """How the stock and the modded amp are driven at a position; None where that is not known."""
        if any(setting[name] != drawn for name, drawn in self._bias_knobs.items()):
            return None
        label = self._labels(setting)
        drives = (self.playing.stock.get(label[0]), self.playing.modded.get(label[1]))
        return (drives[0], drives[1]) if drives[0] and drives[1] else None

    @cached_property
    def _bias_knobs(self) -> dict[str, float | str]:
        """Knobs that move the bias, which was played as drawn: where they are drawn [ratio]."""
        wired, controls = build_circuit(self.audition.modded), self.audition.modded.controls
        fixed = (
            name for name in self.offered.fixed
            if controls[name].kind == "knob" and any(feeds_from_supply(wired, pot) for pot in controls[name].designators
                                                     if pot in wired.parts)
        )  # fmt: skip
        stepped = (each.name for each in self.offered.stepped if each.kind == "knob")
        return {name: controls[name].drawn for name in (*fixed, *stepped)}

    @property
    def every_drive(self) -> tuple[list[Drive], list[Drive]]:
        """All that was played of either amp."""
        return list(self.playing.stock.values()), list(self.playing.modded.values())

    def hiss_at(self, setting: Setting) -> Hiss | None:
        """What it hisses at a position, knobs as drawn; None where that is not known."""
        return self.playing.hiss.get(self._labels(setting)[1])

    def back_at(self, setting: Setting) -> tuple[float, float] | None:
        """How long soft notes are lost after a hard stroke, stock and modded, knobs as drawn [ms]; None as above."""
        return self.playing.back.get(self._labels(setting)[1])

    def _labels(self, setting: Setting) -> tuple[str, str]:
        """What the position of the switches is called for the stock and for the modded amp."""
        step = switch_step(self.audition, setting)
        both = (self.audition.stock, self.audition.modded)
        one, other = (position_label(moved(amp, step)) for amp in both)
        return one, other

    def pop_sentences(self) -> list[str]:
        """What each switch does to the loudspeaker when it is moved, and why."""
        return [_pop_words(each) for each in self.playing.pops]


def take_played(audition: Audition, offered: Range, progress: Progress | None = None) -> Played:
    """Play both amps at the positions of a page's switches, knobs as drawn, or fetch what was played before.

    Parameters
    ----------
    audition : Audition
    offered : Range
    progress : callable
        Called with (done, total).
    """
    steps = [switch_step(audition, each) for each in offered.steps()]
    once = [each for place, each in enumerate(steps) if each not in steps[:place]]
    return Played(audition, offered, play(audition.stock, audition.modded, once, progress))


def switch_step(audition: Audition, setting: Setting) -> Setting:
    """Where the switches stand."""
    controls = audition.modded.controls
    return {name: value for name, value in setting.items() if name in controls and controls[name].kind == "switch"}


def _pop_words(pop: Pop) -> str:
    if not pop.watts >= POP.least:
        known = "no pop to speak of" if pop.watts == pop.watts else "its pop was not worked out"
        return f"{pop.control}: {known}, {_AS_DRAWN}."
    return (
        f"{pop.control}: it pops, at most as loud as playing at {_watts(pop.watts)}, {_AS_DRAWN}. {_WHY[pop.why]} "
        "Turn the volume down before you switch."
    )


_AS_DRAWN = "with the knobs as drawn"


def _watts(watts: float) -> str:
    return f"{watts:.1f} W" if watts < 1.0 else f"{watts:.0f} W"


def audible_pops(pops: Sequence[Pop]) -> bool:
    """Whether one of them is heard or not known."""
    return any(not each.watts < POP.least for each in pops)
