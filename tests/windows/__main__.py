"""Run ampsim in Windows' Python under wine and hold it against Linux: `python -m tests.windows [GROUP ...]`.

Everything that is fetched for it goes into one folder outside the clone, made once. This is no Windows: what only a
real one shows stays untried.
"""

from __future__ import annotations

import argparse
import datetime
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from tests.windows.compare import differences, unlike_lines, unlike_pictures
from tests.windows.groups import GROUPS, Outcome, run_group
from tests.windows.wine import ROOT, Windows, say, set_up


def default_folder() -> Path:
    """Return the folder in the user's cache."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "ampsim-windows"


def on_linux(*arguments: str | Path) -> str:
    """Run this Python in the clone and return what it printed."""
    command = [sys.executable, *arguments]
    return subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, encoding="utf-8", check=True).stdout


def on_windows(windows: Windows, *arguments: str | Path) -> str:
    """Run Windows' Python in the clone and return what it printed."""
    done = windows.run(*arguments)
    if done.returncode:
        sys.exit(f"{done.stdout}{done.stderr}\nthis did not work under wine: {' '.join(map(str, arguments))}")
    return done.stdout


def audition(windows: Windows) -> str:
    """Run the first command of the README on both systems and say what differs."""
    ours, theirs = windows.folder / "audition-linux", windows.folder / "audition-windows"
    words = ("-m", "ampsim", "audition", "--to")
    lines = unlike_lines(*map(_without_folder, (on_linux(*words, ours), on_windows(windows, *words, theirs))))
    pictures = list(unlike_pictures(ours, theirs))
    count = len(list(ours.glob("*.svg")))
    for each in pictures:
        print(f"    {each}")
    return (
        f"text {f'differs in {lines} lines' if lines else 'the same'}, {count - len(pictures)} of {count} SVG the same"
    )


def _without_folder(text: str) -> str:
    return "\n".join(line for line in text.splitlines() if "audition-" not in line)


def numbers(windows: Windows) -> tuple[str, str]:
    """Simulate the same on both systems; return both versions of ngspice, and the differences."""
    ours, theirs = windows.folder / "linux.npz", windows.folder / "windows.npz"
    words = ("-m", "tests.windows.numbers")
    our_version, their_version = on_linux(*words, ours).strip(), on_windows(windows, *words, theirs).strip()
    with np.load(ours) as our_numbers, np.load(theirs) as their_numbers:
        found = differences(dict(our_numbers), dict(their_numbers))
    return f"ngspice {their_version} against {our_version}", str(found)


def row(windows: Windows, outcomes: Sequence[Outcome], seen: str, numbers_seen: tuple[str, str]) -> str:
    """Return the row of the README's table of what was tried where."""
    wine = subprocess.run(["wine", "--version"], capture_output=True, text=True, check=True).stdout.split()[0]
    python = on_windows(windows, "-c", "import platform; print(platform.python_version())").strip()
    system = f"Windows' Python {python} under {wine.replace('-', ' ')}, {numbers_seen[0]} on Linux"
    total = (
        f"{sum(each.passed for each in outcomes):,} tests passed, {sum(len(each.failed) for each in outcomes)} failed, "
        f"{sum(each.skipped.total() for each in outcomes)} skipped ({', '.join(each.group for each in outcomes)})"
    )
    return f"| {system} | {datetime.date.today()} | `audition`: {seen}; {numbers_seen[1]}; {total} |"


def main() -> int:
    """Set up, run and print everything; exit status 1 when a test failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.windows", description=str(__doc__).splitlines()[0])
    parser.add_argument("groups", nargs="*", help=f"of {', '.join(GROUPS)}; all if none is named")
    parser.add_argument("--folder", type=Path, default=default_folder(), help="where it is set up (%(default)s)")
    parser.add_argument("--minutes", type=float, default=30.0, help="longest time of a group (%(default)g)")
    given = parser.parse_args()
    if unknown := set(given.groups) - set(GROUPS):
        parser.error(f"no group {', '.join(sorted(unknown))}; there are {', '.join(GROUPS)}")
    folder = given.folder.absolute()
    if folder.is_relative_to(ROOT):
        parser.error("the folder may not lie in the clone")
    windows = set_up(folder)
    say("audition and numbers, on both systems")
    seen, numbers_seen = audition(windows), numbers(windows)
    print(f"audition: {seen}\n{': '.join(numbers_seen)}")
    outcomes = []
    for group in given.groups or GROUPS:
        say(f"tests: {group}")
        outcomes.append(run_group(windows, group, given.minutes))
        print("\n".join(outcomes[-1].lines()), flush=True)
    print(f"whole outputs are in {folder}\n{row(windows, outcomes, seen, numbers_seen)}")
    return 1 if any(outcome.failed for outcome in outcomes) else 0


if __name__ == "__main__":
    sys.exit(main())
