"""What a mod does to a channel that nothing is plugged into: no tone comes there, and silence is no verdict."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ...base.errors import DescriptionError
from ...circuit.active_parts import ACTIVE
from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...circuit.designators import part_of
from ...circuit.plugging import plug_in
from ...circuit.signal_path import parts_reached
from ...circuit.source import Source, SourceKind
from ...circuit.stages import Kind, stages_of
from ..findings import Finding, Grade
from . import TITLE


def unplayed_findings(stock: Amp, modded: Amp) -> Iterator[Finding]:
    """A finding to each stage that the mods change and that only another jack than the one plugged in leads to.

    Parameters
    ----------
    stock, modded : Amp
    """
    for stage, jack in _unplayed(stock, modded).items():
        source = SourceKind.GUITAR if stages_of(modded, Kind.INSTRUMENT) else SourceKind.GENERATOR
        words = (
            f'{stage} is not on the way of what is plugged in: ask again with --source "{source} at {jack}" for what '
            "the mod does there to headroom and blocking, which was not played."
        )
        yield Finding(TITLE, stage, modded.variant, "every position", math.nan, "", None, Grade.UNKNOWN, words,
                      "the wires", "none", "", True)  # fmt: skip


def _unplayed(stock: Amp, modded: Amp) -> dict[str, str]:
    """To each such stage the jack that leads to it."""
    wired = build_circuit(modded)
    plugged = parts_reached(wired)
    touched = {
        part_of(place)
        for mod in modded.mods
        if mod not in stock.mods
        for edit in mod.every_edit()
        for place in (edit.part, edit.across, *edit.places)
    }
    stages = {each.stage for each in (*wired.elements, *wired.removed) if each.designator in touched}
    silent = {each.designator: each.stage for each in wired.elements
              if each.kind in ACTIVE and each.stage in stages and each.designator not in plugged}  # fmt: skip
    found: dict[str, str] = {}
    for jack in modded.jacks if silent and plugged else ():
        try:
            other = parts_reached(build_circuit(plug_in(modded, Source(SourceKind.GENERATOR, jack.name))))
        except DescriptionError:  # nothing can be plugged in there
            continue
        for part in silent.keys() & other:
            found.setdefault(silent[part], jack.name)
    return found
