"""Valves: what a valve file may say, the laws that turn voltages into currents, and their ngspice text."""

from __future__ import annotations

from .description import Capacitances, FitRange, GridDiode, Heater, Limits, Point, Valve
from .evaluation import Currents, Slopes, currents, slopes
from .laws import LAWS
from .parsing import parse_valve
from .spice import PINS, subcircuit

__all__ = [
    "LAWS",
    "PINS",
    "Capacitances",
    "Currents",
    "FitRange",
    "GridDiode",
    "Heater",
    "Limits",
    "Point",
    "Slopes",
    "Valve",
    "currents",
    "parse_valve",
    "slopes",
    "subcircuit",
]
