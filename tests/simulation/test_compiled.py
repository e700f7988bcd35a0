"""Compiled code that was kept: loaded quickly, used by what is compiled later, made anew where it was cut short."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

SCRIPT = """
import sys
from ampsim.simulation.timestep.compiled import jit, jit_uncached

@jit
def twice(x):
    return 2.0 * x

assert twice(3.0) == 6.0
found = len(twice.stats.cache_hits), "numba.np.linalg" in sys.modules

@jit_uncached
def four_times(x):
    return twice(twice(x))

assert four_times(3.0) == 12.0
print(*found)
"""


def test_kept_code_is_loaded_without_what_compiling_takes_and_made_anew_where_it_was_cut_short(tmp_path: Path) -> None:
    script, kept = tmp_path / "script.py", tmp_path / "kept"
    script.write_text(SCRIPT, "utf-8")
    kept.mkdir()

    def told() -> str:
        surroundings = os.environ | {"NUMBA_CACHE_DIR": str(kept)}
        ran = subprocess.run([sys.executable, str(script)], env=surroundings, capture_output=True, encoding="utf-8")
        assert ran.returncode == 0, ran.stderr
        return ran.stdout.strip()

    assert told() == "0 True"
    assert told() == "1 False"
    for path in kept.rglob("*.nb*"):
        path.write_bytes(path.read_bytes()[:100])
    assert told() == "0 True"
    assert told() == "1 False"
