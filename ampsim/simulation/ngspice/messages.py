"""What the lines that ngspice prints mean: which are remarks, which say that an answer cannot be trusted."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence

# A "transient op" is a fault too: it stops after 10 us, long before a coupling capacitor has charged.
_FAULT = re.compile(
    r"singular matrix|transient op\b|error|fatal|not parsed|unknown|undefined|no such|not found|could not"
    r"|cannot|can't|unable|abort|too small|\btoo? low\b|out of range|invalid|illegal|already exists|ignored"
    r"|limit reached|incompatible|not enough|missing|unsupported",
    re.IGNORECASE,
)
# Steps on the way to an operating point that was found in the end, and a start file that is not needed.
_REMARK = re.compile(r"stepping failed|step failed|can't find (the initialization file|init file)")
# Where ngspice begins its search for an operating point anew and where it has found one, and what a search that was
# given up may have said.
_ANEW = re.compile(r"Starting [\w ]*stepping|Transient op started", re.IGNORECASE)
_FOUND = re.compile(r"stepping completed", re.IGNORECASE)
_GIVEN_UP = re.compile(r"singular matrix|out of range for", re.IGNORECASE)
_POINTER = re.compile(r"(?:node|line) \"?([a-z_][\w.#]*)", re.IGNORECASE)


def is_fault(line: str) -> bool:
    """Say whether a printed line ("stderr ..." or "stdout ...") tells of an answer that cannot be trusted."""
    channel, _, words = line.partition(" ")
    if channel == "stdout":
        return words.lower().startswith(("error", "fatal"))
    # Several remarks may share a line, so a harmless one must not hide a fault.
    return bool(_FAULT.search(_REMARK.sub("", words)))


def turns(line: str) -> bool:
    """Say whether a search for an operating point begins anew with a printed line, or ends: what follows is new."""
    return bool(_ANEW.search(line) or _FOUND.search(line))


def of_answer(lines: Sequence[str]) -> list[str]:
    """Return the lines without what ngspice said of an operating point on searches that it gave up.

    Newton's method from nothing may come by volts at which a matrix is singular or a law overflows; of an answer that
    was found in smaller steps from elsewhere that says nothing.
    """
    found = max((k for k, line in enumerate(lines) if _FOUND.search(line)), default=0)
    return [line for k, line in enumerate(lines) if k >= found or not _GIVEN_UP.search(line)]


def of_first_search(lines: Sequence[str]) -> list[str]:
    """Return the lines up to where ngspice began its search for an operating point anew."""
    return list(itertools.takewhile(lambda line: not _ANEW.search(line), lines))


def remarks(lines: Iterable[str]) -> tuple[str, ...]:
    """Return what was said on stderr, without the channel's name."""
    return tuple(line.removeprefix("stderr ") for line in lines if line.startswith("stderr "))


def explain(command: str, problem: str, lines: Sequence[str], text: str) -> str:
    """Compose the message of a failed netlist: the problem, ngspice's lines, the netlist lines they name.

    Parameters
    ----------
    command : str
        The analysis.
    problem : str
        What is wrong, in a few words.
    lines : sequence of str
        What ngspice printed, each line after the name of its channel.
    text : str
        The netlist.
    """
    first = next((k for k, line in enumerate(lines) if is_fault(line)), len(lines))
    quoted = [line.partition(" ")[2].strip() for line in lines[first : first + 6]]
    shown = [f"  ngspice: {line}" for line in quoted] + [f"  netlist {line}" for line in _lines_naming(quoted, text)]
    return "\n".join([f'no trustworthy answer to "{command}": {problem}', *shown])


def _lines_naming(quoted: Iterable[str], text: str) -> list[str]:
    """Find the netlist lines that hold an element or node which the quoted lines name."""
    names: set[str] = set()
    for name in _POINTER.findall(" | ".join(quoted).lower()):
        names.add(name)
        names.update(part for part in re.split(r"[.#]", name) if len(part) > 1)
    found = [
        f"line {number}: {line.strip()[:100]}"
        for number, line in enumerate(text.splitlines(), start=1)
        if number > 1 and names & set(re.split(r"[\s(),={}]+", line.lower()))
    ]
    return found[:4]
