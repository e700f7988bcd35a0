"""What the steps of the demo job cost, from the shell: seconds of processor, the same on a busy machine, by which they
are judged, and beside them the seconds that went by, which are not."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from ampsim.bench.proof.sheet import proof_sheet
from ampsim.library.loader import load_amp
from ampsim.studies.topics import TOPICS, topic_title
from tests.figures.figure import Figure, Scale

ROOT = Path(__file__).resolve().parents[2]
AMP, MODS = "workshop-a", ("bright-switch", "cathode-switch", "depth")
OTHER = "feedback-resistor"  # in place of the last
SHEET = ("consequences", "{folder}", "--to", "{folder}/papers/consequences.html")
# Step, goal [s], arguments; in this order, each with what those before it have kept.
STEPS: tuple[tuple[str, float, tuple[str, ...]], ...] = (
    ("consequences", 15.0, SHEET),
    ("consequences when nothing changed", 2.0, SHEET),
    ("record after consequences", 10.0, ("job", "record", "{folder}")),
    ("page", 5.0, ("job", "page", "{folder}")),
    ("page with sounds", 30.0, ("job", "page", "{folder}", "--hear")),
    *((step, 3.0, ("job", step, "{folder}")) for step in ("parts", "wiring", "steps", "diagnose", "exercise")),
    ("check", 0.5, ("check", "{folder}")),
    ("models", 0.5, ("models",)),
    ("job show", 0.5, ("job", "show", "{folder}")),
)


def run(arguments: tuple[str, ...], folder: Path) -> tuple[float, float, list[tuple[float, str]]]:
    """Processor time [s] of a command, simulators included, the time that went by [s], and its lines of progress with
    their times [s]."""
    command = [sys.executable, "-m", "ampsim", *(each.format(folder=folder) for each in arguments)]
    surroundings = os.environ | {"AMPSIM_CACHE": str(folder.parent / "kept")}
    surroundings.pop("PYTHONDONTWRITEBYTECODE", None)  # where it is set every command compiles the package anew
    told: list[tuple[float, str]] = []
    begin = time.perf_counter()
    with subprocess.Popen(
        command, cwd=ROOT, env=surroundings, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, encoding="utf-8"
    ) as running:
        assert running.stderr is not None
        told = [(time.perf_counter(), line.strip()) for line in running.stderr]
        _, status, usage = os.wait4(running.pid, 0)
        running.returncode = os.waitstatus_to_exitcode(status)
    assert running.returncode == 0, (command, told[-5:])
    return usage.ru_utime + usage.ru_stime, time.perf_counter() - begin, told


def topic_shares(told: list[tuple[float, str]]) -> str:
    """The share of each topic in the time of a sheet [%], from its lines of progress; two are at work at a time."""
    spans = {topic: _moment(told, f"{topic_title(topic)}: ") - _moment(told, f"{topic_title(topic)} ...")
             for topic in TOPICS}  # fmt: skip
    whole = sum(spans.values())
    return ", ".join(f"{topic} {100 * span / whole:.0f} %" for topic, span in spans.items())


def _moment(told: list[tuple[float, str]], words: str) -> float:
    return next(moment for moment, line in told if words in line)


def whole_job(_: Scale) -> Iterator[Figure]:
    """The steps of the demo job one after the other, what they share computed once."""
    with tempfile.TemporaryDirectory() as name:
        job, other = Path(name, "job"), Path(name, "other")
        for folder, mods in ((job, MODS), (other, (*MODS[:-1], OTHER))):
            named = tuple(word for mod in mods for word in ("--mod", mod))
            run(("job", "begin", "{folder}", "--amp", AMP, *named), folder)
        rows = proof_sheet(load_amp(AMP), count=5).rows
        volts = Path(name, "volts.csv")
        volts.write_text("".join([f"{row.place};{row.expected:.4g}\n" for row in rows]) + "mains;230\n", "utf-8")
        run(("job", "readings", "{folder}", str(volts)), job)
        for step, goal, arguments in STEPS:
            yield _figure(step, goal, arguments, job)
        yield _figure("consequences when one mod of three changed", 3.0, SHEET, other)


def _figure(step: str, goal: float, arguments: tuple[str, ...], folder: Path) -> Figure:
    (folder / "papers").mkdir(exist_ok=True)
    try:
        seconds, elapsed, told = run(arguments, folder)
    except AssertionError as error:
        return Figure(f"demo job, {step}: processor", f"did not end as it should: {error}", f"<= {goal:g} s", False)
    shares = f": {topic_shares(told)}" if step.startswith("consequences") else ""
    value = f"{seconds:.1f} s ({elapsed:.1f} s elapsed){shares}"
    return Figure(f"demo job, {step}: processor", value, f"<= {goal:g} s", seconds <= goal)


SECTIONS = (whole_job,)
