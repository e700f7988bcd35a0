"""Loop gain of a feedback amp, measured with the loop closed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.errors import DescriptionError, EngineError
from ..circuit.amp import Amp
from ..circuit.build import build_circuit
from ..circuit.positions import Position, check_request, control_coords, position_label
from ..circuit.stages.template import GROUND, Element, rail_net
from .analyses import LoopSweep
from .drives import PROBE_VECTORS
from .netlist import build
from .ngspice import engine
from .response import provenance


def loop_gain(
    amps: Amp | Sequence[Amp],
    at: str | None = None,
    positions: Iterable[Position] = ({},),
    sweep: LoopSweep | None = None,
    progress: Callable[[int, int], object] | None = None,
) -> xr.Dataset:
    """Loop gain of one or more variants over positions of their controls.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    at : str
        The part's end whose wire carries the whole feedback, such as ``R20.1``. Default: found from the output
        transformer of the first variant, see `feedback_place`.
    positions : iterable of mapping
        As in `simulate`.
    sweep : LoopSweep
        Frequencies; default 1 Hz to 1 MHz, 25 a decade.
    progress : callable
        Called with (done, total).

    Returns
    -------
    xarray.Dataset
        `loop_gain` complex, without unit, dims (variant, position, frequency): positive and real where the feedback
        is negative. The loop becomes unstable when it encircles -1.

    Raises
    ------
    DescriptionError
        When no feedback is found and no place is named, or the place does not exist.
    EngineError
        When ngspice gives no trustworthy answer.

    References
    ----------
    R. D. Middlebrook, Measurement of loop gain in feedback systems, Int. J. Electronics 38(4), 1975; double injection
    with both directions of the loop as in M. Tian et al., Striving for small-signal stability, IEEE Circuits and
    Devices Magazine 17(1), 2001 (both from memory).
    """
    variants = [amps] if isinstance(amps, Amp) else list(amps)
    settings = [dict(position) for position in positions]
    check_request(variants, settings)
    base = replace(sweep or LoopSweep(), at=at or feedback_place(variants[0]))
    runs = [replace(base, injection=kind) for kind in ("voltage", "current")]
    netlists = [build(amp, setting, run, ()) for amp in variants for setting in settings for run in runs]
    outcomes = engine.run_distinct(netlists)
    failed = next((outcome for outcome in outcomes if isinstance(outcome, EngineError)), None)
    if failed is not None:
        raise EngineError(f"{variants[0].name}, loop gain at {base.at}: {failed}") from failed
    rows = [_return_ratio(one, two) for one, two in zip(outcomes[::2], outcomes[1::2], strict=True)]
    table = np.array(rows).reshape(len(variants), len(settings), -1)
    data = {"loop_gain": (("variant", "position", "frequency"), table, {"units": "1"})}
    coords: dict[str, Any] = {
        "variant": [amp.variant for amp in variants],
        "position": [position_label(setting) for setting in settings],
        "frequency": ("frequency", base.grid(), {"units": "Hz"}),
        **control_coords(settings),
    }
    return xr.Dataset(data, coords, provenance(variants, base, netlists, outcomes) | {"at": base.at})


def feedback_place(amp: Amp, switches: tuple[tuple[str, str], ...] = ()) -> str:
    """The part's end whose wire carries the whole feedback from the output transformer, such as ``R20.1``.

    Followed from the secondary through resistors, capacitors, inductors and pots, not through ground or a rail, to
    the nearest part without which no signal would come back to a valve; resistors first. A mod's line is found as
    the drawing's is.

    Parameters
    ----------
    amp : Amp
    switches : tuple of (control, position)
        Switches that do not stand as drawn.

    Raises
    ------
    DescriptionError
        When nothing leads back from the secondary to a valve, or no single part carries all of it.
    """
    found = find_feedback(amp, switches)
    if found is None:
        raise DescriptionError(
            f"{amp.name} has no feedback stage and no part that leads from the output transformer back to a valve; "
            "name the place where the feedback passes, such as R20.1"
        )
    return found


@lru_cache(maxsize=1024)
def find_feedback(amp: Amp, switches: tuple[tuple[str, str], ...] = ()) -> str | None:
    """`feedback_place`, or None when nothing leads back from the secondary to a valve."""
    wired = build_circuit(amp, switches)
    starts = {
        net for each in wired.elements if each.kind == "transformer" for pin, net in each.pins if pin.startswith("tap")
    }
    ends = {net for each in wired.elements if each.kind == "valve" for _, net in each.pins}
    dead = {GROUND, *(rail_net(rail.name) for rail in amp.rails)}
    loads = {stage.name for stage in amp.stages if stage.template == "load"}
    parts = [each for each in wired.elements if each.kind in _PASSIVE and each.stage not in loads]
    if not ends & set(_reached(parts, starts, dead)):
        return None
    found = [place for place in _crossed(parts, starts, dead) if not ends & set(_without(parts, place, starts, dead))]
    if not found:
        raise DescriptionError(
            f"{amp.name}: the feedback passes through several parts side by side; name the place where all of it "
            "passes, such as R20.1"
        )
    kinds = {each.designator: each.kind for each in parts}
    return min(found, key=lambda place: kinds[place.partition(".")[0]] != "resistor")


_PASSIVE = ("resistor", "capacitor", "inductor", "pot")


def _reached(parts: list[Element], starts: set[str], dead: set[str]) -> dict[str, str]:
    """Nets that passive parts lead to, the nearest first, each with the place it was reached from."""
    found = dict.fromkeys(sorted(starts - dead), "")
    for net in (nets := list(found)):
        for part in parts:
            pins = [name for name, other in part.pins if other == net]
            for _, other in part.pins if pins else ():
                if other not in found and other not in dead:
                    found[other] = f"{part.designator}.{pins[0]}"
                    nets.append(other)
    return found


def _crossed(parts: list[Element], starts: set[str], dead: set[str]) -> list[str]:
    """Ends, on the side of the start, of the two-ended parts that are crossed."""
    pots = {part.designator for part in parts if part.kind == "pot"}
    places = [place for place in _reached(parts, starts, dead).values() if place]
    return [place for place in dict.fromkeys(places) if place.partition(".")[0] not in pots]


def _without(parts: list[Element], place: str, starts: set[str], dead: set[str]) -> dict[str, str]:
    kept = [part for part in parts if part.designator != place.partition(".")[0]]
    return _reached(kept, starts, dead)


def _return_ratio(voltage: Any, current: Any) -> NDArray[np.complex128]:
    v1, i1 = (np.asarray(voltage.vectors[name]) for name in PROBE_VECTORS)
    v2, i2 = (np.asarray(current.vectors[name]) for name in PROBE_VECTORS)
    d = 2.0 * (i1 * v2 - v1 * i2) - v1 - i2
    return np.asarray(-1.0 / (1.0 - 1.0 / d))
