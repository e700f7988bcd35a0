"""What is heard: a phrase through the amp, matched in loudness, as clips that a player or a WAV file takes."""

from .clips import Clip, Clips

__all__ = ["Clip", "Clips"]
