"""The figure of netlist files: amps written as plain SPICE and run by ngspice alone, beside ampsim's own answers."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.simulation.spice_file import spice_file
from tests.figures.figure import Figure, Scale
from tests.tools import random_amps
from tests.tools.bare_ngspice import Plots, answers_of

COARSE = FrequencySweep(per_decade=5)
# Amps that no other run draws, a hundredth as many as are tried by lot.
_FIRST, _SHARE = 600_000, 100
_LEAST = 1e-3  # of a net with less [V], or gain, so much of this counts


def apart(case: random_amps.Case, plots: Plots, text: str) -> float:
    """How far any net at rest or in the sweep lies beside ampsim's answer [ratio of the largest there]."""
    places = dict(re.findall(r"^\* net (\w+(?<!_mains)): ([^\n,]+)", text, re.MULTILINE))
    nodes, (gains, volts), worst = list(places.values()), plots, 0.0
    rest = simulate(case.amp, OperatingPoint(), [case.position], nodes=nodes).voltage
    swept = simulate(case.amp, COARSE, [case.position], nodes=nodes).voltage
    for net, place in places.items():
        for found, of_ours in ((volts, rest), (gains, swept)):
            ours = of_ours.sel(node=place).values.ravel()
            off = np.abs(found[f"v({net})"] - ours).max() / max(_LEAST, np.abs(ours).max())
            worst = max(worst, float(off))
    return worst


def exported(scale: Scale) -> Iterator[Figure]:
    """Amps by lot as netlist files: ngspice alone beside ampsim."""
    count = max(scale.amps // _SHARE, 3)
    cases = [random_amps.draw(_FIRST + number, with_transient=False) for number in range(count)]
    texts = [spice_file(case.amp, case.position, (OperatingPoint(), COARSE)) for case in cases]
    with tempfile.TemporaryDirectory() as folder:
        plots = answers_of(texts, Path(folder))
    worst = max(apart(case, each, text) for case, each, text in zip(cases, plots, texts, strict=True))
    yield Figure(f"{count} amps by lot as netlist files, run by ngspice alone: worst net", f"{worst:.1e}", "<= 1e-6",
                 worst <= 1e-6)  # fmt: skip


SECTIONS = (exported,)
