"""Print every outside check, what is not met and why, and a summary by kind: `python -m tests.truth`."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable
from statistics import median

from tests.truth import bands
from tests.truth.claims import KINDS, Check
from tests.truth.run import checks
from tests.truth.unmet import UNMET


def line(check: Check) -> str:
    """One check in one line, and its source in the next."""
    claim = check.claim
    numbers = f"{claim.published:>11.5g} {check.ours:>11.5g} {claim.unit:<4}"
    errors = f"{claim.limit.words(check.error):>11} {claim.limit.words(claim.limit.size):>11}"
    mark = " " if check.met else "X"
    return f"{mark} {claim.name:<41} {numbers} {errors}  {claim.kind:<11} {claim.flag:<11} {claim.source}"


def summary(kind: str, found: list[Check]) -> str:
    """How many of a kind are met, and how far they are off."""
    met = sum(check.met for check in found)
    text = f"{kind}: {met} of {len(found)} within their limits"
    for scale, factor, unit in (("relative", 100.0, "%"), ("dB", 1.0, "dB")):
        off = [check for check in found if check.claim.limit.scale == scale]
        if off:
            worst = max(off, key=lambda check: abs(check.error))
            middle = median(abs(check.error) for check in off)
            text += (
                f"; {len(off)} in {unit}: median {factor * middle:.3g}, worst {factor * worst.error:+.3g} "
                f"({worst.claim.name})"
            )
    return text


def wrong(found: Iterable[Check]) -> list[str]:
    """Names of checks that are outside their limits without a reason on record, or on record but within."""
    return [check.claim.name for check in found if check.met == (check.claim.name in UNMET)]


def main() -> int:
    """Print everything; the exit code is 1 when a check is off without a reason on record, or the record is stale."""
    found = list(checks().values())
    print("  row and quantity                            published        ours         error       limit")
    print("\n".join(line(check) for check in found))
    limits = dict.fromkeys(check.claim.limit.why for check in found)
    print("\nReasons of the limits\n" + "\n".join(f"  {why}" for why in limits))
    print("\nOutside their limits")
    for check in found:
        if not check.met:
            reason = UNMET.get(check.claim.name, "NO REASON ON RECORD")
            print(line(check))
            print(textwrap.fill(reason, 110, initial_indent="    ", subsequent_indent="    "))
    print("\nSummary")
    for kind, about in KINDS.items():
        print(summary(kind, [check for check in found if check.claim.kind == kind]))
        print(f"    ({about})")
    print("Bands of what is shown of valves (ampsim/measures/law_bands.py), and rows that no fit used inside them")
    print("\n".join(bands.lines(found)))
    stale = wrong(found)
    print(f"{len(found)} checks; " + (f"NOT AS RECORDED: {', '.join(stale)}" if stale else "all as recorded"))
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
