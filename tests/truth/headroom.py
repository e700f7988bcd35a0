"""Distortion of the three-halves law against its own series, where a stage clips, clean power of the data sheets."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.optimize import brentq

from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.description import Valve
from ampsim.measures.waveforms import harmonics
from ampsim.studies.headroom.measures import clipping_table, power_table
from ampsim.studies.headroom.simulate import headroom
from tests.truth.bench import Parts, amp, rail, stage
from tests.truth.claims import CLOSED, FITTED, Case, Claim, Limit
from tests.truth.outputs import CIRCUITS
from tests.truth.outputs import _stage as output_stage
from tests.truth.valves_alone import by_row

SERIES = "binomial series of (E + mu v)^1.5 for a sine, worked out in the test"
IMPLICIT = "i = k (Vb - R i + mu v)^1.5 solved at 400 instants of a cycle, worked out in the test"
K, MU = 4e-6, 40.0  # of the textbook triode
PLATE_VOLTS, BIAS = 250.0, -3.0
STRONG = Limit(0.5, "harmonics above -50 dB: 0.5 dB at the ladder's step and tolerance, chosen for speed", "dB")
WEAK = Limit(1.0, "harmonics from -62 to -50 dB: 1 dB at the ladder's step and tolerance, chosen for speed", "dB")
CLIPS = Limit(0.03, "levels of a ladder of 6 dB with one more in the step: 0.26 dB")
WATTS = Limit(0.15, "output stage: watts 15 %")
# Where the sheets print 10 %: row, watts, volts r.m.s. on the grid.
TEN_PERCENT = {"E2c": (5.7, 4.3), "F1c": (11.0, 8.7)}


def harmonic(order: int, swing: float, power: float = 1.5) -> float:
    """Amplitude of a harmonic of (1 + swing sin)^power: terms of the binomial series, powers of a sine unfolded."""
    total, coefficient = 0.0, 1.0
    for n in range(1, 60):
        coefficient *= (power - n + 1) / n
        if n >= order and (n - order) % 2 == 0:
            total += coefficient * swing**n * math.comb(n, (n - order) // 2) / 2.0 ** (n - 1)
    return abs(total)


def triode_stage(supply: float, load: float, bias: float) -> Amp:
    """The textbook triode with its cathode at ground, driven from a source without resistance."""
    parts: Parts = {"V1": "textbook-triode", "C1": 1e-4, "R1": "1M", "R2": load}
    roles = {"coupling": "C1", "grid_leak": "R1", "bias": "bias", "plate_load": "R2"}
    return amp(parts, [stage("triode stage", valve="V1", supply="B1", **roles)], rail("B1", supply), rail("bias", bias))


def _currents(levels: tuple[float, ...]) -> dict[str, float]:
    told = headroom(triode_stage(PLATE_VOLTS, 1.0, BIAS), levels=levels)
    current = told["current"].sel(branch="V1.plate", drop=True).expand_dims(node=["plate current"])
    found = harmonics(xr.Dataset({"voltage": current}, attrs=told.attrs), "plate current").squeeze()
    return {
        f"H{order} at {level:g} V": float(found["relative"].sel(level=level, harmonic=order))
        for level in levels
        for order in (2, 3)
    }


def _series_case() -> Case:
    levels = (0.5, 1.0, 2.0)
    claims = []
    for level in levels:
        swing = MU * level / (PLATE_VOLTS + MU * BIAS)
        for order in (2, 3):
            decibels = 20.0 * math.log10(harmonic(order, swing) / harmonic(1, swing))
            if decibels > -62.0:
                name = f"H{order} at {level:g} V"
                limit = STRONG if decibels > -50.0 else WEAK
                claims.append(Claim("three-halves law", name, decibels, "dB", SERIES, "computed", CLOSED, limit))
    return Case(tuple(claims), partial(_currents, levels))


def _current(volts: float, supply: float, load: float) -> float:
    if supply + MU * volts <= 0.0:
        return 0.0

    def error(amps: float) -> float:
        return float(amps - K * max(supply - load * amps + MU * volts, 0.0) ** 1.5)

    return float(brentq(error, 0.0, supply / load, xtol=1e-14))


def _gain(level: float, supply: float, load: float, bias: float) -> float:
    turns = 2.0 * np.pi * np.arange(400) / 400
    wave: NDArray[np.float64] = np.array([_current(bias + level * math.sin(turn), supply, load) for turn in turns])
    return float(np.abs(np.fft.rfft(wave))[1]) / 200.0 / level


def clip_level(supply: float, load: float, bias: float) -> float:
    """Volts peak on the grid where the law's gain has fallen by 1 dB."""
    small = _gain(1e-3, supply, load, bias)
    fallen = 10.0 ** (-1.0 / 20.0) * small
    return float(brentq(lambda level: _gain(level, supply, load, bias) - fallen, 0.5, 4.5, xtol=1e-4))


def _clips(supply: float, load: float, bias: float) -> dict[str, float]:
    told = headroom(triode_stage(supply, load, bias), levels=(0.11, 0.22, 0.44, 0.88, 1.76, 3.52))
    return {"clips at": float(clipping_table(told)["clips at [V]"][0])}


def _clip_cases() -> list[Case]:
    found = []
    for supply, load, bias in ((200.0, 20e3, -4.0), (200.0, 10e3, -4.0), (150.0, 20e3, -3.0)):
        row = f"three-halves law, {supply:g} V, {load / 1e3:g} kohm, {bias:g} V"
        level = clip_level(supply, load, bias)
        claim = Claim(row, "clips at", level, "V", IMPLICIT, "computed", CLOSED, CLIPS)
        found.append(Case((claim,), partial(_clips, supply, load, bias)))
    return found


def _clean(row: str, circuit: str, valve: Valve, at: Mapping[str, float]) -> dict[str, float]:
    levels = [at["drive_volts"] * 2.0**0.5 * 2.0**step for step in (-3.3, -2.3, -1.3, -0.3, 0.7)]
    (found,) = power_table(headroom(output_stage(row, circuit, valve, at), levels=levels)).to_dict("records")
    drive = float(found["10 % THD at [V]"]) / 2.0**0.5
    return {"power at 10 %": float(found["power there, 10 % [W]"]), "drive at 10 %": drive}


def _sheet_cases() -> list[Case]:
    found = []
    for valve, points in by_row(*CIRCUITS):
        first = points[0]
        if first.id in TEN_PERCENT:
            watts, volts = TEN_PERCENT[first.id]
            numbers = (("power at 10 %", watts, "W"), ("drive at 10 %", volts, "V"))
            claims = tuple(
                Claim(first.id, quantity, value, unit, first.source, first.flag, FITTED, WATTS)
                for quantity, value, unit in numbers
            )
            found.append(Case(claims, partial(_clean, first.id, first.circuit, valve, dict(first.conditions))))
    return found


def cases() -> list[Case]:
    """Every check of headroom."""
    return [_series_case(), *_clip_cases(), *_sheet_cases()]
