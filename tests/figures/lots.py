"""Amps drawn by lot over every template and kind of part: `python -m tests.figures.lots --count 100`.

What had no answer, what a check refutes, and how far other solutions lie beside ngspice's. `--record FILE` keeps a
line for each amp, so that a long run may be cut into pieces.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.figures.figure import FULL, Figure, Scale, table
from tests.tools import random_amps

# A run of all figures tries a tenth of its amps.
_SHARE = 10


def of_count(total: random_amps.Count, wanted: int) -> Iterator[Figure]:
    """The figures of a run, of which `wanted` amps were asked for."""
    tried = f"{total.tried:,}, {total.transients:,} of them 20 ms in time"
    yield Figure("amps by lot tried, at rest and swept", tried, f">= {wanted:,}", total.tried >= wanted)
    failed = f"{total.failed_percent:.2f} %"
    yield Figure("  not converged", failed, "<= 0.3 %", total.failed_percent <= 0.3)
    yield Figure("  silently wrong", f"{total.wrong_amps}", "0", total.wrong_amps == 0)
    beside, apart = (total.percents(name) for name in ("beside", "apart"))
    if beside:
        value = f"{len(beside)} amps, {max(beside):.4f} %"
        enough = len(beside) >= 0.09 * total.tried
        yield Figure(
            "  sweep beside nodal equations in numpy, worst", value, "a tenth, <= 0.1 %", enough and max(beside) <= 0.1
        )
    if apart:
        middle, worst = float(np.median(apart)), max(apart)
        value = f"{middle:.4f} %, {worst:.3f} % of {len(apart)}"
        yield Figure(
            "  time-step solver beside ngspice, median and worst",
            value,
            "<= 0.01 %, <= 0.5 %",
            middle <= 0.01 and worst <= 0.5,
        )


def print_faults(total: random_amps.Count) -> None:
    """Say on stderr which amps had no answer, and what is wrong with which."""
    for number, analysis, message in total.failures:
        print(f"figures: amp {number}: {analysis}: {message.splitlines()[0]}", file=sys.stderr)
    for number, fault in total.wrong:
        print(f"figures: amp {number}: {fault}", file=sys.stderr)


def lots(scale: Scale) -> Iterator[Figure]:
    """Amps by lot: converged, right, and the same by other solvers."""
    wanted = scale.amps // _SHARE
    total = random_amps.run(wanted, in_time=2, progress=True, play=True)
    print_faults(total)
    first, *others = of_count(total, wanted)
    yield replace(first, name=f"a sample of the {scale.amps:,} {first.name}")
    yield from others


SECTIONS = (lots,)


def main() -> int:
    """Try some amps and print the table; exit status 1 when a figure falls short."""
    parser = argparse.ArgumentParser(description="amps by lot through every solver")
    parser.add_argument("--count", type=int, default=FULL.amps // _SHARE)
    parser.add_argument("--first", type=int, default=0, help="number of the first amp")
    parser.add_argument("--in-time", type=int, default=2, help="every so many of them in time as well")
    parser.add_argument("--record", type=Path, help="file for a line of each amp; those in it are not tried again")
    given = parser.parse_args()
    total = random_amps.run(given.count, given.first, given.in_time, progress=True, record=given.record, play=True)
    print_faults(total)
    figures = list(of_count(total, given.count))
    print(table(figures))
    return 0 if all(figure.fine for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
