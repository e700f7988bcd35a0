"""The valve laws as compiled code: the text that `differentiate` writes from `circuit.valves.laws`."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from ...circuit.valves.laws import LAWS
from .compiled import jit_uncached
from .differentiate import laws_text
from .elementary import exp, log1p, power


def _compile() -> Callable[..., None]:
    names: dict[str, Any] = {"exp": exp, "log1p": log1p, "power": power, "sqrt": math.sqrt, "atan": math.atan}
    names["abs"] = abs
    exec(compile(laws_text(), "<valve laws>", "exec"), names)
    for number in range(len(LAWS)):
        names[f"law_{number}"] = jit_uncached(names[f"law_{number}"])
    whole: Callable[..., None] = jit_uncached(names["currents"])
    return whole


# (kind, block): `kind` is the place in `LAWS`, a block holds four valves as `differentiate` says.
currents = _compile()
