"""What an amp works into: a loudspeaker or several, or a dummy load."""

from __future__ import annotations

from ...base.errors import nearest, shown
from .template import GROUND, Kind, Role, StageBuilder, Template, end_names

_ARRANGEMENTS = ("parallel", "series", "series-parallel")


def _load(bench: StageBuilder) -> tuple[str, ...]:
    for row in _rows(bench):
        net = bench.signal[0]
        for designator in row:
            one, other = end_names(bench.part(designator).kind)
            far = GROUND if designator == row[-1] else f"{designator.lower()}_{other}"
            bench.put(designator, **{f"end{one}": net, f"end{other}": far})
            net = far
    return bench.signal


def _rows(bench: StageBuilder) -> list[tuple[str, ...]]:
    """Rows of parts in series; the rows are in parallel."""
    parts = bench.designators("load")
    how = bench.word("arrangement") if bench.has("arrangement") else _ARRANGEMENTS[0]
    if how not in _ARRANGEMENTS:
        raise bench.fault(f"{shown(how)} is no arrangement of loads{nearest(how, _ARRANGEMENTS)}")
    if how == "series":
        return [parts]
    if how == "parallel":
        return [(each,) for each in parts]
    if len(parts) % 2 or len(parts) < 4:
        raise bench.fault(f"series-parallel is pairs in series, the pairs in parallel; given are {len(parts)} parts")
    return [parts[first : first + 2] for first in range(0, len(parts), 2)]


LOAD = Template(
    "load",
    Kind.LOAD,
    "what the stage before works into: a loudspeaker, several, or a plain resistor",
    {
        "load": Role("loudspeakers or dummy load", ("loudspeaker", "resistor"), True),
        "arrangement": Role(
            "how several are joined: parallel, series, or series-parallel, two and two in series (default: parallel)",
            ("word",),
            moot=lambda bench: len(bench.designators("load")) == 1,
        ),
    },
    1,
    _load,
)

TEMPLATES = (LOAD,)
