"""The tone in which ngspice checks a circuit that is driven hard: topics that play as loud share its answer."""

from __future__ import annotations

from ..simulation.stimuli import Sine
from ..simulation.timed_run import Tone
from ..simulation.timestep.pace import Pace

HARD_TONE = Tone(Sine(400.0, 1.0, 0.0025, 2), 1.0 / (50 * 400.0), 2e-4, Pace(1.0 / (2000 * 400.0)))
"""Three cycles of what headroom plays loudest, in as short steps (`headroom.simulate`): where the loudest of a topic is
as loud, at the positions it looks at, ngspice is asked the same netlist once."""
