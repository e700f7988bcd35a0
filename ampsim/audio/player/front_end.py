"""What stands in a notebook where a widget cannot be seen: what to install, hidden by every widget that can."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from ...base.notebook import broken_lines

_INSTALL = (
    "appear here once this cell has run. Where they do not, or an error stands in their place, install anywidget where "
    "Jupyter itself runs (pip install anywidget), start Jupyter again and reload this page."
)
_CLASS = "ampsim-without-widgets"
HIDDEN = f"""
.{_CLASS}, .jp-OutputArea-child:has(.{_CLASS}) {{ display: none; }}
"""
"""Style of every widget: who sees one needs not be told what to install."""


def show_with_words(bundle: Any, controls: str, words: str) -> None:
    """Show a widget in a notebook, and before it what to do where no widget appears.

    A front end that lacks anywidget has an error in the widget's place and shows nothing else of its bundle, so the
    words are an output of their own.

    Parameters
    ----------
    bundle : mapping, or a pair of mappings
        The widget's, by type of content, perhaps with metadata.
    controls : str
        What appears, such as "The knobs".
    words : str
        What stands for the widget as plain text.
    """
    from IPython.display import display

    view, metadata = bundle if isinstance(bundle, tuple) else (bundle or {}, {})
    said = f"{controls} {_INSTALL}"
    hint: Mapping[str, str] = {"text/html": f'<p class="{_CLASS}">{escape(said)}</p>', "text/plain": said}
    display(dict(hint), raw=True)
    display({**view, "text/plain": broken_lines(words)}, metadata=metadata, raw=True)
