"""The figures of a shop with thousands of jobs: reading them all, and finding where something was done."""

from __future__ import annotations

import os
import random
import statistics
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from ampsim.job.record.beginning import begin_job
from ampsim.job.shop.index import Index
from ampsim.job.shop.overview import shop
from tests.figures.figure import FULL, Figure, Scale

_JOBS, _REBUILT, _SEARCHED = 5000, 60.0, 0.2  # s
_SEEN = ("hum", "crackle", "dull", "thin", "buzz", "rattle", "pops", "22u", "weak", "loud")
_PINS = tuple(f"V{valve}{half}.plate" for valve in range(1, 5) for half in "AB")


def all_jobs(scale: Scale) -> Iterator[Figure]:
    """A shop of copies of one job with remarks and readings by lot."""
    count = _JOBS if scale.repetitions >= FULL.repetitions else _JOBS // 10
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        os.environ["AMPSIM_CACHE"], kept = str(home / "kept"), os.environ.get("AMPSIM_CACHE")
        try:
            _copies(home, count)
            yield from _measured(home / "jobs", count)
        finally:
            os.environ.pop("AMPSIM_CACHE")
            if kept is not None:
                os.environ["AMPSIM_CACHE"] = kept


def _measured(jobs: Path, count: int) -> Iterator[Figure]:
    begin = time.perf_counter()
    with Index(jobs, anew=True) as index:
        whole = time.perf_counter() - begin
        assert len(index.lines()) == count
    limit = _REBUILT * count / _JOBS
    yield Figure(f"index of {count:,} jobs made anew", f"{whole:.1f} s", f"<= {limit:g} s", whole <= limit)
    times = []
    for words in (["buzz"], ["22u", "rattle"], ["V3A.plate"], ["nowhere"]) * 5:
        begin = time.perf_counter()
        shop(jobs, words)
        times.append(time.perf_counter() - begin)
    middle, most = statistics.median(times), max(times)
    value = f"{middle:.2f} s, at most {most:.2f} s"
    yield Figure(f"{count:,} jobs searched, folders looked at", value, f"<= {_SEARCHED:g} s", middle <= _SEARCHED)


def _copies(home: Path, count: int) -> None:
    lot = random.Random(19)
    begin_job(home / "one", "workshop-a", ["bright-switch", "cathode-switch", "depth"], owner="O. Wner")
    text, frozen = (home / "one" / "job.toml").read_text("utf-8"), list((home / "one" / "frozen").iterdir())
    for number in range(count):
        folder = home / "jobs" / str(2020 + number % 7) / f"job {number}"
        (folder / "frozen").mkdir(parents=True)
        for each in frozen:
            os.link(each, folder / "frozen" / each.name)
        (folder / "job.toml").write_text(text + _remarks(lot), "utf-8")


def _remarks(lot: random.Random) -> str:
    seen = "".join(
        f'\n[[arrival]]\ndate = 2026-01-{1 + day:02d}\nnote = "{" ".join(lot.choices(_SEEN, k=8))}"\n'
        for day in range(6)
    )
    volts = "".join(f'"{pin}" = {lot.uniform(90, 300):.1f}\n' for pin in _PINS)
    line = '{kind = "part", what = "22k resistor (R1)", quantity = "1", unit = "piece", price = "4.20", per = "100", '
    line += 'amount = "0.04"},\n'
    quote = f'\n[[quotes]]\ndate = 2026-01-06\ncurrency = "EUR"\nplaces = 2\ntotal = "0.80"\nlines = [\n{20 * line}]\n'
    return seen + quote + 3 * f'\n[[measured]]\nphase = "on arrival"\ndate = 2026-01-05\n[measured.volts]\n{volts}'


SECTIONS = (all_jobs,)
