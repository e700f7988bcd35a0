"""One ngspice in one process, driven through PySpice's shared-library binding: netlists in, arrays out."""

from __future__ import annotations

import logging
import re
from collections.abc import Sequence
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from PySpice.Spice.NgSpice.Shared import NgSpiceCircuitError, NgSpiceCommandError, NgSpiceShared, ffi

from ...base.errors import EngineError
from .messages import explain, is_fault, of_answer, of_first_search, remarks, turns
from .protocol import Form

_MOST_LINES = 400
# ngspice writes 1e32 for a division by zero and 1e99 for an overflow, without a word.
_MOST = 1e30
# The last search for an operating point, said where that failed too.
_NO_START = "Transient op"
# Steps shorter than this share of those asked for, 1 ns of 20 us: see `carries_currents`.
_SHORTEST = 5e-5
# Stays switched on for every later netlist of the process.
_LASTING = re.compile(r"^\s*\.opt\w*\b.*\binterp\b", re.IGNORECASE | re.MULTILINE)


class LoadError(EngineError):
    """ngspice did not accept a netlist; its process may be damaged."""


class Failure(EngineError):
    """An analysis without an answer, with the lines that ngspice printed."""

    def __init__(self, message: str, lines: Sequence[str]) -> None:
        super().__init__(message)
        self._lines = tuple(lines)

    @property
    def again(self) -> bool:
        """Whether a transient may have an answer in another way: its start was not found, or a step too small."""
        return self._has(_NO_START) or self._has("Timestep too small")

    @property
    def astray(self) -> bool:
        """Whether no operating point was found, though the equations as they stand can be solved."""
        return self._has(_NO_START) and not any("singular matrix" in line for line in of_first_search(self._lines))

    def _has(self, words: str) -> bool:
        return any(words in line for line in self._lines)


class Numbers(NamedTuple):
    """Answer to one netlist: the scale (None for an operating point), one row per vector, remarks."""

    scale: NDArray[np.float64] | None
    rows: NDArray[Any]
    notes: tuple[str, ...]


class _Binding(NgSpiceShared):  # type: ignore[misc]
    """PySpice's binding with its messages and the names of new plots kept for inspection."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.plots: list[str] = []
        self._known: set[str] = set()
        super().__init__()

    def forget(self) -> None:
        """Forget what was printed."""
        self.lines.clear()
        self._known.clear()

    def send_char(self, message: str, ngspice_id: int) -> int:
        line = str(message)
        if turns(line):
            self._known.clear()
        # A failing source prints the same thousands of times.
        if line not in self._known and (len(self.lines) < _MOST_LINES or is_fault(line)):
            self._known.add(line)
            self.lines.append(line)
        return 0

    def send_init_data(self, data: Any, ngspice_id: int) -> int:
        self.plots.append(ffi.string(data.type).decode())
        return 0

    def vector(self, name: str) -> Any:
        return self._ngspice_shared.ngGet_Vec_Info(name.encode("ascii"))


class Session:
    """The ngspice of this process with at most one netlist loaded."""

    def __init__(self, library: Path) -> None:
        logging.disable(logging.CRITICAL)
        # PySpice puts the path through str.format.
        NgSpiceShared.LIBRARY_PATH = str(library).replace("{", "{{").replace("}", "}}")
        self._spice = _Binding()
        self._loaded: tuple[tuple[str, ...], tuple[str, ...]] | None = None
        self._values: tuple[float, ...] = ()

    def versions(self) -> dict[str, str]:
        """Return the versions of ngspice and PySpice."""
        self._command("version -f")
        found = re.search(r"ngspice-(\S+)", " ".join(self._spice.lines))
        return {"ngspice": found[1] if found else "unknown", "PySpice": version("PySpice")}

    def simulate(self, form: Form, values: tuple[float, ...]) -> Numbers:
        """Run one netlist, at these values [ohm, F, H] of its parts.

        Where only values differ from the loaded netlist they are altered in place; a transient always gets a
        fresh load, and so does whoever asks for one: altering leaves traces in the last digits. What has no answer is
        tried again as `Form.further_tries` says, a transient only when its start is not found or its step too small.

        Raises
        ------
        LoadError
            ngspice did not accept the netlist.
        EngineError
            The analysis failed, or its answer cannot be trusted.
        """
        transient = form.command.startswith("tran")
        if self._loaded == (form.skeleton, form.parts) and not transient and not form.fresh:
            try:
                self._alter(form, values)
                return self._analyse(form, values)
            except EngineError:
                # Judged again below, from a fresh load.
                self._unload()
        try:
            return self._afresh(form, values)
        except Failure as failure:
            if transient and not failure.again:
                raise
            for other in form.further_tries(failure.astray):
                with suppress(EngineError):
                    return self._afresh(other, values)
            raise

    def _afresh(self, form: Form, values: tuple[float, ...]) -> Numbers:
        self._load(form, values)
        try:
            numbers = self._analyse(form, values)
        except EngineError:
            self._unload()
            raise
        if form.command.startswith("tran"):
            # ngspice keeps the state of coupled inductors after a transient: nothing may follow in this load.
            self._unload()
        return numbers

    def _command(self, text: str) -> None:
        self._spice.forget()
        try:
            self._spice.exec_command(text)
        except NgSpiceCommandError:
            # PySpice raises on every remark; the lines and the answer are judged by the callers.
            pass
        except NameError as refusal:
            self._spice.lines.append(f"stderr Error: {refusal}")

    def _unload(self) -> None:
        self._command("destroy all")
        self._command("remcirc")
        self._loaded = None

    def _load(self, form: Form, values: tuple[float, ...]) -> None:
        text = form.text(values)
        if _LASTING.search(text):
            raise EngineError(explain(form.command, "option interp is not allowed", (), text))
        if self._loaded is not None:
            self._unload()
        self._spice.forget()
        try:
            self._spice.load_circuit(text)
        except NgSpiceCircuitError:
            # PySpice raises on the word "error" anywhere, a title included.
            pass
        except NameError as refusal:
            self._spice.lines.append(f"stderr Error: {refusal}")
        lines = list(self._spice.lines)
        if any(map(is_fault, lines)):
            raise LoadError(explain(form.command, "ngspice does not accept the netlist", lines, text))
        self._loaded, self._values = (form.skeleton, form.parts), values

    def _alter(self, form: Form, values: tuple[float, ...]) -> None:
        for part, old, value in zip(form.parts, self._values, values, strict=True):
            if value == old:
                continue
            self._command(f"alter {part} = {value!r}")
            lines = list(self._spice.lines)
            if any(map(is_fault, lines)):
                problem = f"{part} could not be altered"
                raise EngineError(explain(form.command, problem, lines, form.text(values)))
        self._values = values

    def _analyse(self, form: Form, values: tuple[float, ...]) -> Numbers:
        self._spice.plots.clear()
        self._command(form.command)
        lines = list(self._spice.lines)
        try:
            if any(map(is_fault, of_answer(lines))):
                raise ValueError("ngspice reported a fault")
            # Noise leaves two plots: the spectra, which are wanted, and then the totals.
            plot = next(iter(self._spice.plots), "none")
            if not re.fullmatch(form.command.split()[0] + r"\d+", plot):
                raise ValueError("the analysis gave no data")
            return Numbers(*self._fetch(plot, form), remarks(lines))
        except ValueError as problem:
            raise Failure(explain(form.command, str(problem), lines, form.text(values)), lines) from None
        finally:
            self._command("destroy all")

    def _fetch(self, plot: str, form: Form) -> tuple[NDArray[np.float64] | None, NDArray[Any]]:
        """Copy the scale and the wanted vectors out of ngspice; ValueError when one cannot be trusted."""
        analysis = form.command.split()[0]
        dtype = np.complex128 if analysis == "ac" else np.float64
        scale = None
        if analysis != "op":
            name = "time" if analysis == "tran" else "frequency"
            scale = self._vector(f"{plot}.{name}", dtype).real.copy()
        points = form.points if analysis != "tran" or scale is None else len(scale)
        if scale is not None:
            _check_scale(scale, points, form.end)
        rows = np.empty((len(form.vectors), points), dtype=dtype)
        for row, name in zip(rows, form.vectors, strict=True):
            data = self._vector(f"{plot}.{name}", dtype)
            if len(data) != points:
                raise ValueError(f"{name} has {len(data)} points, {points} expected")
            row[:] = data
        if rows.size and not np.abs(rows).max() < _MOST:
            worst = form.vectors[int(np.argmin((np.abs(rows) < _MOST).all(axis=1)))]
            raise ValueError(f"{worst} is not finite")
        if scale is None or analysis != "tran":
            return scale, rows
        sound = carries_currents(scale, float(form.command.split()[1]))
        return scale[sound], rows[:, sound]

    def _vector(self, name: str, dtype: type[np.float64] | type[np.complex128]) -> NDArray[Any]:
        """View a vector in ngspice's memory, valid until the next command."""
        info = self._spice.vector(name)
        # ngspice answers with a constant of nature, of type 0, when a node named "c" or "e" does not exist.
        if info == ffi.NULL or info.v_type == 0:
            raise ValueError(f"vector {name.partition('.')[2]} is missing")
        data = info.v_compdata if dtype is np.complex128 else info.v_realdata
        if data == ffi.NULL:
            raise ValueError(f"vector {name.partition('.')[2]} is empty")
        return np.frombuffer(ffi.buffer(data, info.v_length * np.dtype(dtype).itemsize), dtype=dtype)


def carries_currents(scale: NDArray[np.float64], step: float) -> NDArray[np.bool_]:
    """At which points of a transient currents can be trusted.

    Where a law has a corner ngspice may go on in steps of 1e-16 s. What flows into a capacitor is its change of charge
    over such a step: of 400 V on 40 uF the last digit that a number holds makes tens of milliamperes, and they show in
    whatever hangs on it, a grid that draws nothing included. Such steps together are shorter than one asked for.

    Parameters
    ----------
    scale : ndarray
        Times of the points [s].
    step : float
        The step that was asked for [s].
    """
    sound = np.diff(scale, prepend=-np.inf) >= _SHORTEST * step
    sound[-1:] = True
    return sound


def _check_scale(scale: NDArray[np.float64], points: int, end: float) -> None:
    if len(scale) != points:
        raise ValueError(f"{len(scale)} points came back, {points} expected")
    if not np.isfinite(scale).all() or not (np.diff(scale) > 0).all():
        raise ValueError("the scale does not rise")
    if end and not scale[-1] >= end * (1 - 1e-9):
        raise ValueError(f"the transient stopped at {scale[-1]:.6g} s of {end:.6g} s")
