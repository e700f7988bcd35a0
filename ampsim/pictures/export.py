"""A picture as PNG and SVG, and its files."""

from __future__ import annotations

import hashlib
import html
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from markupsafe import Markup

from ..base.errors import DescriptionError, shown
from ..base.files import write_whole
from . import style
from .drawn_picture import DrawnPicture

if TYPE_CHECKING:
    from .canvas import Picture

Shown: TypeAlias = "Picture | DrawnPicture"
"""What can be shown and saved."""


def drawn_picture(picture: Shown) -> DrawnPicture:
    """Draw a picture as SVG, once."""
    if isinstance(picture, DrawnPicture):
        return picture
    return DrawnPicture(picture.heading, picture.alternative, svg(picture), lambda: picture)


def svg(picture: Shown) -> str:
    """The picture as SVG: the same input gives the same text; it has title and desc, and its style stays its own."""
    return picture.svg if isinstance(picture, DrawnPicture) else _svg(picture)


@style.picture_settings()
def _svg(picture: Picture) -> str:
    from .svg_drawing import svg_text

    drawn = svg_text(picture)
    name = "ampsim-" + hashlib.sha256((picture.heading + drawn).encode()).hexdigest()[:10]
    start = drawn.index("<svg ")
    end = drawn.index(">", start) + 1
    tag = f'<svg id="{name}" role="img" aria-labelledby="{name}-title" aria-describedby="{name}-desc" '
    words = (
        f'\n <title id="{name}-title">{html.escape(picture.heading)}</title>'
        f'\n <desc id="{name}-desc">{html.escape(picture.alternative)}</desc>'
    )
    body = drawn[end:].replace('<style type="text/css">*{', f'<style type="text/css">#{name} *{{', 1)
    return drawn[:start] + tag + drawn[start + len("<svg ") : end] + words + body


def svg_element(picture: Shown) -> Markup:
    """The picture as an element of a page: its SVG without what stands before `<svg`."""
    drawn = svg(picture)
    return Markup(drawn[drawn.index("<svg ") :])


def save_picture(picture: Shown, path: str | Path, formats: Sequence[str] = ("png", "svg")) -> list[Path]:
    """Write a picture; return the files written.

    Parameters
    ----------
    picture : Picture or DrawnPicture
    path : str or Path
        With the ending of a format: that format alone. Without: one file for each of `formats`.
    formats : sequence of {"png", "svg"}
        PNG has 200 dots per inch.

    Raises
    ------
    DescriptionError
        For another format, or when a file cannot be written.
    """
    target = Path(path)
    if target.suffix in (".png", ".svg"):
        return [_write(picture, target)]
    return [_write(picture, target.with_name(f"{target.name}.{each}")) for each in formats]


def _write(picture: Shown, target: Path) -> Path:
    if target.suffix not in (".png", ".svg"):
        raise DescriptionError(f"pictures are written as png or svg, not {shown(target.suffix[1:])}")
    if target.suffix == ".svg":
        return write_whole(target, svg(picture).encode())
    from .canvas import png

    return write_whole(target, png(picture.draw() if isinstance(picture, DrawnPicture) else picture))
