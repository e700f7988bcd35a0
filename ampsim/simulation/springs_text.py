"""The springs of a reverb tank as ngspice lines: a line that delays in time, one stated strength in sweeps.

All is scaled to volts behind resistors of a milliohm, whose noise is nothing beside that of the tank's coils.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from ..circuit.reverb_tank import SECTIONS, SHARPNESS, ReverbTank

_OHMS = 1e-3


def spring_lines(name: str, sense: tuple[str, str], emf: str, tank: ReverbTank, in_time: bool) -> Iterator[str]:
    """Write what drives the output coil of a tank.

    Parameters
    ----------
    name : str
        Begins the names of its nodes and elements.
    sense : tuple of str
        The nets of the input coil's resistance, whose voltage tells the current.
    emf : str
        The net that the output coil begins at.
    tank : ReverbTank
    in_time : bool
        Whether waves run through the springs; else all their passes together act at once, as strong as the echoes of
        a long tone.
    """
    gain = tank.coupling * tank.share / tank.input_resistance
    yield from _band(name, sense, gain, tank)
    if not in_time:
        yield f"e{name}_emf {emf} 0 {name}_p 0 {tank.steady / (tank.coupling * tank.share)!r}"
        return
    foot, count = "0", len(tank.springs)
    for number, (seconds, kept) in enumerate(zip(tank.line_seconds, tank.kept, strict=True)):
        own = f"{name}_{number}"
        yield f"e{own}_s {own}_s {own}_t {name}_p 0 1.0"
        yield f"e{own}_t {own}_t 0 {own}_back 0 {-kept!r}"
        yield from _pass(f"{own}_there", f"{own}_s", f"{own}_far", seconds, tank)
        yield from _pass(f"{own}_way", f"{own}_far", f"{own}_back", seconds, tank)
        head = emf if number == count - 1 else f"{own}_sum"
        yield f"e{own}_sum {head} {foot} {own}_far 0 1.0"
        foot = head


def _band(name: str, sense: tuple[str, str], gain: float, tank: ReverbTank) -> Iterator[str]:
    """The frequencies that pass: one pole below, two of Butterworth's above."""
    omega = 2.0 * math.pi * tank.high
    yield f"e{name}_f {name}_f 0 {sense[0]} {sense[1]} {gain!r}"
    yield f"c{name}_h {name}_f {name}_h {1.0 / (2.0 * math.pi * tank.low * _OHMS)!r}"
    yield f"r{name}_h {name}_h 0 {_OHMS!r}"
    yield f"e{name}_b {name}_b 0 {name}_h 0 1.0"
    yield f"r{name}_l {name}_b {name}_l {_OHMS!r}"
    yield f"l{name}_l {name}_l {name}_p {math.sqrt(0.5) * _OHMS / omega!r}"
    yield f"c{name}_l {name}_p 0 {math.sqrt(2.0) / (_OHMS * omega)!r}"


def _pass(own: str, first: str, last: str, seconds: float, tank: ReverbTank) -> Iterator[str]:
    """One pass: a line that ends in its own impedance, then all-pass sections; `first` is held by a source."""
    yield f"t{own} {first} 0 {own}_0 0 z0=1.0 td={seconds!r} rel=1e3 abs=1e9"
    yield f"r{own} {own}_0 0 1.0"
    omega = 2.0 * math.pi * tank.high
    henries = _OHMS * SHARPNESS / omega
    # The line must not be loaded by the first section.
    yield f"e{own}_0 {own}_x0 0 {own}_0 0 1.0"
    for number in range(SECTIONS):
        here, after = f"{own}_x{number}", last if number == SECTIONS - 1 else f"{own}_x{number + 1}"
        at = f"{own}_{number}"
        yield f"l{at} {here} {at}_m {henries!r}"
        yield f"c{at} {at}_m {at}_y {1.0 / (omega * omega * henries)!r}"
        yield f"r{at} {at}_y 0 {_OHMS!r}"
        yield f"e{at}_a {after} {at}_z {here} 0 1.0"
        yield f"e{at}_b {at}_z 0 {at}_y 0 -2.0"
