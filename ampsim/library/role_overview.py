"""What was understood of a mod, also of one that is still to be landed in an amp, in plain text."""

from __future__ import annotations

from collections.abc import Iterator

from ..circuit.amp import Mod
from .landing import RoleMod
from .overview import describe_mod
from .role_tables import Tables


def describe_any_mod(mod: Mod) -> str:
    """Say what a mod file means; of one that fits any amp the places it looks for, and what must hold there."""
    if not isinstance(mod, RoleMod):
        return describe_mod(mod)
    sections = {
        "Why": [mod.reason],
        "From": [mod.source] if mod.source else [],
        "Looks for": [f"{place}{_asked(mod, place)}" for place in mod.wants],
        "Parts it brings": [f"{name} {given}" for name, given in mod.tables.get("parts", {}).items()],
        "Done always": [_words(edit) for edit in mod.tables.get("edits", ())],
    }
    for switch in mod.tables.get("switches", ()):
        sections[f"Switch {switch['designator']} '{switch['control']}'"] = [
            f"{label}: {'; '.join(_words(edit) for edit in edits) or 'as drawn'}"
            for label, edits in switch["positions"].items()
        ]
    lines = [f"{mod.name} ({mod.file}), fits any amp that has what it looks for; `ampsim fits` says which have"]
    for title, rows in sections.items():
        lines += ["", title, *(f"  {row}" for row in rows)] if rows else []
    return "\n".join(lines)


def _asked(mod: RoleMod, place: str) -> str:
    asked = [text for key, text in mod.expects if key == place]
    return f": {'; '.join(asked)}" if asked else ""


def _words(edit: Tables) -> str:
    return ", ".join(f"{key.replace('_', ' ')} {_value(each)}" for key, each in edit.items())


def _value(value: object) -> str:
    return " and ".join(_pieces(value))


def _pieces(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        yield from (f"{key} {each}" for key, each in value.items())
    elif isinstance(value, list):
        yield from (", ".join(map(str, each)) if isinstance(each, list) else str(each) for each in value)
    else:
        yield str(value)
