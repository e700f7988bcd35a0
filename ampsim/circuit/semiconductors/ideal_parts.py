"""Parts that are what their entry says, made of pieces as semiconductors are: an effect, a current source, a meter.

Their data is worked out from the entry in [parts]; no file describes them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..valves.laws import Parameter
from ..valves.spice_text import node, number
from .description import Family, Semiconductor
from .pieces import Passive, Piece, Pieces
from .port_law import Array, Nodes, Numbers, PortLaw

PARAMETERS: Mapping[Family, tuple[Parameter, ...]] = {
    "effect": (
        Parameter("input_ohms", 1e3, 1e9),
        Parameter("output_ohms", 0.1, 1e6),
        Parameter("gain", -1e3, 1e3),
    ),
    "current source": (Parameter("amps", -10.0, 10.0),),
    "meter": (Parameter("ohms", 1e-3, 1e12),),
}
"""What an entry says of each [ohm, ratio, A]."""

INTO: Mapping[Family, Mapping[str, Mapping[str, float]]] = {
    "effect": {"out": {"given": 1.0}},
    "current source": {"from": {"given": 1.0}},
    "meter": {"plus": {"given": 1.0}},
}
"""To a pin the currents that flow into it."""


def effect(p: Numbers, farads: Numbers) -> Pieces:
    """An impedance to ground at the input, a gain, and a source with an impedance at the output."""
    ends = (("out", "ground"), ("in", "ground"))
    law = Piece("transfer", "given", {"siemens": -p["gain"] / p["output_ohms"]}, ends)
    return Pieces(
        (law,),
        (
            Passive("r", "input", ("in", "ground"), p["input_ohms"], noisy=False),
            Passive("r", "output", ("out", "ground"), p["output_ohms"], noisy=False),
        ),
    )


def current_source(p: Numbers, farads: Numbers) -> Pieces:
    """The same current whatever the volts."""
    return Pieces((Piece("steady", "given", {"amps": p["amps"]}, (("from", "to"),)),))


def meter(p: Numbers, farads: Numbers) -> Pieces:
    """A resistance whose current is known."""
    return Pieces((Piece("conductance", "given", {"siemens": 1.0 / p["ohms"]}, (("plus", "minus"),)),))


def ideal_part(family: Family, numbers: Mapping[str, float], words: str) -> Semiconductor:
    """The data of such a part.

    Parameters
    ----------
    family : str
    numbers : mapping
        Its parameters [ohm, ratio, A].
    words : str
        What it is called, as a type; letters, digits, "_" and "-".
    """
    given = tuple((each.name, numbers[each.name]) for each in PARAMETERS[family])
    return Semiconductor(words, family, family, given, "the entry in [parts]", (), "", (), "", "", ())


def _transfer(p: Any, volts: Array, control: Array) -> tuple[Array]:
    return (p["siemens"] * control,)


def _steady(p: Any, volts: Array) -> tuple[Array]:
    return (p["amps"] + 0.0 * volts,)


def _conductance(p: Any, volts: Array) -> tuple[Array]:
    return (p["siemens"] * volts,)


def _lines(name: str, milliamps: str, ports: Sequence[Nodes]) -> tuple[str, ...]:
    return (*node(f"{name}_ma", milliamps), f"G{name} {' '.join(ports[0])} {name}_ma 0 1e-3")


def _linear_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    first, second = ports[-1]
    return _lines(name, f"{number(1e3 * p['siemens'])}*V({first},{second})", ports)


def _steady_lines(name: str, p: Numbers, ports: Sequence[Nodes]) -> tuple[str, ...]:
    return _lines(name, number(1e3 * p["amps"]), ports)


IDEAL_LAWS: Mapping[str, PortLaw] = {
    "transfer": PortLaw(("siemens",), (1.0, 1.0), _transfer, _linear_lines),
    "steady": PortLaw(("amps",), (1.0,), _steady, _steady_lines),
    "conductance": PortLaw(("siemens",), (1.0,), _conductance, _linear_lines),
}
"""Their laws of current."""
