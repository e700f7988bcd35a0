"""Output transformers by the ratio that a meter gives, their low corner, and the flux in their cores."""

from __future__ import annotations

from functools import partial

from ampsim.circuit.transformer import Transformer
from ampsim.circuit.transformer_core import flux_density
from tests.truth.bench import amp, gains, near_ideal, wired
from tests.truth.claims import CLOSED, Case, Claim, Limit

METER = "a transformer winder's instruction on measuring primary impedance (MST)"
BLOG = "service blog: 1 V and 22 V, 8 ohm"
TEXTBOOK = "f = R / (2 pi L), any textbook"
INDUCTION = "B = V / (4.44 f N A), any textbook"
_ARITHMETIC = Limit(0.001, "0.1 %: arithmetic of a measured ratio")
_CORNER = Limit(0.005, "0.5 %: arithmetic, and half of the last printed digit")
_FLUX = Limit(0.01, "1 %: formula, and half of the last printed digit")


def _claims(row: str, source: str, flag: str, limit: Limit, *numbers: tuple[str, float, str]) -> tuple[Claim, ...]:
    return tuple(Claim(row, name, value, unit, source, flag, CLOSED, limit) for name, value, unit in numbers)


def _described(volts: float, tap: float) -> dict[str, float]:
    """A transformer described by its ratio, its tap loaded as it is named: what the primary shows."""
    entry = near_ideal(1.0, 500.0, tap) | {"ratio": volts}
    del entry["primary"]
    pins = {"primary_a": "feed", "primary_b": "ground", "common": "ground", f"tap{tap:g}": "out"}
    wires = {"R1": ["in", "feed"], "R2": ["out", "ground"], "T1": pins}
    circuit = amp({"R1": "4k", "R2": tap, "T1": entry}, [wired("transformer", **wires)])
    at_feed, at_tap = gains(circuit, "R1.2", "R2.1")
    part = circuit.part_by_designator["T1"]
    assert isinstance(part, Transformer)
    # The magnetising current is in quadrature: the real part of the admittance is the load.
    seen = 1.0 / ((1.0 - at_feed) / (at_feed * 4e3)).real
    return {"ratio": abs(at_feed / at_tap), "impedance ratio": part.primary / tap, "primary": seen}


def _corner(ohms: float, henries: float) -> dict[str, float]:
    """Where a source of so many ohms and the primary's inductance halve the power."""
    pins = {"primary_a": "feed", "primary_b": "ground", "common": "ground", "tap8": "out"}
    wires = {"R1": ["in", "feed"], "R2": ["out", "ground"], "T1": pins}
    circuit = amp({"R1": ohms, "R2": "1M", "T1": near_ideal(4e3, henries)}, [wired("transformer", **wires)])
    at = gains(circuit, "R1.2", hertz=20.0)[0]
    # at = j f / (j f + corner), solved for the corner.
    return {"corner": 20.0 * abs(((1.0 - at) / at).imag)}


def _flux(hertz: float) -> dict[str, float]:
    return {"flux density": flux_density(300.0, hertz, 2000.0, 8e-4)}


def cases() -> list[Case]:
    """Every row about an output transformer."""
    return [
        Case(_claims("TR1", METER, "VERIFIED", _ARITHMETIC, ("ratio", 28.57, "1"), ("impedance ratio", 816.3, "1"),
                     ("primary", 3265.0, "ohm")), partial(_described, 1.0 / 0.035, 4.0)),
        Case(_claims("TR3", BLOG, "VERIFIED-2", _ARITHMETIC, ("impedance ratio", 484.0, "1"),
                     ("primary", 3872.0, "ohm")), partial(_described, 22.0, 8.0)),
        *(Case(_claims(f"TR6 {name}", TEXTBOOK, "COMPUTED", _CORNER, ("corner", hertz, "Hz")),
               partial(_corner, ohms, 20.0))
          for name, ohms, hertz in (("pentode", 3218.0, 25.6), ("triode", 1867.0, 14.9))),
        Case(_claims("TR8 40 Hz", INDUCTION, "COMPUTED", _FLUX, ("flux density", 1.06, "T")), partial(_flux, 40.0)),
        Case(_claims("TR8 20 Hz", INDUCTION, "COMPUTED", _FLUX, ("flux density", 2.11, "T")), partial(_flux, 20.0)),
    ]  # fmt: skip
