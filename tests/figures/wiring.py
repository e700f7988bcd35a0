"""Truth tables read back and simulated: every switch that comes with ampsim, and switches drawn by lot."""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import islice

import numpy as np

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_setting
from ampsim.circuit.switches.same_circuit import compare_circuits
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.netlist import node_vector, write
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays, Outcome
from ampsim.work.wiring.from_to import Wiring
from ampsim.work.wiring.readback import listening_places, read_back, wiring
from tests.figures.figure import Figure, Scale
from tests.tools.random_switches import random_switches

ANALYSES = (OperatingPoint(), FrequencySweep(per_decade=5))
CLOSE = 1e-4  # of the voltage, and 10 uV: what ngspice leaves open from one order of elements to another
_SIMULATED = 4  # combinations of positions of one amp drawn by lot


def demo_amps() -> Iterator[Amp]:
    """Every amp with a switch of its own, and every mod with a switch on every amp that takes it."""
    for name in sorted(path.stem for path in (models() / "amps").glob("*.toml")):
        amp = load_amp(name)
        if amp.switches:
            yield amp
        for mod in sorted(path.stem for path in (models() / "mods").glob("*.toml")):
            try:
                fitted = apply_mods(amp, load_mod(mod))
                for stand in every_setting(fitted):
                    build_circuit(fitted, stand)
            except DescriptionError:
                continue
            if load_mod(mod).switches:
                yield fitted


def faults(wired: Wiring, most: int | None = None) -> int:
    """How many combinations of positions differ, as nets or simulated at rest and over frequency."""
    wrong, asked, netlists = 0, [], []
    for stand in islice(every_setting(wired.amp), most):
        ours, drawn = read_back(wired, stand), build_circuit(wired.amp, stand)
        if compare_circuits(wired.bought, ours, drawn):
            wrong += 1
            continue
        setting, places = wired.amp.setting(dict(stand)), listening_places(drawn)
        for analysis in ANALYSES:
            asked.append([(node_vector(ours, place), node_vector(drawn, place)) for place in places])
            netlists += [write(each, setting, analysis, places) for each in (ours, drawn)]
    outcomes = engine.run(netlists)
    pairs = zip(asked, outcomes[::2], outcomes[1::2], strict=True)
    return wrong + sum(not _same(vectors, ours, drawn) for vectors, ours, drawn in pairs)


def _same(vectors: list[tuple[str, str]], ours: Outcome, drawn: Outcome) -> bool:
    if not (isinstance(ours, Arrays) and isinstance(drawn, Arrays)):
        # Neither circuit could be simulated: no difference was seen, and none is claimed.
        return not isinstance(ours, Arrays) and not isinstance(drawn, Arrays)
    return all(
        a == b == "" or (a != "" != b and np.allclose(ours.vectors[a], drawn.vectors[b], rtol=CLOSE, atol=1e-5))
        for a, b in vectors
    )


def truth_tables(scale: Scale) -> Iterator[Figure]:
    """Every switch that comes with ampsim and a number drawn by lot: from list and table back to the circuit."""
    tried = wrong = refused = 0
    for amp in demo_amps():
        wired = wiring(amp)
        tried += len(wired.switches)
        wrong += faults(wired)
    lot = 0
    for number in range(scale.amps // 10):
        drawn = random_switches(random.Random(number))
        if drawn is None:
            continue
        try:
            wired = wiring(drawn)
        except DescriptionError:
            refused += len(drawn.all_switches)
            wrong += len(drawn.all_switches) == 1
            continue
        lot += len(wired.switches)
        wrong += faults(wired, _SIMULATED)
    value = f"{tried} ours + {lot} by lot, {wrong} ({refused} refused: two on one wire)"
    yield Figure(
        "wiring truth tables simulated back: switches tried, mismatches", value, "all, 0", wrong == 0 and lot > 0
    )


SECTIONS = (truth_tables,)
