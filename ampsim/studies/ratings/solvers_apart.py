"""What is told of a driven amp, as numbers that the answers of two solvers are compared in."""

from __future__ import annotations

from collections.abc import Mapping

from .equal_valves import Readings

# Smaller ones decide nothing: a fiftieth of what a small resistor stands, or of what a valve dissipates.
_LEAST = {"part_volts": 1.0, "part_watts": 0.01, "electrode_volts": 1.0, "electrode_watts": 0.02, "cathode_amps": 1e-3}
_WORDS = {
    ("part_volts", "driven"): "highest volts across",
    ("part_watts", "driven"): "mean watts in",
    ("part_watts", "pulse"): "highest watts in",
    ("electrode_volts", "driven"): "highest volts at",
    ("electrode_watts", "driven"): "mean watts of",
    ("cathode_amps", "driven"): "mean current of",
}


def worth_comparing(readings: Readings) -> Mapping[str, float]:
    """Readings of a driven amp by what they are in words, without those too small to matter [V, W, A]."""
    return {
        f"{_WORDS[quantity, state]} {item}": value
        for (quantity, item, state), value in readings.items()
        if (quantity, state) in _WORDS and abs(value) >= _LEAST[quantity]
    }
