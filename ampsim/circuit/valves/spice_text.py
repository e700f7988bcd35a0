"""Pieces of ngspice text that hold in every compatibility mode and under stray Newton iterates."""

from __future__ import annotations


def number(value: float) -> str:
    """Write a number in SI units [V, A, ohm, F] so that ngspice reads back the same double."""
    return repr(float(value))


def node(name: str, expression: str) -> tuple[str, str]:
    """Hold `expression` as the voltage of an internal node: a current source into a noiseless 1 ohm.

    A current source needs no branch equation, so this is one unknown less than a voltage source.
    """
    return (f"B{name} 0 {name} I={expression}", helper(name))


def helper(name: str) -> str:
    """Return the 1 ohm that turns a node's current into its voltage, without noise of its own."""
    return f"R{name} {name} 0 1 noisy=0"


def softplus(argument: str) -> str:
    """Return ln(1 + exp(argument)) for ngspice; `argument` should be a node voltage.

    ngspice clips exp at 1e99, and in PSpice mode makes it linear beyond 14: exp never sees more than 12 here.
    """
    return f"({argument}>12 ? {argument}+exp(-max({argument},12)) : ln(1+exp(min({argument},12))))"
