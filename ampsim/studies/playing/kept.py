"""What was played once is not played again: the numbers of `Playing`, kept under all that they depend on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

from ...base.kept_files import fetch_kept, keep
from ...circuit.amp import Amp
from ...circuit.build import SPEAKER, circuit_at
from ...circuit.nets import INPUT
from ...circuit.positions import Position
from ...simulation.analyses import FrequencySweep
from ...simulation.netlist import write
from ...simulation.ngspice.kept_answers import MOST_OF_ONE, forget_oldest, path_of
from .drive import Drive
from .figures import Hiss, Playing
from .pops import Pop, Why

_PACKAGES = ("playing", "headroom", "blocking", "noise", "pop")


def play_once(amps: Sequence[Amp], steps: Sequence[Position], work_out: Callable[[], Playing]) -> Playing:
    """What is kept of these amps at these positions; else it is worked out, and kept where nothing is missing.

    Parameters
    ----------
    amps : sequence of Amp
    steps : sequence of mapping
        Positions of switches; knobs stand as drawn.
    work_out : callable
        Gives it anew.
    """
    path = path_of((_code(), [_named(amp, steps) for amp in amps], [sorted(step.items()) for step in steps]))
    kept = path and fetch_kept(path, MOST_OF_ONE)
    if kept:
        try:
            return _read(json.loads(bytes(kept)))
        except (ValueError, KeyError, TypeError, AttributeError):
            pass  # of another version of ampsim: as good as none
    found = work_out()
    if path and not found.missing:
        keep(path, json.dumps(asdict(found)).encode())
        forget_oldest()
    return found


def _named(amp: Amp, steps: Sequence[Position]) -> tuple[Any, ...]:
    """All of an amp that counts: its circuits, what its switches can do, and what its stages are called."""
    settings = [amp.setting(step) for step in ({}, *steps)]
    netlists = [write(circuit_at(amp, each), each, FrequencySweep(), (SPEAKER, INPUT)).digest for each in settings]
    return amp.variant, netlists, repr(amp.all_switches), [stage.name for stage in amp.stages]


@cache
def _code() -> str:
    """The modules that work it out; edited, they are others."""
    above = __package__.rpartition(".")[0]
    folders = [Path(str(import_module(f"{above}.{each}").__file__)).parent for each in _PACKAGES]
    files = sorted(path for folder in folders for path in folder.glob("*.py"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()


def _read(facts: Mapping[str, Any]) -> Playing:
    return Playing(
        {label: _drive(each) for label, each in facts["stock"].items()},
        {label: _drive(each) for label, each in facts["modded"].items()},
        {label: Hiss(**each) for label, each in facts["hiss"].items()},
        {label: (float(one), float(other)) for label, (one, other) in facts["back"].items()},
        tuple(Pop(each["control"], each["peak"], each["loud"], Why(each["why"])) for each in facts["pops"]),
        tuple(facts["missing"]),
    )


def _drive(facts: Mapping[str, Any]) -> Drive:
    return Drive(facts["overload"], facts["beyond"], facts["first"], tuple((x, y) for x, y in facts["curve"]))
