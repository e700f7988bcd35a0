"""Messages between the caller and a simulator process: a small pickled head, then plain numbers."""

from __future__ import annotations

import io
import pickle
import re
import struct
from typing import Any, NamedTuple

_STEPS = re.compile(r"tran \S+ (\S+ \S+) (\S+)")
_TOLERANCE = re.compile(r"reltol=([0-9.e+-]+)")
_LEAKAGE = (1e13, 1e12)  # ohm, of every net to ground
_SIZES = struct.Struct("<QQ")


class Form(NamedTuple):
    """Settled netlist text, cut at the values that may differ between positions, and what to do with it.

    `skeleton` holds the text before, between and after the values of the elements named in `parts`; `command` is
    the analysis, `vectors` what to fetch. `points` is the expected length (0 for a transient, which must reach
    `end` [s]). `fresh` asks for a load of its own: then the answer is the same to the last digit wherever it runs.
    `once`: whoever asks has another circuit to try, and wants no `further_tries` of this one.
    `fine`: it is what `finer` gives.
    """

    skeleton: tuple[str, ...]
    parts: tuple[str, ...]
    command: str
    vectors: tuple[str, ...]
    points: int
    end: float = 0.0
    fresh: bool = False
    once: bool = False
    fine: bool = False

    def text(self, values: tuple[float, ...]) -> str:
        """Write the netlist with these values [ohm, F, H], one to each of `parts`."""
        pieces = [self.skeleton[0]]
        for value, piece in zip(values, self.skeleton[1:], strict=True):
            pieces += [repr(value), piece]
        return "".join(pieces)

    def finer(self) -> Form:
        """The same transient in a quarter of the steps at a tenth of the tolerance; itself where it is that already.

        A driven stage jumps by hundreds of volts. When that falls into a step in which inductors ring from point to
        point, which the trapezoidal rule lets them where steps are long, ngspice finds no solution and then no step
        that is small enough.
        """
        found = _STEPS.fullmatch(self.command)
        if found is None or self.fine:
            return self
        step = repr(0.25 * float(found[2]))
        options = (_TOLERANCE.sub(lambda told: f"reltol={0.1 * float(told[1])!r}", each) for each in self.skeleton)
        return self._replace(command=f"tran {step} {found[1]} {step}", skeleton=tuple(options), fine=True)

    def damped(self) -> Form:
        """The same transient by Gear's method, which damps what swings faster than its steps; itself where it is."""
        return self if any("method=gear" in each for each in self.skeleton) else self._with("method=gear")

    def further_tries(self, astray: bool = False) -> tuple[Form, ...]:
        """The same circuit for a second try, and for further ones.

        `astray`: an operating point was not found, though the equations as they stand can be solved.

        First with pivots that keep more digits: those that ngspice takes by default lose too many where milliohms
        meet gigohms, and then no step is short enough. For a transient then `finer`, and `damped` as well. Where
        nothing says at which volts a net is, such as between two zeners in a loop that hardly differ, the search
        goes astray: then as much leakage from every net as dirt has says it, less than a nanoampere.
        """
        if self.once:
            return ()
        exact = self._with("pivrel=0.5")
        if astray:
            leaky = [f"rshunt={ohms!r}" for ohms in _LEAKAGE]
            return (exact, *(exact._with(each) for each in leaky), self._with(leaky[-1]))
        in_time = (exact.finer(), exact.finer().damped()) if self.command.startswith("tran") else ()
        return tuple(dict.fromkeys((exact, *in_time)))

    def _with(self, option: str) -> Form:
        return self._replace(
            skeleton=tuple(each.replace("\n.options ", f"\n.options {option} ") for each in self.skeleton)
        )


class Task(NamedTuple):
    """Netlists for one simulator process: the forms, and for each netlist (index of its form, values)."""

    forms: tuple[Form, ...]
    netlists: tuple[tuple[int, tuple[float, ...]], ...]


class Ready(NamedTuple):
    """First message of a simulator process: it works, with these versions."""

    versions: dict[str, str]


class Unusable(NamedTuple):
    """First message of a simulator process that cannot work."""

    reason: str


class Answer(NamedTuple):
    """Outcome of one netlist, in the order of the tasks; the numbers follow: scale, then one row per vector.

    `fault` says why there are no numbers. `spent`: the process must not be used again.
    """

    points: int
    has_scale: bool
    is_complex: bool
    notes: tuple[str, ...] = ()
    fault: str | None = None
    spent: bool = False


def send(pipe: io.RawIOBase, head: object, body: bytes = b"") -> None:
    """Write one message.

    Raises
    ------
    OSError
        When the other side is gone.
    """
    packed = pickle.dumps(head, protocol=5)
    rest = memoryview(b"".join((_SIZES.pack(len(packed), len(body)), packed, body)))
    while rest:
        rest = rest[pipe.write(rest) or 0 :]


def receive(pipe: io.RawIOBase) -> tuple[Any, memoryview]:
    """Read one message: its head, and the bytes behind it.

    Raises
    ------
    EOFError
        When the other side is gone.
    """
    head_size, body_size = _SIZES.unpack(_exactly(pipe, _SIZES.size))
    whole = _exactly(pipe, head_size + body_size)
    return pickle.loads(whole[:head_size]), whole[head_size:]


def _exactly(pipe: io.RawIOBase, size: int) -> memoryview:
    whole = memoryview(bytearray(size))
    rest = whole
    while rest:
        count = pipe.readinto(rest)
        if not count:
            raise EOFError
        rest = rest[count:]
    return whole
