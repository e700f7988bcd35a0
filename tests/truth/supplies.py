"""Supplies from mains to rails: drops and regulation of rectifier valves, ripple and currents of capacitor input."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

from ampsim import load_rectifier, load_semiconductor
from ampsim.circuit.amp import Amp
from ampsim.circuit.semiconductors.description import DevicePoint
from ampsim.circuit.supply.paths import Rectified, Way
from ampsim.circuit.supply.rectifier_valve import RectifierValve
from ampsim.circuit.supply.steady import Filter, Supply
from ampsim.circuit.supply.transformer import MainsTransformer, Winding
from ampsim.library.kinds import listing
from ampsim.simulation.supplies import supplies_at_rest
from tests.truth.bench import Rest, amp, rail, stage, wired
from tests.truth.claims import CLOSED, FITTED, PREDICTED, Case, Claim, Limit

_MAZDA = "Mazda (Thorn-AEI), EZ80, issue 1, August 1963"
_SCHADE = "integration of the circuit apart from ampsim (2000 steps to a cycle); the plane of O. H. Schade, 1943"
REGULATION = Limit(0.04, "printed regulation of a rectifier valve: 4 % (scatter of valves, curve read to 3 V)")
_DC, _RIPPLE, _AMPS = (
    Limit(0.01, "integration of the same circuit: 1 % for direct volts"),
    Limit(0.03, "integration of the same circuit: 3 % for ripple"),
    Limit(0.04, "integration of the same circuit: 4 % for peak and rms current"),
)
_SAME = Limit(0.05, "integration of the same circuit: 5 % (same assumptions)")
_EXACT = Limit(0.005, "arithmetic: 0.5 %")
_NONE = 3000.0  # V of the rail behind the resistor that stands for a constant current


def _rectified(kind: str, volts: float, ohms: float, farads: float, amps: float, hertz: float, expected: float) -> Amp:
    """A full-wave rectifier valve with a reservoir, from which a current is drawn."""
    windings = {"ht": {"volts": f"{volts}-0-{volts}", "resistance": 2.0 * ohms}}
    parts = {
        "PT1": {"mains": 230, "frequency": hertz, "windings": windings},
        "V1": kind, "C1": farads, "R1": (expected + _NONE) / amps, "R2": "1M", "R3": "1M",
    }  # fmt: skip
    load = wired("load", R1=["B1", "BN"], R2=["in", "out"], R3=["out", "ground"])
    supply = stage("power supply", "mains", transformer="PT1", rectifier="V1")
    return amp(parts, [load, supply], {"name": "B1", "from": "mains", "reservoir": "C1"}, rail("BN", -_NONE))


def _supply(*given: object) -> dict[str, float]:
    """What a technician would measure on it."""
    found = supplies_at_rest(_rectified(*given))[0]  # type: ignore[arg-type]
    duty = found.duties[0]
    return {"direct volts": found.volts("B1"), "peak amps": duty.peak_amps, "rms amps": duty.rms_amps,
            "ripple": found.ripple("B1")}  # fmt: skip


def _regulation() -> list[Case]:
    found = []
    for volts, ohms, curve in (
        (350.0, 300.0, {20: 451, 40: 419, 60: 394, 80: 371, 90: 360}),
        (250.0, 125.0, {20: 326, 40: 305, 60: 288, 80: 272, 90: 265}),
    ):
        for milliamps, published in curve.items():
            name = "RX7" if volts == 350.0 else "RX10"
            claim = Claim(f"{name}/{milliamps}mA", "direct volts", published, "V", f"{_MAZDA}, p. 4", "verified",
                          PREDICTED, REGULATION)  # fmt: skip
            given = ("EZ80", volts, ohms, 50e-6, milliamps / 1e3, 50.0, float(published))
            found.append(Case((claim,), partial(_supply, *given)))
    return found


def _printed() -> list[Case]:
    integrated = "integration of the circuit with perveance 7.1e-4 A/V^1.5"
    found = []
    for name, given, rows in (
        ("RX3", ("EZ80", 300.0, 215.0, 50e-6, 0.09, 50.0, 310.0), (("direct volts", 310.0, f"{_MAZDA}, p. 1"),)),
        ("RX16", ("5Y3GT", 350.0, 50.0, 20e-6, 0.125, 60.0, 360.0),
         (("direct volts", 360.0, "data sheet of a 5Y3 of new production, a quotation"),)),
        ("RX15/250V", ("EZ80", 250.0, 125.0, 50e-6, 0.09, 50.0, 265.0),
         (("peak amps", 0.306, integrated), ("rms amps", 0.104, integrated), ("ripple", 3.4, integrated))),
        ("RX15/350V", ("EZ80", 350.0, 300.0, 50e-6, 0.09, 50.0, 360.0),
         (("peak amps", 0.289, integrated), ("rms amps", 0.101, integrated), ("ripple", 3.3, integrated))),
    ):  # fmt: skip
        claims = tuple(
            Claim(name, quantity, value, "V" if quantity in ("direct volts", "ripple") else "A", source,
                  {"RX3": "verified", "RX16": "secondary"}.get(name, "computed"),
                  PREDICTED if quantity == "direct volts" else CLOSED,
                  REGULATION if quantity == "direct volts" else _SAME)
            for quantity, value, source in rows
        )  # fmt: skip
        found.append(Case(claims, partial(_supply, *given)))
    return found


def _plane(reactance: float, resistance: float) -> dict[str, float]:
    """Full wave, next to ideal diodes, by omega C R and by the source's share of R [ratio]."""
    ideal = {"saturation_amps": 1e-9, "emission": 0.5, "series_ohms": 1e-3}
    diode = load_semiconductor("1N4007")
    diode = replace(diode, parameters=tuple((key, ideal.get(key, value)) for key, value in diode.parameters))
    load, peak, hertz = 5e3, 1e3, 50.0
    ways = tuple(Way(sign * peak, resistance * load, (diode,), ("D1",)) for sign in (1.0, -1.0))
    farads = reactance / (2.0 * math.pi * hertz * load)
    supply = Supply(Filter((("b", "0", load),), (("b", "0", farads),), ()), Rectified("b", "b", 1.0, hertz, ways, "PT"))
    import numpy as np

    period = supply.settled(np.zeros((1, 1)))
    mean, rms, most = (float(each[0]) for each in period.way_amps(0))
    volts = float(period.mean("b")[0])
    return {"direct volts over peak": volts / peak, "ripple over direct volts": float(period.ripple("b")[0]) / volts,
            "peak over mean current": most / mean, "rms over mean current": rms / mean}  # fmt: skip


def _schade() -> list[Case]:
    names = ("direct volts over peak", "ripple over direct volts", "peak over mean current", "rms over mean current")
    limits = (_DC, _RIPPLE, _AMPS, _AMPS)
    found = []
    for row, reactance, resistance, values in (
        ("PS1", 4.0, 0.005, (0.808, 0.1570, 9.02, 2.58)),
        ("PS3", 4.0, 0.05, (0.766, 0.1500, 7.18, 2.37)),
        ("PS4", 4.0, 0.1, (0.715, 0.1400, 6.23, 2.22)),
        ("PS5", 10.0, 0.005, (0.893, 0.0724, 13.1, 3.13)),
        ("PS6", 10.0, 0.02, (0.870, 0.0691, 10.1, 2.81)),
        ("PS8", 10.0, 0.1, (0.745, 0.0584, 6.54, 2.28)),
        ("PS10", 100.0, 0.02, (0.903, 0.0071, 10.7, 2.92)),
        ("PS11", 100.0, 0.05, (0.832, 0.0065, 8.06, 2.54)),
    ):
        claims = tuple(
            Claim(row, name, value, "1", _SCHADE, "computed", CLOSED, limit)
            for name, value, limit in zip(names, values, limits, strict=True)
        )
        found.append(Case(claims, partial(_plane, reactance, resistance)))
    return found


def _drop(device: RectifierValve, point: DevicePoint) -> dict[str, float]:
    """The drop of one plate when a high supply drives a current through it."""
    ((_, amps),) = point.conditions
    supply = 1e3
    circuit = amp({"R1": (supply - point.value) / amps, "V1": device.type, "R2": "1M"},
                  [wired("plate", R1=["B1", "out"], V1=["out", "out2", "ground"], R2=["out2", "ground"])],
                  rail("B1", supply))  # fmt: skip
    return {"drop volts": Rest(circuit).volts("V1.plate_a")}


def _drops() -> list[Case]:
    found = []
    for name in listing()["rectifiers"]:
        device = load_rectifier(name)
        for point in device.points:
            limit = Limit(point.tolerance, f"drop of a rectifier valve: {point.tolerance:.0%}")
            kind = FITTED if point.used_in_fit else PREDICTED
            amps = dict(point.conditions)["plate_amps"]
            claim = Claim(f"{point.id}/{1e3 * amps:g}mA", "drop volts", point.value, "V", f"{point.source} ({name})",
                          point.flag, kind, limit)  # fmt: skip
            found.append(Case((claim,), partial(_drop, device, point)))
    return found


def _reflected() -> dict[str, float]:
    """What one plate sees of a transformer: half the secondary, and the primary by the square of the turns."""
    part = MainsTransformer("PT1", 230.0, 230.0, 50.0, 12.0, (Winding("ht", 600.0, 120.0, True),))
    return {"source ohms": 60.0 + part.reflected_ohms(300.0 * math.sqrt(2.0))}


def cases() -> list[Case]:
    """Every row."""
    claim = Claim("TR9", "source ohms", 80.4, "ohm", "half the secondary + turns squared times the primary", "computed",
                  CLOSED, _EXACT)  # fmt: skip
    return [*_drops(), *_regulation(), *_printed(), *_schade(), Case((claim,), _reflected)]
