"""Every command of ampsim on one amp with a mod, as at the prompt: `run_group(name, files)`.

The files are written, the commands called with what a user would type, and what they print is kept with how they
ended. The measurements are those of a healthy amp of this drawing: parts in their tolerances, valves of their spread.
"""

from __future__ import annotations

import contextlib
import io
import time
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ampsim.base.quantities import FARAD, OHM, parse_value
from ampsim.base.wav import write_wav
from ampsim.bench.diagnosis.metered_amp import MeteredAmp, State
from ampsim.bench.diagnosis.probes import probe, standard_probes
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import circuit_at
from ampsim.circuit.positions import Position
from ampsim.interface.commands.main import main
from ampsim.library.files import models
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.netlist import node_vector, write
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.engine import Arrays
from ampsim.simulation.tolerances import Tolerances, part_factors, slots, sockets_of, valve_draws
from ampsim.studies.topics import TOPICS
from tests.tools.any_amps import toml_text, written
from tests.tools.any_mods import MadeMod

METER = 10e6


@dataclass(frozen=True)
class Ran:
    """One command: what it was asked, what it printed, what it refused or where it fell over, and how long it took."""

    command: str
    text: str
    refusal: str = ""
    traceback: str = ""
    seconds: float = 0.0

    @property
    def fine(self) -> bool:
        """Whether it did what it was asked."""
        return not self.refusal and not self.traceback


def run(command: str, *arguments: str | Path) -> Ran:
    """Run one command line."""
    told, fault = io.StringIO(), io.StringIO()
    begin, trace, status = time.monotonic(), "", 0
    try:
        with contextlib.redirect_stdout(told), contextlib.redirect_stderr(fault):
            status = main([str(each) for each in arguments])
    except SystemExit as leaving:
        status = leaving.code if isinstance(leaving.code, int) else 1
    except Exception:
        trace = traceback.format_exc()
    refusal = fault.getvalue().strip().splitlines()[-1] if status and fault.getvalue().strip() else ""
    return Ran(command, told.getvalue(), refusal, trace, time.monotonic() - begin)


@dataclass(frozen=True)
class Files:
    """The files of one case."""

    folder: Path
    amp: Path
    mod: Path
    wishes: Path
    job: Path


def write_files(mod: MadeMod, folder: Path) -> Files:
    """Write what a user would have: the amp, the mod, wishes for a value of it."""
    folder.mkdir(parents=True, exist_ok=True)
    files = Files(folder, folder / "amp.toml", folder / "mod.toml", folder / "wishes.toml", folder / "job")
    files.amp.write_text(mod.amp.text, "utf-8")
    files.mod.write_text(mod.text, "utf-8")
    files.wishes.write_text(toml_text(wishes(mod)), "utf-8")
    return files


def wishes(mod: MadeMod) -> dict[str, object]:
    """A wish that a part of the amp answers: one that the mod touches, where there is one; a margin with feedback."""
    made = mod.amp
    loads = [stage["plate_load"] for stage in made.stages("triode stage")]
    touched = [each["replace"] for each in mod.tables.get("edits", ()) if each.get("replace", "")[:1] in ("R", "C")]
    part = next((each for each in touched if each[1].isdigit()), loads[0])
    value = made.tables["parts"][part]
    now = parse_value(value, FARAD if part[0] == "C" else OHM)
    values = [written(float(f"{now * factor:.2g}")) for factor in (0.5, 0.8, 1.0, 1.5, 2.2)]
    asked: list[dict[str, object]] = [{"change": "at most 6 dB", "between": ["200", "2k"]}]
    if made.kind.startswith("fed-back"):
        asked.append({"margin": "at least 30 degrees"})
    return {"name": "tried", "amp": "amp.toml", "parts": [{"replace": part, "values": values}], "wishes": asked}


# What a healthy amp measures ------------------------------------------------------------------------------------------


def healthy_state(amp: Amp, at: Position, seed: int) -> State:
    """Parts in their tolerances, valves of their spread, the mains a little off."""
    wired = circuit_at(amp, at)
    factors = {name: float(each[0]) for name, each in part_factors(wired, 1, seed, Tolerances()).items()}
    values = tuple((name, factors[part]) for name, part in slots(wired).items() if part in factors)
    sockets = sockets_of(wired, valve_draws(wired, 1, seed, Tolerances()), 0)
    return State(factors=values, sockets=tuple(sockets.items()), supply=1.01)


def volts(amp: Amp, at: Position, state: State) -> Mapping[str, float]:
    """What a meter shows on the usual chart [V]."""
    wired = circuit_at(amp, at)
    names = standard_probes(wired)
    (read,) = MeteredAmp(amp, at, tuple(probe(wired, name) for name in names), METER).read([state])
    return {name: float(f"{value:.4g}") for name, value in zip(names, read, strict=True)}


def curve(amp: Amp, at: Position, state: State, heard: str = "speaker") -> tuple[np.ndarray, np.ndarray]:
    """Frequencies [Hz] and level at the loudspeaker, or another place [dB, from anywhere]."""
    wired, sweep = circuit_at(amp, at), FrequencySweep(30.0, 16e3, 12)
    plain = write(wired, amp.setting(at), sweep, (heard,), sockets=dict(state.sockets))
    factors = dict(state.factors)
    values = (value * factors.get(part, 1.0) for part, value in plain.value_by_part.items())
    (found,) = engine.run([replace(plain, values=tuple(values))])
    assert isinstance(found, Arrays), found
    return sweep.grid(), 20.0 * np.log10(np.abs(found.vectors[node_vector(wired, heard)])) - 40.0


def write_measurements(mod: MadeMod, files: Files, seed: int = 1) -> None:
    """Readings and a curve on arrival and after the mod."""
    for name, amp in (("before", mod.amp.amp), ("after", mod.modded)):
        at: Position = {}
        state = healthy_state(amp, at, seed)
        rows = [f"{place};{value:g}" for place, value in volts(amp, at, state).items()]
        head = ["place;volts", f"mains;{230 * 1.01:g}", "mains_drawn;230", "meter;10M"]
        (files.folder / f"{name}.csv").write_text("\n".join([*head, *rows]) + "\n", "utf-8")
        lines = [f"{at_hz:.2f},{level:.2f}" for at_hz, level in zip(*curve(amp, at, state), strict=True)]
        (files.folder / f"{name}-curve.csv").write_text("\n".join(["Hz,dB", *lines]) + "\n", "utf-8")


# Commands -------------------------------------------------------------------------------------------------------------


def _looking(files: Files) -> Iterator[Ran]:
    for name, path in (("amp", files.amp), ("mod", files.mod), ("wishes", files.wishes)):
        yield run(f"check {name}", "check", path)


def _auditioning(files: Files) -> Iterator[Ran]:
    yield run("audition", "audition", *_named(files), "--to", files.folder / "pictures")


def _named(files: Files) -> tuple[str | Path, ...]:
    return "--amp", files.amp, "--mod", files.mod


def consequences(files: Files, topics: Sequence[str] = TOPICS) -> Iterator[Ran]:
    """What the mod does besides, topic by topic."""
    for topic in topics:
        to = ("--to", files.folder / f"{topic}.html")
        yield run(f"consequences {topic}", "consequences", *_named(files), "--topic", topic, *to)


def _finding(files: Files) -> Iterator[Ran]:
    yield run("find", "find", files.wishes, "--to", files.folder / "found")


def _listening(files: Files) -> Iterator[Ran]:
    dry, rate = files.folder / "dry.wav", 48_000
    time = np.arange(int(0.6 * rate)) / rate
    write_wav(dry, 0.5 * np.sin(2 * np.pi * 220.0 * time) * np.exp(-4.0 * time), rate, 16)
    how = ("--dry", dry, "--oversampling", "1", "--to", files.folder / "clips")
    yield run("listen", "listen", *_named(files), *how)


def _a_job(files: Files) -> Iterator[Ran]:
    job = files.job
    yield run("job begin", "job", "begin", job, *_named(files), "--words", "More of it, please.")
    yield run("job wish", "job", "wish", job, "more sparkle")
    for phase, name in (("on arrival", "before"), ("after the mod", "after")):
        yield run("job readings", "job", "readings", job, files.folder / f"{name}.csv", "--round", phase)
        yield run("job sweep", "job", "sweep", job, files.folder / f"{name}-curve.csv", "--round", phase)
    for step in ("diagnose", "parts", "wiring", "steps", "drilling", "labels", "cautions", "proof", "page", "show"):
        yield run(f"job {step}", "job", step, job)
    shop = ("--shop", models() / "shop" / "shop.toml")
    yield run("job order", "job", "order", job, *shop)
    yield run("job stock", "job", "stock", job, *shop)
    yield run("job quote", "job", "quote", job, *shop)
    yield run("job invoice", "job", "invoice", job, *shop, "--number", "1")


def _record(files: Files) -> Iterator[Ran]:
    yield run("job record", "job", "record", files.job, "--topic", "stability")
    yield run("job exercise", "job", "exercise", files.job)


GROUPS: dict[str, Callable[[Files], Iterator[Ran]]] = {
    "looking": _looking,
    "auditioning": _auditioning,
    "consequences": consequences,
    "finding": _finding,
    "listening": _listening,
    "job": _a_job,
    "record": _record,
}


def run_group(name: str, files: Files) -> Iterator[Ran]:
    """Run the commands of a group; the job's need `write_measurements` before, the record's a job."""
    return GROUPS[name](files)
