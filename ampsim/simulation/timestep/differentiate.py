"""A law as it stands in `circuit`, of a valve or of a semiconductor, written out as compiled code with its slopes.

The law is called once with traced numbers instead of arrays. They record what is done to them; every recorded step
knows its own derivative. So a law is written down once, for numpy, and no derivative is ever worked out by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from .step_laws import STEP_LAWS, StepLaw

VOLTAGES = ("plate", "grid", "screen")
# Places of one law are worked out four at a time. Their block has rows of four: the voltages, plate current and its
# slopes by each voltage, screen current and its slopes, the slope of the grid current, the law's parameters. Of any
# other law the first port stands for the plate, the second for the grid, the third for the screen.
LANES = 4
PLATE, SCREEN, GRID, PARAMETERS = 3, 7, 11, 12
ROWS = PARAMETERS + max(len(law.parameters) for law in STEP_LAWS.values())


class Traced(np.lib.mixins.NDArrayOperatorsMixin):
    """A number that stands for a line of code; slopes are numbers too, left out where they are zero."""

    __array_priority__ = 1000

    def __init__(self, tape: Tape, name: str, slopes: Mapping[str, Traced] | None = None) -> None:
        self.tape, self.name, self.slopes = tape, name, dict(slopes or {})

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **kwargs: Any) -> Any:
        """Record a step."""
        if method != "__call__" or kwargs or ufunc.__name__ not in STEPS:
            raise NotImplementedError(f"{ufunc.__name__} in a valve law: say in STEPS what its derivative is")
        return STEPS[ufunc.__name__](self.tape, *(self.tape.number(each) for each in inputs))


class Tape:
    """The lines of one law, each different line once."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._known: dict[str, Traced] = {}

    def number(self, value: Any) -> Traced:
        """A traced number as it is; a constant as one."""
        return value if isinstance(value, Traced) else Traced(self, repr(float(value)))

    def keep(self, text: str, slopes: Mapping[str, Traced] | None = None) -> Traced:
        """Write a line, or find the one that says the same."""
        if text not in self._known:
            name = f"t{len(self.lines)}"
            self.lines.append(f"{name} = {text}")
            self._known[text] = Traced(self, name, slopes)
        return self._known[text]

    def chain(self, *terms: tuple[Traced, Callable[[], Traced]]) -> dict[str, Traced]:
        """Slopes of a step: each input's slopes times how the step goes with that input, summed."""
        found: dict[str, Traced] = {}
        for given, by in terms:
            for voltage, slope in given.slopes.items():
                part = _times(self, by(), slope)
                found[voltage] = _plus(self, found[voltage], part) if voltage in found else part
        return found


def _is(number: Traced, value: float) -> bool:
    return number.name == repr(value)


def _flat(number: Traced) -> Traced:
    """The same number as a slope: nobody asks for its slopes again."""
    return Traced(number.tape, number.name)


def _times(tape: Tape, a: Traced, b: Traced) -> Traced:
    a, b = _flat(a), _flat(b)
    if _is(a, 1.0) or _is(b, 1.0):
        return b if _is(a, 1.0) else a
    return tape.keep(f"{a.name} * {b.name}")


def _plus(tape: Tape, a: Traced, b: Traced) -> Traced:
    return tape.keep(f"{a.name} + {b.name}")


def _add(tape: Tape, a: Traced, b: Traced) -> Traced:
    one = tape.number(1.0)
    return tape.keep(f"{a.name} + {b.name}", tape.chain((a, lambda: one), (b, lambda: one)))


def _subtract(tape: Tape, a: Traced, b: Traced) -> Traced:
    one, minus = tape.number(1.0), tape.number(-1.0)
    return tape.keep(f"{a.name} - {b.name}", tape.chain((a, lambda: one), (b, lambda: minus)))


def _multiply(tape: Tape, a: Traced, b: Traced) -> Traced:
    return tape.keep(f"{a.name} * {b.name}", tape.chain((a, lambda: b), (b, lambda: a)))


def _divide(tape: Tape, a: Traced, b: Traced) -> Traced:
    inverse = tape.keep(f"1.0 / {b.name}")
    found = tape.keep(f"{a.name} * {inverse.name}")
    found.slopes = tape.chain((a, lambda: inverse), (b, lambda: tape.keep(f"-{found.name} * {inverse.name}")))
    return found


def _power(tape: Tape, a: Traced, b: Traced) -> Traced:
    if b.slopes:
        raise NotImplementedError("an exponent that goes with a voltage")
    if _is(b, 2.0):
        return _multiply(tape, a, a)
    found = tape.keep(f"power({a.name}, {b.name})")
    by = f"{b.name} * {found.name} / {a.name} if {a.name} > 0.0 else 0.0"
    found.slopes = tape.chain((a, lambda: tape.keep(by)))
    return found


def _maximum(tape: Tape, a: Traced, b: Traced) -> Traced:
    by = [lambda x=x, y=y: tape.keep(f"1.0 if {x.name} > {y.name} else 0.0") for x, y in ((a, b), (b, a))]
    return tape.keep(f"{a.name} if {a.name} > {b.name} else {b.name}", tape.chain((a, by[0]), (b, by[1])))


def _softplus(tape: Tape, a: Traced, b: Traced) -> Traced:
    if not _is(a, 0.0):
        raise NotImplementedError("logaddexp of two numbers that are not zero")
    falling = tape.keep(f"exp(-abs({b.name}))")
    by = f"1.0 / (1.0 + {falling.name}) if {b.name} > 0.0 else {falling.name} / (1.0 + {falling.name})"
    return tape.keep(
        f"({b.name} if {b.name} > 0.0 else 0.0) + log1p({falling.name})", tape.chain((b, lambda: tape.keep(by)))
    )


def _sqrt(tape: Tape, a: Traced) -> Traced:
    found = tape.keep(f"sqrt({a.name})")
    found.slopes = tape.chain((a, lambda: tape.keep(f"0.5 / {found.name}")))
    return found


def _hypot(tape: Tape, a: Traced, b: Traced) -> Traced:
    return _sqrt(tape, _add(tape, _multiply(tape, a, a), _multiply(tape, b, b)))


def _arctan(tape: Tape, a: Traced) -> Traced:
    return tape.keep(f"atan({a.name})", tape.chain((a, lambda: tape.keep(f"1.0 / (1.0 + {a.name} * {a.name})"))))


def _omega(tape: Tape, a: Traced) -> Traced:
    found = tape.keep(f"omega({a.name})")
    found.slopes = tape.chain((a, lambda: tape.keep(f"{found.name} / (1.0 + {found.name})")))
    return found


def _exp(tape: Tape, a: Traced) -> Traced:
    found = tape.keep(f"exp({a.name})")
    found.slopes = tape.chain((a, lambda: found))
    return found


STEPS: Mapping[str, Callable[..., Traced]] = {
    "add": _add,
    "subtract": _subtract,
    "multiply": _multiply,
    "divide": _divide,
    "power": _power,
    "maximum": _maximum,
    "logaddexp": _softplus,
    "sqrt": _sqrt,
    "hypot": _hypot,
    "exp": _exp,
    "arctan": _arctan,
    "wrightomega": _omega,
}


def law_function(name: str, law: StepLaw) -> str:
    """Text of a function that works out a law for the four places of a block."""
    tape = Tape()
    one = tape.number(1.0)
    parameters = {
        each: Traced(tape, f"block[{(PARAMETERS + number) * LANES} + lane]")
        for number, each in enumerate(law.parameters)
    }
    volts = [Traced(tape, voltage, {voltage: one}) for voltage in VOLTAGES]
    results: list[str] = []
    for current in map(tape.number, law.currents(parameters, *volts)):
        slopes = [current.slopes.get(voltage) for voltage in VOLTAGES]
        results += [current.name, *(slope.name if slope else "0.0" for slope in slopes)]
    lines = [f"{voltage} = block[{number * LANES} + lane]" for number, voltage in enumerate(VOLTAGES)]
    lines += tape.lines
    lines += [f"block[{(PLATE + row) * LANES} + lane] = {result}" for row, result in enumerate(results)]
    return "\n        ".join([f"def {name}(block):\n    for lane in range({LANES}):", *lines]) + "\n"


def laws_text() -> str:
    """Every law as a function, `law_0`, ... in the order of `STEP_LAWS`, and `currents(kind, block)` for any."""
    functions = [law_function(f"law_{number}", law) for number, law in enumerate(STEP_LAWS.values())]
    picks = [f"    if kind == {number}:\n        law_{number}(block)" for number in range(len(STEP_LAWS))]
    return "\n".join([*functions, "def currents(kind, block):", *picks]) + "\n"
