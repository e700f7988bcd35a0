"""Pages from templates (jinja2): every text that is filled in is escaped, except what `render` itself made."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from functools import cache

import pandas as pd
from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from .table_fit import fit_table
from .tables import table_cells
from .wording import keep_together, one_line

_SHORT = 12  # rows that are kept on one page
_LONGEST, _PIECE = 66, 22  # signs; a digest stays whole


def render(package: str, template: str, **facts: object) -> Markup:
    """Fill a template.

    Parameters
    ----------
    package : str
        Package in whose folder the template stands, such as `__package__`.
    template : str
        Its file name. A line that holds nothing but a tag of jinja2 leaves no empty line. It may extend
        ``document.html``, the frame of every page, which stands here.
    **facts
        What the template names. A text is escaped; HTML of our own, such as a picture's, comes as `Markup`. The filter
        ``printable`` leaves out what does not print, ``together`` ends no line between a number and its unit.
    """
    return Markup(_environment(package).get_template(template).render(facts))


def html_table(table: pd.DataFrame, caption: str = "", heads_right: bool = False) -> Markup:
    """The table as an HTML fragment with an optional caption; `heads_right` puts the heads of numbers over them.

    Words and numbers stay whole; one that no paper has room for may break.
    """
    columns, numeric = table_cells(table)
    head, *rows = zip(*([_breakable(cell) for cell in column] for column in columns), strict=True) if columns else [()]
    return render(
        __package__, "table.html", caption=caption, head=head, rows=rows, numeric=numeric, heads_right=heads_right
    )


def fitted_table(rows: pd.DataFrame, caption: str = "") -> Markup:
    """A table that fits the paper, heads of numbers to the right over them; nothing when it has no rows.

    Where it is too wide its columns stand in parts, one under the other.
    """
    if rows.empty:
        return Markup("")
    parts, more = fit_table(rows), f"{caption}, more columns" if caption else "more columns"
    return Markup("\n").join(
        Markup('<div class="scroll {}">{}</div>').format(
            f"{look.name} short" if len(part) <= _SHORT else look.name,
            html_table(part, more if number else caption, heads_right=True),
        )
        for number, (look, part) in enumerate(parts)
    )


def _breakable(cell: str) -> Markup:
    """A cell in which a word of more than `_LONGEST` signs may break every so often."""
    words = cell.split(" ")
    if max(map(len, words)) <= _LONGEST:
        return escape(cell)
    pieces = [[word[at : at + _PIECE] for at in range(0, len(word), _PIECE)] for word in words]
    broken = [[word] if len(word) <= _LONGEST else some for word, some in zip(words, pieces, strict=True)]
    return Markup(" ").join(Markup("<wbr>").join(map(escape, some)) for some in broken)


def script_digests(scripts: Sequence[str]) -> str:
    """What a page may run, as its content security policy says it: its own scripts, by their digests."""
    digests = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts]
    return " ".join(f"'sha256-{digest}'" for digest in digests)


@cache
def _environment(package: str) -> Environment:
    environment = Environment(
        loader=ChoiceLoader([PackageLoader(package, "."), PackageLoader(__package__, ".")]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["printable"] = lambda text: one_line(str(text))
    environment.filters["together"] = lambda text: keep_together(str(text))
    return environment
