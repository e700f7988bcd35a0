"""Labels for the amp and the bag of old parts: what came out, what keeps a charge, and never the owner unasked."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest

from ampsim import apply_mods, load_amp, load_mod, parse_mod
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.job.papers.labels import SIZES, Label, Labels, job_labels, label_sheets
from ampsim.job.papers.sheets import paper_size, sheets_pdf
from ampsim.job.record.data import Record
from ampsim.job.record.frozen import Opened
from ampsim.work.old_parts import OldPart, old_parts
from ampsim.work.steps.step import Phase
from ampsim.work.steps.work_plan import work_steps
from tests.job.test_drilling import NAMES
from tests.tools.any_mods import single_mods
from tests.tools.equal_forms import equal_mods
from tests.tools.read_pdf import joined, open_pdf
from tests.tools.read_sheets import dots

AMP = load_amp("workshop-a")
COARSE = 6  # dots to the mm
DAY = datetime.date(2027, 3, 1)
RECORD = Record("a title", "workshop-a", owner="Otto von Wner", serial="A-77")
OUT = [
    {"replace": "C2", "with": "10n"}, {"replace": "V1", "with": "12AY7"}, {"lift": "C4"},
    {"replace": "R3", "with": "82k"}, {"replace": "C50", "with": "100u"},
    {"replace": "P1", "with": {"track": "500k", "taper": "linear"}},
]  # fmt: skip


def modded(edits: list[dict[str, object]], name: str = "m") -> Amp:
    return apply_mods(AMP, parse_mod({"name": name, "reason": "r", "edits": edits}, "m.toml"))


def labels_of(amp: Amp, mark: str = "17", with_owner: bool = False, record: Record = RECORD) -> Labels:
    return job_labels(record, Opened(AMP, amp, None, {}), mark=mark, with_owner=with_owner, date=DAY)


def rows_of(label: Label | None) -> list[str]:
    return [each for row in label.rows for each in row] if label else []


def test_what_comes_out_is_listed_with_value_and_place_and_what_keeps_a_charge_is_warned_of() -> None:
    found = {each.name: each for each in old_parts(AMP, modded(OUT))}
    assert found["C2"].words == "C2 22n, from V1A.plate and P1.top"
    assert found["V1"].words == "V1 12AX7"  # both halves are one bottle
    assert set(found) == {"C2", "V1", "C4", "R3", "C50", "P1"}
    assert found["C50"].volts > 300.0
    assert found["C50"].caution == f"C50 held {found['C50'].volts:.0f} V: discharge, keep its leads shorted"
    assert not found["C4"].caution
    assert not found["R3"].caution
    assert old_parts(AMP, apply_mods(AMP, load_mod("tight-switch"), load_mod("depth"))) == ()
    assert [each.name for each in old_parts(AMP, modded([{"replace": "C50", "with": "50u"}]))] == ["C50"]


def test_the_bag_holds_what_the_plan_takes_out() -> None:
    amp = modded(OUT)
    said = [step.do for step in work_steps(AMP, amp).steps if step.phase == Phase.REMOVE]
    for each in old_parts(AMP, amp):
        assert any(f"Take out {each.name}" in words for words in said), each.name


def test_an_exchange_written_as_a_part_lifted_and_another_fitted_leaves_the_same_in_the_bag() -> None:
    tried = 0
    for mod in single_mods(24, seed=23):
        drawn = [(each.name, each.value, each.places) for each in old_parts(mod.amp.amp, mod.modded)]
        for form, other in equal_mods(mod):
            if "lift" in form or "order" in form or "between" in form:
                found = [(each.name, each.value, each.places) for each in old_parts(other.amp.amp, other.modded)]
                assert found == drawn, (mod, form)
                tried += 1
    assert tried > 5


def test_the_owner_s_name_gets_on_a_label_only_when_asked() -> None:
    hidden = replace(RECORD, serial="wner 12")
    amp = modded(OUT, "for the WNERs, Otto")
    unasked = labels_of(amp, "wner_2027", record=hidden)
    words = joined(open_pdf(sheets_pdf("Labels", label_sheets(unasked, "70x37")))).casefold()
    assert not any(each in words for each in ("otto", "wner_", "wner12"))
    assert set(unasked.left_out) == {"mark", "mods", "serial number"}
    asked = joined(open_pdf(sheets_pdf("Labels", label_sheets(labels_of(amp, "wner_2027", True), "70x37"))))
    assert "OttovonWner" in asked
    assert "wner_2027" in asked
    assert labels_of(amp, "vonnegut").left_out == ("mods",)  # another word that only begins like one


@pytest.mark.parametrize("size", SIZES)
def test_every_label_stays_within_its_own_and_cautions_are_whole(size: str) -> None:
    kind = SIZES[size]
    parts = [OldPart(f"C{n}", "x" * n, ("V1A.plate", NAMES[n % len(NAMES)][:99]), 99.0 * n) for n in range(14)]
    rows = tuple((each.words, each.caution) for each in parts)
    label = Label(NAMES[4] * 30, (NAMES[-9] * 20, "serial number " * 40), rows)
    sheets = label_sheets(Labels(replace(label, rows=rows[:1]), label, ()), size, 1)
    pdf = open_pdf(sheets_pdf("Labels", sheets))
    wide, high = paper_size(kind.paper)
    places = list(kind.places())
    assert all(x >= 0.0 and x + kind.wide <= wide + 0.1 and y >= 0.0 and y + kind.high <= high + 0.1 for x, y in places)
    free = np.ones((round(high * COARSE) + COARSE, round(wide * COARSE) + COARSE), bool)
    edge = 3.3 if len(places) > 1 else -0.2  # one to a page has an outline
    for x, y in places:
        free[round((y + edge) * COARSE) : round((y + kind.high - edge) * COARSE),
             round((x + edge) * COARSE) : round((x + kind.wide - edge) * COARSE)] = False  # fmt: skip
    for number in range(min(len(pdf), 2)):
        page = dots(pdf, number, COARSE)
        assert not (page & free[: page.shape[0], : page.shape[1]]).any()
    words = joined(pdf)
    assert all("".join(each.caution.split()) in words for each in parts)


def test_a_sheet_that_was_begun_goes_on_at_the_label_that_is_there_and_no_further() -> None:
    labels = labels_of(modded(OUT))
    (first,), begun = label_sheets(labels, "70x37"), label_sheets(labels, "70x37", 24)
    assert len(begun) == 2
    assert min(each.y for each in begun[0].shapes) > 250.0  # type: ignore[union-attr]
    assert len(first.shapes) == sum(len(each.shapes) for each in begun)
    for wrong in (0, 25, -1):
        with pytest.raises(DescriptionError, match="labels 1 to 24"):
            label_sheets(labels, "70x37", wrong)
    with pytest.raises(DescriptionError, match="70x37"):
        label_sheets(labels, "70x38")


def test_a_job_that_takes_nothing_out_has_one_label_and_says_what_is_inside() -> None:
    found = labels_of(apply_mods(AMP, load_mod("depth")))
    assert found.bag is None
    assert found.amp.heading == "17"
    assert found.amp.lines == ("workshop amp A", "serial number A-77", "2027-03-01")
    assert rows_of(found.amp) == ["changed: depth", "Lethal volts inside, also unplugged."]
