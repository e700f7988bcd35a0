"""The figures of runs of amps: our solver against ngspice, a cluster's numbers, what a second run computes again."""

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
import json, os, sys, tempfile
from ampsim import load_amp
from ampsim.simulation.monte_carlo import spread
from ampsim.simulation.ngspice.pool import POOL

def spent(**more):
    POOL.close()  # simulators count once they have ended
    begin = sum(os.times()[:4])
    found = spread(load_amp("workshop-a"), int(sys.argv[1]), seed=1, **more)["voltage"].values
    POOL.close()
    return found, sum(os.times()[:4]) - begin

spread(load_amp("workshop-a"), 4, seed=9)
ours, quick = spent()
with tempfile.TemporaryDirectory() as folder:
    theirs, slow = spent(folder=folder)
print(json.dumps([quick, slow, float((abs(ours - theirs) / abs(theirs)).max())]))
"""
CLUSTER = """
import json, sys, tempfile
from distributed import Client, LocalCluster
from ampsim import load_amp
from ampsim.simulation.monte_carlo import spread
if __name__ == "__main__":
    stock, count = load_amp("workshop-a"), int(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        own = spread(stock, count, seed=1, folder=folder)["voltage"].values
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
        environment = os.environ | {"PYTHONPATH": str(ROOT), "AMPSIM_CACHE": folder}  # nothing is kept of another run
        command = [sys.executable, str(path), *arguments]
        done = subprocess.run(command, capture_output=True, encoding="utf-8", check=True, env=environment)
    return json.loads(done.stdout.splitlines()[-1])


def against_ngspice(_: Scale) -> Iterator[Figure]:
    """The spread of 1,000 amps by our own solver and by ngspice: seconds of processor, and how far they differ."""
    name = f"spread of {AMPS:,} amps, frequency sweep: our solver"
    quick, slow, apart = answer(TIMED, str(AMPS))
    share = quick / slow
    yield Figure(f"{name} / ngspice, processor", f"{quick:.2f} s / {slow:.1f} s = {share:.3f}", "<= 0.2", share <= 0.2)
    yield Figure(f"{name}, largest difference of the response", f"{apart:.1e}", "<= 1e-4", apart <= 1e-4)


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


SECTIONS = (against_ngspice, same_on_a_cluster, nothing_twice)
