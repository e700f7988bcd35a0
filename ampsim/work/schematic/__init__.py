"""Schematic fragments of the touched stages, drawn from the description."""

from .draw import schematic

__all__ = ["schematic"]
