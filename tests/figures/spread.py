"""The figures of campaigns: both cores against one, a cluster's numbers, what a second run computes again."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.figures.figure import Figure, Scale

ROOT = Path(__file__).resolve().parents[2]
AMPS = 1000

TIMED = """
import json, os, sys, time
if sys.argv[1] == "one":
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
from ampsim import load_amp
from ampsim.simulation.monte_carlo import spread
stock = load_amp("workshop-a")
spread(stock, 4, seed=9)
begin = time.perf_counter()
spread(stock, int(sys.argv[2]), seed=1)
print(json.dumps(time.perf_counter() - begin))
"""
CLUSTER = """
import json, sys
from distributed import Client, LocalCluster
from ampsim import load_amp
from ampsim.simulation.monte_carlo import spread
if __name__ == "__main__":
    stock, count = load_amp("workshop-a"), int(sys.argv[1])
    own = spread(stock, count, seed=1)["voltage"].values
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        with Client(cluster) as client:
            other = spread(stock, count, seed=1, executor=client.get_executor())["voltage"].values
    print(json.dumps(int((own != other).sum())))
"""
KEPT = """
import json, sys
from ampsim import load_amp
from ampsim.simulation.monte_carlo import spread
found = []
for _ in range(2):
    spread(load_amp("workshop-a"), int(sys.argv[1]), seed=1, folder=sys.argv[2], tally=found.append)
print(json.dumps([found[0].simulated, found[1].simulated]))
"""


def answer(script: str, *arguments: str) -> Any:
    """Run a script in a process of its own; what its last line says."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "script.py")
        path.write_text(script, "utf-8")
        environment = os.environ | {"PYTHONPATH": str(ROOT)}
        command = [sys.executable, str(path), *arguments]
        done = subprocess.run(command, capture_output=True, encoding="utf-8", check=True, env=environment)
    return json.loads(done.stdout.splitlines()[-1])


def both_cores(_: Scale) -> Iterator[Figure]:
    """The spread of 1,000 amps on one core and on both, one after the other, three times; the best of each."""
    name = f"spread of {AMPS:,} amps, frequency sweep: both cores / one core"
    if len(os.sched_getaffinity(0)) < 2:
        yield Figure(name, "not measured: one core alone", "<= 0.6", False)
        return
    rounds = [(answer(TIMED, "one", str(AMPS)), answer(TIMED, "both", str(AMPS))) for _ in range(3)]
    one, both = (min(times) for times in zip(*rounds, strict=True))
    yield Figure(name, f"{both:.2f} s / {one:.2f} s = {both / one:.2f}", "<= 0.6", both / one <= 0.6)


def same_on_a_cluster(_: Scale) -> Iterator[Figure]:
    """Numbers of a cluster of two processes against those of this machine's own simulators."""
    name = f"spread of {AMPS:,} amps on a cluster of two processes: numbers that differ"
    if importlib.util.find_spec("distributed") is None:
        yield Figure(name, "not measured: distributed is missing", "0", False)
        return
    different = answer(CLUSTER, str(AMPS))
    yield Figure(name, f"{different}", "0", different == 0)


def nothing_twice(_: Scale) -> Iterator[Figure]:
    """A finished campaign, asked for again."""
    with tempfile.TemporaryDirectory() as folder:
        first, again = answer(KEPT, str(AMPS), folder)
    name = f"spread of {AMPS:,} amps asked for again: simulations"
    yield Figure(name, f"{again} after {first:,}", "0", again == 0 and first == AMPS + 1)


SECTIONS = (both_cores, same_on_a_cluster, nothing_twice)
