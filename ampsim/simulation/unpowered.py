"""What a meter reads on an amp that is unplugged: resistances between places, with valves cold and supplies open."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cached_property

from ..base.errors import DescriptionError
from ..circuit.amp import Amp
from ..circuit.build import SPEAKER, Circuit, circuit_at
from ..circuit.conductances import Branch
from ..circuit.dc_paths import nets_with, ohms_between, unpowered_amp
from ..circuit.nets import INPUT
from ..circuit.plugging import plug_in
from ..circuit.positions import Position
from ..circuit.semiconductors.description import PINS
from ..circuit.source import Source, SourceKind
from ..circuit.stages.template import GROUND
from ..circuit.supply.averaged import mains_of
from .analyses import OperatingPoint
from .netlist import write


@dataclass(frozen=True, eq=False)
class DeadAmp:
    """An amp at one position, unplugged: its circuit, and its DC paths with the part of each."""

    wired: Circuit
    paths: tuple[tuple[str, Branch], ...]

    @property
    def branches(self) -> list[Branch]:
        """The DC paths alone."""
        return [branch for _, branch in self.paths]

    @cached_property
    def unsure(self) -> frozenset[str]:
        """Nets where what a meter reads is not known.

        Those that hang on a supply of which only the volts are described, and those at a semiconductor, which the
        meter's own volts may turn on; a rectifier valve that is cold is none.
        """
        return self._unsure_but_for(())

    def _unsure_but_for(self, blocked: Collection[str]) -> frozenset[str]:
        """The nets where a reading is not known if some semiconductors are known not to be turned on."""
        bare = [rail.name for rail in self.wired.amp.rails if rail.volts is not None and not rail.reservoir]
        sources = {net for each in self.wired.elements if each.designator in bare for _, net in each.pins}
        turned_on = [each for each in self.wired.elements if each.kind in PINS.keys() - {"rectifier valve"}]
        sources |= {net for each in turned_on if each.designator not in blocked for _, net in each.pins}
        return frozenset(net for source in sources for net in nets_with(self.branches, source)) - {GROUND}

    @cached_property
    def behind_diodes(self) -> Mapping[str, float]:
        """Nets that nothing but the diodes of a supply makes unsure, each with the sign [1 or -1] of its volts.

        With the meter's plus on such a net, on ground where the sign is -1.0, those diodes block.
        """
        try:
            sources = mains_of(self.wired).rectified
        except DescriptionError:  # a supply that is not understood: nothing is known behind it
            return {}
        own = {name for source in sources for way in source.ways for name in way.rectifiers}
        ends = {net for each in self.wired.elements if each.designator in own for _, net in each.pins}
        before = {net for end in ends - {source.net for source in sources} for net in nets_with(self.branches, end)}
        signs: dict[str, set[float]] = {}
        for source in sources:
            for net in nets_with(self.branches, source.net) - before - self._unsure_but_for(own):
                signs.setdefault(net, set()).add(source.sign)
        return {net: min(each) for net, each in signs.items() if len(each) == 1 and net in self.unsure}

    def ohms(self, place: str, against: str = "ground") -> float:
        """Resistance [ohm] between two places once the capacitors are full; infinite without a way.

        Raises
        ------
        DescriptionError
            For a place that is not there.
        """
        return ohms_between(self.branches, self.wired.net(place), self.wired.net(against))


def dead_amp(amp: Amp, position: Position | None = None) -> DeadAmp:
    """An amp at a position with the plug pulled, the valves cold and nothing in the input.

    Raises
    ------
    DescriptionError
        For unknown controls or positions.
    """
    return _without_power(plug_in(amp, Source(SourceKind.NOTHING)) if amp.jacks else amp, position or {})


def jack_ohms(amp: Amp, jack: str) -> float:
    """Resistance [ohm] that a plug meets at a jack at direct current; infinite without a way to ground."""
    return _without_power(plug_in(amp, Source(SourceKind.GENERATOR, jack)), {}).ohms(INPUT)


def _without_power(amp: Amp, position: Position) -> DeadAmp:
    wired = circuit_at(amp, position)
    netlist = write(wired, amp.setting(position), OperatingPoint(), (SPEAKER,))
    values = netlist.value_by_part
    return DeadAmp(wired, tuple(unpowered_amp(wired, values)))
