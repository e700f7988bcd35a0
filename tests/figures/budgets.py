"""What hostile or careless files cost: the most memory and time that any of them takes before its answer."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from ampsim.base.files import MOST_BYTES
from tests.figures.figure import Figure, Scale

ROOT = Path(__file__).resolve().parents[2]
# Lines of which a file as large as any that is read is made.
LINES = (
    '"\n', "'\n", '"""\n', "'''\n", 'a."\n', "[\n", "[[\n", "{\n", "a=[\n", "\\\n", 'a="""\n', "a='''\n", "\n", "#\n",
    'a="\\\n', "[a\n", '"a".\n', "a.b=1\n", "[[a]]\n", 'a="x"\n', "a.", '"a".', "a=", "\t", "\r\n",
)  # fmt: skip
_DEMO = 'name = "x"\namp = "workshop-a"\nmods = ["bright-switch", "cathode-switch", "depth"]\n'
_KNOBS = ("gain", "treble", "bass", "middle", "master", "volume", "guitar volume", "guitar tone", "depth")
_MOST_SECONDS, _MOST_BYTES = 30.0, 400e6


def greedy_files() -> dict[str, str]:
    """Small files that ask for much."""
    vary = ", ".join(f'"{name}"' for name in ("gain",) * 12)
    deep = ".".join("a" * 30_000)
    return {
        "twelve knobs varied": f'{_DEMO}[[views]]\ntitle = "x"\nvary = [{vary}]\n',
        "a key of 30,000 parts": f"{deep} = 1\n",
        "a heading of 30,000 parts": f"[{deep}]\n",
        "30,000 brackets": "a = " + "[" * 30_000,
    }


def full_files() -> dict[str, str]:
    """Files as large as any that is read, made of one line again and again, and of lines that differ."""
    files = {f"lines of {line!r}": line * (MOST_BYTES // len(line)) for line in LINES}
    return files | {"unknown entries": "".join(f"k{n} = 1\n" for n in range(80_000))}


def cost(text: str, folder: Path) -> tuple[float, float, str]:
    """Seconds and bytes at most that `ampsim check` takes for a file, in a process of its own, and what it says."""
    path = folder / "file.toml"
    path.write_text(text, "utf-8")
    begin = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "ampsim", "check", str(path)],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    )  # fmt: skip
    assert process.stdout is not None
    said = process.stdout.read().decode("utf-8", "replace")
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return time.perf_counter() - begin, usage.ru_maxrss * 1024.0, said


def measure(scale: Scale) -> Iterator[Figure]:
    """The worst of all greedy and full files."""
    files = greedy_files() | full_files()
    slow, large, odd = ("", 0.0), ("", 0.0), []
    with tempfile.TemporaryDirectory() as name:
        for title, text in list(files.items())[: 10 * scale.repetitions]:
            seconds, memory, said = cost(text, Path(name))
            slow, large = max(slow, (title, seconds), key=_second), max(large, (title, memory), key=_second)
            if not said.startswith("ampsim: ") or len(said.splitlines()) > 3:
                odd.append(title)
    yield Figure(
        f"{len(files)} greedy files up to {MOST_BYTES:,} bytes: answered by something else than a message",
        f"{len(odd)} {', '.join(odd)}".strip(), "0", not odd,
    )  # fmt: skip
    goal = f"<= {_MOST_SECONDS:g} s"
    yield Figure("longest answer to one of them", f"{slow[1]:.1f} s ({slow[0]})", goal, slow[1] <= _MOST_SECONDS)
    goal = f"<= {_MOST_BYTES / 1e6:g} MB"
    yield Figure("most memory for one of them", f"{large[1] / 1e6:.0f} MB ({large[0]})", goal, large[1] <= _MOST_BYTES)


def _second(pair: tuple[str, float]) -> float:
    return pair[1]
