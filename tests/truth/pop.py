"""Pops of small networks against their closed forms: steps, decays, gaps between contacts, what a bleed leaves."""

from __future__ import annotations

import math
from functools import lru_cache

import xarray as xr

from ampsim import apply_mods, parse_mod
from ampsim.circuit.amp import Amp
from ampsim.measures.labels import records
from ampsim.studies.pop.measures import LENGTH, PEAK, pop_table
from ampsim.studies.pop.moves import Transition
from ampsim.studies.pop.simulate import pop
from tests.truth.bench import amp, rail, wired
from tests.truth.claims import CLOSED, Case, Claim, Limit

_VOLTS, _R1, _R2, _C = 100.0, 100e3, 50e3, 1e-6
_OFF, _LEAK, _BLEED = 1e12, 1e10, 1e6
_REST = _VOLTS * _R2 / (_R1 + _R2)
_TAU = _C * _R1 * _R2 / (_R1 + _R2)
_THEORY = "divider and exponential of one RC (Ohm, Kirchhoff), worked out in the test"
_STEP = Limit(1e-4, "a network of resistors: 0.01 %")
_DECAY = Limit(1e-3, "one exponential in steps of 0.2 ms: 0.1 %")


def switched(parts: dict[str, str], *edits: dict[str, object]) -> Amp:
    """100 V over 100 kohm and 50 kohm, coupled on to 100 kohm, and a switch that does these edits when it is "in"."""
    drawn = {"R1": "100k", "R2": "50k", "C1": "100n", "R3": "100k"}
    wires = wired("divider", R1=["B1", "out"], R2=["out", "ground"])
    tap = wired("tap", C1=["in", "out"], R3=["out", "ground"])
    switch = {"designator": "S1", "control": "switch", "drawn": "out", "positions": {"out": [], "in": list(edits)}}
    mod = parse_mod({"name": "m", "reason": "check", "parts": parts, "switches": [switch]}, "check.toml")
    return apply_mods(amp(drawn, [wires, tap], rail("B1", _VOLTS)), mod)


def coupled_away(circuit: Amp) -> Amp:
    """The same without the second stage's load on the first: so small a coupling capacitor that it does not count."""
    small = {"name": "away", "reason": "check", "edits": [{"replace": "C1", "with": "1p"}]}
    return apply_mods(circuit, parse_mod(small, "away.toml"))


@lru_cache(maxsize=1)
def _capacitor() -> xr.Dataset:
    circuit = coupled_away(switched({"C9": "1u"}, {"fit": "C9", "across": "R2"}))
    return pop(circuit, nodes=("R2.1", "speaker"), bleeds=(None, _BLEED))


def _bypassed() -> dict[str, float]:
    """A discharged capacitor comes across the resistor: the volts fall by what it lacks, and come back with RC."""
    response = _capacitor()
    rows = records(pop_table(response, "R2.1"))
    peaks = {(row["transition"], row["remedy"]): row[PEAK] for row in rows if row["movement"] == "both at once"}
    closing = response["voltage"].sel(
        variant="away + m", transition="switch: out to in", movement="both at once", remedy="as it is", node="R2.1"
    )
    found = {f"volts {ms:g} ms after": float(closing.interp(time=1e-3 * ms).values[0]) for ms in (10.0, 30.0, 100.0)}
    return found | {
        "step": peaks["switch: out to in", "as it is"],
        "step with a bleed": peaks["switch: out to in", "bleed 1M"],
    }


def _bypass_case() -> Case:
    # Behind the open contact the capacitor stands at what contact and leak share out of the volts at rest.
    lacks = _REST * _OFF / (_OFF + _LEAK)
    bled = 1.0 / (1.0 / _BLEED + 1.0 / _OFF)
    values = {f"volts {ms:g} ms after": _REST - lacks * math.exp(-1e-3 * ms / _TAU) for ms in (10.0, 30.0, 100.0)}
    claims = [_claim("capacitor switched across a resistor", name, volts, _DECAY) for name, volts in values.items()]
    claims.append(_claim("capacitor switched across a resistor", "step", -lacks, _STEP))
    left = -_REST * bled / (bled + _LEAK)
    claims.append(_claim("capacitor switched across a resistor", "step with a bleed", left, _DECAY))
    return Case(tuple(claims), _bypassed)


def _claim(row: str, what: str, value: float, limit: Limit, unit: str = "V") -> Claim:
    return Claim(row, what, value, unit, _THEORY, "computed", CLOSED, limit)


def _change_over() -> dict[str, float]:
    circuit = coupled_away(switched({}, {"replace": "R2", "with": "25k"}))
    rows = records(pop_table(pop(circuit, [Transition("switch", "out", "in")], nodes=("R1.2",)), "R1.2"))
    return {row["movement"]: row[PEAK] for row in rows if row["remedy"] == "as it is"}


def _change_over_case() -> Case:
    both = 1.0 / (1.0 / _R2 + 1.0 / 25e3)
    ohms = {"break before make": math.inf, "both at once": 25e3, "make before break": both}
    claims = []
    for movement, below in ohms.items():
        volts = _VOLTS if math.isinf(below) else _VOLTS * below / (_R1 + below)
        claims.append(_claim("change-over 50k to 25k", movement, volts - _REST, _STEP))
    return Case(tuple(claims), _change_over)


def _opened() -> dict[str, float]:
    """A capacitor of 10 pF keeps its charge behind the opened contact and loses it through its leak alone."""
    circuit = coupled_away(switched({"C9": "10p"}, {"fit": "C9", "across": "R2"}))
    response = pop(circuit, [Transition("switch", "in", "out")], bleeds=(None,), nodes=("C9.1", "speaker"))
    volts = response["voltage"].isel(variant=0, position=0, transition=0, movement=0, remedy=0, node=0)
    return {f"volts {ms:g} ms after": float(volts.interp(time=1e-3 * ms)) for ms in (50.0, 100.0, 250.0)}


def _opened_case() -> Case:
    end = _REST * _LEAK / (_LEAK + _OFF)
    tau = 10e-12 / (1.0 / _LEAK + 1.0 / _OFF)
    claims = [
        _claim("discharge behind an open contact", f"volts {ms:g} ms after",
               end + (_REST - end) * math.exp(-1e-3 * ms / tau), _DECAY)
        for ms in (50.0, 100.0, 250.0)
    ]  # fmt: skip
    return Case(tuple(claims), _opened)


def _coupled() -> dict[str, float]:
    response = pop(switched({"R9": "50k"}, {"fit": "R9", "across": "R2"}), [Transition("switch", "out", "in")])
    row = records(pop_table(response))[0]
    return {"step": row[PEAK], "length": 1e-3 * row[LENGTH]}


def _coupled_case() -> Case:
    source = 1.0 / (1.0 / _R1 + 1.0 / 25e3)
    step = (_VOLTS * 25e3 / (_R1 + 25e3) - _REST) * 100e3 / (100e3 + source)
    length = 100e-9 * (100e3 + source) * math.log(20.0)
    row = "resistor switched before a coupling capacitor"
    grid = Limit(0.01, "samples of 0.2 ms: 1 %")
    return Case((_claim(row, "step", step, _STEP), _claim(row, "length", length, grid, "s")), _coupled)


def cases() -> list[Case]:
    """Every pop with a closed form."""
    return [_bypass_case(), _change_over_case(), _opened_case(), _coupled_case()]
