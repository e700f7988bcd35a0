"""What the parts of a switch are called at the bench: one of another value is another part, with lugs of its own."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...circuit.positions import switches_at
from ..parts_list.switch_need import name_in_wiring
from .checks import Check


def wired_names(amp: Amp, position: Mapping[str, float | str]) -> dict[str, str]:
    """To each designator of the drawing that a switch has put another part in place of, the name of that part."""
    replaced = {
        edit.part
        for switch in amp.all_switches
        for _, edits in switch.positions
        for edit in edits
        if edit.action == "replace"
    }
    parts = build_circuit(amp, switches_at(amp, position)).parts
    names = {part: name_in_wiring(amp, parts[part]) for part in sorted(replaced)}
    return {part: name for part, name in names.items() if name != part}


def with_wired_names(checks: Iterable[Check], names: Mapping[str, str]) -> list[Check]:
    """The checks with the lugs that the meter is held to, in words."""
    if not names:
        return list(checks)
    pattern = re.compile(rf"\b({'|'.join(map(re.escape, names))})(?=\.)")
    return [replace(check, what=pattern.sub(lambda found: names[found[1]], check.what)) for check in checks]
