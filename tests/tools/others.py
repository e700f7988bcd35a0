"""Others to compare with: each works in a process of its own, one request a line, answering with the time it took."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ampsim.simulation.netlist import Netlist

ROOT = Path(__file__).resolve().parents[2]


def bare(request: dict[str, Any]) -> float:
    """ngspice in this process through its shared library, nothing around it: load, run, copy the vectors [s]."""
    import numpy as np

    spice = _shared()
    begin = time.perf_counter()
    spice.load_circuit(request["text"])
    spice.exec_command(request["command"])
    plot = spice.last_plot
    analysis = request["command"].split()[0]
    scale = {"op": (), "tran": ("time",)}.get(analysis, ("frequency",))
    # Noise leaves its totals in a plot after that of the spectra.
    plot = plot.replace("noise2", "noise1")
    data = [np.array(_vector(spice, f"{plot}.{name}")) for name in (*scale, *request["vectors"])]
    spice.exec_command("destroy all")
    spice.exec_command("remcirc")
    spent = time.perf_counter() - begin
    assert all(row.size == (request["points"] or data[0].size) for row in data)
    return spent


def _vector(spice: Any, name: str) -> Any:
    import numpy as np
    from PySpice.Spice.NgSpice.Shared import ffi

    info = spice._ngspice_shared.ngGet_Vec_Info(name.encode())
    if info.v_realdata != ffi.NULL:
        return np.frombuffer(ffi.buffer(info.v_realdata, info.v_length * 8), dtype=float)
    return np.frombuffer(ffi.buffer(info.v_compdata, info.v_length * 16), dtype=complex)


def high_level(request: dict[str, Any]) -> float:
    """PySpice's own objects: circuit, simulator, ac analysis, the vectors as numpy arrays [s].

    As it does of its own accord it keeps every node, unless told to keep those asked for alone.
    """
    import numpy as np
    from PySpice.Spice.Netlist import Circuit

    spice = _shared()
    lines = request["text"].split("\n")[1:-2]
    body = "\n".join(line for line in lines if request["few"] or not line.startswith(".save"))
    command = request["command"].split()
    begin = time.perf_counter()
    circuit = Circuit("amp")
    circuit.raw_spice = body
    simulator = circuit.simulator(temperature=27, nominal_temperature=27, ngspice_shared=spice)
    analysis = simulator.ac(
        variation="dec", number_of_points=int(command[2]),
        start_frequency=float(command[3]), stop_frequency=float(command[4]),
    )  # fmt: skip
    data = [np.array(analysis.frequency), *(np.array(node) for node in analysis.nodes.values())]
    spent = time.perf_counter() - begin
    assert len(data) == len(request["vectors"]) + 1 if request["few"] else len(data) > len(request["vectors"])
    assert all(row.size == request["points"] for row in data)
    spice.exec_command("remcirc")
    return spent


def _shared() -> Any:
    import logging

    from PySpice.Spice.NgSpice.Shared import NgSpiceShared

    from ampsim.simulation.ngspice.library import find, preload

    if "spice" not in _keep:
        logging.disable(logging.CRITICAL)
        preload(find())
        NgSpiceShared.LIBRARY_PATH = str(find())
        _keep["spice"] = NgSpiceShared.new_instance()
    return _keep["spice"]


_keep: dict[str, Any] = {}


def serve(work: Callable[[dict[str, Any]], float]) -> None:
    """Answer every request on the input with the time that it took."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    for line in sys.stdin:
        print(work(json.loads(line)), file=answers, flush=True)


class Other:
    """A process to compare with."""

    def __init__(self, kind: str) -> None:
        # Away from the repository and from start files of others.
        self._folder = tempfile.mkdtemp()
        Path(self._folder, ".spiceinit").touch()
        surroundings = os.environ | {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.tools.others", kind], cwd=self._folder, env=surroundings,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, encoding="utf-8",
        )  # fmt: skip

    def time(self, netlist: Netlist, few: bool = True) -> float:
        """How long it takes over a netlist [s]; `few`: it keeps only the vectors asked for."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        request = {"text": netlist.text, "command": netlist.form.command, "points": netlist.form.points, "few": few}
        request["vectors"] = netlist.form.vectors
        print(json.dumps(request), file=self._process.stdin, flush=True)
        return float(self._process.stdout.readline())

    def close(self) -> None:
        """End it."""
        self._process.kill()
        self._process.wait()
        shutil.rmtree(self._folder)


if __name__ == "__main__":
    serve({"bare": bare, "high-level": high_level}[sys.argv[1]])
