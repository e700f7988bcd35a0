"""The wiring of a mod for the record: what is soldered where, which terminals each switch closes, and the schematic."""

from __future__ import annotations

import pandas as pd

from ...base.tables import text_table
from ...circuit.amp import Amp
from ...circuit.mods import describe_part
from ...pictures.export import svg
from ...work.schematic.draw import schematic
from ...work.wiring.from_to import Wire, Wiring


def wiring_tables(found: Wiring) -> dict[str, pd.DataFrame]:
    """Title to table: what comes off and is exchanged, from-to list, contacts of each switch; empty ones left out."""
    off = [(lead, place) for lead, place in found.unsoldered] + [(part, "comes out") for part in found.taken_out]
    wires = [(number, each.start, each.end, _what(found, each)) for number, each in enumerate(found.wires, 1)]
    tables = {
        "what comes off": pd.DataFrame(off, columns=["lead or part", "from"]),
        "what is exchanged": pd.DataFrame(found.values, columns=["part", "before", "after"]),
        "from-to list": pd.DataFrame(wires, columns=["no.", "from", "to", "what"]),
    }
    for each in found.switches:
        rows = [
            (row.label, row.stands, ", ".join(" to ".join(pair) for pair in row.closed) or "none") for row in each.rows
        ]
        title = f"contacts of {each.designator} ({each.control}), {each.kind or each.reason}"
        tables[title] = pd.DataFrame(rows, columns=["position", "lever", "terminals closed"])
    return {title: table for title, table in tables.items() if not table.empty}


def _what(found: Wiring, wire: Wire) -> str:
    """What a connection is made with; a lead with the value of its part, and the part in whose place it is."""
    part = wire.start.partition(".")[0]
    if wire.what in ("wire", "strap") or part not in found.parts:
        return wire.what
    place = f" for {found.bought[part]}" if part in found.bought else ""
    return f"{wire.what}, {describe_part(found.parts[part])}{place}"


def wiring_drawings(amp: Amp) -> dict[str, str]:
    """Title to SVG: one sheet with what the mods touch, as it is after the work.

    Raises
    ------
    DescriptionError
        As `wiring.readback.wiring`.
    """
    return {"The circuit after the work": svg(schematic(amp))}


def wiring_text(found: Wiring) -> str:
    """The tables as plain text."""
    return "\n\n".join(f"Wiring: {title}\n{text_table(table)}" for title, table in wiring_tables(found).items())
