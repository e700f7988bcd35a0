"""Play stock and modded amp at each position of some switches, knobs as drawn, and gather what a player notices."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ...base.errors import AmpsimError
from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, build_circuit
from ...circuit.positions import Position, position_label
from ...measures.labels import records
from ...measures.weighting import REFERENCE
from ...simulation.netlist import node_vector
from ..blocking.measures import tone_table
from ..blocking.simulate import blocking
from ..headroom.simulate import headroom
from ..noise.measures import noise_table
from ..noise.simulate import noise_spectrum
from .drive import Drive, combined, drives_of
from .figures import Hiss, Playing
from .kept import play_once
from .pops import pops

Setting = dict[str, float | str]
_CHECKS = 0  # the sheet has ngspice check the same runs


def play(stock: Amp, modded: Amp, steps: Sequence[Position], progress: Progress | None = None) -> Playing:
    """Work out what a player notices at positions of the switches, every knob as drawn.

    Driven amps are played with one switch moved at a time, as the sheet does, so what it kept is not played again.

    Parameters
    ----------
    stock, modded : Amp
    steps : sequence of mapping
        Positions of switches.
    progress : callable
        Called with (done, total).
    """
    return play_once((stock, modded), steps, lambda: _play(stock, modded, steps, progress))


def _play(stock: Amp, modded: Amp, steps: Sequence[Position], progress: Progress | None) -> Playing:
    if not all(node_vector(build_circuit(amp), SPEAKER) for amp in (stock, modded)):
        return Playing(missing=("how it plays: nothing reaches a loudspeaker",))
    alone = _moved_alone(modded, steps)
    missing: list[str] = []
    return Playing(
        _driven(stock, alone, steps, missing, progress),
        _driven(modded, alone, steps, missing, progress),
        _hiss(stock, modded, steps, missing, progress),
        _back(stock, modded, alone, missing, progress),
        pops(modded, alone, missing, progress),
        tuple(dict.fromkeys(missing)),
    )


def moved(amp: Amp, step: Position) -> Setting:
    """The settings of a position that are not as drawn, of the controls that an amp has."""
    return {name: value for name, value in step.items() if name in amp.controls and value != amp.controls[name].drawn}


def _moved_alone(amp: Amp, steps: Sequence[Position]) -> list[Setting]:
    """All switches as drawn, and then each setting of the positions alone."""
    singles = [{name: value} for step in steps for name, value in moved(amp, step).items()]
    found: list[Setting] = [{}]
    found += [each for place, each in enumerate(singles) if each not in singles[:place]]
    return found


def _own(amp: Amp, positions: Sequence[Setting]) -> list[Setting]:
    """The same for what an amp has, each once."""
    kept = [{name: value for name, value in each.items() if name in amp.controls} for each in positions]
    return [each for place, each in enumerate(kept) if each not in kept[:place]]


def _driven(
    amp: Amp, alone: Sequence[Setting], steps: Sequence[Position], missing: list[str], progress: Progress | None
) -> dict[str, Drive]:
    try:
        found = drives_of(headroom(amp, _own(amp, alone), progress=progress, checks=_CHECKS))
    except AmpsimError as problem:
        missing.append(f"how {amp.variant} is driven: {problem}")
        return {}
    whole = {}
    for step in steps:
        own = [position_label({name: value}) for name, value in moved(amp, step).items()]
        label, plain = position_label(moved(amp, step)), position_label({})
        if all(each in found for each in (plain, *own)):
            whole[label] = found[label] if label in found else combined([found[each] for each in own], found[plain])
    return whole


def _hiss(
    stock: Amp, modded: Amp, steps: Sequence[Position], missing: list[str], progress: Progress | None
) -> dict[str, Hiss]:
    positions = [moved(modded, step) for step in steps]
    positions = [each for place, each in enumerate(positions) if each not in positions[:place]]
    try:
        table = noise_table(noise_spectrum(list(dict.fromkeys([stock, modded])), positions, progress=progress))
    except AmpsimError as problem:
        missing.append(f"hiss: {problem}")
        return {}
    found = {
        str(row["position"]): Hiss(float(row[f"level [dB(A) against {REFERENCE}]"]), float(row["change [dB(A)]"]))
        for row in records(table[table["variant"] == modded.variant])
    }
    return {label: each for label, each in found.items() if not math.isnan(each.more) and each.level > -math.inf}


def _back(
    stock: Amp, modded: Amp, alone: Sequence[Setting], missing: list[str], progress: Progress | None
) -> dict[str, tuple[float, float]]:
    amps = list(dict.fromkeys([stock, modded]))
    try:
        table = tone_table(blocking(amps, list(alone), progress=progress, checks=_CHECKS))
    except AmpsimError as problem:
        missing.append(f"how soon it comes back after a hard stroke: {problem}")
        return {}
    until = {(str(row["variant"]), str(row["position"])): float(row["down until [ms]"]) for row in records(table)}
    pairs = {label: (until[stock.variant, label], until[modded.variant, label]) for label in map(position_label, alone)}
    return {label: pair for label, pair in pairs.items() if not any(map(math.isnan, pair))}
