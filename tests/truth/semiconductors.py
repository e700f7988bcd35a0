"""Semiconductors: every published point of their files in a circuit, and closed forms of circuits with them."""

from __future__ import annotations

import math
from functools import partial

from scipy.special import lambertw

from ampsim import FrequencySweep, load_semiconductor, simulate
from ampsim.circuit.semiconductors.description import DevicePoint, Semiconductor
from ampsim.circuit.semiconductors.measuring import gate_volts
from ampsim.library.kinds import listing
from tests.truth.bench import Rest, amp, rail, wired
from tests.truth.claims import CLOSED, FITTED, PREDICTED, Case, Claim, Limit
from tests.truth.op_amps import figure
from tests.truth.reverb_tremolo import coupler

KELVIN_VOLTS = 1.380649e-23 * 300.15 / 1.602176634e-19
_MODEL = Limit(0.005, "published formula with published parameters: 0.5 %")
_PAIR = "two 1N4148 back to back behind 10 kohm, solved by the Lambert function from the printed set"


def _through(device: Semiconductor, point: DevicePoint) -> dict[str, float]:
    """The volts across a diode that a high supply drives a current through."""
    ((name, amps),) = point.conditions
    supply = 1e3
    pins = ["out", "ground"] if name == "forward_amps" else ["ground", "out"]
    circuit = amp({"R1": (supply - point.value) / amps, "D1": device.type, "R2": "1M"},
                  [wired("diode", R1=["B1", "out"], D1=pins, R2=["in", "ground"])], rail("B1", supply))  # fmt: skip
    place = "D1.anode" if name == "forward_amps" else "D1.cathode"
    return {point.quantity: Rest(circuit).volts(place)}


def _transistor(device: Semiconductor, point: DevicePoint) -> dict[str, float]:
    """A transistor on ideal rails at the gate volts of its law, with next to nothing at its drain."""
    given = dict(point.conditions)
    drain = given.get("drain_volts", 0.0)
    gate = given["gate_volts"] if "gate_volts" in given else gate_volts(device, drain, given["drain_amps"])
    if point.quantity == "on ohms":
        drain = point.value * given["drain_amps"]
    pins = {"drain": "out", "gate": "g", "source": "ground"}
    circuit = amp({"Q1": device.type, "R1": 0.1, "R2": "10k", "C1": "100u"},
                  [wired("q", Q1=pins, R1=["BD", "out"], R2=["BG", "g"], C1=["in", "g"])],
                  rail("BD", drain), rail("BG", gate))  # fmt: skip
    rest = Rest(circuit)
    amps = rest.amps("Q1", "drain")
    sweep = simulate(circuit, FrequencySweep(1e3, 1e4, 1), nodes=["speaker"])["voltage"].values.ravel()
    return {"drain amps": amps, "gate volts": gate, "transconductance": abs(complex(sweep[0])) / 0.1,
            "on ohms": rest.volts("Q1.drain") / amps}  # fmt: skip


def _points() -> list[Case]:
    found = []
    for name in listing()["semiconductors"]:
        device = load_semiconductor(name)
        for point in device.points:
            limit = Limit(
                point.tolerance, _MODEL.why if point.flag == "computed" else f"typical: {point.tolerance:.0%}"
            )
            kind = FITTED if point.used_in_fit else CLOSED if point.flag == "computed" else PREDICTED
            source = f"{point.source} ({name})"
            measure = partial(_through, device, point)
            if device.family != "diode":
                measure = partial(_transistor, device, point)
            if device.family == "operational amplifier":
                measure = partial(figure, device, point)
            if device.family == "opto-coupler":
                measure = partial(coupler, device, point)
            claim = Claim(point.id, point.quantity, point.value, point.unit, source, point.flag, kind, limit)
            found.append(Case((claim,), measure))
    return found


def _clipper(volts: float) -> dict[str, float]:
    """A pair of 1N4148 behind 10 kohm: volts at rest, and what it leaves of a small signal there."""
    parts = {"R1": "10k", "D1": "1N4148", "D2": "1N4148", "C1": "1000u", "R2": "10k"}
    wires = {"R1": ["B1", "out"], "D1": ["out", "ground"], "D2": ["ground", "out"], "C1": ["in", "a"],
             "R2": ["a", "out"]}  # fmt: skip
    circuit = amp(parts, [wired("pair", **wires)], rail("B1", volts))
    gain = simulate(circuit, FrequencySweep(1e3, 1e4, 1), nodes=["speaker"])["voltage"].values.ravel()[0]
    return {"clipped volts": Rest(circuit).volts("D1.anode"), "small-signal share": abs(complex(gain))}


def _by_hand(volts: float) -> tuple[float, float]:
    """The same from IS, N and RS alone; the other diode is an open circuit but for its leakage IS."""
    leak, slope, inner, ohms = 2.52e-9, 1.752 * KELVIN_VOLTS, 0.568, 10e3
    whole = inner + ohms
    # V = I (R + RS) + N Vt ln(1 + I / IS), with IS flowing back through the other diode.
    known = (volts + leak * (whole - ohms)) / slope
    w = lambertw(leak * whole / slope * math.exp(known)).real
    amps = slope / whole * w - leak
    across = amps * inner + slope * math.log1p(amps / leak)
    joined = 1.0 / (1.0 / (inner + slope / (amps + leak)) + 1.0 / ohms)
    return across, joined / (joined + ohms)


def cases() -> list[Case]:
    """Every published point, and a clipping pair at 1 V and 9 V."""
    found = _points()
    for volts in (1.0, 9.0):
        across, share = _by_hand(volts)
        claims = (
            Claim(f"SDP{volts:g}", "clipped volts", across, "V", _PAIR, "computed", CLOSED, _MODEL),
            Claim(f"SDP{volts:g}", "small-signal share", share, "1", _PAIR, "computed", CLOSED, _MODEL),
        )
        found.append(Case(claims, partial(_clipper, volts)))
    return found
