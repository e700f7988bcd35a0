"""Schematic fragments of the touched stages, drawn from the description."""

from .draw import describe_schematic, schematic, schematics
from .fragment import Fragment, Item, fragments
from .geometry import Sheet, Symbol, Word
from .layout import lay_out

__all__ = [
    "Fragment",
    "Item",
    "Sheet",
    "Symbol",
    "Word",
    "describe_schematic",
    "fragments",
    "lay_out",
    "schematic",
    "schematics",
]
