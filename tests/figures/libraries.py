"""`python -m tests.figures.libraries LIBRARY...`: one answer from every ngspice? The first library is what others meet.

Each library works in a process of its own, on the same netlists: the amps that come along, and amps by lot.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ampsim.base.errors import EngineError
from ampsim.library.files import models_in
from ampsim.library.loader import load_amp
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint, Transient
from ampsim.simulation.netlist import Netlist, build
from ampsim.simulation.ngspice import engine, library
from ampsim.simulation.stimuli import Sine
from tests.figures.figure import Figure, Scale, table
from tests.tools import random_amps, verdicts

ROOT = Path(__file__).resolve().parents[2]
_SWEEP_LIMIT, _REST_LIMIT = 1e-9, 1e-9  # dB, V
# Gain below which an answer is rounding: 200 dB under a volt at the source.
_SILENT = 1e-10
_KINDS = ("op", "ac", "tran")


class Answers(NamedTuple):
    """What one library answers: its version, and for each netlist the grid and the volts, or why there are none."""

    version: str
    grids: list[NDArray[Any]]
    volts: list[NDArray[Any]]
    refused: list[str]


def netlists(amps: int) -> list[Netlist]:
    """The amps that come along, as drawn, and so many by lot: at rest, swept, and in time."""
    wanted = []
    for name in models_in("amps"):
        amp = load_amp(name)
        places = verdicts.places(amp, {})
        questions = (OperatingPoint(), FrequencySweep(), Transient(Sine(1000.0, 0.1, 0.0, 20)))
        wanted += [build(amp, {}, question, places) for question in questions]
    for number in range(amps):
        wanted += random_amps.draw(number).netlists
    return [netlist.with_fresh_load() for netlist in wanted]


def answer(amps: int, file: Path) -> None:
    """Have the library of this process answer, and keep what it says."""
    wanted = netlists(amps)
    kept: dict[str, Any] = {"version": np.array(engine.versions()["ngspice"])}
    for number, (netlist, outcome) in enumerate(zip(wanted, engine.run(wanted), strict=True)):
        kept[f"refused {number}"] = np.array(str(outcome) if isinstance(outcome, EngineError) else "")
        if not isinstance(outcome, EngineError):
            names = [name for name in netlist.form.vectors if name.startswith("v(")]
            kept[f"volts {number}"] = np.array([outcome.vectors[name] for name in names])
            kept[f"grid {number}"] = outcome.scale
    np.savez(file, **kept)


def ask(path: Path, amps: int, folder: Path) -> Answers:
    """Ask one library, in a process of its own."""
    file = folder / "answers.npz"
    command = [sys.executable, "-m", "tests.figures.libraries", "--amps", str(amps), "--answer", str(file)]
    environment = {**os.environ, library.SETTING: str(path), "PYTHONPATH": str(ROOT)}
    subprocess.run(command, cwd=ROOT, env=environment, check=True)
    return read(file, len(netlists(amps)))


def read(file: Path, count: int) -> Answers:
    """Read what was kept of so many questions."""
    nothing = np.zeros((0, 0))
    with np.load(file) as kept:
        refused = [str(kept[f"refused {number}"]) for number in range(count)]
        grids = [nothing if refused[number] else kept[f"grid {number}"] for number in range(count)]
        volts = [nothing if refused[number] else kept[f"volts {number}"] for number in range(count)]
        return Answers(str(kept["version"]), grids, volts, refused)


def compare(ours: Answers, theirs: Answers, wanted: list[Netlist]) -> Iterator[Figure]:
    """How far two libraries are apart, by kind of question."""
    both = f"ngspice {theirs.version} against {ours.version}"
    kinds = [netlist.form.command.split()[0] for netlist in wanted]
    answered = [not (one or other) for one, other in zip(ours.refused, theirs.refused, strict=True)]
    numbers = {kind: [n for n, each in enumerate(kinds) if each == kind and answered[n]] for kind in _KINDS}
    odd = sum(bool(one) != bool(other) for one, other in zip(ours.refused, theirs.refused, strict=True))
    yield Figure(f"{both}: of {len(wanted)} questions, answered by one only", f"{odd}", "0", odd == 0)
    rest = max(float(np.abs(theirs.volts[n] - ours.volts[n]).max()) for n in numbers["op"])
    name = f"{both}: {len(numbers['op'])} operating points, worst node"
    yield Figure(name, f"{rest:.1e} V", f"{_REST_LIMIT:g} V", rest <= _REST_LIMIT)
    apart = max(decibels_apart(ours.volts[n], theirs.volts[n]) for n in numbers["ac"])
    name = f"{both}: {len(numbers['ac'])} gain sweeps, worst frequency and place"
    yield Figure(name, f"{apart:.1e} dB", f"{_SWEEP_LIMIT:g} dB", apart <= _SWEEP_LIMIT)
    shares = [percent_apart(ours, theirs, n) for n in numbers["tran"]]
    value = f"{np.median(shares):.1e} %, worst {max(shares):.1e} %"
    yield Figure(f"{both}: {len(shares)} transients, rms of the difference over rms, median", value, "stated", True)


def decibels_apart(ours: NDArray[Any], theirs: NDArray[Any]) -> float:
    """The largest difference [dB] of two sets of gains, where there is any gain."""
    loud = np.abs(ours) > _SILENT
    ratio = np.abs(theirs[loud]) / np.abs(ours[loud])
    return float(np.abs(20.0 * np.log10(ratio)).max(initial=0.0))


def percent_apart(ours: Answers, theirs: Answers, number: int) -> float:
    """The difference of two transients at the place where it is largest: rms over rms of what moves there [%]."""
    grid, worst = ours.grids[number], 0.0
    for mine, other in zip(ours.volts[number], theirs.volts[number], strict=True):
        difference = np.interp(grid, theirs.grids[number], other) - mine
        # What hardly moves is rounding.
        worst = max(worst, float(np.std(difference) / max(np.std(mine), 1e-6)))
    return 100.0 * worst


def at_hand() -> list[Path]:
    """The libraries that this machine has, each once."""
    found = [library.find(), *library.candidates()]
    return list(dict.fromkeys(each.resolve() for each in found if each.is_file()))


def measure(paths: list[Path], amps: int) -> Iterator[Figure]:
    """Compare libraries with the first of them."""
    if len(paths) < 2:
        name = f"one ngspice library at hand ({engine.versions()['ngspice']}): nothing to compare"
        yield Figure(name, "python -m tests.figures.libraries LIBRARY...", "stated", True)
        return
    wanted = netlists(amps)
    with tempfile.TemporaryDirectory() as name:
        first, *others = [ask(path, amps, Path(name)) for path in paths]
    for other in others:
        yield from compare(first, other, wanted)


def libraries(scale: Scale) -> Iterator[Figure]:
    """One answer from every ngspice library that is at hand."""
    yield from measure(at_hand(), max(20, scale.amps // 30))


SECTIONS = (libraries,)


def main() -> int:
    """Compare the libraries that are given, and print the table; exit status 1 when a figure falls short."""
    parser = argparse.ArgumentParser(description="compare ngspice libraries, each in a process of its own")
    parser.add_argument("libraries", nargs="*", type=Path, help="full paths; the first is what the others meet")
    parser.add_argument("--amps", type=int, default=100, help="amps by lot (default: 100)")
    parser.add_argument("--answer", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.answer:
        answer(given.amps, given.answer)
        return 0
    figures = list(measure([each.absolute() for each in given.libraries] or at_hand(), given.amps))
    print(table(figures))
    return 0 if all(figure.fine for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
