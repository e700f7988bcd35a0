"""Groups of tests that run in Windows' Python, and what came of each."""

from __future__ import annotations

import re
import subprocess
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from xml.etree import ElementTree

from tests.windows.wine import Windows

GROUPS: Mapping[str, tuple[str, ...]] = {
    "engine": ("tests/simulation/test_engine.py", "tests/simulation/test_response.py"),
    "processes": ("tests/simulation/test_engine_processes.py", "tests/windows/processes.py"),
    "files": ("tests/base", "tests/library"),
    "record": ("tests/job/test_record.py", "tests/job/test_job_names.py", "tests/job/test_measurements.py"),
    "truth": ("tests/truth",),
    "listening": ("tests/audio",),
}
# Not those of pyproject.toml: nbval needs a library that calls what wine 8 lacks.
_OPTIONS = ("-p", "no:nbval", "-p", "no:cacheprovider", "-o", "addopts=--strict-markers --import-mode=importlib", "-v")
_LINE = re.compile(r"^(\S+::.*?) (PASSED|FAILED|ERROR|SKIPPED|XFAIL)\b", re.MULTILINE)


@dataclass
class Outcome:
    """What came of one group: failures with the first line of their reason, skips counted by reason."""

    group: str
    seconds: float = 0.0
    passed: int = 0
    expected: int = 0  # failures that are on record
    failed: dict[str, str] = field(default_factory=dict)
    skipped: Counter[str] = field(default_factory=Counter)

    def lines(self) -> Iterator[str]:
        """Yield a line of numbers, then each failure and each reason to skip."""
        yield (
            f"{self.group:<10} {self.passed:>5} passed {self.expected:>4} expected to fail {len(self.failed):>4} failed"
            f" {self.skipped.total():>4} skipped {self.seconds:>6.0f} s"
        )
        yield from (f"    FAILED {name}: {reason}" for name, reason in self.failed.items())
        yield from (f"    skipped {count}: {reason}" for reason, count in self.skipped.most_common())


def read_outcome(group: str, report: str) -> Outcome:
    """Read what pytest reports in the form of JUnit."""
    root = ElementTree.fromstring(report)
    outcome = Outcome(group)
    for case in root.iter("testcase"):
        name = f"{case.get('classname')}.{case.get('name')}"
        fault = next((part for part in case if part.tag in ("failure", "error")), None)
        skip = case.find("skipped")
        if fault is not None:
            outcome.failed[name] = str(fault.get("message")).split("\n")[0][:200]
        elif skip is None:
            outcome.passed += 1
        elif skip.get("type") == "pytest.xfail":
            outcome.expected += 1
        else:
            outcome.skipped[str(skip.get("message"))] += 1
    return outcome


def read_unfinished(group: str, printed: str) -> Outcome:
    """Read what pytest has printed, a line for each test, before it was ended."""
    outcome = Outcome(group)
    for name, word in _LINE.findall(printed):
        outcome.passed += word == "PASSED"
        outcome.expected += word == "XFAIL"
        outcome.skipped["not told: the run did not end"] += word == "SKIPPED"
        if word in ("FAILED", "ERROR"):
            outcome.failed[name] = "not told: the run did not end"
    outcome.skipped = +outcome.skipped  # without those that never happened
    last = printed.strip().rpartition("\n")[2]
    outcome.failed["the whole group"] = f"did not end; the last line: {last[:200]}"
    return outcome


def run_group(windows: Windows, group: str, minutes: float) -> Outcome:
    """Run the tests of a group there; a run that does not end, or breaks, is a failure by itself.

    Parameters
    ----------
    windows : Windows
    group : str
        Of `GROUPS`.
    minutes : float
        After which it is ended.
    """
    report, begin = windows.folder / f"{group}.xml", time.monotonic()
    report.unlink(missing_ok=True)
    try:
        done = windows.run("-m", "pytest", *_OPTIONS, "--junitxml", report, *GROUPS[group], seconds=60.0 * minutes)
        printed = done.stdout + done.stderr
    except subprocess.TimeoutExpired as late:
        printed = (late.output or b"").decode("utf-8", "replace")
    (windows.folder / f"{group}.txt").write_text(printed, "utf-8")
    outcome = read_outcome(group, report.read_text("utf-8")) if report.is_file() else read_unfinished(group, printed)
    return replace(outcome, seconds=time.monotonic() - begin)
