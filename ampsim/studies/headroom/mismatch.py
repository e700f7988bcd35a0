"""What an output pair that is not matched adds: a pair of equal valves has no even harmonics, real pairs have some."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import cast

import xarray as xr

from ...base.wording import in_volts, join_words
from ...circuit.amp import Amp, Socket
from ...circuit.build import circuit_at
from ...circuit.every_part import with_every_part
from ...circuit.output_stage import output_valves, pulls_both_ways
from ...circuit.positions import Position
from ...circuit.valves.deviation import ValveDraw
from ...measures.labels import records
from ...simulation.valve_spreads import deviating, spread_of, spreads
from .measures import distortion_column, harmonics_over_level, power_table
from .simulate import headroom

_PERCENT = 5.0
_BELOW = 0.5  # of the level where distortion reaches so much: played cleanly, where harmonics of the pair tell


def mismatch_words(amp: Amp, position: Position, played: xr.Dataset) -> tuple[str, ...]:
    """What one output valve whose bias is off does to harmonics, in a sentence; none where all pull one way.

    Parameters
    ----------
    amp : Amp
    position : mapping
        Where its controls stand.
    played : xarray.Dataset
        Of `simulate.headroom`, the amp alone at that position: it says at which level [V].

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    wired = circuit_at(amp, position)
    pair = output_valves(wired)
    row = records(power_table(played))[0]
    level = _BELOW * float(row[distortion_column(_PERCENT)])
    if not pulls_both_ways(wired) or not 0.0 < level < math.inf:
        return ()
    socket = cast("Socket", wired.parts[pair[0]])
    valve = amp.valve_by_type[socket.type]
    if not spreads(valve):
        return ()
    spread = spread_of(valve)
    off = [_with_bias_off(amp, socket, sign * spread.bias_volts) for sign in (-1.0, 1.0)]
    (even, thd), *found = (_heard(each, position, level) for each in (amp, *off))
    known = "" if spread.basis == "fitted" else "; by a rule of thumb"
    seconds, totals = sorted(each[0] for each in found), sorted(each[1] for each in found)
    return (
        f"{join_words(pair)} are taken as equal, so that even harmonics of the pair cancel. With {pair[0]} off by one "
        f"standard deviation of valves that nobody matched ({spread.bias_volts:.2g} V of bias either way{known}), the "
        f"second harmonic at {in_volts(level)} is {seconds[0]:.0f} to {seconds[1]:.0f} dB instead of {even:.0f} dB, "
        f"distortion {totals[0]:.2g} to {totals[1]:.2g} % instead of {thd:.2g} %.",
    )


def _with_bias_off(amp: Amp, socket: Socket, volts: float) -> Amp:
    """The amp with another valve in one socket: it draws its current at so many more volts of bias."""
    valve = amp.valve_by_type[socket.type]
    shifted = replace(deviating(valve, ValveDraw(bias_volts=volts)), type=f"{valve.type}-off")
    fitted = with_every_part(amp, lambda each: replace(socket, type=shifted.type) if each == socket else each)
    return replace(fitted, valves=(*amp.valves, shifted))


def _heard(amp: Amp, position: Position, level: float) -> tuple[float, float]:
    """Second harmonic [dB of the fundamental] and distortion [%] at the speaker."""
    played = headroom(amp, [position], levels=(level,))
    found = harmonics_over_level(played, str(played["variant"].values[0]), str(played["position"].values[0]))
    return float(found["relative"].sel(harmonic=2).values[0]), float(found["thd"].values[0])
