"""What is heard: a phrase through the amp, matched in loudness, as clips that a player or a WAV file takes.

It imports base, circuit, simulation, measures and studies. Begin reading with `listen`.
"""

from .clips import Clip, Clips
from .differences import difference, pop_clip
from .files import clips_text, write_clips
from .linear import render_linear
from .listen import Listening, ListeningOptions, listen, listening_positions
from .loads import LOADS, LOUDSPEAKER, RESISTOR
from .loudness_standards import STANDARDS
from .matching import clip_labels, match_loudness
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
    "Listening",
    "ListeningOptions",
    "Phrase",
    "at_level",
    "clip_labels",
    "clips_text",
    "difference",
    "dry_phrase",
    "listen",
    "listening_positions",
    "match_loudness",
    "phrase",
    "pop_clip",
    "read_response",
    "render",
    "render_linear",
    "write_clips",
]
