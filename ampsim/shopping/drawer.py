"""Whether a part that is wanted lies in the drawer."""

from __future__ import annotations

from ..wishes import Drawer, Stocked

_SAME = 1e-6


def from_drawer(drawer: Drawer, kind: str, value: float, watts: float, volts: float) -> tuple[Stocked | None, str]:
    """The drawer's part of this value that stands the watts and volts, weakest first, and what is said of it.

    Parameters
    ----------
    drawer : Drawer
    kind : str
        "resistor" or "capacitor"; a drawer keeps nothing else.
    value : float
        [ohm or F].
    watts, volts : float
        What it must stand; NaN where that does not matter.
    """
    if kind not in ("resistor", "capacitor"):
        return None, "buy"
    same = [each for each in drawer.parts if each.kind == kind and abs(each.value / value - 1.0) < _SAME]
    good = [each for each in same if not each.watts < watts and not each.volts < volts]
    if good:
        best = min(good, key=lambda each: (each.volts, each.watts))
        return best, f"in the drawer: {best.words}"
    weak = f": the drawer's {same[0].words} stands too little" if same else ""
    return None, f"buy{weak}"
