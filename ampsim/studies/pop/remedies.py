"""What is tried against a pop: bleeds across contacts with a capacitor, and the master volume turned down."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from ...base.quantities import OHM, format_value
from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...circuit.positions import setting_clause
from ...circuit.stages import Kind, stages_of
from ...circuit.switches.moving import ContactData

AS_IT_IS = "as it is"
BLEEDS = (None, 10e6, 1e6)
"""What lies across contacts behind which a capacitor hangs [ohm]: nothing, 10 megohm, 1 megohm."""


@dataclass(frozen=True)
class Remedy:
    """A `bleed` [ohm] across contacts with a capacitor, or knobs `turned_down` to 0; neither: nothing is done."""

    label: str
    bleed: float | None = None
    turned_down: tuple[str, ...] = ()

    def applied(self, data: ContactData) -> tuple[ContactData, dict[str, float]]:
        """The contacts with it, and where knobs stand with it [ratio]."""
        return replace(data, bleed=self.bleed), dict.fromkeys(self.turned_down, 0.0)


def remedies(amp: Amp, bleeds: Sequence[float | None], turned_down: Sequence[str] | None = None) -> list[Remedy]:
    """Bleeds [ohm] (None: as it is) and, last, knobs turned down: by default those of a master volume, if any."""
    found = [Remedy(AS_IT_IS if each is None else f"bleed {format_value(each, OHM)}", each) for each in bleeds]
    knobs = tuple(_masters(amp)) if turned_down is None else tuple(turned_down)
    if knobs:
        found.append(Remedy(" and ".join(setting_clause(knob, 0.0) for knob in knobs), None, knobs))
    return found


def _masters(amp: Amp) -> Iterator[str]:
    stages = stages_of(amp, Kind.MASTER)
    own = {element.designator for element in build_circuit(amp).elements if element.stage in stages}
    return (
        control.name for control in amp.controls.values() if control.kind == "knob" and own & {*control.designators}
    )
