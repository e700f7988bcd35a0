"""What a part in each role of a template can be: wide enough for every amp we know of, too narrow for a slip."""

from __future__ import annotations

from .template import Kind, Template

# Ohms or farads by role; own choice, ten times and more beyond what drawings have.
_USUAL: dict[str, tuple[float, float]] = {
    "coupling": (10e-12, 10e-6),
    "capacitor": (10e-12, 10e-6),
    "plate_load": (1e3, 4.7e6),
    "cathode_load": (1e3, 1e6),
    "cathode_resistor": (10.0, 1e6),
    "cathode_bypass": (1e-9, 10e-3),
    "grid_leak": (1e3, 50e6),
    "grid_stopper": (0.1, 22e6),
    "bias_resistor": (1.0, 100e3),
    "tail_resistor": (100.0, 1e6),
    "grid_b_capacitor": (100e-12, 10e-6),
    "plate_to_plate_capacitor": (0.5e-12, 100e-9),
    "plate_load_capacitor": (0.5e-12, 1e-6),
    "plate_grid_capacitor": (0.5e-12, 100e-9),
    "treble_capacitor": (5e-12, 100e-9),
    "slope_resistor": (1e3, 2.2e6),
    "bass_capacitor": (100e-12, 10e-6),
    "middle_capacitor": (100e-12, 10e-6),
    "bright_capacitor": (0.5e-12, 1e-6),
    "series_capacitor": (0.5e-12, 10e-6),
    "shunt_capacitor": (0.5e-12, 1e-6),
    "screen_resistor": (0.1, 220e3),
    "snubber_capacitor": (0.5e-12, 1e-6),
    "screen_bypass": (100e-12, 1e-3),
    "screen_divider": (1e3, 10e6),
    "divider_top": (1e3, 22e6),
    "divider_bottom": (100.0, 22e6),
    "divider_capacitor": (0.5e-12, 1e-3),
    "bias_bypass": (1e-9, 10e-3),
    "grid_b_resistor": (1e3, 22e6),
    "output_leak": (10e3, 22e6),
    "common_leak": (1e3, 22e6),
    "bass_resistor": (1e3, 2.2e6),
    "bass_resistor_in": (1e3, 2.2e6),
    "bass_resistor_back": (1e3, 2.2e6),
    "bass_foot_resistor": (100.0, 1e6),
    "bass_capacitor_top": (10e-12, 10e-6),
    "bass_capacitor_bottom": (10e-12, 10e-6),
    "bass_capacitor_in": (10e-12, 10e-6),
    "bass_capacitor_back": (10e-12, 10e-6),
    "treble_capacitor_in": (5e-12, 100e-9),
    "treble_capacitor_back": (5e-12, 100e-9),
    "treble_foot_capacitor": (5e-12, 1e-6),
    "joining_resistor": (1e3, 10e6),
    "bridge_resistor": (1e3, 10e6),
    "capacitor_in": (10e-12, 10e-6),
    "capacitor_out": (10e-12, 10e-6),
    "output_capacitor": (10e-12, 10e-6),
    "mixing_resistor": (100.0, 10e6),
    "presence_capacitor": (100e-12, 100e-6),
    "depth_capacitor": (10e-12, 10e-6),
    "cable_capacitance": (1e-12, 100e-9),
    "pickup_capacitance": (1e-12, 100e-9),
    "tone_capacitor": (10e-12, 10e-6),
}
# The cathode resistor of output valves may be there to measure their current by; a small pentode's screen takes little.
_USUAL_OF_KIND = {
    (Kind.OUTPUT, "cathode_resistor"): (0.1, 100e3),
    (Kind.GAIN, "screen_resistor"): (100.0, 10e6),
    (Kind.FOLLOWER, "cathode_resistor"): (100.0, 4.7e6),
}


def usual_span(template: Template, role: str) -> tuple[float, float] | None:
    """Least and most of the resistor [ohm] or capacitor [F] in a role; None where anything may stand."""
    name = role.removesuffix("_a").removesuffix("_b")
    return _USUAL_OF_KIND.get((template.kind, name), _USUAL.get(name))
