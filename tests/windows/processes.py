"""What only another system than Linux may get wrong about programs, files and folders; it runs on every one.

Not among the ordinary tests, which have their own of worker processes: `python -m tests.windows` runs it, or pytest.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

import ampsim
from ampsim.base.errors import DescriptionError
from ampsim.base.files import write_whole
from ampsim.simulation.ngspice.library import find
from tests.tools.small_circuits import LOW_PASS, C, R
from tests.tools.systems import gone, temporary, wait_for, workers

ROOT = Path(__file__).resolve().parents[2]
CALLER = f"""
from ampsim.simulation.netlist import Netlist
from ampsim.simulation.ngspice import engine
from ampsim.simulation.ngspice.protocol import Form
def run(command, points, end, count=1):
    form = Form(({LOW_PASS.format(r1=R, c1=C)!r},), (), command, ("v(a)",), points, end)
    return engine.run([Netlist(form, ())] * count)
"""
COUNTER = """
import sys
from pathlib import Path
from ampsim.base.files import lock_folder, write_whole
file = Path(sys.argv[1], "count")
for _ in range(20):
    with lock_folder(file.parent):
        write_whole(file, str(int(file.read_text()) + 1))
"""
READER = "import sys; file = open(sys.argv[1]); print('open', flush=True); sys.stdin.readline(); file.close()"


def start(*arguments: str | Path, **environment: str) -> subprocess.Popen[str]:
    """Start this Python with pipes on every side."""
    return subprocess.Popen(
        [sys.executable, *arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        encoding="utf-8", env=os.environ | {"PYTHONPATH": str(ROOT)} | environment,
    )  # fmt: skip


@pytest.mark.parametrize("name", ["Jürgen Müller", "Łukasz Ω 日本", "it's 100% (new) & old"])
def test_a_home_with_any_letters(tmp_path: Path, name: str) -> None:
    home, library = tmp_path / name, find()
    (home / "temporary").mkdir(parents=True)
    for file in (library, library.with_name("libgomp.so.1"), library.with_name("libomp140.x86_64.dll")):
        if file.is_file():
            shutil.copy(file, home / file.name)
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(Path(str(ampsim.__file__)).parent, home / "ampsim", ignore=ignored)
    script = home / "Änderung.py"
    script.write_text(CALLER + "print(engine.__file__); print(run('op', 1, 0.0)[0].vectors['v(a)'])", "utf-8")
    places = {"PYTHONPATH": str(home), "AMPSIM_NGSPICE": str(home / library.name), "PYTHONUTF8": "1"}
    out, err = start(script, **places, **temporary(home / "temporary")).communicate(timeout=180)
    assert name in out, err
    assert out.endswith("[2.]\n")
    assert not list((home / "temporary").iterdir())


@pytest.mark.parametrize("delay", [0.0, 0.3, 1.5, 4.0])
def test_workers_end_with_a_caller_killed_at_any_moment(tmp_path: Path, delay: float) -> None:
    process = start("-c", CALLER + "run('tran 1e-9 1.0 0.999999 1e-9', 0, 1.0, count=4)", **temporary(tmp_path))
    started = wait_for(lambda: bool(workers(process.pid)), 90.0)
    time.sleep(delay)
    pids = workers(process.pid)
    process.kill()
    process.communicate()
    assert started, "no worker started"
    assert pids
    assert wait_for(lambda: all(gone(pid) for pid in pids), 5.0)
    # One that had only begun to start removes its folder as soon as it has.
    assert wait_for(lambda: not list(tmp_path.iterdir()), 60.0)


def test_programs_that_save_together_lose_nothing(tmp_path: Path) -> None:
    write_whole(tmp_path / "count", "0")
    programs = [start("-c", COUNTER, tmp_path) for _ in range(3)]
    for program in programs:
        assert program.communicate(timeout=180)[1] == ""
    assert (tmp_path / "count").read_text("utf-8") == "60"


def test_a_file_that_another_program_holds_is_replaced_or_left_whole(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    write_whole(file, "old")
    reader = start("-c", READER, file)
    assert reader.stdout is not None
    assert reader.stdout.readline() == "open\n"
    try:
        write_whole(file, "new")
        said, expected = "", "new"
    except DescriptionError as problem:
        said, expected = str(problem), "old"
    assert expected == "new" or "the old file is as it was" in said
    assert file.read_text("utf-8") == expected
    reader.communicate("go on\n")
    write_whole(file, "last")
    assert file.read_text("utf-8") == "last"
    assert [each.name for each in tmp_path.iterdir()] == ["job.toml"]
