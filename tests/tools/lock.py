"""`python -m tests.tools.lock`: the packages that a clone is set up with, with version and hashes, into `.ci/locked`.

Run it after a change of the dependencies in pyproject.toml; with `--newer` every package moves to its newest version.
Each level's file lists what it needs beyond the levels before it.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LOCKED = ROOT / ".ci" / "locked"
EXTRAS = {"core": [], "notebooks": ["notebooks"], "tests": ["test"]}
# What builds ampsim itself in the clone.
_BUILD = "hatchling\neditables\n"


def entries(text: str) -> dict[str, str]:
    """The entries of a list of requirements, each with its hashes, by their first line without them."""
    blocks = re.split(r"\n(?=\S)", text.strip())
    return {block.split(" \\\n")[0].strip(): block for block in blocks if block and not block.startswith("#")}


def resolve(extras: list[str], fixed: Path | None, folder: Path) -> str:
    """Resolve dependencies for every system and Python that ampsim runs on.

    Parameters
    ----------
    extras : list of str
        Of pyproject.toml.
    fixed : Path or None
        A list whose versions are kept.
    folder : Path
        For files in between.
    """
    build, found = folder / "build.in", folder / "found.txt"
    build.write_text(_BUILD)
    options = [word for extra in extras for word in ("--extra", extra)]
    options += ["--constraints", str(fixed)] if fixed else []
    command = [sys.executable, "-m", "uv", "pip", "compile", "pyproject.toml", str(build), "--universal", "--quiet"]
    command += ["--generate-hashes", "--python-version", "3.11", "--no-annotate", "--no-header", "-o", str(found)]
    subprocess.run([*command, *options], cwd=ROOT, check=True)
    return found.read_text()


def main() -> None:
    """Write the lists."""
    old = "".join((LOCKED / f"{level}.txt").read_text() for level in EXTRAS) if "--newer" not in sys.argv else ""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        fixed = folder / "fixed.txt"
        # All together first, so that no level stands in the way of another.
        fixed.write_text(_pins(old))
        fixed.write_text(_pins(resolve(EXTRAS["tests"], fixed, folder)))
        before: set[str] = set()
        for level, extras in EXTRAS.items():
            found = {
                head: block for head, block in entries(resolve(extras, fixed, folder)).items() if head not in before
            }
            before |= set(found)
            (LOCKED / f"{level}.txt").write_text("".join(f"{block}\n" for block in found.values()))
            print(f"{level}: {len(found)} packages")


def _pins(text: str) -> str:
    return "".join(f"{head}\n" for head in entries(text))


if __name__ == "__main__":
    main()
