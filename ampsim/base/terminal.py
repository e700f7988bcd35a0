"""Output in whatever signs a terminal or a pipe has."""

from __future__ import annotations

import codecs
from typing import TextIO

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
    """Have a stream write signs that its encoding lacks as letters, or as "?", instead of ending all work there."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors=_ERRORS)
