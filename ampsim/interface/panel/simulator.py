"""The two amps on the bench: simulate them at what the panel stands at, and keep what did not change."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.progress import Progress
from ...base.quantities import format_value
from ...circuit.amp import Amp, Mod
from ...circuit.feedback import find_loop
from ...circuit.mods import apply_mods
from ...circuit.positions import setting_words, switches_at
from ...circuit.values import quantity_of, switched_value, value_of, with_values
from ...simulation.analyses import Analysis, FrequencySweep, OperatingPoint, Transient
from ...simulation.loop_gain import loop_gain
from ...simulation.ngspice import engine
from ...simulation.response import simulate
from ...simulation.stimuli import Burst, Sine
from ...studies.stability.steady import growth_at

AS_SET = "as set on the panel"
SWEEP = FrequencySweep(20.0, 20e3, 40)
_KEPT = 64


@dataclass(frozen=True)
class Position:
    """Where the panel stands: `settings` of all controls (rotation 0 to 1, or a switch position), part `values` [SI].

    Hold one under a name and it is a line of its own.
    """

    name: str
    settings: Mapping[str, float | str] = field(hash=False)
    values: Mapping[str, float] = field(default_factory=dict, hash=False)


class PanelSimulator:
    """Stock and modded amp; every answer is a response of two variants at one position, "as set on the panel"."""

    def __init__(self, stock: Amp, modded: Amp) -> None:
        if stock.variant == modded.variant:
            modded = apply_mods(modded, Mod("with other values", "values set on the panel", (), (), ()))
        self.stock, self.modded = stock, modded
        self.names = (stock.variant, modded.variant)
        self._stock_gains: OrderedDict[Any, NDArray[Any]] = OrderedDict()
        self._frames: dict[str, xr.Dataset] = {}  # by node: making one afresh costs as much as a simulation
        self._stock_loop: tuple[Any, xr.Dataset | None] | None = None
        engine.warm_up(2)

    def sweep(self, position: Position, node: str) -> xr.Dataset:
        """Frequency sweep of both; the stock amp is simulated only where it has not stood before."""
        setting = self.stock.setting(own_settings(self.stock, position))
        key = (node, *setting.values())
        modded = self.amp_at(position)
        if key in self._stock_gains:
            self._stock_gains.move_to_end(key)
            moved = simulate(modded, SWEEP, [position.settings], [node], workers=1)
            voltage = np.concatenate([self._stock_gains[key], moved["voltage"].values])
        else:
            moved = self._both(position, SWEEP, [node])
            voltage = moved["voltage"].values
            self._stock_gains[key] = voltage[:1]
            while len(self._stock_gains) > _KEPT:
                self._stock_gains.popitem(last=False)
        return self._label(moved, voltage, node)

    def at_rest(self, position: Position) -> xr.Dataset:
        """Operating point of both."""
        return self._both(position, OperatingPoint(), None)

    def loops(self, position: Position) -> dict[str, xr.Dataset]:
        """Loop gain by variant, of each amp that has a feedback loop here; the stock amp's is kept."""
        setting = tuple(self.stock.setting(own_settings(self.stock, position)).values())
        if self._stock_loop is None or self._stock_loop[0] != setting:
            self._stock_loop = setting, _loop(self.stock, position)
        found = {self.names[0]: self._stock_loop[1], self.names[1]: _loop(self.amp_at(position), position)}
        return {name: loop for name, loop in found.items() if loop is not None}

    def unsteady(self, position: Position) -> dict[str, str]:
        """What each amp does that does not stay at rest here, by variant; none of a sound amp."""
        amps = {self.names[0]: self.stock, self.names[1]: self.amp_at(position)}
        found = growth_at([(amp, own_settings(amp, position)) for amp in amps.values()])
        return {name: growth.words for name, growth in zip(amps, found, strict=True) if growth.modes}

    def wave(self, position: Position, node: str, tone: Sine | Burst, progress: Progress) -> xr.Dataset:
        """Transient of both, one after the other.

        Parameters
        ----------
        position : Position
        node : str
            The place listened at.
        tone : Sine or Burst
            What goes into the input jack.
        progress : callable
            Called with (done, total) in between; may stop it by raising.
        """
        found = self._both(position, Transient(tone), ["input", node], workers=1, progress=progress)
        # The place listened at is the output of this response: words that name no place mean it.
        return found.assign_coords(position=[AS_SET]).assign_attrs(output=node)

    def _both(self, position: Position, analysis: Analysis, nodes: list[str] | None, **how: Any) -> xr.Dataset:
        return simulate([self.stock, self.amp_at(position)], analysis, [position.settings], nodes, **how)

    def amp_at(self, position: Position) -> Amp:
        """The modded amp with the values it has at a position."""
        return with_values(self.modded, position.values)

    def _label(self, source: xr.Dataset, voltage: NDArray[Any], node: str) -> xr.Dataset:
        """A response without the settings among its coordinates: the picture's words must not move with a knob."""
        if node not in self._frames:
            attributes = {name: source.attrs[name] for name in ("analysis", "amp", "input", "output")}
            self._frames[node] = xr.Dataset(
                {"voltage": (("variant", "position", "node", "frequency"), voltage, {"units": "V"})},
                {"variant": list(self.names), "position": [AS_SET], "node": [node], "frequency": source["frequency"]},
                attributes,
            )
        return self._frames[node].copy(data={"voltage": voltage})

    def in_words(self, position: Position) -> str:
        """What differs from the drawing: "gain 3, bright 120p, C101 33n"; "as drawn" when nothing does."""
        controls = {**self.stock.controls, **self.modded.controls}
        words = [
            setting_words(name, value) for name, value in position.settings.items() if value != controls[name].drawn
        ]
        words += [
            f"{name} {format_value(value, quantity_of(self.modded, name))}"
            for name, value in position.values.items()
            if value != value_of(self.modded, name) and not switched_value(self.modded, name, position.settings)
        ]
        return ", ".join(words) or "as drawn"


def _loop(amp: Amp, position: Position) -> xr.Dataset | None:
    setting = own_settings(amp, position)
    return loop_gain(amp, positions=[setting]) if find_loop(amp, switches_at(amp, setting)) else None


def own_settings(amp: Amp, position: Position) -> dict[str, float | str]:
    """Where the controls stand that an amp has."""
    return {name: value for name, value in position.settings.items() if name in amp.controls}
