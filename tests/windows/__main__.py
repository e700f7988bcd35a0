"""Run ampsim in Windows' Python under wine and hold it against Linux: `python -m tests.windows [PART ...]`.

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

_VERSIONS = """
import platform
from ampsim.simulation.ngspice import engine
print(platform.python_version(), engine.versions()["ngspice"])
"""


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
    text = f"{lines} lines of the text differ" if lines else "text the same"
    return f"{text}, {count - len(pictures)} of {count} SVG the same"


def _without_folder(text: str) -> str:
    return "\n".join(line for line in text.splitlines() if "audition-" not in line)


def numbers(windows: Windows) -> str:
    """Simulate the same on both systems and return the differences."""
    ours, theirs = windows.folder / "linux.npz", windows.folder / "windows.npz"
    words = ("-m", "tests.windows.numbers")
    on_linux(*words, ours)
    on_windows(windows, *words, theirs)
    with np.load(ours) as our_numbers, np.load(theirs) as their_numbers:
        return str(differences(dict(our_numbers), dict(their_numbers)))


def row(windows: Windows, seen: Sequence[str], outcomes: Sequence[Outcome]) -> str:
    """Return the row of the README's table of what was tried where."""
    wine = subprocess.run(["wine", "--version"], capture_output=True, encoding="utf-8", check=True).stdout.split()[0]
    ours, theirs = on_linux("-c", _VERSIONS).split(), on_windows(windows, "-c", _VERSIONS).split()
    ran = [*seen, f"tests: {', '.join(each.group for each in outcomes)}"] if outcomes else seen
    passed, expected = (sum(getattr(each, name) for each in outcomes) for name in ("passed", "expected"))
    failed, skipped = sum(len(each.failed) for each in outcomes), sum(each.skipped.total() for each in outcomes)
    cells = [
        f"Windows' Python under {wine.replace('-', ' ')}",
        theirs[0],
        f"{theirs[1]} of the wheel, fetched (Linux beside it: {ours[1]})",
        "; ".join(ran),
        f"{passed:,}, {failed}, {skipped}; {expected} fail as on record",
        str(datetime.date.today()),
        "`python3 .ci/ready.py -m tests.windows`",
    ]
    return f"| {' | '.join(cells)} |"


def main() -> int:
    """Set up, run and print everything; exit status 1 when a test failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.windows", description=str(__doc__).splitlines()[0])
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"of {', '.join(PARTS)}; all if none is named")
    parser.add_argument("--folder", type=Path, default=default_folder(), help="where it is set up (%(default)s)")
    parser.add_argument("--minutes", type=float, default=30.0, help="longest time of a group (%(default)g)")
    given = parser.parse_args()
    parts, folder = given.parts or PARTS, given.folder.absolute()
    if unknown := set(parts) - set(PARTS):
        parser.error(f"there is no {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    if folder.is_relative_to(ROOT):
        parser.error("the folder may not lie in the clone")
    windows, seen, outcomes = set_up(folder), [], []
    for part in parts:
        say(part)
        if part in GROUPS:
            outcomes.append(run_group(windows, part, given.minutes))
            print("\n".join(outcomes[-1].lines()), flush=True)
        else:
            seen.append(f"{part}: {_HELD[part](windows)}")
            print(seen[-1], flush=True)
    print(f"whole outputs are in {folder}\n{row(windows, seen, outcomes)}")
    return 1 if any(outcome.failed for outcome in outcomes) else 0


# What is held against Linux.
_HELD = {"audition": audition, "numbers": numbers}
PARTS = (*_HELD, *GROUPS)


if __name__ == "__main__":
    sys.exit(main())
