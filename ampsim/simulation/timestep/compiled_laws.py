"""The valve laws as compiled code: the text that `tracing` wrote from `valves`, and nothing else."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from ...circuit.valves.laws import LAWS
from .compiled import quick
from .differentiate import laws_text
from .elementary import exp, log1p, power


def _compiled() -> Callable[..., Any]:
    names: dict[str, Any] = {"exp": exp, "log1p": log1p, "power": power, "sqrt": math.sqrt, "atan": math.atan}
    names["abs"] = abs
    exec(compile(laws_text(), "<valve laws>", "exec"), names)
    for number in range(len(LAWS)):
        names[f"law_{number}"] = quick(names[f"law_{number}"])
    return quick(names["currents"])


# (kind, block): `kind` is the place in `LAWS`, a block holds four valves as `tracing` says.
currents = _compiled()
