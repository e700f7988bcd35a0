"""`ampsim find`: from a wish to part values."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from ...base.caution import CAUTION_LINE
from .common import Commands, to_option

if TYPE_CHECKING:
    from ...studies.search.wishes import WishList

PLACE = 40


def add(commands: Commands) -> None:
    """Add "find"."""
    parser = commands.add_parser("find", help="from a wish to part values: try every set that a wish file allows")
    parser.add_argument("wishes", help="a wish file or the name of one, such as bright-when-low")
    parser.add_argument("--drawer", help="choose from this drawer file instead of the one that the wishes name")
    to_option(parser, "folder for the pictures", "found-NAME")
    parser.set_defaults(command=_find)


def _find(options: argparse.Namespace) -> None:
    from ...library.loader import load_wishes

    print_values(load_wishes(options.wishes, options.drawer), options.to)


def print_values(wanted: WishList, folder: Path | None = None) -> None:
    """Print the part values that meet the wishes, and leave pictures in a folder (default: "found-", wishes' name)."""
    from ...base.files import file_word, refuse_unwritable
    from ...base.progress import ProgressBar
    from ...pictures.export import save_picture
    from ...studies.search.picture import corridor_picture, trade_picture
    from ...studies.search.search import find_values
    from ...studies.search.text import find_text

    folder = folder or Path("found-" + file_word(wanted.name))
    refuse_unwritable(folder)
    with ProgressBar() as bar:
        found = find_values(wanted, progress=bar)
    print(find_text(found))
    if not found.best:
        print(f"There is nothing to draw.\n\n{CAUTION_LINE}")
        return
    pictures = {"corridor": corridor_picture(found)}
    if len(wanted.wishes) > 1:
        pictures["trade"] = trade_picture(found)
    for name, picture in pictures.items():
        save_picture(picture, folder / name)
    print(f"Pictures (PNG and SVG) are in the folder {folder}: {', '.join(pictures)}\n\n{CAUTION_LINE}")
