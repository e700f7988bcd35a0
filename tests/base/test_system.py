"""Where systems differ: files that another program holds, how processes end; nobody else asks which system it is."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import time
from concurrent.futures import Future
from pathlib import Path

import psutil
import pytest

from ampsim.base import system
from ampsim.base.errors import DescriptionError
from ampsim.base.files import read_bounded, write_whole
from tests.tools.systems import interrupted, suspend, wait_for

PACKAGE = Path(system.__file__).resolve().parents[1]
# Where a library lies and how it is had is another question on each system.
ASK = {
    "base/system.py",
    *(f"simulation/ngspice/{name}.py" for name in ("library", "library_file", "fetching")),
}
ALIKE = {"os.name", "sys.platform", "platform.system", "sys.getwindowsversion", "os.uname"}


def held(code: int) -> OSError:
    """What Windows says of a file that another program holds."""
    problem = PermissionError(13, "Permission denied")
    problem.winerror = code  # type: ignore[attr-defined,unused-ignore]
    return problem


class Held:
    """A call that is refused a number of times."""

    def __init__(self, problem: OSError, times: int) -> None:
        self.problem, self.times, self.calls = problem, times, 0

    def __call__(self) -> str:
        self.calls += 1
        if self.calls <= self.times:
            raise self.problem
        return "done"


@pytest.fixture(autouse=True)
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(system, "_PAUSES", (0.0, 0.0, 0.0, 0.0))


@pytest.mark.parametrize("times", range(8))
@pytest.mark.parametrize("code", [5, 32, 33])
def test_a_file_that_is_held_for_a_moment_is_waited_for(code: int, times: int) -> None:
    action = Held(held(code), times)
    if times <= 4:
        assert system.patiently(action) == "done"
        assert action.calls == times + 1
    else:
        with pytest.raises(PermissionError):
            system.patiently(action)
        assert action.calls == 5


@pytest.mark.parametrize("problem", [held(2), PermissionError(13, "no"), FileNotFoundError(2, "no"), OSError(28, "no")])
def test_nothing_else_is_tried_again(problem: OSError) -> None:
    action = Held(problem, 1)
    with pytest.raises(type(problem)):
        system.patiently(action)
    assert action.calls == 1


def test_a_file_is_put_in_place_as_soon_as_it_is_let_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_whole(tmp_path / "a.toml", "old")
    replace = os.replace
    action = Held(held(32), 3)
    monkeypatch.setattr(os, "replace", lambda one, two: action() and replace(one, two))
    write_whole(path, "new")
    assert (read_bounded(path), action.calls) == (b"new", 4)
    action.calls, action.times = 0, 100
    with pytest.raises(DescriptionError, match=r"cannot be written: .*; the old file is as it was"):
        write_whole(path, "newer")
    assert [(each.name, each.read_bytes()) for each in tmp_path.iterdir()] == [("a.toml", b"new")]


def test_a_process_apart_that_is_suspended_is_told_from_one_that_runs_or_ended() -> None:
    command = [sys.executable, "-c", "import time; print(flush=True); time.sleep(60)"]
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, **system.apart()) as process:
        assert process.stdout is not None
        process.stdout.readline()
        try:
            assert not system.is_suspended(process.pid)
            suspend(process.pid)
            assert wait_for(lambda: system.is_suspended(process.pid))
            psutil.Process(process.pid).resume()
            assert wait_for(lambda: not system.is_suspended(process.pid))
        finally:
            process.kill()
    assert not system.is_suspended(process.pid)


def test_ctrl_c_ends_a_wait_for_what_never_comes() -> None:
    # As on Windows, where it wakes nobody who waits.
    begin = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        interrupted(0.3, lambda: next(system.as_done([Future[str]()])))
    assert time.monotonic() - begin < 100.0


def test_futures_come_as_they_are_done() -> None:
    first, second, third = (Future[int]() for _ in range(3))
    second.set_result(2)
    third.set_exception(ValueError("three"))
    coming = system.as_done([first, second, third])
    assert {next(coming), next(coming)} == {second, third}
    first.set_result(1)
    assert [each.result() for each in coming] == [1]


def test_how_a_process_ended_is_said() -> None:
    assert [system.ending(code) for code in (0, 3, -9, 0xC0000005)] == [
        "exit status 0", "exit status 3", "killed by signal 9", "exit status 0xc0000005",
    ]  # fmt: skip


def test_only_one_module_asks_which_system_this_is() -> None:
    asking = set()
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text("utf-8")
        for node in ast.walk(ast.parse(text)) if re.search(r"\b(os|sys|signal|platform)\b", text) else ():
            named = isinstance(node, ast.Attribute) and ast.unparse(node) in ALIKE
            asked = isinstance(node, ast.Call) and ast.unparse(node).startswith(("hasattr(os,", "hasattr(signal,"))
            if named or asked:
                asking.add(path.relative_to(PACKAGE).as_posix())
    assert asking <= ASK
