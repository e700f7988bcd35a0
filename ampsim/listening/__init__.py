"""What is heard: a phrase through the amp, matched in loudness, as clips that a player or a WAV file takes."""

from .alone import difference, pop_clip
from .clips import Clip, Clips
from .listen import Heard, Ways, listen, listening_positions
from .loads import LOADS, LOUDSPEAKER, RESISTOR
from .matching import clip_labels, clips
from .phrases import LEVEL, PHRASES, Phrase, at_level, dry_phrase, phrase, read_response
from .plain import linear
from .render import render
from .standards import STANDARDS
from .writing import clips_text, write_clips

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
