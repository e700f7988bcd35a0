"""Output in whatever signs a terminal or a pipe has."""

from __future__ import annotations

import codecs
import os
from typing import TextIO

from .system import lacks_signs

_ERRORS = "ampsim-spelled"
# How signs of the trade are written where they are missing.
_SPELLED = {
    "µ": "u",
    "μ": "u",
    "Ω": "ohm",
    "°": " deg",
    "√": "sqrt ",
    "−": "-",
    "–": "-",
    "×": "x",
    "…": "...",
    "→": "->",
}
_SPELLED |= {"✓": "yes", "✗": "no", "≤": "<=", "≥": ">=", "±": "+-", "“": '"', "”": '"', "’": "'"}


def _spell(problem: UnicodeError) -> tuple[str, int]:
    if not isinstance(problem, UnicodeEncodeError):
        raise problem
    missing = problem.object[problem.start : problem.end]
    return "".join(_SPELLED.get(sign, "?") for sign in missing), problem.end


codecs.register_error(_ERRORS, _spell)


def spell_missing_signs(stream: TextIO) -> None:
    """Have a stream write signs that its encoding lacks as letters, or as "?", instead of ending all work there.

    A file or a pipe that would get a code page of Windows gets UTF-8, unless `PYTHONIOENCODING` says otherwise.
    """
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is None:
        return
    if lacks_signs() and not stream.isatty() and not os.environ.get("PYTHONIOENCODING"):
        reconfigure(encoding="utf-8", errors=_ERRORS)
    else:
        reconfigure(errors=_ERRORS)
