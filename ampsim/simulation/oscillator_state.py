"""Oscillators that an amp is meant to have, written as standing still or as being set going."""

from __future__ import annotations

from ..circuit.build import Circuit
from ..circuit.oscillators import oscillators
from .netlist_writer import Writer

# So much [F] at a grid that no swing of an audible or a slow frequency is left there; at rest it changes nothing.
_STILL_FARAD = 1.0


def write_oscillators(writer: Writer, wired: Circuit, moving: bool) -> None:
    """Write what lets the declared oscillators of a circuit stand still, or the push that sets them going."""
    for each in oscillators(wired):
        name = f"{each.active.lower()}_still"
        if moving:
            writer.push(name, each.control)
        elif each.control != "0":
            writer.element(f"c{name}", each.control, "0", _STILL_FARAD)
