"""Amps as they leave a workshop: parts anywhere in their tolerance, valves anywhere in the spread of their type.

Amp number k of a seed is the same amp whatever else is drawn: every designator has a stream of random numbers of its
own, keyed by the seed and its name, and amp k takes number k of each. So a modded amp shares all parts and valves with
the stock amp of the same number.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..base.errors import DescriptionError, shown
from ..circuit.amp import Part, Pot, Socket
from ..circuit.build import Circuit
from ..circuit.designators import element_name
from ..circuit.pot_tracks import STRETCHES
from ..circuit.valves.description import Valve
from ..circuit.valves.deviation import ValveDraw
from .valve_spreads import GRID_SHARE, ValveSpread, deviating, spread_of

Array = NDArray[np.float64]

TOLERANCE_SOURCE = "common practice, no source: even odds anywhere inside the tolerance"
# From this capacitance [F] on a capacitor is taken for an electrolytic.
ELECTROLYTIC_FROM = 1e-6
# Sections in one bottle were made from the same materials in the same hour; how alike they are is a guess, no source.
BOTTLE_SHARE = 0.5
# Scores of a valve: bias, mu factor, slope, worn emission.
_SCORES = 4


@dataclass(frozen=True)
class Tolerances:
    """Largest deviation of each kind of part as a share of its value, and the spread of valves.

    `electrolytic` goes for capacitors from 1 uF. `valves` multiplies the spread of the valve types: 0 keeps every
    valve at its type, 1 is the spread of `spread_of`. `transistors` is how much of their sheet's range transistors are
    drawn from. Transformers, loudspeakers and supply voltages stay as drawn.
    """

    resistor: float = 0.05
    capacitor: float = 0.10
    electrolytic: float = 0.20
    inductor: float = 0.10
    pot: float = 0.20
    valves: float = 1.0
    transistors: float = 1.0

    def __post_init__(self) -> None:
        for name in ("resistor", "capacitor", "electrolytic", "inductor", "pot"):
            if not 0.0 <= getattr(self, name) <= 0.9:
                raise DescriptionError(f"a tolerance of {shown(getattr(self, name))} for {name}; expected 0 to 0.9")
        if not 0.0 <= self.valves <= 2.0:
            raise DescriptionError(f"{shown(self.valves)} times the spread of valves; expected 0 to 2")
        if not 0.0 <= self.transistors <= 1.0:
            raise DescriptionError(f"{shown(self.transistors)} of the range of transistors; expected 0 to 1")

    def of(self, part: Part | Pot) -> float:
        """Largest deviation of a part, as a share of its value [ratio]."""
        electrolytic = part.kind == "capacitor" and part.value >= ELECTROLYTIC_FROM
        return float(getattr(self, "electrolytic" if electrolytic else part.kind))


# Another set of valves in the same amp, every part as drawn.
VALVE_SWAP = Tolerances(0.0, 0.0, 0.0, 0.0, 0.0, transistors=0.0)


def part_factors(wired: Circuit, count: int, seed: int, tolerances: Tolerances) -> dict[str, Array]:
    """Factor [ratio] on the value of every resistor, capacitor, inductor and pot of `count` amps, shape (count,) each.

    Parameters
    ----------
    wired : Circuit
    count : int
        How many amps.
    seed : int
        Names the run of amps.
    tolerances : Tolerances
    """
    found = {}
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, (Part, Pot)) and (tolerance := tolerances.of(part)) > 0.0:
            found[part.designator] = 1.0 + tolerance * (2.0 * uniform(seed, part.designator, count, 1)[:, 0] - 1.0)
    return found


def valve_draws(wired: Circuit, count: int, seed: int, tolerances: Tolerances) -> dict[str, list[ValveDraw]]:
    """What is in every valve socket of `count` amps.

    Sections of one bottle (V1A and V1B) are drawn with a correlation of `BOTTLE_SHARE`, bottles independently of each
    other: output valves are not matched.

    Parameters
    ----------
    wired, count, seed, tolerances
        As those of `part_factors`.

    Raises
    ------
    DescriptionError
        For a valve whose law cannot be spread.
    """
    if not tolerances.valves:
        return {}
    sockets = dict(_sockets(wired))
    bottles = {name: _scores(seed, f"{name} bottle", count) for name in dict.fromkeys(map(bottle, sockets))}
    found = {}
    for name, socket in sockets.items():
        spread = spread_of(wired.amp.valve_by_type[socket.type])
        own = _scores(seed, name, count)
        scores = np.sqrt(BOTTLE_SHARE) * bottles[bottle(name)] + np.sqrt(1.0 - BOTTLE_SHARE) * own
        found[name] = _draws(spread, scores, _grid_scores(seed, name, count), tolerances.valves)
    return found


def lot(valve: Valve, count: int, seed: int) -> list[ValveDraw]:
    """A lot of valves of one type, each drawn by itself."""
    name = f"lot of {valve.type}"
    return _draws(spread_of(valve), _scores(seed, name, count), _grid_scores(seed, name, count), 1.0)


def bottle(designator: str) -> str:
    """The bottle a section is in: V1 for V1A and V1B."""
    return re.sub(r"(?<=\d)[A-Za-z]+$", "", designator)


def _grid_scores(seed: int, name: str, count: int) -> Array:
    return _scores(seed, f"{name} grid current", count)[:, 0]


def _draws(spread: ValveSpread, scores: Array, grid_scores: Array, times: float) -> list[ValveDraw]:
    from scipy.special import log_ndtr

    # The fourth score, normal like the others, becomes a length that is exponential with median ln 2.
    worn = -log_ndtr(-scores[:, 3]) - np.log(2.0)
    bias = times * spread.bias_volts * scores[:, 0]
    mu = np.exp(times * spread.mu_share * scores[:, 1])
    slope = np.exp(times * (np.log(spread.slope_median) + spread.slope_share * scores[:, 2] - spread.worn_share * worn))
    grid = np.exp(times * GRID_SHARE * grid_scores)
    return [ValveDraw(*map(float, row)) for row in zip(bias, mu, slope, grid, strict=True)]


def sockets_of(wired: Circuit, draws: Mapping[str, list[ValveDraw]], number: int) -> dict[str, Valve]:
    """The very valves of amp `number`, by designator, as `netlist.write` takes them."""
    types = {name: wired.amp.valve_by_type[part.type] for name, part in _sockets(wired)}
    return {name: deviating(types[name], each[number]) for name, each in draws.items()}


def slots(wired: Circuit) -> dict[str, str]:
    """Name of each netlist value to the designator of the part it belongs to; a pot has one or two."""
    found = {}
    for part in wired.parts.values():
        if isinstance(part, Part):
            found[element_name(part.designator)] = part.designator
        elif isinstance(part, Pot):
            found |= {f"r{part.designator.lower()}_{half}": part.designator for half in (*STRETCHES, "track")}
    return found


def _sockets(wired: Circuit) -> Iterable[tuple[str, Socket]]:
    for element in wired.elements:
        part = wired.parts.get(element.designator)
        if isinstance(part, Socket):
            yield part.designator, part


def _scores(seed: int, name: str, count: int) -> Array:
    """Standard normal numbers, shape (count, 4)."""
    from scipy.special import ndtri

    return np.asarray(ndtri(uniform(seed, name, count, _SCORES)))


def uniform(seed: int, name: str, count: int, width: int) -> Array:
    """Numbers between 0 and 1 [ratio], ends excluded, shape (count, width); row k does not depend on `count`.

    Parameters
    ----------
    seed : int
    name : str
        Of what is drawn.
    count, width : int

    Raises
    ------
    DescriptionError
        For a seed that is none.
    """
    if not 0 <= seed < 2**63:
        raise DescriptionError(f"a seed of {shown(seed)}; expected a whole number from 0")
    # Raw bits: numpy promises these of a bit generator for good, but not what its distributions make of them.
    bits = np.random.Philox(np.random.SeedSequence([seed, *name.encode()])).random_raw(count * width)
    return np.asarray(((bits >> np.uint64(12)) + 0.5) * 2.0**-52).reshape(count, width)
