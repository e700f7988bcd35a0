"""How far a figure may lie from that of an average valve: what published rows leave of the laws, by kind of figure."""

from __future__ import annotations

from collections.abc import Mapping

# Twice what nine in ten of the rows that valves were fitted to keep within, since a fit flatters itself; a test works
# them out anew, and `python -m tests.truth` prints how many of the rows that no fit used lie inside.
BANDS: Mapping[str, float] = {
    "current at rest": 0.14,
    "slope": 0.15,
    "gain": 0.14,
    "watts": 0.21,
    "distortion": 0.31,
}
"""Kind of figure to its band, as a share of the figure, to both sides."""


def band_words(*kinds: str) -> str:
    """A sentence that says the bands of some kinds of figures [%].

    Raises
    ------
    KeyError
        For a kind that has no band.
    """
    shares = ", ".join(f"{kind} within {100.0 * BANDS[kind]:.0f} %" for kind in kinds)
    return (
        f"Figures are those of an average valve of each type. Published stages lie as near to them as that: {shares}; "
        "that is twice what nine in ten of the rows used in fits keep within. Single valves differ more."
    )
