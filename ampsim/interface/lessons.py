"""Exercises that compute: a prediction in, the simulated value, the difference and the reason out."""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr

from ..base.errors import DescriptionError
from ..base.quantities import FARAD, HERTZ, OHM, VOLT, Quantity, format_value, parse_value
from ..circuit.amp import Amp, Part
from ..circuit.valves.evaluation import slopes
from ..library.loader import parse_amp
from ..measures.closed_forms import BypassedStage
from ..measures.sweep import gain_at
from ..simulation.analyses import FrequencySweep, OperatingPoint
from ..simulation.response import simulate

DECIBEL = Quantity("level", "dB", ("dB", "db"), "", -200.0, 200.0)
_UNITS = {"Hz": HERTZ, "dB": DECIBEL, "V": VOLT}
_EXAMPLES = {"Hz": "230 Hz or 1.2 kHz", "dB": "5.5 dB", "V": "1.4 V"}


@dataclass(frozen=True)
class Exercise:
    """A question about one stage. `answer` takes a prediction such as "230 Hz" and says how near it is and why."""

    question: str
    unit: str
    simulated: float
    by_hand: float
    reason: str
    close: float

    def __str__(self) -> str:
        return self.question

    def _repr_markdown_(self) -> str:
        return self.question

    def answer(self, prediction: str | float) -> str:
        """Compare a prediction with the simulation; a wrong unit or a slip is answered with help, never an error."""
        try:
            given = self._read(prediction)
        except DescriptionError as problem:
            return f"{problem} Asked for is a value in {self.unit}, for example {_EXAMPLES[self.unit]}. Try again."
        away, near = self._distance(given)
        verdict = "Well predicted" if near else "Not yet"
        return (
            f"{verdict}: you said {given:.4g} {self.unit}, the simulation gives {self.simulated:.4g} {self.unit} "
            f"({away}); the formula by hand gives {self.by_hand:.4g} {self.unit}. {self.reason}"
        )

    def _read(self, prediction: str | float) -> float:
        text = str(prediction).strip()
        for unit in _UNITS:
            if unit != self.unit and text.lower().endswith(unit.lower()):
                raise DescriptionError(f"'{text[:30]}' is in {unit}.")
        return parse_value(prediction, _UNITS[self.unit], "prediction")

    def _distance(self, given: float) -> tuple[str, bool]:
        if self.unit == "dB":
            return f"{given - self.simulated:+.1f} dB", abs(given - self.simulated) <= self.close
        share = given / self.simulated - 1.0
        return f"{100 * share:+.0f} %", abs(share) <= self.close


def lesson_stage(seed: int | None = None) -> Amp:
    """A single bypassed triode stage; with a seed, values drawn from what such stages carry."""
    draw = random.Random(seed)
    plate, cathode, bypass = (
        ("100k", "1k5", "820n")
        if seed is None
        else (
            draw.choice(("82k", "100k", "150k", "180k")),
            draw.choice(("820", "1k", "1k5", "2k2", "2k7", "3k3")),
            draw.choice(("330n", "470n", "820n", "1u", "2u2", "4u7")),
        )
    )
    parts = {"V1A": "12AX7", "R1": "1M", "R3": plate, "R4": cathode, "C1": bypass}
    stage = {
        "name": "stage",
        "template": "triode stage",
        "valve": "V1A",
        "supply": "B1",
        "grid_leak": "R1",
        "plate_load": "R3",
        "cathode_resistor": "R4",
        "cathode_bypass": "C1",
    }
    rail = {"name": "B1", "volts": 300}
    return parse_amp({"name": "lesson stage", "parts": parts, "rails": [rail], "stages": [stage]}, "lesson")


def textbook_stage(amp: Amp, position: dict[str, Any] | None = None) -> BypassedStage:
    """The closed form of a `lesson_stage`: its parts, and the valve's slopes where ngspice finds it at rest."""
    rest = simulate(amp, OperatingPoint(), [position or {}]).squeeze()
    volts = {pin: float(rest["voltage"].sel(node=f"V1A.{pin}")) for pin in ("plate", "grid", "cathode")}
    valve = amp.valve_by_type["12AX7"]
    at = slopes(valve, volts["plate"] - volts["cathode"], volts["grid"] - volts["cathode"])
    value = {part.designator: part.value for part in amp.parts if isinstance(part, Part)}
    return BypassedStage(float(at.mu), float(at.rp), value["R3"], value["R4"], value["C1"])


def formula_beside(amp: Amp, sweep: FrequencySweep | None = None) -> xr.Dataset:
    """Gain of a `lesson_stage` to its plate: variants "formula" and "ngspice" of one response, to be overlaid."""
    sweep = sweep or FrequencySweep(5.0, 20e3)
    computed = simulate(amp, sweep, nodes=["V1A.plate"]).assign_coords(variant=["ngspice"])
    by_hand = computed.copy(deep=True).assign_coords(variant=["formula"])
    by_hand["voltage"].values[0, 0, 0] = textbook_stage(amp).gain(sweep.grid())
    both = xr.concat([by_hand, computed], "variant", join="exact", combine_attrs="override")
    return both.assign_attrs(output="V1A.plate")


def bypass_exercise(seed: int = 0, kind: str = "corner") -> Exercise:
    """An exercise on the cathode bypass: kind "corner" (Hz), "shelf" (dB) or "bias" (V); the seed varies the values.

    Raises
    ------
    DescriptionError
        For another kind.
    """
    makers = {"corner": _corner, "shelf": _shelf, "bias": _bias}
    if kind not in makers:
        raise DescriptionError(f"no exercise '{kind[:30]}'; there are {', '.join(makers)}")
    amp = lesson_stage(seed)
    value = {part.designator: part.value for part in amp.parts if isinstance(part, Part)}
    shown = (
        f"A 12AX7 on 300 V with a plate load of {format_value(value['R3'], OHM)}, a cathode resistor of "
        f"{format_value(value['R4'], OHM)} and {format_value(value['C1'], FARAD)} across it."
    )
    return makers[kind](amp, textbook_stage(amp), shown)


def _corner(amp: Amp, stage: BypassedStage, shown: str) -> Exercise:
    sweep = FrequencySweep(1.0, 20e3, 100)
    gain = gain_at(simulate(amp, sweep, nodes=["V1A.plate"]), [float(f) for f in sweep.grid()], "V1A.plate")
    level = gain.values[0, 0]
    middle = (level[0] + level.max()) / 2.0
    simulated = float(np.exp(np.interp(middle, level[: level.argmax()], np.log(sweep.grid()[: level.argmax()]))))
    by_hand = float(np.sqrt(stage.lower_corner * stage.upper_corner))
    reason = (
        f"Half of the shelf (in dB) is climbed at the geometric mean of its two corners: {stage.lower_corner:.0f} Hz, "
        "where the capacitor's reactance is as large as the cathode resistor, and "
        f"{stage.upper_corner:.0f} Hz, where it is as large as the {stage.cathode_output:.0f} ohm seen at the cathode."
    )
    return Exercise(
        f"{shown} At which frequency is half of the shelf, counted in dB, climbed?",
        "Hz",
        simulated,
        by_hand,
        reason,
        0.15,
    )


def _shelf(amp: Amp, stage: BypassedStage, shown: str) -> Exercise:
    response = simulate(amp, FrequencySweep(0.1, 20e3, 20), nodes=["V1A.plate"])
    level = gain_at(response, [0.1, 5000.0], "V1A.plate").values[0, 0]
    reason = (
        f"Without the bypass the valve works against (mu + 1) Rk as well: {abs(stage.gain(0.0)):.0f} times instead of "
        f"{abs(stage.gain(1e9)):.0f} times."
    )
    question = f"{shown} By how many dB is the gain higher well above the shelf than well below it?"
    return Exercise(question, "dB", float(level[1] - level[0]), stage.shelf_db, reason, 0.5)


def _bias(amp: Amp, stage: BypassedStage, shown: str) -> Exercise:
    rest = simulate(amp, OperatingPoint()).squeeze()
    volts = float(rest["voltage"].sel(node="V1A.cathode"))
    current = 1e3 * float(rest["current"].sel(branch="V1A.plate"))
    reason = (
        f"The plate current of {current:.2f} mA flows through the cathode resistor. The capacitor carries no direct "
        "current: it moves the gain, not the bias."
    )
    question = f"{shown} How many volts stand at the cathode?"
    return Exercise(question, "V", volts, stage.cathode_resistor * current / 1e3, reason, 0.15)
