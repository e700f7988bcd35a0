"""Look for cases that no test has met: `python -m tests.search` runs the generated tests with fresh cases for an hour.

`--minutes 5` looks for less long, `--only test_headroom` at files of that name. Each case found is printed as an
`@example` to keep above its test; the exit status is 1 when there was one. Ctrl-C stops and says what was tried.
"""

from __future__ import annotations

import argparse
import itertools
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.conftest import FRESH

TESTS = Path(__file__).resolve().parent
_CASES = re.compile(r"(\d+) passing, (\d+) failing")
_FOUND = re.compile(r"(?:Falsifying example|Failing test case): (\w+)\((.*?)^[E ]*\)", re.MULTILINE | re.DOTALL)
_FAILED = re.compile(r"^FAILED (\S+)", re.MULTILINE)


@dataclass
class Count:
    """What was tried: runs of a file, generated cases, tests that failed."""

    runs: int = 0
    cases: int = 0
    failures: int = 0


def files_with_cases(only: str = "") -> list[Path]:
    """Test files that generate cases."""
    named = sorted(path for path in TESTS.rglob("test_*.py") if only in path.stem)
    return [path for path in named if "from hypothesis import" in path.read_text("utf-8")]


def run_file(path: Path, seed: int) -> str:
    """What pytest says of the generated tests of a file, with cases from a seed."""
    options = ["-q", "-m", "hypothesis", f"--hypothesis-seed={seed}", "--hypothesis-show-statistics"]
    command = [sys.executable, "-m", "pytest", *options, "-p", "no:cacheprovider", str(path)]
    surroundings = os.environ | {"AMPSIM_CASES": FRESH}
    done = subprocess.run(
        command, cwd=TESTS.parent, env=surroundings, capture_output=True, encoding="utf-8", check=False
    )
    return done.stdout


def examples(output: str) -> Iterator[str]:
    """Each failing case of an output, as the lines to keep above its test."""
    for name, given in _FOUND.findall(output):
        lines = [line.lstrip("E ").split("  # or any")[0].rstrip() for line in given.strip().splitlines()]
        yield f"above {name}:\n@example({' '.join(lines).rstrip(',')})"


def search(minutes: float, only: str, first_seed: int) -> Count:
    """Run file after file with seed after seed until the time is up."""
    count, until = Count(), time.monotonic() + 60.0 * minutes
    paths = files_with_cases(only)
    try:
        for seed, path in ((seed, path) for seed in itertools.count(first_seed) for path in paths):
            if time.monotonic() > until:
                break
            output = run_file(path, seed)
            count.runs += 1
            count.cases += sum(int(good) + int(bad) for good, bad in _CASES.findall(output))
            failed = _FAILED.findall(output)
            count.failures += len(failed)
            for test in failed:
                print(f"{test} fails with seed {seed}", flush=True)
            print("".join(f"{each}\n" for each in examples(output)), end="", flush=True)
            left = max(until - time.monotonic(), 0.0) / 60.0
            print(f"search: {count.cases} cases, {count.failures} failures, {left:.0f} min left", file=sys.stderr)
    except KeyboardInterrupt:
        print("search: stopped", file=sys.stderr)
    return count


def main() -> int:
    """Search, and say how much was tried."""
    parser = argparse.ArgumentParser(description="Run the generated tests with fresh cases.")
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--only", default="", help="part of a test file's name")
    parser.add_argument("--seed", type=int, default=int(time.time()), help="of the first round (default: the time)")
    options = parser.parse_args()
    count = search(options.minutes, options.only, options.seed)
    print(f"{count.cases} cases in {count.runs} runs of files, {count.failures} failures")
    return 1 if count.failures else 0


if __name__ == "__main__":
    sys.exit(main())
