"""One drawing of an amp or of what a mod touches, made from the description: placed, routed and read back."""

from .draw import schematic

__all__ = ["schematic"]
