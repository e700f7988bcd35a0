"""Pages from templates (jinja2): every text that is filled in is escaped, except what `render` itself made."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from functools import cache

import pandas as pd
from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from .tables import table_cells
from .wording import one_line


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
        ``printable`` leaves out what does not print.
    """
    return Markup(_environment(package).get_template(template).render(facts))


def html_table(table: pd.DataFrame, caption: str = "", heads_right: bool = False) -> Markup:
    """The table as an HTML fragment with an optional caption; `heads_right` puts the heads of numbers over them."""
    columns, numeric = table_cells(table)
    head, *rows = zip(*columns, strict=True) if columns else [()]
    return render(
        __package__, "table.html", caption=caption, head=head, rows=rows, numeric=numeric, heads_right=heads_right
    )


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
    return environment
