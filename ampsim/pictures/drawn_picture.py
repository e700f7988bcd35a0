"""A picture that was drawn before, as a page shows it: what else is wanted of it is drawn when it is asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .canvas import Picture


@dataclass(frozen=True, repr=False)
class DrawnPicture:
    """A picture as SVG, with what draws it once more.

    Attributes
    ----------
    heading, alternative : str
        As those of a `Picture`.
    svg : str
        As `export.svg` gave it.
    draw : callable
        Gives the `Picture` itself, which may take as long as working out what it shows.
    """

    heading: str
    alternative: str
    svg: str
    draw: Callable[[], Picture] = field(compare=False)

    def __repr__(self) -> str:
        return f"<picture: {self.heading}>"

    def _repr_png_(self) -> bytes:
        return self.draw()._repr_png_()
