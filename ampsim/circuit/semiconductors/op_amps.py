"""An operational amplifier as pieces, and what they say where a figure of its type is published."""

from __future__ import annotations

import math
from collections.abc import Mapping

from ..valves.laws import Parameter
from .description import Semiconductor
from .junctions import junction_numbers
from .pieces import Passive, Piece, Pieces

# The compensation capacitor [F]: any, for the law only knows its ratios to gm and to the greatest current.
_FARADS = 30e-12
# The output's share of the supply current at rest.
_OUTPUT_SHARE = 0.2
# 4 k T at 27 degrees Celsius [J]: a resistor's noise is the root of this times its ohms.
_FOUR_KT = 4.0 * 1.380649e-23 * 300.15

PARAMETERS = (
    Parameter("open_loop_gain", 10.0, 1e8),
    Parameter("gain_bandwidth", 1e3, 1e9),
    Parameter("slew", 1e3, 1e10),
    Parameter("output_ohms", 0.1, 1e4),
    Parameter("output_amps", 1e-4, 10.0),
    Parameter("low_drop", 0.0, 10.0),
    Parameter("high_drop", 0.0, 10.0),
    Parameter("rest_amps", 1e-6, 1.0),
    Parameter("input_ohms", 1e3, 1e13),
    Parameter("bias_amps", -1e-3, 1e-3),
    Parameter("input_diode_amps", 0.0, 1e-6),
    Parameter("noise_volts", 0.0, 1e-5),
    Parameter("noise_amps", 0.0, 1e-8),
)
"""Gain [ratio], gain-bandwidth [Hz], slew rate [V/s], what the output loses and gives, how near its swing comes to the
supplies [V], supply current [A], the inputs, and noise [V and A per root hertz]."""

INTO: Mapping[str, Mapping[str, float]] = {
    "out": {"output_sink": 1.0, "output_source": -1.0},
    "vplus": {"output_source": 1.0, "core_supply": 1.0},
    "vminus": {"output_sink": -1.0, "core_supply": -1.0},
}
"""To a pin the currents that flow into it, each with its sign."""


def op_amp(p: Mapping[str, float], farads: Mapping[str, float]) -> Pieces:
    """The pieces of a type, from its parameters and capacitances [F]."""
    gm = 2.0 * math.pi * p["gain_bandwidth"] * _FARADS
    drive = p["slew"] * _FARADS
    idle = _OUTPUT_SHARE * p["rest_amps"]
    numbers = {"drive_amps": drive, "turn_volts": drive / gm, "low_drop": p["low_drop"], "high_drop": p["high_drop"]}
    ends = {"limit_amps": p["output_amps"], "turn_volts": p["output_amps"] * p["output_ohms"], "idle_amps": idle}
    laws = [
        Piece("op-amp core", "core", numbers | {"rest_amps": p["rest_amps"] - idle},
              (("gain", "vminus"), ("inner", "minus"), ("vplus", "vminus"))),
        Piece("op-amp output", "output", ends, (("vplus", "out"), ("gain", "out"), ("out", "vminus"))),
    ]  # fmt: skip
    if p["bias_amps"]:
        laws += [Piece("op-amp bias", f"bias_{pin}", {"amps": p["bias_amps"]}, ((pin, "vminus"),)) for pin in _INPUTS]
    if p["input_diode_amps"]:
        diode = junction_numbers(p["input_diode_amps"], 1.0, 10.0)
        laws += [Piece("junction", f"guard_{one}", diode, ((one, other),)) for one, other in (_INPUTS, _INPUTS[::-1])]
    # So that the gain node rests midway between the supplies.
    leak = 2.0 * p["open_loop_gain"] / gm
    passives = [
        Passive("r", "input", _INPUTS, p["input_ohms"], noisy=False),
        Passive("r", "noise", ("plus", "inner"), max(p["noise_volts"] ** 2 / _FOUR_KT, 1.0)),
        Passive("r", "gain_high", ("gain", "vplus"), leak, noisy=False),
        Passive("r", "gain_low", ("gain", "vminus"), leak, noisy=False),
        Passive("c", "gain", ("gain", "vminus"), _FARADS),
        Passive("c", "input", _INPUTS, farads["input"]),
    ]
    if p["noise_amps"]:
        passives += [Passive("n", f"current_{pin}", (pin, "0"), p["noise_amps"]) for pin in _INPUTS]
    return Pieces(tuple(laws), tuple(passives))


_INPUTS = ("plus", "minus")


def swing_volts(device: Semiconductor, supply: float, load: float) -> float:
    """Peak volts [V] into a load [ohm] to the middle of supplies of plus and minus `supply` [V]: the lesser side."""
    p = dict(device.parameters)
    aim = supply - max(p["low_drop"], p["high_drop"])

    def given(amps: float) -> float:
        # The law of the output turned round: volts it loses while it gives a current.
        share = min(amps / p["output_amps"], 0.999999)
        return aim - p["output_amps"] * p["output_ohms"] * share / math.sqrt(1.0 - share * share)

    low, high = 0.0, min(aim / load, p["output_amps"])
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if given(middle) > middle * load else (low, middle)
    return low * load


def op_amp_figure(device: Semiconductor, quantity: str, given: Mapping[str, float]) -> float:
    """A published figure of a type as its law has it, on supplies of plus and minus `supply_volts` [V].

    Parameters
    ----------
    device : Semiconductor
    quantity : str
        "swing volts" [V], "short amps", "supply amps" [A], "unity gain hertz" [Hz], "slew" [V/s] or "input noise"
        [V/sqrt(Hz)].
    given : mapping
        The conditions: `supply_volts` [V], and of a swing `load_ohms` [ohm].
    """
    p = dict(device.parameters)
    if quantity == "swing volts":
        return swing_volts(device, given["supply_volts"], given["load_ohms"])
    if quantity == "short amps":
        x = (given["supply_volts"] - p["high_drop"]) / (p["output_amps"] * p["output_ohms"])
        return p["output_amps"] * x / math.hypot(x, 1.0)
    names = {"supply amps": "rest_amps", "unity gain hertz": "gain_bandwidth", "input noise": "noise_volts"}
    return p[names.get(quantity, quantity)]
