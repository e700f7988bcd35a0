"""The entry of a reverb tank in [parts]."""

from __future__ import annotations

import math
from collections.abc import Iterator

from ..base.entries import Entry
from ..base.errors import shown
from ..base.quantities import HERTZ, OHM, format_value
from ..circuit.reverb_tank import ReverbTank

PINS = ("in", "in_ground", "out", "out_ground")
# Usual ones, from memory, not checked: resistance to impedance of both coils, what a current brings back, two springs.
_INPUT, _OUTPUT, _COUPLING = 0.13, 0.085, 8e-4
_DELAYS, _DECAY, _LOW, _HIGH = (33.0, 41.0), 2.4, 100.0, 4300.0


def read_reverb_tank(designator: str, entry: Entry) -> ReverbTank:
    """Read a tank: `input` and `output` impedances at 1 kHz, and what may be left out.

    Raises
    ------
    DescriptionError
        Naming the entry, its value and what would do.
    """
    ends = (entry.value("input", OHM), entry.value("output", OHM))
    for key, ohms in zip(("input", "output"), ends, strict=True):
        if not 2.0 <= ohms <= 50e3:
            raise entry.fail(key, f"{format_value(ohms, OHM)} ohm is no impedance of a tank at 1 kHz (2 ohm to 50k)")
    made = ReverbTank(
        designator,
        ends[0],
        entry.value("input_resistance", OHM, _INPUT * ends[0]),
        ends[1],
        entry.value("output_resistance", OHM, _OUTPUT * ends[1]),
        tuple(0.001 * delay for delay in _delays(entry)),
        entry.number("decay", 0.2, 20.0, _DECAY),
        entry.number("coupling", 1e-5, 100.0, _COUPLING * math.sqrt(ends[0] * ends[1])),
        entry.value("low", HERTZ, _LOW),
        entry.value("high", HERTZ, _HIGH),
    )
    for key, ohms, whole in (
        ("input_resistance", made.input_resistance, ends[0]),
        ("output_resistance", made.output_resistance, ends[1]),
    ):
        if not 0.001 * whole <= ohms <= 0.95 * whole:
            raise entry.fail(key, f"{ohms:g} ohm; less than the impedance at 1 kHz, {whole:g} ohm, and more than none")
    if not (5.0 <= made.low < made.high / 3.0 and made.high <= 20e3 and made.high >= 1e3):
        raise entry.fail("high", f"from {made.low:g} to {made.high:g} Hz; a spring passes from 5 Hz up to 1 to 20 kHz")
    entry.finish()
    return made


def _delays(entry: Entry) -> tuple[float, ...]:
    given = entry.elements("delays_ms", 6) or list(_DELAYS)
    for delay in given:
        if isinstance(delay, bool) or not isinstance(delay, (int, float)) or not 10.0 <= delay <= 200.0:
            raise entry.fail("delays_ms", f"{shown(delay)} is no delay of a spring, such as 33 ms (10 to 200)")
    return tuple(float(delay) for delay in given)


def describe_tank(tank: ReverbTank) -> str:
    """A tank in words, with its unit to each number."""
    delays = " and ".join(f"{1e3 * each:g}" for each in tank.springs)
    return (
        f"reverb tank, {format_value(tank.input_impedance, OHM)} to {format_value(tank.output_impedance, OHM)} ohm at "
        f"1 kHz, {delays} ms, {tank.decay:g} s to 60 dB"
    )


def assumed_of_tank(tank: ReverbTank, given: object) -> Iterator[str]:
    """What was filled in of a tank, in words."""
    known = given if isinstance(given, dict) else {}
    said = [
        words
        for key, words in (
            ("input_resistance", f"input coil {tank.input_resistance:.3g} ohm at direct current"),
            ("output_resistance", f"output coil {tank.output_resistance:.3g} ohm"),
            ("delays_ms", f"springs of {' and '.join(f'{1e3 * each:g}' for each in tank.springs)} ms"),
            ("decay", f"{tank.decay:g} s to 60 dB"),
            ("coupling", f"{1e3 * tank.coupling:.3g} mV out for 1 mA in"),
            ("low", f"from {tank.low:g} Hz"),
            ("high", f"up to {tank.high:g} Hz"),
        )
        if key not in known
    ]
    if said:
        yield f"{tank.designator}: {', '.join(said)} (usual ones; none are given)"
    yield f"{tank.designator}: in sweeps all its echoes act at once, as strong as together; in time they come late"
