"""The element list as numbers for sweeps: oscillators stand still, or are held at one point of their swing."""

from __future__ import annotations

from collections.abc import Mapping

from ...circuit.build import Circuit
from ...circuit.inner_nets import inner_net
from ..timestep.branches import Collector, Parts, collect

_HENRY = 1e9


class _Still(Collector):
    def __init__(self, setting: Mapping[str, float | str]) -> None:
        super().__init__(setting)
        self.emfs: dict[str, float] = {}

    def hold(self, name: str, first: str, second: str, volts: float) -> None:
        inner = inner_net(name, "1")
        self.element(f"l{name}", first, inner, _HENRY)
        self.element(f"r{name}", inner, second, 1.0)
        self.emfs[f"l{name}"] = volts


def still_parts(wired: Circuit, setting: Mapping[str, float | str]) -> tuple[Parts, dict[str, float]]:
    """A circuit as `circuit.SmallSignal` takes it, and the direct volts that lie in the way of its coils [V].

    Parameters
    ----------
    wired : Circuit
    setting : mapping
        Every control with its rotation or position.
    """
    collector = _Still(setting)
    return collect(collector, wired, True), collector.emfs
