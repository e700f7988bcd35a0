"""`ampsim setup`: says what it would do, does nothing unasked, and names a library that cannot be used."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from ampsim.interface import installation
from ampsim.interface.commands.main import main
from ampsim.interface.installation import FETCH, library_faults
from ampsim.simulation.ngspice import fetching, library
from ampsim.simulation.ngspice.pool import POOL

WHOLE = library.find()


@pytest.fixture(autouse=True)
def no_library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A system without ngspice, and an ampsim that was installed; returns the user's folder."""
    monkeypatch.delenv("AMPSIM_NGSPICE", raising=False)
    folder = tmp_path / "user ö" / "libngspice"
    monkeypatch.setattr(library, "in_clone", lambda: False)
    monkeypatch.setattr(library, "user_folder", lambda: folder)
    monkeypatch.setattr(library, "candidates", lambda: library.in_folder(folder))
    monkeypatch.setattr(fetching, "source", lambda: "Debian")
    POOL.close()
    return folder


def unpack(target: Path, content: bytes) -> None:
    """Put a library where a fetched one lies."""
    place = target.with_name("unpacked") / "usr" / "lib" / "some-arch"
    place.mkdir(parents=True)
    (place / "libngspice.so.0").write_bytes(content)
    for beside in WHOLE.parent.glob("libgomp.so.1*"):
        shutil.copy(beside, place)
    fetching._put(target.with_name("unpacked"), target)


def test_it_says_what_it_would_do_and_does_nothing(no_library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["setup"]) == 1
    told = capsys.readouterr()
    assert "libngspice0 and libgomp1" in told.out
    assert str(no_library) in told.out
    assert "apt-get install libngspice0" in told.out
    assert "AMPSIM_NGSPICE" in told.out
    assert "nothing was changed" in told.err
    assert not no_library.parent.exists()


def test_what_is_fetched_is_tried_and_then_left_alone(
    no_library: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(fetching, "fetch_library", lambda target: unpack(target, WHOLE.read_bytes()))
    assert main(["setup", "--fetch"]) == 0
    told = capsys.readouterr()
    assert str(library.find()) in told.out
    assert f"delete {no_library}" in told.out
    assert "to download" in told.err
    monkeypatch.setattr(fetching, "fetch_library", lambda _: pytest.fail("one is there"))
    for words in (["setup"], ["setup", "--fetch"]):
        assert main(words) == 0
        assert "nothing is to be done" in capsys.readouterr().out
    # One byte changed later, in a place that no loader looks at.
    file = library.find()
    file.write_bytes(file.read_bytes()[:-1] + b"\1")
    (fault,) = library_faults()
    assert "not as it was fetched: usr/lib/some-arch/libngspice.so.0" in str(fault)
    assert fault.remedy == FETCH


@pytest.mark.parametrize("harm", ["text", "cut short", "holes"])
def test_a_damaged_library_is_named_with_its_path_and_what_to_do(
    no_library: Path, harm: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for others in ("package_faults", "compiled_faults"):
        monkeypatch.setattr(installation, others, lambda: iter(()))
    content = bytearray(WHOLE.read_bytes())
    size = len(content)
    if harm == "text":
        content = bytearray(b"<html>404</html>")
    elif harm == "cut short":
        del content[size // 2 :]
    else:
        content[size // 4 : size // 2] = bytes(size // 2 - size // 4)
    unpack(no_library, bytes(content))
    file = library.find()
    for words in (["audition", "--to", str(no_library.parent / "out")], ["setup"], ["selftest"]):
        assert main(words) == 1
        told = "".join(capsys.readouterr())
        assert str(file) in told, words
        assert "ampsim setup" in told, words
        assert "Traceback" not in told
    # The same in the place that the setting names: no fetching would help.
    monkeypatch.setenv("AMPSIM_NGSPICE", str(file))
    assert main(["setup", "--fetch"]) == 1
    told = "".join(capsys.readouterr())
    assert "unset it" in told
    assert str(file) in told


def test_a_fetching_that_fails_is_said(
    no_library: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: Path) -> None:
        raise fetching.FetchError("could not get libngspice from Debian's servers", "apt-get install libngspice0")

    monkeypatch.setattr(fetching, "fetch_library", fail)
    assert main(["setup", "--fetch"]) == 1
    assert "could not get libngspice" in capsys.readouterr().err
    monkeypatch.setattr(fetching, "source", lambda: "")
    assert main(["setup"]) == 1
    assert "--fetch" not in "".join(capsys.readouterr()).partition("would")[0]
    assert not no_library.exists()
