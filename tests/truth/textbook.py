"""Worked examples: a valve of exactly the textbook's mu and rp in the stage templates, and Koren's law in a stage."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from ampsim import load_valve
from ampsim.circuit.amp import Amp
from tests.truth.bench import Parts, Rest, amp, gains, near_ideal, rail, stage, wired
from tests.truth.claims import CLOSED, Case, Claim, Limit, printed
from tests.truth.valves_alone import static

NETWORK = 10.0 ** (0.01 / 20.0) - 1.0  # 0.01 dB as a fraction
HUGE = "100m"  # F: no impedance at any frequency used here
BASICS = "M. Robinson, Fun with Tubes, Basics 4, examples 4.1 and 4.2"
RESULT = "small-signal closed form of any valve textbook, worked out apart from ampsim"
KOREN = "university electronics textbook, ch. 6 Vacuum Tubes, p. 176, eqs 6.36-6.42"


def _claims(
    row: str, source: str, flag: str, *numbers: tuple[str, float, float, str], share: float = NETWORK
) -> tuple[Claim, ...]:
    """Claims from (quantity, published, last printed digit, unit)."""
    why = f"closed form: {100.0 * share:.3g} % and half of the last printed digit"
    return tuple(
        Claim(row, quantity, value, unit, source, flag, CLOSED, Limit(printed(value, digit, share), why))
        for quantity, value, digit, unit in numbers
    )


def _exact(circuit: Amp, mu: float, rp: float, amps: float, farads: tuple[float, float] = (0.0, 0.0)) -> Amp:
    """Give the valve exactly this mu, and this rp at this current: Ia = k (Va + mu Vg)^1.5 has rp = 2 E / 3 Ia."""
    (valve,) = circuit.valves
    drive = 1.5 * rp * amps
    held = replace(valve.capacitances, grid_cathode=farads[0], grid_plate=farads[1])
    law = (("k", amps / drive**1.5), ("mu", mu))
    return replace(circuit, valves=(replace(valve, parameters=law, capacitances=held),))


def _stage(
    mu: float,
    rp: float,
    plate: float,
    cathode: float,
    bypass: float | None = None,
    load: float = 1e9,
    amps: float = 1e-3,
    stopper: float | None = None,
    farads: tuple[float, float] = (0.0, 0.0),
) -> Amp:
    """A common-cathode stage on just the supply that gives this current."""
    volts = 1.5 * rp * amps + mu * amps * cathode + amps * (plate + cathode)
    parts: Parts = {"V1": "textbook-triode", "R2": plate, "R3": cathode, "C3": HUGE, "R4": load}
    roles: dict[str, object] = {"valve": "V1", "supply": "B1", "plate_load": "R2", "cathode_resistor": "R3"}
    if bypass is not None:
        parts["C2"], roles["cathode_bypass"] = bypass, "C2"
    if stopper is not None:
        parts["R5"], roles["grid_stopper"] = stopper, "R5"
    stages = [stage("triode stage", **roles), stage("coupling", capacitor="C3", shunt_resistor="R4")]
    return _exact(amp(parts, stages, rail("B1", volts)), mu, rp, amps, farads)


def _gain(circuit: Amp) -> dict[str, float]:
    return {"gain": abs(gains(circuit, "R4.1")[0])}


def _shelf(cathode: float, small: float, near: float) -> dict[str, float]:
    """Gains with and without the bypass, and the corners of the shelf from one point in its middle."""
    full = abs(gains(_stage(100, 62.5e3, 100e3, cathode, HUGE), "R4.1")[0])
    bare = gains(_stage(100, 62.5e3, 100e3, cathode), "R4.1")[0]
    middle = gains(_stage(100, 62.5e3, 100e3, cathode, small), "R4.1", hertz=near)[0] / bare
    # middle = (1 + j f/zero) / (1 + j f/pole), solved for both.
    by_pole = (middle.real - 1.0) / middle.imag
    by_zero = middle.imag + by_pole * middle.real
    step = 20.0 * math.log10(full / abs(bare))
    return {"gain": full, "unbypassed": abs(bare), "step": step, "zero": near / by_zero, "pole": near / by_pole}


def _miller() -> dict[str, float]:
    ohms = 1e5
    circuit = _stage(100, 62.5e3, 100e3, 1500.0, HUGE, stopper=ohms, farads=(1.6e-12, 1.7e-12))
    at_grid = gains(circuit, "V1.grid")[0]
    return {"input capacitance": ((1.0 - at_grid) / (at_grid * ohms)).imag / (2.0 * math.pi * 1000.0)}


def _follower() -> dict[str, float]:
    def gain(load: float) -> float:
        parts: Parts = {"V1": "textbook-triode", "C1": HUGE, "R1": "1k", "R2": "100k", "C3": HUGE, "R4": load}
        roles = {"valve": "V1", "supply": "B1", "coupling": "C1", "grid_leak": "R1", "bias": "BG"}
        stages = [
            stage("cathode follower", cathode_resistor="R2", **roles),
            stage("coupling", capacitor="C3", shunt_resistor="R4"),
        ]
        circuit = amp(parts, stages, rail("B1", 100.0 + 93.75 + 150.0), rail("BG", 98.5))
        return abs(gains(_exact(circuit, 100, 62.5e3, 1e-3), "R4.1")[0])

    open_gain = gain(1e9)
    return {"gain": open_gain, "output resistance": 615.0 * (open_gain / gain(615.0) - 1.0)}


def _rejection(mu: float) -> dict[str, float]:
    # The tone comes in at the plate; a choke of 10,000 H under the cathode stands for the current source.
    parts: Parts = {"V1": "textbook-triode", "C1": HUGE, "L1": 1e4, "L2": 1e4, "R1": "100k"}
    pins = {"plate": "plate", "grid": "BG", "cathode": "out"}
    wires = {"C1": ["in", "plate"], "L1": ["B1", "plate"], "L2": ["out", "foot"], "R1": ["foot", "ground"]}
    volts = 100.0 + 93.75 + 1.5 * mu
    circuit = amp(parts, [wired("follower", V1=pins, **wires)], rail("B1", volts), rail("BG", 98.5))
    return {"rejection": 20.0 * math.log10(abs(gains(_exact(circuit, mu, 62.5e3, 1e-3), "V1.cathode")[0]))}


def _ratio(primary: float, tap: float) -> dict[str, float]:
    pins = {"primary_a": "in", "primary_b": "ground", f"tap{tap:g}": "out", "common": "ground"}
    circuit = amp({"T1": near_ideal(primary, 100.0, tap)}, [wired("transformer", T1=pins)])
    return {"turns ratio": 1.0 / abs(gains(circuit, f"T1.tap{tap:g}")[0])}


def _seen(half: bool) -> dict[str, float]:
    pins = {"primary_a": "feed", "common": "ground", "tap8": "out"}
    pins |= {"centre": "ground", "primary_b": "idle"} if half else {"primary_b": "ground"}
    wires = {"R1": ["in", "feed"], "R2": ["out", "ground"], "T1": pins}
    circuit = amp({"R1": "4k", "R2": "8", "T1": near_ideal(8e3, 100.0)}, [wired("transformer", **wires)])
    at_feed = gains(circuit, "R1.2")[0]
    # The magnetising current is in quadrature: the real part of the admittance is the load.
    return {"load seen": 1.0 / ((1.0 - at_feed) / (at_feed * 4e3)).real}


def _koren_stage() -> dict[str, float]:
    """Koren's 12AX7 in the circuit that reproduces the book's numbers: 330 V, 100 k, 1.5 k."""
    parts: Parts = {"V1": "12AX7-koren-1996", "R2": "100k", "R3": "1k5"}
    roles = {"valve": "V1", "supply": "B1", "plate_load": "R2", "cathode_resistor": "R3"}
    bare = amp(parts, [stage("triode stage", **roles)], rail("B1", 330.0))
    full = amp(parts | {"C2": HUGE}, [stage("triode stage", **roles, cathode_bypass="C2")], rail("B1", 330.0))
    rest = Rest(bare)
    plate, grid = rest.volts("V1.plate", "V1.cathode"), rest.volts("V1.grid", "V1.cathode")
    found = static(load_valve("12AX7-koren-1996"), plate, grid, None)
    found |= {"plate current": rest.amps("V1", "plate"), "plate volts": plate, "grid volts": grid}
    for name, circuit in (("gain", full), ("unbypassed", bare)):
        found[name] = gains(circuit, "V1.plate")[0].real
    return found


def _koren_law(row: str, valve: str, volts: Callable[[float, float], float], scale: float, power: float) -> list[Case]:
    """The printed law at four points, written out here once more."""
    found = []
    for plate, grid in ((250.0, -2.0), (200.0, -1.0), (100.0, 0.0), (300.0, -3.0)):
        amps = 2.0 * volts(plate, grid) ** power / scale
        claim = Claim(
            f"{row} at {plate:g} V, {grid:g} V", "plate current", amps, "A",
            "the published law and constants, written out in the test", "computed", CLOSED,
            Limit(0.005, "published formula with published parameters: 0.5 %"),
        )  # fmt: skip
        found.append(Case((claim,), partial(static, load_valve(valve), plate, grid, None)))
    return found


def _softplus(plate: float, inner: float, kp: float) -> float:
    return plate / kp * math.log1p(math.exp(kp * inner))


def _laws() -> list[Case]:
    later = _koren_law(
        "K7", "12AX7A-koren-2001",
        lambda va, vg: _softplus(va, 1.0 / 101.24 + vg / math.sqrt(300.0 + va**2), 699.73), 1002.9, 1.267,
    )  # fmt: skip
    enhanced = _koren_law(
        "H2", "12AX7-cohen-helie-2012",
        lambda va, vg: _softplus(va, 1 / 105.0 + (vg + 0.378) / math.sqrt(50 + 18.8 * va + va**2), 578.2),
        1335.0, 1.277,
    )  # fmt: skip
    return later + enhanced


def cases() -> list[Case]:
    """Every worked example."""
    half_db = Limit(0.5, "the source prints whole dB of an approximation, 1/mu for 1/(mu + 1)", "dB")
    follower = [
        Case((Claim("W9", f"rejection, mu {mu}", db, "dB", RESULT, "computed", CLOSED, half_db),), partial(_named, mu))
        for mu, db in ((100, -40.0), (20, -26.0))
    ]
    found = [
        Case(_claims("W1", BASICS, "verified", ("gain", 65.2, 0.1, "1")),
             lambda: _gain(_stage(100, 80e3, 220e3, 1500.0, HUGE, load=470e3))),
        Case(_claims("W2", BASICS, "verified", ("gain", 12.95, 0.01, "1")),
             lambda: _gain(_stage(60, 10.9e3, 3e3, 300.0, HUGE, amps=5e-3))),
        Case(_claims("W3", BASICS, "verified", ("gain", 4.77, 0.01, "1")),
             lambda: _gain(_stage(17, 7.7e3, 3e3, 300.0, HUGE, amps=5e-3))),
        Case(_claims("W5", RESULT, "computed", ("gain", 61.54, 0.01, "1"), ("unbypassed", 31.85, 0.01, "1"),
                     ("step", 5.72, 0.01, "dB"), ("zero", 4.24, 0.01, "Hz"), ("pole", 8.20, 0.01, "Hz")),
             partial(_shelf, 1500.0, 25e-6, 6.0)),
        Case(_claims("W5 with 0.68 uF", RESULT, "computed", ("zero", 156.0, 0.1, "Hz"), ("pole", 301.5, 0.1, "Hz")),
             partial(_shelf, 1500.0, 0.68e-6, 200.0)),
        Case(_claims("W6", RESULT, "computed", ("unbypassed", 22.98, 0.01, "1"), ("step", 8.56, 0.01, "dB"),
                     ("zero", 86.7, 0.1, "Hz"), ("pole", 232.2, 0.1, "Hz")),
             partial(_shelf, 2700.0, 0.68e-6, 150.0)),
        Case(_claims("W7", RESULT, "computed", ("input capacitance", 107.9e-12, 0.1e-12, "F")), _miller),
        Case(_claims("W8", RESULT, "computed", ("gain", 0.9840, 1e-4, "1"), ("output resistance", 615.0, 1.0, "ohm")),
             _follower),
        *follower,
        Case(_claims("W12", "Designing EL34 push-pull amplifier, worked numbers", "verified",
                     ("turns ratio", 20.9, 0.1, "1")), partial(_ratio, 3500.0, 8.0)),
        *(Case(_claims(f"W13 {primary / 1e3:g}k to {tap:g} ohm", RESULT, "computed", ("turns ratio", n, 0.01, "1")),
               partial(_ratio, primary, tap))
          for primary, tap, n in ((8e3, 8.0, 31.62), (8e3, 16.0, 22.36), (5.6e3, 8.0, 26.46))),
        *(Case(_claims(f"W14 {name}", RESULT, "secondary", ("load seen", ohms, 1.0, "ohm")), partial(_seen, half))
          for name, half, ohms in (("whole 8k primary", False, 8e3), ("half of it, class B", True, 2e3))),
    ]  # fmt: skip
    return found + _koren_rows() + _laws()


def _named(mu: float) -> dict[str, float]:
    return {f"rejection, mu {mu:g}": _rejection(mu)["rejection"]}


def _koren_rows() -> list[Case]:
    numbers = {
        "K15": ("verified", (("plate current", 1.07e-3, "A"), ("plate volts", 221.0, "V"), ("grid volts", -1.61, "V"),
                             ("gm", 1880e-6, "S"))),
        "K16": ("computed", (("plate current", 1.0742e-3, "A"), ("plate volts", 221.0, "V"),
                             ("grid volts", -1.611, "V"), ("gm", 1877e-6, "S"))),
        "K17": ("verified", (("gain", -65.0, "1"), ("unbypassed", -33.0, "1"))),
        "K18": ("computed", (("rp", 49.0e3, "ohm"), ("mu", 92.0, "1"), ("gain", -61.7, "1"),
                             ("unbypassed", -31.9, "1"))),
    }  # fmt: skip
    limit = Limit(0.005, "published formula with published parameters: 0.5 %")
    return [
        Case(
            tuple(Claim(row, quantity, value, unit, KOREN, flag, CLOSED, limit) for quantity, value, unit in claims),
            _koren_stage,
        )
        for row, (flag, claims) in numbers.items()
    ]
