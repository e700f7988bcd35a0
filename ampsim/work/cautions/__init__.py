"""Nobody gets hurt: stored charge, bleeders and cautions of an amp."""

from .sheet import caution_sheet

__all__ = ["caution_sheet"]
