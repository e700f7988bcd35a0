"""Parts changed at ports, and values found for wishes, against closed forms."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial
from typing import Any

from ampsim import FrequencySweep
from ampsim.base.e_series import preferred_values
from ampsim.circuit.amp import Amp
from ampsim.library.loader import parse_wishes
from ampsim.simulation.ports import PortCase, reduce
from ampsim.simulation.ports_algebra import admittance, branches
from ampsim.studies.search.search import find_values
from tests.truth.bench import amp, gains, rail, stage
from tests.truth.claims import CLOSED, Case, Claim, Limit

THEORY = "voltage divider of complex impedances (definition), worked out in the test"
SHELF = (
    "cathode bypass: gain rises from a zero at 1 / (2 pi R C) to a pole as many times higher as the gain rises in all "
    "(textbook, from memory); the whole rise from two direct simulations, without and with a huge capacitor"
)
NETWORK = Limit(1e-6, "a bare network: rounding alone", "dB")
VALVE = Limit(0.01, "valve capacitances, which the closed form leaves out", "dB")
EXACT = Limit(1e-9, "a value of the series: no more than rounding of floating point")


def _by_port(quantity: str, circuit: Amp, part: str, farads: float, place: str, hertz: float) -> dict[str, float]:
    case = PortCase(circuit, {}, ((f"{part}.1", f"{part}.2"),), (place,))
    (model,) = reduce([case], FrequencySweep(hertz, 10.0 * hertz, 1))
    change = farads - circuit.part_by_designator[part].value  # type: ignore[union-attr]
    (found,) = branches(model.table(), [admittance("capacitor", change, model.frequency)[None]])
    return {quantity: 20.0 * math.log10(abs(found[0, 0, 0, 0]))}


def _bright_cases() -> list[Case]:
    pot = {"track": "1M", "control": "volume", "rotation": 0.3}
    circuit = amp(
        {"P1": pot, "C2": "10p", "R1": "1M"},
        [stage("volume", pot="P1", bright_capacitor="C2"), stage("load", load="R1")],
    )
    found = []
    for hertz in (100.0, 1000.0, 10000.0):
        above = 1.0 / (1.0 / 0.7e6 + 2j * math.pi * hertz * 220e-12)
        below = 1.0 / (1.0 / 0.3e6 + 1.0 / 1e6)
        closed = 20.0 * math.log10(abs(below / (above + below)))
        what = f"at {hertz:g} Hz"
        claim = Claim("bright 220p at a port", what, closed, "dB", THEORY, "computed", CLOSED, NETWORK)
        found.append(Case((claim,), partial(_by_port, what, circuit, "C2", 220e-12, "R1.1", hertz)))
    return found


def _stage(bypass: float | str) -> Amp:
    roles: dict[str, Any] = {"grid_leak": "R3", "plate_load": "R1", "cathode_resistor": "R2", "cathode_bypass": "C1"}
    parts = {"V1": "12AX7", "R1": "100k", "R2": "1k5", "R3": "1M", "C1": bypass}
    return amp(parts, [stage("triode stage", valve="V1", supply="B1", **roles)], rail("B1", 300.0))


def _shelf(share: float) -> dict[str, float]:
    """Change of gain [dB] by a capacitor at a port, less that of the closed form, at a share of the way up."""
    low, high = (abs(gains(_stage(farads), "V1.plate", hertz=100.0)[0]) for farads in (1e-13, "999m"))
    zero, rise = 1.0 / (2.0 * math.pi * 1500.0 * 0.68e-6), high / low
    hertz = zero * rise**share
    closed = 10.0 * math.log10((1.0 + (hertz / zero) ** 2) / (1.0 + (hertz / zero / rise) ** 2))
    ours = _by_port("", _stage(1e-12), "C1", 0.68e-6, "V1.plate", hertz)[""]
    return {"beside the closed form": ours - 20.0 * math.log10(low) - closed}


def _shelf_cases() -> list[Case]:
    found = []
    for share, where in ((0.0, "zero"), (0.5, "half way up"), (1.0, "pole")):
        row = f"cathode shelf 680n at a port, {where}"
        claim = Claim(row, "beside the closed form", 0.0, "dB", SHELF, "from memory", CLOSED, VALVE)
        found.append(Case((claim,), partial(_shelf, share)))
    return found


def _finder_cases() -> list[Case]:
    """A capacitor into 1 megohm that takes 3 dB at 100 Hz: the nearest of the series to 1 / (2 pi R f)."""
    series = preferred_values("E24", 470e-12, 10e-9)
    off = {
        farads: abs(10.0 * math.log10(1.0 + (2.0 * math.pi * 100.0 * 1e6 * farads) ** -2) - 3.0) for farads in series
    }
    claim = Claim(
        "coupling for 3 dB at 100 Hz", "capacitor found", min(off, key=lambda farads: off[farads]), "F", THEORY,
        "computed", CLOSED, EXACT,
    )  # fmt: skip
    return [Case((claim,), _found_capacitor)]


def _found_capacitor() -> Mapping[str, float]:
    circuit = amp({"C1": "100u", "R1": "1M"}, [stage("coupling", capacitor="C1", shunt_resistor="R1")])
    wishes = {
        "name": "coupling",
        "listen_at": "R1.1",
        "parts": [{"replace": "C1", "values": "E24 from 470p to 10n"}],
        "wishes": [{"less": "2 to 4 dB", "near": "100"}],
    }
    value = find_values(parse_wishes(wishes, circuit)).best[0].values["C1"]
    return {"capacitor found": math.nan if value is None else value}


def cases() -> list[Case]:
    """Networks at ports, and a value that a closed form gives as well."""
    return _bright_cases() + _shelf_cases() + _finder_cases()
