"""Numbers of one system, for holding against those of another: `python -m tests.windows.numbers FILE`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ampsim import apply_mods, every_position, load_amp, load_mod, simulate
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ampsim.simulation.stimuli import Sine

AMPS = ("lesson-stage", "rehearsal-room", "workshop-a", "workshop-b")
MODS = ("bright-switch", "cathode-switch", "depth")
KINDS = {"sweep": FrequencySweep(), "rest": OperatingPoint(), "time": Transient(Sine(220.0, 0.05, 0.01, 5))}


def numbers() -> dict[str, NDArray[Any]]:
    """Return sweeps, operating points and transients [V] by kind and amp; at every position where mods are fitted."""
    amps = {name: load_amp(name) for name in AMPS}
    amps["modded"] = apply_mods(amps["workshop-a"], *map(load_mod, MODS))
    found = {}
    for name, amp in amps.items():
        positions = every_position(amp, "bright", "cathode") if name == "modded" else ({},)
        for kind, analysis in KINDS.items():
            found[f"{kind} {name}"] = simulate(amp, analysis, positions)["voltage"].values
    return found


def main() -> None:
    """Write the numbers."""
    np.savez(Path(sys.argv[1]), **numbers())  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
