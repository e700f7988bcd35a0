"""A choice is kept in its job with what was compared, why, and what was found; the shop's record tells it."""

from __future__ import annotations

from pathlib import Path

import pytest

from ampsim.interface.commands.main import main
from ampsim.job.papers.shop_record import kept_choices
from ampsim.job.record.reading import read_record

ASKED = ["1u or 22u across R11", "bright-switch"]
REASON = "fuller, and the owner's guitar is thin\nheard blind, four of five"


def compare(job: Path, *more: str) -> int:
    return main(["job", "compare", str(job), *ASKED, "--at", "gain=0.3", *more])


def test_what_was_chosen_and_why_is_kept_in_the_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "job"
    assert main(["job", "begin", str(job), "--amp", "workshop-a", "--mod", "bright-switch"]) == 0
    assert compare(job) == 0
    assert read_record(job).choices == ()
    assert (job / "pictures" / "candidates.png").is_file()
    assert compare(job, "--chosen", "22u across R12") == 1
    assert "22u across R11" in capsys.readouterr().err
    assert compare(job, "--chosen", "22u across R11", "--note", REASON) == 0
    (kept,) = read_record(job).choices
    assert (kept.asked, kept.chosen, kept.note) == (
        "1u or 22u across R11; bright-switch (bright 390p, gain 3)",
        "22u across R11",
        REASON,
    )
    lines = kept.found.splitlines()
    assert [line.partition(":")[0] for line in lines] == ["1u across R11", "22u across R11", "bright switch"]
    assert "dB at 1 kHz" in lines[1]
    assert "bias as stock" in lines[1]
    capsys.readouterr()
    assert main(["job", "show", str(job)]) == 0
    told = capsys.readouterr().out
    assert "Chosen" in told
    assert "22u across R11" in told
    ((said, found),) = kept_choices(read_record(job))
    assert "of 1u or 22u across R11; bright-switch" in said
    assert found == lines
