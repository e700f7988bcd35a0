"""What is said wherever something can be heard."""

from __future__ import annotations

HEARING = (
    "Turn the listening level right down before you begin, on headphones above all, and bring it up slowly: nobody "
    "here knows how loud your headphones or loudspeakers play. Guideline ITU-T H.870 of WHO and ITU counts 80 dB(A) "
    "for 40 hours a week as safe for adults (75 dB(A) for children), and half the time for every 3 dB more (from "
    "memory). Ringing or dull ears after listening mean it was too loud."
)
OUTPUT = "at the amp's output"  # whatever its load is
NO_CABINET = (
    "What is heard is the voltage across the amp's load. The acoustics of cone, cabinet, microphone and room "
    "are not modelled, so all positions sound brighter and harsher than in a room; compare positions with one "
    "another, not with a recording."
)
CABINET = (
    "The voltage across the amp's load is convolved with an impulse response brought by the user ({name}); "
    "what it leaves out is left out here."
)
EQUAL = (
    "Louder is taken for better, so all clips are equally loud by {source}: {target:.1f} {unit} each. Another standard "
    "counts low and high notes differently: {others}."
)
LEFT_OUT = (
    "Left out, since nothing is heard there (more than {limit:g} dB below the loudest position, a limit of ours): "
    "{positions}."
)
TRUE_LEVEL = "Not equally loud, but at their true level beside the clips above (leave the listening level as it is):"


def decibels(value: float, sign: bool = True) -> str:
    """A level [dB] in words: "+5.3 dB" with a real minus sign."""
    return f"{round(value, 1) + 0.0:{'+' if sign else ''}.1f} dB".replace("-", "\u2212")
