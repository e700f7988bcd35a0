"""Whether the oscillators that an amp is meant to have keep themselves going: they are no fault, standing still is."""

from __future__ import annotations

from collections.abc import Iterator

from ...base.wording import in_hertz
from ...circuit.positions import Position, position_label
from ...simulation.timestep.oscillation import Oscillation, oscillations
from ..findings import Finding, Grade
from ..section import Examination
from . import TITLE

_SOURCE = "a stage that is meant to oscillate is no fault; every other growing mode is, with that stage held still"


def oscillator_findings(examined: Examination) -> Iterator[Finding]:
    """What each declared oscillator does at the positions examined, beside the stock amp's."""
    known = examined.stock.controls
    for position in examined.positions:
        own = {name: value for name, value in position.items() if name in known}
        stock = {each.stage: each for each in oscillations(examined.stock, own)}
        for each in oscillations(examined.modded, position):
            yield _finding(examined, position, each, stock.get(each.stage))


def _finding(examined: Examination, position: Position, each: Oscillation, stock: Oscillation | None) -> Finding:
    grade = Grade.FINE if each.goes else Grade.BEYOND if stock is None or stock.goes else Grade.NEAR
    if each.goes:
        before = f" (stock: {in_hertz(stock.hertz)})" if stock is not None and stock.goes else ""
        does = f"goes as it is meant to, {in_hertz(each.hertz)}{before}, and moves {each.moves}"
    else:
        before = "" if stock is None else f"; stock: {in_hertz(stock.hertz)}" if stock.goes else ", as in the stock amp"
        does = f"does not keep itself going{before}"
    return Finding(TITLE, each.stage, examined.modded.variant, position_label(position), each.hertz, "Hz", None, grade,
                   f"{each.stage} {does}", "in time, sample by sample, once it has settled", _SOURCE)  # fmt: skip
