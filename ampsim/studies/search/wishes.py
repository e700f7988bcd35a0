"""What a technician wishes a change would do, which parts may take which values for it, and what lies in the drawer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from ...base.quantities import FARAD, OHM, format_value
from ...circuit.amp import Amp, Edit
from ...circuit.positions import Position, position_label
from ..ratings.usual import FITTED_VOLTS, LARGER_VOLTS


class WishKind(StrEnum):
    """The quantity that a wish is about."""

    GAIN = "gain"
    PLATE_CURRENT = "plate current"
    PLATE_VOLTAGE = "plate voltage"
    LOOP_MARGIN = "loop margin"

    @property
    def of_bias(self) -> bool:
        """Whether it is a plate current or a plate voltage."""
        return self in (WishKind.PLATE_CURRENT, WishKind.PLATE_VOLTAGE)


# What counts as one step of a wish, so that decibels can be weighed against degrees.
STEPS = {"dB": 1.0, "%": 10.0, "degrees": 10.0}
_SHARE = 0.1  # of the limit, where a wish names milliamperes or volts


@dataclass(frozen=True)
class Wish:
    """One wish: a quantity and the limits it should lie between.

    Attributes
    ----------
    kind
        "gain": change of gain against the amp as drawn at the same position [dB], at every frequency of the band;
        "plate current" and "plate voltage" of valves, as a change against the amp as drawn [%] or outright [mA, V];
        "loop margin": phase margin [degrees].
    least, most
        Limits in `unit`; infinite where there is none.
    unit
        "dB", "%", "mA", "V" or "degrees".
    band
        Lowest and highest frequency [Hz] of a gain wish.
    of
        Designators: the valves looked at, or the resistor that carries all of the feedback ("": found by itself).
    at
        Where controls stand; those not named stand as drawn.
    words
        The wish as a reader would say it.
    """

    kind: WishKind
    least: float
    most: float
    unit: str
    band: tuple[float, float]
    of: tuple[str, ...]
    at: tuple[tuple[str, float | str], ...]
    words: str

    @property
    def position(self) -> Position:
        """Where controls stand."""
        return dict(self.at)

    @property
    def label(self) -> str:
        """The wish with its position."""
        return f"{self.words}, {position_label(self.position)}" if self.at else self.words

    @property
    def step(self) -> float:
        """How much counts as one step [the wish's unit]: 1 dB, 10 %, 10 degrees, or a tenth of the limit."""
        edges = [abs(edge) for edge in (self.least, self.most) if math.isfinite(edge)]
        return STEPS.get(self.unit, _SHARE * max(edges, default=1.0) or 1.0)


@dataclass(frozen=True)
class Stocked:
    """A part in the drawer: "resistor" or "capacitor", value [ohm or F], tolerance (0.1 is 10 %), what it stands.

    `volts` [V] and `watts` [W] are infinite where the drawer does not say.
    """

    kind: str
    value: float
    tolerance: float = 0.0
    volts: float = math.inf
    watts: float = math.inf

    @property
    def is_rated(self) -> bool:
        """Whether the drawer says what decides: the watts of a resistor, the volts of a capacitor."""
        return (self.watts if self.kind == "resistor" else self.volts) < math.inf

    def stands(self, watts: float, volts: float) -> bool:
        """Whether it is rated for so many watts [W] and volts [V]; NaN: what does not matter.

        A rating that the drawer does not say is never taken to be enough; of a resistor's volts, which are seldom said,
        those of a usual body are taken.
        """
        rated_volts = self.volts
        if self.kind == "resistor" and math.isinf(self.volts):
            rated_volts = LARGER_VOLTS if self.watts >= 1.0 else FITTED_VOLTS["resistor"]
        unsaid = not self.is_rated and (watts > 0.0 or volts > 0.0)
        return not unsaid and not self.watts < watts and not rated_volts < volts

    @property
    def words(self) -> str:
        """Value, tolerance and ratings: "22n 10 % 400 V"."""
        more = [f"{100.0 * self.tolerance:g} %"] if self.tolerance else []
        more += [f"{amount:g} {unit}" for amount, unit in ((self.volts, "V"), (self.watts, "W")) if amount < math.inf]
        return " ".join([value_text(self.kind, self.value), *more])


@dataclass(frozen=True)
class Drawer:
    """The parts at hand."""

    name: str
    parts: tuple[Stocked, ...]


@dataclass(frozen=True)
class Choice:
    """A part and the values it may take [ohm or F]; None leaves the part out.

    `edit` says how a new part is fitted (None: the part is there already); `stocked` are the drawer's parts behind the
    values, none where values are bought.
    """

    part: str
    kind: str
    values: tuple[float | None, ...]
    edit: Edit | None = None
    stocked: tuple[Stocked, ...] = ()


@dataclass(frozen=True)
class WishList:
    """Wishes and choices for one amp.

    `stock` is the amp as drawn, what changes are counted from; `base` the amp with the mods and new parts fitted,
    each new part with the first value it may take.
    """

    name: str
    about: str
    stock: Amp
    base: Amp
    listen_at: str
    wishes: tuple[Wish, ...]
    choices: tuple[Choice, ...]
    file: str = ""

    @property
    def circuits(self) -> int:
        """How many sets of values there are."""
        return math.prod(len(choice.values) for choice in self.choices)


def value_text(kind: str, value: float | None) -> str:
    """A value [ohm or F] as a schematic writes it; "none" for a part left out."""
    return "none" if value is None else format_value(value, FARAD if kind == "capacitor" else OHM)
