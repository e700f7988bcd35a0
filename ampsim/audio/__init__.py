"""What is heard: a phrase through the amp, matched in loudness, as clips that a player or a WAV file takes.

It imports base, circuit, simulation, measures and studies. Begin reading with `listen`.
"""

from .clips import Clip, Clips
from .differences import difference, pop_clip
from .files import clips_text, write_clips
from .linear import linear
from .listen import Heard, Ways, listen, listening_positions
from .loads import LOADS, LOUDSPEAKER, RESISTOR
from .loudness_standards import STANDARDS
from .matching import clip_labels, clips
from .phrases import LEVEL, PHRASES, Phrase, at_level, dry_phrase, phrase, read_response
from .render import render

__all__ = [
    "LEVEL",
    "LOADS",
    "LOUDSPEAKER",
    "PHRASES",
    "RESISTOR",
    "STANDARDS",
    "Clip",
    "Clips",
    "Heard",
    "Phrase",
    "Ways",
    "at_level",
    "clip_labels",
    "clips",
    "clips_text",
    "difference",
    "dry_phrase",
    "linear",
    "listen",
    "listening_positions",
    "phrase",
    "pop_clip",
    "read_response",
    "render",
    "write_clips",
]
