"""Files in and out: bounds, whole files, one program at a time."""

from __future__ import annotations

import errno
import multiprocessing
import os
from multiprocessing.process import BaseProcess
from multiprocessing.synchronize import Event
from pathlib import Path

import pytest

from ampsim.base import files
from ampsim.base.errors import DescriptionError
from tests.tools.systems import needs_links


def hold(folder: Path, held: Event, over: Event) -> None:
    """Hold a folder until told otherwise."""
    with files.lock_folder(folder):
        held.set()
        over.wait(240)


def other_program(folder: Path) -> tuple[BaseProcess, Event]:
    """Start a program that holds a folder; what tells it to let go."""
    spawn = multiprocessing.get_context("spawn")
    held, over = spawn.Event(), spawn.Event()
    other = spawn.Process(target=hold, args=(folder, held, over))
    other.start()
    assert held.wait(240)
    return other, over


def test_a_second_program_is_refused_until_the_first_lets_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "_PATIENCE", 0.1)
    other, over = other_program(tmp_path)
    with pytest.raises(DescriptionError, match="another program is writing this job"), files.lock_folder(tmp_path):
        raise AssertionError("two at a time")
    over.set()
    other.join()
    with files.lock_folder(tmp_path) as alone:
        assert alone


def test_a_killed_program_holds_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "_PATIENCE", 2.0)
    other, _ = other_program(tmp_path)
    other.kill()
    other.join()
    with files.lock_folder(tmp_path) as alone:
        assert alone


@needs_links
def test_no_link_is_followed_to_make_a_lock(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / ".job.lock").symlink_to(elsewhere)
    with pytest.raises(DescriptionError, match="nothing can be written here"), files.lock_folder(folder):
        raise AssertionError("a link was followed")
    assert not elsewhere.exists()


def test_reading_is_bounded(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_bytes(b"1234")
    assert files.read_bounded(file, 4) == b"1234"
    with pytest.raises(DescriptionError, match=r"^a\.toml: 4 bytes; at most 3 are read"):
        files.read_bounded(file, 3)
    for wrong, why in (
        (tmp_path, "not a plain file"),
        (tmp_path / "b", "there is no such file"),
        ("a\0b", "no such file"),
    ):
        with pytest.raises(DescriptionError, match=why):
            files.read_bounded(wrong)


def test_a_folder_that_takes_files_leaves_no_trace_of_the_trial(tmp_path: Path) -> None:
    files.refuse_unwritable(tmp_path / "new" / "newer")
    files.refuse_unwritable(tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("way", ["full", "read-only", "file in the way", "long name", "null byte"])
def test_a_folder_that_takes_no_files_is_refused_before_the_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    folder = tmp_path / "results"
    if way in ("full", "read-only"):

        def fail(handle: int) -> None:
            number = errno.ENOSPC if way == "full" else errno.EROFS
            raise OSError(number, os.strerror(number))

        monkeypatch.setattr(os, "fsync", fail)
    elif way == "file in the way":
        folder.touch()
    elif way == "long name":
        folder = tmp_path / ("n" * 300)
    else:
        folder = tmp_path / "a\0b"
    with pytest.raises(DescriptionError, match="nothing can be written there: "):
        files.refuse_unwritable(folder)
