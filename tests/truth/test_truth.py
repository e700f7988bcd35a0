"""The outside checks as tests: one for every published number, and some that show that a check can fail."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ampsim import load_valve
from ampsim.library.kinds import listing
from ampsim.measures.law_bands import BANDS
from tests.truth import __main__ as printing
from tests.truth import bands, networks, run
from tests.truth.bench import Rest, amp, rail, wired
from tests.truth.claims import KINDS, Case, Check, Claim
from tests.truth.unmet import UNMET

CLAIMS = run.claims()
README = Path(__file__).resolve().parents[2] / "README.md"


def marked(claim: Claim) -> object:
    """A claim as a parameter; one that is known not to be met must fail, or the record is stale."""
    reason = UNMET.get(claim.name)
    marks = [pytest.mark.xfail(strict=True, reason=reason, raises=AssertionError)] if reason else []
    return pytest.param(claim, id=claim.name, marks=marks)


@pytest.mark.parametrize("claim", [marked(claim) for claim in CLAIMS])
def test_published_number(claim: Claim) -> None:
    check = run.checks()[claim.name]
    words = claim.limit.words
    assert check.met, (
        f"{claim.source}: published {claim.published:g}, ours {check.ours:g} {claim.unit}, "
        f"off by {words(check.error)}, limit {words(claim.limit.size)}: {claim.limit.why}"
    )


def test_there_are_many_checks_and_each_has_a_name_of_its_own() -> None:
    names = [claim.name for claim in CLAIMS]
    assert len(names) >= 100
    assert len(set(names)) == len(names)
    assert set(UNMET) <= set(names)
    assert {claim.kind for claim in CLAIMS} == set(KINDS)
    assert all(claim.source.strip() and claim.limit.why.strip() for claim in CLAIMS)


@pytest.mark.parametrize(
    ("kind", "row"),
    [
        ("closed form", "closed forms"),
        ("fitted", "figures that"),
        ("predicted", "figures pred"),
        ("copied", "ratings and capacitances"),
    ],
)
def test_the_readme_counts_what_is_checked(kind: str, row: str) -> None:
    (line,) = [each for each in README.read_text("utf-8").splitlines() if each.startswith(f"| {row}")]
    names = [claim.name for claim in CLAIMS if claim.kind == kind]
    assert line.split("|")[2].strip() == f"{len(set(names) - set(UNMET))} of {len(names)}"
    assert f"The {len(UNMET)} rows outside their limits" in README.read_text("utf-8")


def test_every_point_of_every_valve_file_is_checked() -> None:
    rows = {claim.name for claim in CLAIMS}
    points = [point for name in listing()["valves"] for point in load_valve(name).points]
    assert len(points) > 200
    assert {f"{point.id} {point.quantity}" for point in points} <= rows


def test_limits_are_no_wider_than_what_the_project_wants() -> None:
    most = {"plate current": 0.15, "gm": 0.15, "rp": 0.20, "gain": 0.07, "output power": 0.15, "distortion": 0.30}
    for claim in CLAIMS:
        if claim.limit.scale == "relative":
            assert claim.limit.size <= most.get(claim.quantity, 0.30), claim.name
    published = [claim for claim in CLAIMS if claim.id[0] in "KD" and claim.id[:3] not in ("D5a", "D5b", "D5c")]
    assert all(claim.limit.size == 0.005 for claim in published)


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_number_that_is_a_little_off_is_found(kind: str) -> None:
    """Published numbers moved by three times their limit: none of the relative checks of this kind may still be met."""
    checks = [check for check in run.checks().values() if check.claim.kind == kind and check.met]
    relative = [check for check in checks if check.claim.limit.scale == "relative"]
    assert relative
    for check in relative:
        limit = check.claim.limit.size
        factor = (1.0 + limit) ** (3.0 if check.error < 0.0 else -3.0)
        assert not Check(replace(check.claim, published=check.claim.published * factor), check.ours).met


def test_a_wrong_valve_is_found() -> None:
    """A tenth more current than the published law: its row turns red."""
    valve = load_valve("12AX7-koren-1996")
    worse = replace(valve, parameters=tuple((n, v * (0.9 if n == "kG1" else 1.0)) for n, v in valve.parameters))
    pins = {"plate": "out", "grid": "BG", "cathode": "ground"}
    alone = wired("valve", V1=pins, R1=["B1", "out"])
    circuit = amp({"V1": valve.type, "R1": "1"}, [alone], rail("B1", 250.0), rail("BG", -2.0))
    claim = next(claim for claim in CLAIMS if claim.name == "K8 plate current")
    for law, met in ((valve, True), (worse, False)):
        assert Check(claim, Rest(replace(circuit, valves=(law,))).amps("V1", "plate")).met is met


def test_a_wrong_part_in_the_tone_stack_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """One capacitor a hundredth too large shows against the closed form at its limit of 0.01 dB."""
    case: Case = networks.cases()[0]
    monkeypatch.setattr(networks, "C3", networks.C3 * 1.01)
    ours = case.measure()
    assert any(not Check(claim, ours[claim.quantity]).met for claim in case.claims)


def test_the_written_out_transfer_function_gives_the_printed_decibels() -> None:
    """Rows Y2 to Y5 print two decimals, row Y7 four digits of every coefficient."""
    for row, knobs in networks.KNOBS.items():
        ours = [networks.stack_db(knobs, hertz) for hertz in networks.HERTZ]
        assert ours == pytest.approx(networks.PRINTED[row], abs=0.0051)
    above, below = networks.coefficients(0.5, 0.5, 0.5)
    assert above[1:] == pytest.approx((1.091e-2, 3.630e-6, 5.548e-10), rel=5e-4)
    assert below == pytest.approx((1.0, 1.318e-2, 1.518e-5, 9.135e-10), rel=5e-4)


def test_the_printed_list_tells_what_is_not_met_and_keeps_the_kinds_apart(capsys: pytest.CaptureFixture[str]) -> None:
    assert printing.main() == 0
    printed = capsys.readouterr().out
    assert all(f"\n{kind}: " in printed for kind in KINDS)
    lines = [line for line in printed.splitlines() if line.startswith("X ")]
    assert len(lines) == 2 * len(UNMET)
    assert all(sum(bool(re.match(rf"X {re.escape(name)} +[-\d]", line)) for line in lines) == 2 for name in UNMET)


def test_the_list_turns_red_when_the_record_is_stale() -> None:
    met = next(check for check in run.checks().values() if check.met)
    unmet = next(check for check in run.checks().values() if not check.met)
    off = Check(met.claim, np.nan)
    assert printing.wrong([met, unmet]) == []
    assert printing.wrong([off]) == [met.claim.name]
    assert printing.wrong([Check(unmet.claim, unmet.claim.published)]) == [unmet.claim.name]


def test_bands_are_what_fitted_rows_leave_and_hold_most_of_the_others() -> None:
    checks = list(run.checks().values())
    assert bands.worked_out(checks) == BANDS
    held = bands.coverage(checks)
    inside, whole = (sum(each[n] for each in held.values()) for n in (0, 1))
    assert whole >= 80
    assert inside >= 0.8 * whole
