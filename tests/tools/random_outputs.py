"""Output stages by lot, at rest, swept and in time: `python -m tests.tools.random_outputs --count 40`.

Pairs and single valves, up to three in parallel, with screens on the supply, the plates or taps of the transformer,
fixed and cathode bias, transformers with any taps, cores that saturate, further windings, one loudspeaker to four.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from ampsim import EngineError, FrequencySweep, OperatingPoint, parse_amp, simulate
from ampsim.circuit.amp import Amp
from ampsim.circuit.nets import INPUT
from tests.figures.in_time import Case, errors
from tests.truth.bench import near_ideal

# Plate load of one valve [ohm], rail [V], its fixed bias [V], and cathode resistor of one [ohm].
VALVES = {
    "EL84": (5e3, 250.0, -8.0, 150.0),
    "6V6GT": (5e3, 280.0, -15.0, 300.0),
    "EL34": (3e3, 300.0, -18.0, 250.0),
    "6L6GC": (3e3, 300.0, -18.0, 250.0),
}
# What drives the grids; with milliohms the currents through it at rest would have few digits left.
DRIVER = near_ideal(32.0, 1.0) | {"primary_resistance": 10.0, "secondary_resistance": 1.0, "leakage": 1e-4}


def output_stage(seed: int) -> Amp:
    """An output stage; always the same for a seed."""
    rng = np.random.default_rng([16, seed])
    kind = str(rng.choice(list(VALVES)))
    double, several = bool(rng.integers(2)), int(rng.integers(1, 4))
    sides = ("_a", "_b") if double else ("",)
    screens = str(rng.choice(["supply", "triode_connected", "ultra_linear"]))
    parts: dict[str, Any] = {"T1": _transformer(rng, kind, double, several, screens), "T2": DRIVER}
    output: dict[str, Any] = {"transformer": "T1", "supply": "B1"} | ({screens: "yes"} if screens != "supply" else {})
    for number, side in enumerate(sides):
        valves = [f"V{number}{n}" for n in range(several)]
        each = {role: [f"R{place}{number}{n}" for n in range(several)]
                for place, role in ((1, "grid_stopper"), (2, "screen_resistor"))}  # fmt: skip
        parts |= dict.fromkeys(valves, kind) | {f"C{number}": "100n", f"R{number}": "220k"}
        parts |= dict.fromkeys(each["grid_stopper"], 2200.0) | dict.fromkeys(each["screen_resistor"], 220.0)
        output |= {f"valve{side}": valves, f"coupling{side}": f"C{number}", f"grid_leak{side}": f"R{number}"}
        output |= {f"{role}{side}": names for role, names in each.items()}
    rails = [{"name": "B1", "volts": VALVES[kind][1], "through": "R50", "reservoir": "C50"}]
    parts |= {"R50": float(rng.choice([10.0, 100.0])), "C50": "47u"}
    if rng.integers(2):
        rails.append({"name": "bias", "volts": VALVES[kind][2]})
        output["bias"] = "bias"
    else:
        parts["R51"] = VALVES[kind][3] / several / len(sides)
        output["cathode_resistor"] = "R51"
        if rng.integers(2):
            parts["C51"] = "47u"
            output["cathode_bypass"] = "C51"
    speakers = {f"LS{n}": {"resistance": 6.4} for n in range(int(rng.choice([1, 2, 4])))}
    how = "series-parallel" if len(speakers) == 4 else str(rng.choice(["series", "parallel"]))
    load = {"template": "load", "load": list(speakers)} | ({"arrangement": how} if len(speakers) > 1 else {})
    pins = {"primary_a": "out", "centre": "ground", "tap8": "in", "common": "ground"}
    pins |= {"primary_b": "out_b"} if double else {"primary_b": "foot"}
    if not double:
        parts["R52"] = "1M"
    wires = {"T2": pins} | ({} if double else {"R52": ["foot", "ground"]})
    template = {"template": "push-pull output" if double else "single-ended output"}
    stages = [{"template": "free wiring", "wires": wires}, template | output, load]
    return parse_amp({
        "name": f"output stage {seed}", "parts": parts | speakers, "rails": rails, "sure": list(parts),
        "stages": [{"name": each["template"]} | each for each in stages],
    })  # fmt: skip


def _transformer(rng: Any, kind: str, double: bool, several: int, screens: str) -> dict[str, Any]:
    primary = VALVES[kind][0] * (1.8 if double else 1.0) / several
    found: dict[str, Any] = {"primary": primary, "taps": [[8.0], [4.0, 8.0], [4.0, 8.0, 16.0]][int(rng.integers(3))]}
    found |= {"inductance": primary / (2.0 * math.pi * float(rng.uniform(20.0, 60.0))), "secondary": "reversed"}
    if screens == "ultra_linear" or rng.integers(4) == 0:
        found["screen_taps"] = float(rng.uniform(0.1, 0.6))
    if double and rng.integers(2):
        found["leakage"] = [primary * share for share in rng.uniform(5e-7, 3e-6, 2)]
    if rng.integers(2):
        direct = 0.0 if double else 0.06 * several
        found["core"] = {
            "power": 5.0 * several,
            "from": float(rng.uniform(40.0, 120.0)),
            "direct_current": direct or 1e-5,
        }
    if rng.integers(3) == 0:
        found["windings"] = [{"name": "extra", "ohms": 2.0}]
    return found


def measured(seeds: range, seconds: float = 0.02) -> Iterator[tuple[int, float | str]]:
    """To each seed how far time-step solver and ngspice are apart [ratio], or what went wrong, in words."""
    for seed in seeds:
        amp = output_stage(seed)
        try:
            rest = simulate(amp, OperatingPoint())
            swept = simulate(amp, FrequencySweep(20.0, 20e3, 5), nodes=["speaker", INPUT])
            if not (np.isfinite(rest["voltage"]).all() and np.isfinite(swept["voltage"]).all()):
                raise EngineError("numbers that are not finite")
            level = float(10.0 ** np.random.default_rng([17, seed]).uniform(-1.0, 1.5))
            yield seed, next(iter(errors([Case(amp, {}, level, seconds)])))[1]
        except EngineError as error:
            yield seed, " ".join(str(error).split())[:300]


def main() -> None:
    """Print how many have no answer, and how far both solvers are apart."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])  # type: ignore[union-attr]
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    found = dict(measured(range(options.first, options.first + options.count)))
    apart = {seed: each for seed, each in found.items() if isinstance(each, float)}
    for seed, each in found.items():
        if seed not in apart:
            print(f"output stage {seed}: {each}")
    worst = max(apart, key=lambda seed: apart[seed])
    lacking, middle = len(found) - len(apart), float(np.median(list(apart.values())))
    print(f"{lacking} of {len(found)} without an answer; time-step solver against ngspice: median "
          f"{100.0 * middle:.4f} %, worst {100.0 * apart[worst]:.3f} % (output stage {worst})")  # fmt: skip


if __name__ == "__main__":
    main()
