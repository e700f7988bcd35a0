"""Questions about one triode stage: by hand first, then by ngspice."""

from __future__ import annotations

import math
import random

import numpy as np

from ...base.quantities import FARAD, OHM, format_value
from ...circuit.amp import Amp, Part
from ...measures.sweep import gain_at
from ...simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ...simulation.response import simulate
from ...simulation.stimuli import Sine
from .asked import Asked
from .own_amp import stage_values
from .stage import lesson_stage, stage_of, textbook_stage

_MU, _RP = 100.0, 62.5e3  # of a 12AX7, as its sheets print them at 250 V and -2 V
_SHEET = f"The sheet gives the 12AX7 a mu of {_MU:g} and an rp of {_RP / 1e3:g}k."


def _values(amp: Amp) -> dict[str, float]:
    return {part.designator: part.value for part in amp.parts if isinstance(part, Part)}


def _drawn(amp: Amp, bypass: bool = True) -> str:
    value = _values(amp)
    across = f" and {format_value(value['C1'], FARAD)} across it" if bypass else ", which is not bypassed"
    head = f"With the values of {amp.about}: a" if amp.about else "A"
    return (
        f"{head} 12AX7 on 300 V has a plate load of {format_value(value['R3'], OHM)} and a cathode resistor of "
        f"{format_value(value['R4'], OHM)}{across}."
    )


def _own(draw: random.Random, own: Amp | None, values: dict[str, str]) -> tuple[dict[str, str], str]:
    """Plate load and cathode resistor of a stage of the shop's own amp, and which stage; else those given."""
    known = stage_values(own) if own else []
    if not known:
        return values, ""
    chosen = draw.choice(known)
    return {name: chosen.values[name] for name in ("R3", "R4")}, chosen.name


def _at_rest(amp: Amp) -> tuple[float, float]:
    """Volts at plate and cathode, by ngspice [V]."""
    rest = simulate(amp, OperatingPoint()).squeeze()
    return float(rest["voltage"].sel(node="V1A.plate")), float(rest["voltage"].sel(node="V1A.cathode"))


def _slopes(mu: float, rp: float) -> str:
    return f"Where it rests the valve has a mu of {mu:.0f} and an rp of {rp / 1e3:.0f}k."


def bias(draw: random.Random, own: Amp | None = None) -> Asked:
    """The cathode of a stage at rest, from the slopes that a sheet prints."""
    amp = lesson_stage(draw.randrange(10_000), own)
    load, cathode = _values(amp)["R3"], _values(amp)["R4"]
    current = 300.0 / (_RP + load + (_MU + 1.0) * cathode)
    volts = _at_rest(amp)[1]
    return Asked(
        amp,
        f"{_drawn(amp)} How many volts stand at the cathode?",
        _SHEET,
        "The valve is a source of mu times its grid volts behind rp, so I = 300 V / (rp + RL + (mu + 1) Rk), and the "
        "cathode stands at I Rk.",
        f"Below the line stands {(_RP + load + (_MU + 1.0) * cathode) / 1e3:.0f}k in all.",
        "V",
        volts,
        current * cathode,
        f"{1e3 * volts / cathode:.2f} mA flow through the cathode resistor. The formula takes the valve's slopes from "
        "its sheet; where less current flows rp is larger, so it is good to a tenth or so. Curves and "
        "a load line do better.",
        0.15,
        (
            "Why does the capacitor across the resistor not change these volts?",
            "It carries no direct current.",
            "Its reactance is large in the bass.",
            "It is charged through the plate load.",
            "A capacitor carries no direct current: it moves the gain, not the bias.",
        ),
    )


def load_line(draw: random.Random, own: Amp | None = None) -> Asked:
    """The plate of a stage, from a reading at its cathode."""
    amp = lesson_stage(draw.randrange(10_000), own)
    load, cathode = _values(amp)["R3"], _values(amp)["R4"]
    plate, volts = _at_rest(amp)
    read = round(volts, 2)
    by_hand = 300.0 - load * read / cathode
    return Asked(
        amp,
        f"{_drawn(amp)} A meter reads {read:.2f} V at the cathode. How many volts stand at the plate?",
        "No current flows into the grid, so the same current flows through both resistors.",
        "I = Vk / Rk, and the plate stands at 300 V - I RL: the load line.",
        f"The current is {1e3 * read / cathode:.2f} mA.",
        "V",
        plate,
        by_hand,
        f"{1e3 * read / cathode:.2f} mA through {format_value(load, OHM)} drop {300.0 - by_hand:.0f} V.",
        0.05,
        (
            "The valve ages and draws less. Where does the plate go?",
            "Up, towards 300 V.",
            "Down, towards the cathode.",
            "Nowhere; the supply holds it.",
            "Less current drops fewer volts across the plate load, so the plate rises towards the supply.",
        ),
    )


def corner(draw: random.Random, own: Amp | None = None) -> Asked:
    """Where a bypassed cathode lifts the gain."""
    amp = lesson_stage(draw.randrange(10_000), own)
    stage = textbook_stage(amp)
    sweep = FrequencySweep(1.0, 20e3, 100)
    grid = [float(each) for each in sweep.grid()]
    level = gain_at(simulate(amp, sweep, nodes=["V1A.plate"]), grid, "V1A.plate").values[0, 0]
    rising = slice(None, level.argmax())
    simulated = float(np.exp(np.interp((level[0] + level.max()) / 2.0, level[rising], np.log(grid[rising]))))
    return Asked(
        amp,
        f"{_drawn(amp)} At which frequency is half of the shelf, counted in dB, climbed?",
        _slopes(stage.mu, stage.rp),
        "The shelf begins to rise at 1 / (2 pi Rk C) and is nearly up at 1 / (2 pi R' C), R' being Rk in parallel with "
        "(RL + rp) / (mu + 1). Half of it is climbed at the geometric mean of both.",
        f"It begins to rise at {stage.lower_corner:.0f} Hz.",
        "Hz",
        simulated,
        math.sqrt(stage.lower_corner * stage.upper_corner),
        f"The two corners are {stage.lower_corner:.0f} Hz, where the capacitor's reactance is as large as the cathode "
        f"resistor, and {stage.upper_corner:.0f} Hz, where it is as large as the {stage.cathode_output:.0f} ohm seen "
        "at the cathode.",
        0.15,
        (
            "Why is the upper corner not where the capacitor's reactance equals the cathode resistor?",
            "The capacitor sees the valve in parallel with the resistor.",
            "The grid leak adds to the resistor.",
            "The valve's own capacitances come in.",
            "Looking into the cathode there is the valve itself, (RL + rp) / (mu + 1), in parallel with the resistor.",
        ),
    )


def shelf(draw: random.Random, own: Amp | None = None) -> Asked:
    """By how much a bypassed cathode lifts the gain."""
    amp = lesson_stage(draw.randrange(10_000), own)
    stage = textbook_stage(amp)
    level = gain_at(simulate(amp, FrequencySweep(0.1, 20e3, 20), nodes=["V1A.plate"]), [0.1, 5000.0], "V1A.plate")
    low, high = abs(complex(stage.gain(0.0))), abs(complex(stage.gain(1e9)))
    return Asked(
        amp,
        f"{_drawn(amp)} By how many dB is the gain higher well above the shelf than well below it?",
        _slopes(stage.mu, stage.rp),
        "The gain is mu RL / (rp + RL) where the capacitor shorts the resistor, and mu RL / (rp + RL + (mu + 1) Rk) "
        "where it does nothing.",
        f"Bypassed the gain is {high:.0f} times.",
        "dB",
        float(level.values[0, 0, 1] - level.values[0, 0, 0]),
        stage.shelf_db,
        f"Without the bypass the valve works against (mu + 1) Rk as well: {low:.0f} times instead of {high:.0f} times.",
        0.5,
        (
            "What happens to the shelf's height when the capacitor is doubled?",
            "Nothing; it only moves down in frequency.",
            "It doubles.",
            "It grows by 6 dB.",
            "The height is a matter of resistances; the capacitor says only at which frequency it lies.",
        ),
    )


def coupling(draw: random.Random, own: Amp | None = None) -> Asked:
    """Where a coupling capacitor lets the bass go."""
    values = {"R3": draw.choice(("100k", "150k", "220k")), "R4": draw.choice(("1k", "1k5", "2k2"))}
    values, about = _own(draw, own, values)
    then = {"C2": draw.choice(("1n", "2n2", "4n7", "10n", "22n")), "R6": draw.choice(("220k", "470k", "1M"))}
    amp = stage_of(values, then, about)
    value, stage = _values(amp), textbook_stage(amp)
    inner = stage.rp + (stage.mu + 1.0) * value["R4"]
    source = inner * value["R3"] / (inner + value["R3"])
    by_hand = 1.0 / (2.0 * math.pi * (source + value["R6"]) * value["C2"])
    sweep = FrequencySweep(1.0, 2000.0, 200)
    grid = [float(each) for each in sweep.grid()]
    level = gain_at(simulate(amp, sweep, nodes=["R6.1"]), grid, "R6.1").values[0, 0]
    below = slice(None, level.argmax())
    simulated = float(np.exp(np.interp(level.max() - 10.0 * math.log10(2.0), level[below], np.log(grid[below]))))
    behind = f"{format_value(value['C2'], FARAD)} leads from its plate to {format_value(value['R6'], OHM)} to ground."
    return Asked(
        amp,
        f"{_drawn(amp, bypass=False)} {behind} At which frequency has the bass fallen by 3 dB behind the capacitor?",
        _slopes(stage.mu, stage.rp),
        "The corner is 1 / (2 pi R C), R being the resistor behind the capacitor plus the plate as a source: RL "
        "in parallel with rp + (mu + 1) Rk.",
        f"The plate is a source of {source / 1e3:.0f}k.",
        "Hz",
        simulated,
        by_hand,
        f"The capacitor sees {format_value(value['R6'], OHM)} and {source / 1e3:.0f}k of the plate in a row.",
        0.1,
        (
            "Which change halves the corner?",
            "Twice the capacitor.",
            "Half the resistor to ground.",
            "A valve of twice the mu.",
            "The corner goes with 1 / (R C): twice the capacitor, or twice the whole resistance, halves it.",
        ),
    )


def headroom(draw: random.Random, own: Amp | None = None) -> Asked:
    """How far a plate swings when the grid is driven to the cathode."""
    values, about = _own(draw, own, {"R3": draw.choice(("100k", "150k")), "R4": draw.choice(("1k", "1k5", "2k2"))})
    amp = stage_of({**values, "C1": "22u"}, about=about)
    stage, (plate, volts) = textbook_stage(amp), _at_rest(amp)
    level = round(volts, 2)
    gain = abs(complex(stage.gain(1e9)))
    played = simulate(amp, Transient(Sine(1000.0, level)), nodes=["V1A.plate"])["voltage"].values.ravel()
    swing = float(played[-played.size // 4 :].max() - played[-played.size // 4 :].min())
    return Asked(
        amp,
        f"{_drawn(amp)} Its cathode stands at {level:.2f} V, so a sine of {level:.2f} V peak at the grid just reaches "
        "the cathode. How many volts from peak to peak does the plate swing at 1 kHz?",
        _slopes(stage.mu, stage.rp),
        "The gain is mu RL / (rp + RL); the swing from peak to peak is twice the peak.",
        f"The gain is {gain:.0f} times.",
        "V",
        swing,
        2.0 * gain * level,
        f"From {plate:.0f} V at rest the plate swings down far and up less: upwards the current ends, so rp "
        "grows there and the gain falls. The formula, which knows one slope, says a little more or less.",
        0.2,
        (
            "What limits a swing beyond that first?",
            "The grid draws current and cannot be driven further up.",
            "The cathode capacitor is full.",
            "The plate load runs hot.",
            "Where the grid reaches the cathode it becomes a diode: the source cannot lift it further, and that side "
            "is flattened.",
        ),
    )
