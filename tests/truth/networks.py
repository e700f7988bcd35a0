"""Bare networks against their closed forms, and parts, codes and tapers against their standards."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from ampsim import FrequencySweep, simulate
from ampsim.base.e_series import preferred_values
from ampsim.base.quantities import OHM, parse_value
from ampsim.circuit.amp import Amp
from tests.truth.bench import Parts, amp, gains, stage
from tests.truth.claims import CLOSED, Case, Claim, Limit, printed

STACK = (
    "D. T. Yeh, J. O. Smith, Proc. DAFx-06, 2006: transfer function of the three-band passive tone stack, "
    "coefficients checked in five printed copies"
)
THEORY = "voltage divider of complex impedances (definition), worked out in the test"
HERTZ = (50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0, 10000.0)
# Component set of the paper, knobs (treble, middle, bass) and the dB that follow, as printed in tables.
R1, R2, R3, R4, C1, C2, C3 = 250e3, 1e6, 25e3, 56e3, 0.25e-9, 20e-9, 20e-9
KNOBS = {"Y2": (0.5, 0.5, 0.5), "Y3": (1.0, 0.0, 0.0), "Y4": (0.0, 0.0, 1.0), "Y5": (0.0, 1.0, 0.0)}
PRINTED = {
    "Y2": (-1.64, -2.80, -5.89, -11.51, -11.75, -8.28, -5.29, -4.59),
    "Y3": (-17.10, -14.51, -13.79, -14.17, -10.48, -4.94, -1.17, -0.32),
    "Y4": (-1.03, -2.12, -4.96, -11.23, -16.56, -21.57, -28.25, -33.88),
    "Y5": (-13.09, -11.10, -10.41, -10.15, -9.98, -9.66, -9.22, -9.09),
    "Y6": (-3.34, -4.20, -7.10, -12.59, -12.75, -9.15, -5.94, -5.17),
}
BARE = Limit(0.01, "bare network: 0.01 dB of its closed form", "dB")
LOADED = Limit(0.015, "bare network: 0.01 dB, and half of the last printed digit, 0.005 dB", "dB")


def coefficients(t: float, m: float, l: float) -> tuple[tuple[float, ...], tuple[float, ...]]:  # noqa: E741
    """Numerator (b0..b3) and denominator (a0..a3) in s, as the paper prints them."""
    b1 = t * C1 * R1 + m * C3 * R3 + l * (C1 * R2 + C2 * R2) + C1 * R3 + C2 * R3
    b2 = (
        t * (C1 * C2 * R1 * R4 + C1 * C3 * R1 * R4)
        - m**2 * (C1 * C3 * R3**2 + C2 * C3 * R3**2)
        + m * (C1 * C3 * R1 * R3 + C1 * C3 * R3**2 + C2 * C3 * R3**2)
        + l * (C1 * C2 * R1 * R2 + C1 * C2 * R2 * R4 + C1 * C3 * R2 * R4)
        + l * m * (C1 * C3 * R2 * R3 + C2 * C3 * R2 * R3)
        + C1 * C2 * R1 * R3 + C1 * C2 * R3 * R4 + C1 * C3 * R3 * R4
    )  # fmt: skip
    b3 = C1 * C2 * C3 * (
        l * m * (R1 * R2 * R3 + R2 * R3 * R4)
        - m**2 * (R1 * R3**2 + R3**2 * R4)
        + m * (R1 * R3**2 + R3**2 * R4)
        + t * R1 * R3 * R4 - t * m * R1 * R3 * R4 + t * l * R1 * R2 * R4
    )  # fmt: skip
    a1 = C1 * R1 + C1 * R3 + C2 * R3 + C2 * R4 + C3 * R4 + m * C3 * R3 + l * (C1 * R2 + C2 * R2)
    a2 = (
        m * (C1 * C3 * R1 * R3 - C2 * C3 * R3 * R4 + C1 * C3 * R3**2 + C2 * C3 * R3**2)
        + l * m * (C1 * C3 * R2 * R3 + C2 * C3 * R2 * R3)
        - m**2 * (C1 * C3 * R3**2 + C2 * C3 * R3**2)
        + l * (C1 * C2 * R2 * R4 + C1 * C2 * R1 * R2 + C1 * C3 * R2 * R4 + C2 * C3 * R2 * R4)
        + C1 * C2 * R1 * R4 + C1 * C3 * R1 * R4 + C1 * C2 * R3 * R4 + C1 * C2 * R1 * R3
        + C1 * C3 * R3 * R4 + C2 * C3 * R3 * R4
    )  # fmt: skip
    a3 = C1 * C2 * C3 * (
        l * m * (R1 * R2 * R3 + R2 * R3 * R4)
        - m**2 * (R1 * R3**2 + R3**2 * R4)
        + m * (R3**2 * R4 + R1 * R3**2 - R1 * R3 * R4)
        + l * R1 * R2 * R4 + R1 * R3 * R4
    )  # fmt: skip
    return (0.0, b1, b2, b3), (1.0, a1, a2, a3)


def stack_db(knobs: tuple[float, float, float], hertz: float) -> float:
    """The published transfer function [dB], without source resistance or load."""
    above, below = coefficients(*knobs)
    s = 2j * math.pi * hertz
    return decibels(np.polyval(above[::-1], s) / np.polyval(below[::-1], s))


def decibels(ratio: complex) -> float:
    """20 log10 of a magnitude."""
    return 20.0 * math.log10(abs(ratio))


def _stack(load: float = 0.0) -> Amp:
    parts: Parts = {"R4": R4, "C1": C1, "C2": C2, "C3": C3}
    parts |= {f"P{n}": {"track": ohms, "control": name} for n, ohms, name in
              ((1, R1, "treble"), (2, R2, "bass"), (3, R3, "middle"))}  # fmt: skip
    stages = [
        stage("tone stack", slope_resistor="R4", treble_capacitor="C1", bass_capacitor="C2", middle_capacitor="C3",
              treble="P1", bass="P2", middle="P3"),
    ]  # fmt: skip
    if load:
        parts["R5"] = load
        stages.append(stage("load", load="R5"))
    return amp(parts, stages)


def _stack_measured(knobs: tuple[float, float, float], load: float = 0.0) -> dict[str, float]:
    position = dict(zip(("treble", "middle", "bass"), knobs, strict=True))
    circuit = _stack(load)
    found = {}
    for hertz in HERTZ:
        sweep = simulate(circuit, FrequencySweep(hertz, 10.0 * hertz, 1), [position], ["P1.wiper"])
        found[f"at {hertz:g} Hz"] = decibels(complex(sweep["voltage"].values.ravel()[0]))
    return found


def _stack_cases() -> list[Case]:
    found = []
    for row, knobs in KNOBS.items():
        claims = tuple(
            Claim(row, f"at {hertz:g} Hz", stack_db(knobs, hertz), "dB", STACK, "verified", CLOSED, BARE)
            for hertz in HERTZ
        )
        found.append(Case(claims, partial(_stack_measured, knobs)))
    source = "independent nodal solution of the same stack with 1 megohm on its output"
    loaded = tuple(
        Claim("Y6", f"at {hertz:g} Hz", db, "dB", source, "computed", CLOSED, LOADED)
        for hertz, db in zip(HERTZ, PRINTED["Y6"], strict=True)
    )
    return [*found, Case(loaded, partial(_stack_measured, (0.5, 0.5, 0.5), 1e6))]


def _beside(*impedances: complex) -> complex:
    return 1.0 / sum(1.0 / each for each in impedances)


def _coupling(s: complex) -> complex:
    series, shunt = _beside(470e3, 1.0 / (s * 220e-12)), 330e3
    return shunt / (1.0 / (s * 22e-9) + series + shunt)


def _bright(s: complex) -> complex:
    above, below = _beside(0.7e6, 1.0 / (s * 120e-12)), _beside(0.3e6, 1e6)
    return below / (1.0 / (s * 10e-9) + above + below)


def _divider_cases() -> list[Case]:
    coupling = amp(
        {"C1": "22n", "R1": "470k", "C2": "220p", "R2": "330k"},
        [stage("coupling", capacitor="C1", series_resistor="R1", series_capacitor="C2", shunt_resistor="R2")],
    )
    pot = {"track": "1M", "control": "volume", "rotation": 0.3}
    bright = amp(
        {"C1": "10n", "P1": pot, "C2": "120p", "R1": "1M"},
        [stage("volume", coupling="C1", pot="P1", bright_capacitor="C2"), stage("load", load="R1")],
    )
    found = []
    for row, circuit, place, form in (
        ("coupling with treble bypass", coupling, "R2.1", _coupling),
        ("volume with bright capacitor", bright, "R1.1", _bright),
    ):
        for hertz in (20.0, 200.0, 2000.0, 20000.0):
            closed = decibels(form(2j * math.pi * hertz))
            claim = Claim(row, f"at {hertz:g} Hz", closed, "dB", THEORY, "computed", CLOSED, BARE)
            found.append(Case((claim,), partial(_gain_at, claim.quantity, circuit, place, hertz)))
    return found


def _gain_at(quantity: str, circuit: Amp, place: str, hertz: float) -> dict[str, float]:
    return {quantity: decibels(gains(circuit, place, hertz=hertz)[0])}


def _resonance(cable: str) -> dict[str, float]:
    """Where the pickup's output is a quarter turn behind its coil: 1 / (2 pi sqrt(L C)) for any resistance."""
    parts: Parts = {"L1": "2.5", "R1": "6k", "C1": "150p"} | ({"C2": cable} if cable else {})
    roles = {"pickup_inductance": "L1", "pickup_resistance": "R1", "pickup_capacitance": "C1"}
    guitar = stage("guitar", **roles, **({"cable_capacitance": "C2"} if cable else {}))
    sweep = simulate(amp(parts, [guitar]), FrequencySweep(2e3, 2e4, 1000), nodes=["C1.1"])
    in_phase = sweep["voltage"].values.ravel().real
    # numpy interpolates rising values only; the in-phase part falls through nought at the resonance.
    return {"resonance": float(np.interp(0.0, -in_phase, sweep["frequency"].values))}


def _loudspeaker() -> dict[str, float]:
    """Resonance, peak and the parallel circuit of the cone, from the impedance; the coil's own reactance left out."""
    cone = {"resistance": 7.0, "resonance": 21.97, "peak": 70.25, "q": 3.318, "reactance": 1e-3}
    parts: Parts = {"R1": "1k", "LS1": cone}
    circuit = amp(parts, [stage("generator", resistance="R1"), stage("load", load="LS1")])
    sweep = simulate(circuit, FrequencySweep(5.0, 500.0, 1000), nodes=["speaker"])
    volts, omega = sweep["voltage"].values.ravel(), 2.0 * math.pi * sweep["frequency"].values
    ohms = 1e3 * volts / (1.0 - volts)
    siemens = (1.0 / (ohms - 7.0)).imag
    # The susceptance of the cone is omega C - 1 / (omega L) at every frequency: two of them give both.
    rows = np.array([[omega[0], -1.0 / omega[0]], [omega[-1], -1.0 / omega[-1]]])
    farads, inverse = np.linalg.solve(rows, siemens[[0, -1]])
    top = int(abs(ohms).argmax())
    return {
        "resonance": float(sweep["frequency"][top]),
        "peak impedance": float(abs(ohms[top])),
        "Lces": float(1.0 / inverse),
        "Cmes": float(farads),
    }


def _part_cases() -> list[Case]:
    guitar = "pickup and cable article (2.5 H, 150 pF; 500 pF of cable), resonance worked out from its values"
    driver = "lumped loudspeaker driver parameters (example file of a simulation vendor), equivalents worked out"
    network = 10.0 ** (0.01 / 20.0) - 1.0

    def claim(row: str, what: str, value: float, digit: float, unit: str, source: str, share: float) -> Claim:
        limit = Limit(
            printed(value, digit, share), f"closed form: {100 * share:.2g} % and half of the last printed digit"
        )
        return Claim(row, what, value, unit, source, "computed", CLOSED, limit)

    speaker = (
        claim("Q11", "resonance", 21.97, 0.01, "Hz", driver, network),
        claim("Q11", "peak impedance", 77.25, 0.01, "ohm", driver, network),
        claim("Q11", "Lces", 153.4e-3, 0.1e-3, "H", driver, network),
        claim("Q11", "Cmes", 342.1e-6, 0.1e-6, "F", driver, network),
    )
    return [
        Case((claim("Q9", "resonance", 3.95e3, 10.0, "Hz", guitar, network),), partial(_resonance, "500p")),
        Case((claim("Q9 without cable", "resonance", 8.22e3, 10.0, "Hz", guitar, network),), partial(_resonance, "")),
        Case(speaker, _loudspeaker),
    ]


def _taper(taper: str) -> dict[str, float]:
    pot = {"track": "1M", "taper": taper, "control": "volume", "rotation": 0.5}
    circuit = amp({"P1": pot}, [stage("volume", pot="P1")])
    return {"half way up": abs(gains(circuit, "P1.wiper")[0])}


def _codes() -> Mapping[str, float]:
    return {code: parse_value(code, OHM) for code in ("4K7", "4R7", "R47", "47K3")}


def _series() -> Mapping[str, float]:
    e12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
    found = preferred_values("E12", 1e4, 9.99e4)
    return {"values of a decade equal": float(sum(a == b * 1e3 for a, b in zip(found, e12, strict=True)))}


def _standard_cases() -> list[Case]:
    exact = Limit(1e-12, "a definition: no more than rounding of floating point")
    tapers = "potentiometer guide, p. 4", "makers' data, from memory"
    rkm = "RKM code of IEC 60062, table of examples"

    def claim(row: str, what: str, value: float, unit: str, source: str, flag: str, limit: Limit = exact) -> Claim:
        return Claim(row, what, value, unit, source, flag, CLOSED, limit)

    def case(measure: Callable[[], Mapping[str, float]], *claims: Claim) -> Case:
        return Case(claims, measure)

    code = {"4K7": 4700.0, "4R7": 4.7, "R47": 0.47, "47K3": 47300.0}
    network = Limit(10.0 ** (0.01 / 20.0) - 1.0, "bare network: 0.01 dB")
    return [
        case(_codes, *(claim("Q1", text, ohms, "ohm", rkm, "verified") for text, ohms in code.items())),
        case(_series, claim("Q3", "values of a decade equal", 12.0, "1", "IEC 60063:2015, E12", "from memory")),
        case(partial(_taper, "audio 10 %"), claim("Q5", "half way up", 0.10, "1", tapers[0], "verified", network)),
        case(partial(_taper, "audio 15 %"), claim("Q6", "half way up", 0.15, "1", tapers[1], "from memory", network)),
    ]


def cases() -> list[Case]:
    """Every bare network, part and standard."""
    return _stack_cases() + _divider_cases() + _part_cases() + _standard_cases()
