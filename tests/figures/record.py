"""The figure of saves: faults injected, records lost."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.figures.figure import Figure, Scale

ROOT = Path(__file__).resolve().parents[2]
_FULL = 100  # repetitions of a full run at least


def saves(scale: Scale) -> Iterator[Figure]:
    """Saves of a job that fail or are killed at every operation and byte, and several programs saving at once."""
    every = "1" if scale.repetitions >= _FULL else "4"
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "tests.tools.save_faults", folder, "--every", every]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, encoding="utf-8", check=False)
    if not done.stdout:
        raise AssertionError(done.stderr)
    found = json.loads(done.stdout)
    tried, lost = sum(found["tried"].values()), found["lost"]
    for each in lost:
        print(f"figures: {each}", file=sys.stderr)
    kinds = ", ".join(f"{count} {kind}" for kind, count in found["tried"].items())
    fine = not lost and (tried >= 500 or scale.repetitions < _FULL)
    yield Figure("faults injected in saves: tried, lost", f"{tried}, {len(lost)} ({kinds})", ">= 500, 0", fine)


SECTIONS = (saves,)
