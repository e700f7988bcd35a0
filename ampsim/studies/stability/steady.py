"""Which amps stay at rest at which positions: judged before anything else is said of them."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from ...base.errors import DescriptionError
from ...circuit.active_parts import ACTIVE
from ...circuit.amp import Amp
from ...circuit.build import circuit_at
from ...circuit.positions import AS_DRAWN, Position, position_label
from ...measures.growing_modes import Growth, growing_modes
from ...simulation.analyses import OperatingPoint
from ...simulation.request import Case
from ...simulation.response import simulate
from ...simulation.return_difference import WIDE, return_differences
from ..findings import Finding, Grade
from ..section import Examination, Section
from . import TITLE
from .kept_growth import Stand, once_for_each

_BODE = (
    "growing modes, counted on the return difference of all valve currents: H. W. Bode, Network analysis and feedback "
    "amplifier design, 1945 (from memory)"
)
_FINE = replace(WIDE, per_decade=200)
_SAMPLE = replace(WIDE, per_decade=4)
_KEPT = 4096
_ASLEEP_AMPS = 10e-6
_known: dict[tuple[Stand, bool], Growth] = {}

Unsteady = Mapping[tuple[str, str], Growth]
"""(variant, position label) to what grows there."""


def growth_at(cases: Iterable[tuple[Amp, Position]], solved: bool = True) -> list[Growth]:
    """What grows in each amp at a position [rotations as ratios]; what was judged before is not judged again.

    Parameters
    ----------
    cases : iterable of (Amp, Position)
    solved : bool
        Whether our own solver says which stay at rest; that one does not is always ngspice's word.

    Raises
    ------
    DescriptionError
        For a control or setting that is not there.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    keys = [(amp, tuple(amp.setting(position).items())) for amp, position in cases]
    known = {key: found for key in keys if (found := _known.get((key, solved)))}  # another thread may forget it
    fresh = list(dict.fromkeys(key for key in keys if key not in known))
    if len(_known) > _KEPT:
        _known.clear()
    known |= once_for_each(fresh, solved, partial(_judged, solved=solved))
    _known.update({(key, solved): found for key, found in known.items()})
    return [known[key] for key in keys]


def _judged(keys: Sequence[Stand], solved: bool) -> list[Growth]:
    cases = [Case(amp, dict(setting)) for amp, setting in keys]
    found = [growing_modes(WIDE.grid(), row) for row in return_differences(cases, solved=solved)] if cases else []
    # What our own solver finds growing, or is not sure of, is asked of ngspice.
    doubtful = [place for place, growth in enumerate(found) if growth.modes or not growth.clear]
    rows = return_differences([cases[place] for place in doubtful], solved=False)
    for place, row in zip(doubtful, rows, strict=True):
        growth = growing_modes(WIDE.grid(), row)
        if not growth.clear:
            growth = growing_modes(_FINE.grid(), return_differences([cases[place]], _FINE, solved=False)[0])
        found[place] = Growth(0, math.nan, growth.clear) if growth.modes and _asleep(cases[place]) else growth
    return found


def solvers_apart(amp: Amp) -> float:
    """How far [ratio] the return difference of an amp as drawn is between our own solver and ngspice, at its worst.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    case = [Case(amp, {})]
    solved, simulated = return_differences(case, _SAMPLE), return_differences(case, _SAMPLE, solved=False)
    return float(np.abs(solved / simulated - 1.0).max())


def _asleep(case: Case) -> bool:
    """Whether nothing in an amp draws enough to amplify, as in standby: laws of valves say little below zero volts."""
    rest = simulate(case.amp, OperatingPoint(), [case.setting])["current"].isel(variant=0, position=0)
    pins = {
        f"{each.designator}.{pin}"
        for each in circuit_at(case.amp, case.setting).elements
        if each.kind in ACTIVE
        for pin, _ in each.pins
        if pin != ACTIVE[each.kind].control
    }
    drawn = (abs(float(amps)) for name, amps in zip(rest["branch"].values, rest.values, strict=True) if name in pins)
    return max(drawn, default=0.0) < _ASLEEP_AMPS


def unsteady_positions(
    amps: Amp | Sequence[Amp], positions: Iterable[Position] = ({},), solved: bool = True
) -> Unsteady:
    """The variants and positions that do not stay at rest, with what grows there; none in a sound amp.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    positions : iterable of mapping
        Controls to settings (rotation 0 to 1 [ratio], or a switch position); those not named stand as drawn.
    solved : bool
        As for `growth_at`.

    Raises
    ------
    DescriptionError, EngineError
        As `growth_at`.
    """
    settings = [dict(position) for position in positions]
    cases = [(amp, setting) for amp in ([amps] if isinstance(amps, Amp) else amps) for setting in settings]
    found = zip(cases, growth_at(cases, solved), strict=True)
    return {(amp.variant, position_label(setting)): growth for (amp, setting), growth in found if growth.modes}


def refuse_unsteady(cases: Iterable[tuple[Amp, Position]], what: str) -> None:
    """Refuse to make something of an amp that oscillates.

    Parameters
    ----------
    cases : iterable of (Amp, Position)
    what : str
        What would be made, such as "a clip".

    Raises
    ------
    DescriptionError
        Naming variants and positions, with what they do.
    EngineError
        When ngspice gives no trustworthy answer.
    """
    given = list(cases)
    found = {
        (amp.variant, position_label(position)): growth
        for (amp, position), growth in zip(given, growth_at(given), strict=True)
        if growth.modes
    }
    if found:
        raise DescriptionError(f"{'; '.join(unsteady_words(found))}. {what} of that would mislead: mend it first")


def unsteady_findings(examined: Examination, positions: Sequence[Position], solved: bool = True) -> list[Finding]:
    """A finding for each way in which the modded amp does not stay at rest: where, and whether stock does the same.

    Parameters
    ----------
    examined : Examination
    positions : sequence of mapping
        Where to look (rotations 0 to 1 [ratio]); the stock amp takes what it has of each.
    solved : bool
        As for `growth_at`.
    """
    amp, known = examined.modded, examined.stock.controls
    stock = {growth.words for growth in unsteady_positions(examined.stock, _own(positions, known), solved).values()}
    kinds: dict[Growth, list[str]] = {}
    for (_, position), growth in unsteady_positions(amp, positions, solved).items():
        kinds.setdefault(growth, []).append(position)
    return [
        Finding(TITLE, "the amp at rest", amp.variant, places[0], growth.hertz, "Hz", None, Grade.BEYOND,
                _rest_words(growth, places, len(positions), growth.words in stock),
                "return difference of all valves", _BODE, names_position=True)
        for growth, places in kinds.items()
    ]  # fmt: skip


def unsteady_sections(examined: Examination) -> list[Section]:
    """A section that says where the modded amp oscillates, of the positions examined; none of a sound amp."""
    found = unsteady_findings(examined, examined.positions)
    return [Section(TITLE, tuple(found), {}, {})] if found else []


def _rest_words(growth: Growth, places: Sequence[str], positions: int, stock: bool) -> str:
    where = (
        "at every position looked at"
        if len(places) == positions
        else _few(sorted(places, key=lambda place: (place != AS_DRAWN, len(place))))
    )
    return f"{growth.words}, {where}; {'so does the stock amp' if stock else 'the stock amp does not'}"


def _own(positions: Sequence[Position], known: Container[str]) -> list[Position]:
    return [{name: value for name, value in position.items() if name in known} for position in positions]


def unsteady_words(found: Unsteady) -> list[str]:
    """A clause for each variant and what it does, with the positions at which it does."""
    where: dict[tuple[str, str], list[str]] = {}
    for (variant, position), growth in found.items():
        where.setdefault((variant, growth.words), []).append(position)
    return [f"{variant} {words}, {_few(positions)}" for (variant, words), positions in where.items()]


def _few(positions: Sequence[str], most: int = 3) -> str:
    left = len(positions) - most
    shown = positions if left < 2 else [*positions[:most], f"{left} other positions"]
    return ", ".join("as drawn" if each == AS_DRAWN else f"at {each}" for each in shown)
