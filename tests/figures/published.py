"""The figures of supplies and semiconductors beside published rows; each row by itself: `python -m tests.truth`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from types import ModuleType

from tests.figures.figure import Figure, Scale
from tests.truth import semiconductors, supplies
from tests.truth.claims import COPIED, Check
from tests.truth.unmet import UNMET


def _checks(family: ModuleType) -> list[Check]:
    found = []
    for case in family.cases():
        ours = case.measure()
        found += [Check(claim, ours[claim.quantity]) for claim in case.claims if claim.kind != COPIED]
    return found


def _figure(name: str, checks: Iterable[Check]) -> Figure:
    """How many rows are met, of those that are not said to be out of reach."""
    known = [each for each in checks if each.claim.name not in UNMET]
    met = sum(each.met for each in known)
    return Figure(f"{name}: published rows met", f"{met} of {len(known)}", "all", met == len(known))


def of_supplies(_: Scale) -> Iterator[Figure]:
    """Supplies from the mains beside data sheets: regulation curves of rectifier valves, and all rows."""
    checks = _checks(supplies)
    curves = [each for each in checks if each.claim.limit is supplies.REGULATION]
    beyond = [each for each in curves if not each.met]
    named = "".join(f"; {each.claim.id} is beyond" for each in beyond)
    value = f"{100.0 * max(abs(each.error) for each in curves):.2f} % of {len(curves)} points{named}"
    fine = all(each.claim.name in UNMET for each in beyond)
    yield Figure("regulation of rectifier valves, worst", value, "<= 4 %, or the reason is listed", fine)
    yield _figure("supplies", checks)


def of_semiconductors(_: Scale) -> Iterator[Figure]:
    """Semiconductors beside their data sheets."""
    yield _figure("semiconductors", _checks(semiconductors))


SECTIONS = (of_supplies, of_semiconductors)
