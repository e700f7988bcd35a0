"""`python -m tests.tools.lock`: the packages that a clone is set up with, with version and hashes, into `.ci/locked`.

Run it after a change of the dependencies in pyproject.toml; with `--newer` every package moves to its newest version.
Each level's file lists what it needs beyond the levels before it. `--check` changes nothing and asks the package index
whether every package has a wheel with a listed hash, for every system and Python.
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
SYSTEMS = ("x86_64-manylinux_2_28", "x86_64-pc-windows-msvc", "aarch64-apple-darwin")
PYTHONS = ("3.11", "3.12", "3.13")
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
    build.write_text(_BUILD, "utf-8")
    options = [word for extra in extras for word in ("--extra", extra)]
    options += ["--constraints", str(fixed)] if fixed else []
    command = [sys.executable, "-m", "uv", "pip", "compile", "pyproject.toml", str(build), "--universal", "--quiet"]
    command += ["--generate-hashes", "--python-version", "3.11", "--no-annotate", "--no-header", "-o", str(found)]
    subprocess.run([*command, *options], cwd=ROOT, check=True)
    return found.read_text("utf-8")


def missing_wheels(system: str, python: str) -> list[str]:
    """What the package index lacks of the lists, for a system as uv calls it and a version of Python."""
    command = [sys.executable, "-m", "uv", "pip", "install", "--dry-run", "--quiet", "--no-deps", "--require-hashes"]
    command += ["--only-binary", ":all:", "--python-platform", system, "--python-version", python]
    wrong = []
    with tempfile.TemporaryDirectory() as name:
        for level in EXTRAS:
            words = [*command, "--target", name, "-r", str(LOCKED / f"{level}.txt")]
            done = subprocess.run(words, capture_output=True, encoding="utf-8", check=False)
            wrong += [f"{level}: {done.stderr.strip()}"] if done.returncode else []
    return wrong


def check() -> None:
    """Say for every system and Python whether the lists can be installed there."""
    failed = False
    for system in SYSTEMS:
        for python in PYTHONS:
            wrong = missing_wheels(system, python)
            failed = failed or bool(wrong)
            print(f"Python {python}, {system}: {'; '.join(wrong) or 'every package has its wheel'}", flush=True)
    sys.exit(failed)


def main() -> None:
    """Write the lists."""
    if "--check" in sys.argv:
        check()
    old = "".join((LOCKED / f"{level}.txt").read_text("utf-8") for level in EXTRAS) if "--newer" not in sys.argv else ""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        fixed = folder / "fixed.txt"
        # All together first, so that no level stands in the way of another.
        fixed.write_text(_pins(old), "utf-8")
        fixed.write_text(_pins(resolve(EXTRAS["tests"], fixed, folder)), "utf-8")
        before: set[str] = set()
        for level, extras in EXTRAS.items():
            found = {
                head: block for head, block in entries(resolve(extras, fixed, folder)).items() if head not in before
            }
            before |= set(found)
            (LOCKED / f"{level}.txt").write_text("".join(f"{block}\n" for block in found.values()), "utf-8")
            print(f"{level}: {len(found)} packages")


def _pins(text: str) -> str:
    return "".join(f"{head}\n" for head in entries(text))


if __name__ == "__main__":
    main()
