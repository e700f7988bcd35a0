"""The laws as compiled code: the text that `differentiate` writes from `step_laws`."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from .compiled import jit_uncached
from .differentiate import laws_text
from .elementary import exp, log1p, omega, power
from .step_laws import STEP_LAWS


def _compile() -> Callable[..., None]:
    names: dict[str, Any] = {
        "exp": exp,
        "log1p": log1p,
        "power": power,
        "omega": omega,
        "sqrt": math.sqrt,
        "atan": math.atan,
    }
    names["abs"] = abs
    exec(compile(laws_text(), "<laws>", "exec"), names)
    for number in range(len(STEP_LAWS)):
        names[f"law_{number}"] = jit_uncached(names[f"law_{number}"])
    whole: Callable[..., None] = jit_uncached(names["currents"])
    return whole


# (kind, block): `kind` is the place in `STEP_LAWS`, a block holds four places as `differentiate` says.
currents = _compile()
