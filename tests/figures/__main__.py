"""Every figure that ampsim promises, measured in one run: `python -m tests.figures` (`--quick` for smaller counts).

Ratios compare two things measured in turn in this same run, so they hold on a slow or busy machine as well. Rows are
printed as they come, and all of them as a table at the end, those that could not be measured among them.
"""

from __future__ import annotations

import argparse
import itertools
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import psutil

from ampsim.base.errors import AmpsimError
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.signal_path import listening_points
from ampsim.library.loader import load_amp, load_mod
from ampsim.simulation.analyses import FrequencySweep, Transient
from ampsim.simulation.netlist import build
from ampsim.simulation.ngspice import engine
from ampsim.simulation.response import simulate
from ampsim.simulation.stimuli import Sine
from tests.figures import (
    all_jobs,
    any_amp,
    budgets,
    diagnosis,
    libraries,
    listening,
    lots,
    netlist_files,
    notebooks,
    papers,
    player,
    prices,
    printed_sheets,
    published,
    record,
    search,
    sheet,
    spread,
    stability,
    timestep,
    whole_job,
    wiring,
)
from tests.figures import sweeps as measured_figures
from tests.figures.figure import FULL, QUICK, Figure, Scale, measure_all, table
from tests.tools import hostile
from tests.tools.others import Other

ROOT = Path(__file__).resolve().parents[2]
SWEEP = FrequencySweep()


def full_amp() -> Amp:
    """The amp that speed is measured on: the larger one that comes with ampsim."""
    return load_amp("workshop-a")


def positions(count: int) -> list[dict[str, float | str]]:
    """As many different positions of three knobs."""
    return [
        {"gain": 0.05 + 0.9 * n / count, "treble": (n % 10) / 9.0, "master": 0.1 + 0.8 * (n % 7) / 6.0}
        for n in range(count)
    ]


# Speed ----------------------------------------------------------------------------------------------------------------


def one_position(scale: Scale) -> Iterator[Figure]:
    """One position of the full amp against ngspice with nothing around it, in turn."""
    amp, other = full_amp(), Other("bare")
    places = tuple(listening_points(amp).values())
    ours, bares = [], []
    try:
        for position in positions(scale.repetitions + 20):
            begin = time.perf_counter()
            simulate(amp, SWEEP, [position])
            ours.append(time.perf_counter() - begin)
            bares.append(other.time(build(amp, position, SWEEP, places)))
    finally:
        other.close()
    mine, base = (statistics.median(times[20:]) for times in (ours, bares))
    ratio = mine / base
    value = f"{ratio:.2f} ({1e3 * mine:.2f} ms against {1e3 * base:.2f} ms)"
    yield Figure(
        "one position, values in to dataset out, over bare ngspice in one process", value, "<= 1.5", ratio <= 1.5
    )


def thousand_positions(scale: Scale) -> Iterator[Figure]:
    """A thousand positions on all cores against PySpice's own high-level calls on one core, in turn."""
    amp, other = full_amp(), Other("high-level")
    places = tuple(listening_points(amp).values())
    many = positions(1000)
    simulate(amp, SWEEP, many[:50])
    ours: list[float] = []
    others: list[float] = []
    sparing: list[float] = []
    try:
        for turn in range(3):
            for one in many[turn :: 3000 // scale.repetitions]:
                netlist = build(amp, one, SWEEP, places)
                others.append(other.time(netlist, few=False))
                sparing.append(other.time(netlist))
            begin = time.perf_counter()
            simulate(amp, SWEEP, many)
            ours.append((time.perf_counter() - begin) / len(many))
    finally:
        other.close()
    mine, base, least = (statistics.median(times) for times in (ours, others, sparing))
    value = f"{mine / base:.2f} ({1e3 * mine:.2f} ms against {1e3 * base:.2f} ms; {mine / least:.2f} of"
    value += f" {1e3 * least:.2f} ms where it keeps {len(places)} nodes alone)"
    name = f"1,000 positions on {os.cpu_count()} cores, each, over PySpice's high-level ac on one"
    yield Figure(name, value, "<= 0.25", mine / base <= 0.25)


# Memory ---------------------------------------------------------------------------------------------------------------


def resident() -> dict[int, int]:
    """Resident memory [KiB] of this process and of its simulator processes, by process number."""
    this = psutil.Process()
    return {each.pid: each.memory_info().rss // 1024 for each in (this, *this.children())}


def memory(scale: Scale) -> Iterator[Figure]:
    """Growth of caller and simulator processes over many runs: altered and loaded afresh, some in time."""
    amp = apply_mods(full_amp(), load_mod("cathode-switch"), load_mod("bright-switch"))
    cathodes = amp.controls["cathode"].positions
    sweeps = [one | {"cathode": cathodes[n % 3]} for n, one in enumerate(positions(980))]
    level = itertools.count(0.02, 1e-6)

    def thousand() -> None:
        simulate(amp, SWEEP, sweeps)
        # Another level each time: what was answered in time before is not asked again.
        simulate(amp, Transient(Sine(1000.0, next(level), 0.0, 3)), sweeps[:20], ["speaker"])

    thousand()
    thousand()
    before = resident()
    for _ in range(scale.runs // 1000):
        thousand()
    after = resident()
    assert len(before) > 1
    assert set(before) <= set(after), "a simulator process was replaced"
    growth = max(100.0 * (after[process] / size - 1.0) for process, size in before.items())
    value = f"{growth:.1f} % ({max(after.values()) / 1024:.0f} MiB at most)"
    yield Figure(
        f"growth of resident memory over {scale.runs:,} runs, caller and simulators", value, "< 5 %", growth < 5.0
    )


# The rest -------------------------------------------------------------------------------------------------------------


def _seconds(*arguments: str) -> float:
    spent = []
    for _ in range(5):
        begin = time.perf_counter()
        subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True)
        spent.append(time.perf_counter() - begin)
    return statistics.median(spent)


def _audition(folder: str) -> tuple[float, float]:
    """Time [s] from the shell to the overlay on disk, and to the end."""
    begin = time.perf_counter()
    command = [sys.executable, "-m", "ampsim", "audition", "--to", folder]
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, encoding="utf-8"
    ) as running:
        assert running.stderr is not None
        assert "overlay" in running.stderr.readline()
        first = time.perf_counter() - begin
        running.communicate()
    assert running.returncode == 0
    return first, time.perf_counter() - begin


def start_up(_: Scale) -> Iterator[Figure]:
    """From the shell: medians of five, set-up done."""
    folder = tempfile.mkdtemp()
    try:
        for name, goal, arguments in (
            ("import ampsim", 0.3, ("-c", "import ampsim")),
            ("ampsim --help", 0.3, ("-m", "ampsim", "--help")),
        ):
            seconds = _seconds(*arguments)
            yield Figure(name, f"{seconds:.2f} s", f"{goal:g} s", seconds <= goal)
        first, whole = (statistics.median(each) for each in zip(*(_audition(folder) for _ in range(5)), strict=True))
        value = f"{first:.2f} s (all tables and seven pictures after {whole:.2f} s)"
        yield Figure("ampsim audition: picture of stock against modded", value, "3 s", first <= 3.0)
    finally:
        shutil.rmtree(folder)


def hostile_strings(scale: Scale) -> Iterator[Figure]:
    """Hostile strings in every text of every file; those accepted go through ngspice as well, up to a hundred."""
    folder = Path(tempfile.mkdtemp(prefix="h"))
    mark = folder / "sprung"
    (folder / "trap").write_text(f"* trap\n.control\nshell echo x > {mark.as_posix()}\n.endc\n", "utf-8")
    amps, accepted, strange, tried = (load_amp("workshop-a"), load_amp("workshop-b")), [], 0, 0
    for case in hostile.cases(scale.strings, folder):
        tried += 1
        try:
            made = hostile.parse(case)
        except AmpsimError:
            continue
        found = list(hostile.netlists(made, amps))
        strange += sum(hostile.strange_line(netlist.text) is not None for netlist in found)
        accepted += found[:1] if case.telling else []
    engine.run(accepted[:100])
    marks = [path for path in folder.iterdir() if path.name != "trap"]
    shutil.rmtree(folder)
    yield Figure("hostile strings tried", f"{tried:,}", f">= {scale.strings:,}", tried >= scale.strings)
    yield Figure("commands run by them", f"{len(marks)}", "0", not marks)
    yield Figure("netlists with a line that is none of ours", f"{strange}", "0", not strange)


SECTIONS = (
    one_position,
    thousand_positions,
    start_up,
    *notebooks.SECTIONS,
    *sheet.SECTIONS,
    *whole_job.SECTIONS,
    *spread.SECTIONS,
    *search.SECTIONS,
    *stability.SECTIONS,
    *measured_figures.SECTIONS,
    *record.SECTIONS,
    *all_jobs.SECTIONS,
    *prices.SECTIONS,
    *diagnosis.SECTIONS,
    *wiring.SECTIONS,
    *papers.SECTIONS,
    *printed_sheets.SECTIONS,
    *timestep.SECTIONS,
    *listening.SECTIONS,
    *player.SECTIONS,
    memory,
    hostile_strings,
    *lots.SECTIONS,
    *netlist_files.SECTIONS,
    *published.SECTIONS,
    *any_amp.SECTIONS,
    *libraries.SECTIONS,
    budgets.measure,
)


def main() -> int:
    """Measure everything and print the table; exit status 1 when a figure falls short or could not be measured."""
    parser = argparse.ArgumentParser(description="measure the promised figures")
    parser.add_argument("--quick", action="store_true", help="smaller counts than the goals ask for")
    given = parser.parse_args()
    scale = QUICK if given.quick else FULL
    figures = measure_all(SECTIONS, scale)
    if given.quick:
        print("quick run: counts smaller than the goals ask for")
    print(table(figures))
    return 0 if all(figure.fine for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
