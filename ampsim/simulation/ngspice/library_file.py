"""What a file that should be a shared library really is: read from its first bytes, before the system loads it.

A system's loader names neither the file (Windows) nor what is wrong with it, and a file that was cut short can end the
process that loads it. Standard library only: the set-up of a clone reads this before anything is installed.
"""

from __future__ import annotations

import platform
import struct
import sys
from pathlib import Path

_MACHINES = {
    "x86-64": ("x86_64", "amd64", "x64"),
    "ARM64": ("aarch64", "arm64"),
    "x86": ("i386", "i486", "i586", "i686", "x86"),
}
_ELF = {62: "x86-64", 183: "ARM64", 3: "x86"}
_PE = {0x8664: "x86-64", 0xAA64: "ARM64", 0x14C: "x86"}
_MACH = {0x01000007: "x86-64", 0x0100000C: "ARM64", 7: "x86"}
_SYSTEMS = {"linux": "Linux", "win32": "Windows", "darwin": "macOS"}
_HEAD = 1 << 16
_ARCHIVE = 0xCAFEBABE  # several machines in one file
_SEGMENT, _SEGMENT_64 = 0x1, 0x19


def fault_of(path: Path, system: str = sys.platform, machine: str = "") -> str:
    """Say why a file cannot be a shared library of this system and machine; "" when nothing speaks against it.

    Parameters
    ----------
    path : Path
        The file.
    system : str
        As `sys.platform` says it. Of others than Linux, Windows and macOS nothing is known, and nothing said.
    machine : str
        As `platform.machine` says it, which is asked if nothing is given.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(_HEAD)
    if not size:
        return "it is empty"
    try:
        kind, machines, end = _look(head)
    except (struct.error, IndexError):
        return f"it is cut short ({size:,} bytes)"
    if not kind:
        return "it is no shared library"
    wanted, ours = _SYSTEMS.get(system, kind), _usual(machine or platform.machine())
    if kind != wanted:
        return f"it is a library for {kind}, and this is {wanted}"
    if ours and machines and ours not in machines:
        return f"it is made for {' and '.join(machines)}, and this Python is for {ours}"
    if size < end:
        return f"it is cut short ({size:,} of at least {end:,} bytes)"
    return ""


def _usual(machine: str) -> str:
    # A 32-bit Python may run on a 64-bit machine.
    name = next((name for name, forms in _MACHINES.items() if machine.lower() in forms), "")
    return "x86" if name == "x86-64" and sys.maxsize < 1 << 32 else name


def _look(head: bytes) -> tuple[str, list[str], int]:
    """The system ("" where it is no library), the machines, and the least number of bytes of the whole file."""
    if head[:4] == b"\x7fELF":
        return _look_at_elf(head)
    if head[:2] == b"MZ":
        return _look_at_pe(head)
    (number,) = struct.unpack_from(">I", head)
    if number == _ARCHIVE:
        (count,) = struct.unpack_from(">I", head, 4)
        parts = [struct.unpack_from(">5I", head, 8 + 20 * each) for each in range(count)]
        return (
            "macOS",
            [_MACH.get(part[0], "another machine") for part in parts],
            max(part[2] + part[3] for part in parts),
        )
    if number in (0xCFFAEDFE, 0xCEFAEDFE):
        return _look_at_mach(head, 32 if number == 0xCFFAEDFE else 28)
    return "", [], 0


def _look_at_elf(head: bytes) -> tuple[str, list[str], int]:
    order = "<" if head[5] == 1 else ">"
    (machine,) = struct.unpack_from(f"{order}H", head, 18)
    if head[4] == 2:
        start, sections = struct.unpack_from(f"{order}QQ", head, 32)
        size, count, section_size, section_count = struct.unpack_from(f"{order}4H", head, 54)
        form, offset, length = f"{order}Q", 8, 32
    else:
        start, sections = struct.unpack_from(f"{order}II", head, 28)
        size, count, section_size, section_count = struct.unpack_from(f"{order}4H", head, 42)
        form, offset, length = f"{order}I", 4, 16
    ends = [sections + section_size * section_count]
    for entry in range(start, start + size * count, size or 1):
        ends.append(
            struct.unpack_from(form, head, entry + offset)[0] + struct.unpack_from(form, head, entry + length)[0]
        )
    return "Linux", [_ELF.get(machine, "another machine")], max(ends)


def _look_at_pe(head: bytes) -> tuple[str, list[str], int]:
    (start,) = struct.unpack_from("<I", head, 60)
    if head[start : start + 4] != b"PE\0\0":
        struct.unpack_from("<I", head, start)  # beyond the end: it is cut short
        return "", [], 0
    machine, count = struct.unpack_from("<HH", head, start + 4)
    (optional,) = struct.unpack_from("<H", head, start + 20)
    table = start + 24 + optional
    parts = [struct.unpack_from("<II", head, table + 40 * each + 16) for each in range(count)]
    return "Windows", [_PE.get(machine, "another machine")], max((sum(part) for part in parts), default=0)


def _look_at_mach(head: bytes, position: int) -> tuple[str, list[str], int]:
    machine, _, _, count = struct.unpack_from("<4I", head, 4)
    end = 0
    for _ in range(count):
        command, size = struct.unpack_from("<II", head, position)
        if command == _SEGMENT_64:
            end = max(end, sum(struct.unpack_from("<QQ", head, position + 40)))
        elif command == _SEGMENT:
            end = max(end, sum(struct.unpack_from("<II", head, position + 32)))
        position += size or 1
    return "macOS", [_MACH.get(machine, "another machine")], end
