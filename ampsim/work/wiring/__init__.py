"""How a mod is wired: from-to list, the contact truth table of every switch, and the table read back."""

from .readback import wiring

__all__ = ["wiring"]
