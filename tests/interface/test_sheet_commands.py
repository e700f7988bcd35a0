"""The commands that print sheets to size: drilling sheet and labels, from a job with holes and one without."""

from __future__ import annotations

from pathlib import Path

import pytest

from ampsim.interface.commands.main import main
from ampsim.job.papers.labels import SIZES
from ampsim.job.record.beginning import begin_job
from ampsim.work.holes.bodies import BODIES


def said(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    capsys.readouterr()
    try:
        code = main([str(each) for each in arguments])
    except SystemExit as left:
        code = left.code
    assert not code
    return capsys.readouterr().out


def test_a_drilling_sheet_is_printed_and_says_where_its_holes_are_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = tmp_path / "job"
    begin_job(job, "workshop-a", ["cathode-switch"], name="warm")
    told = said(capsys, "job", "drilling", job, "--paper", "Letter")
    assert "print it at 100 % on Letter" in told
    assert (job / "papers" / "drilling.pdf").read_bytes().startswith(b"%PDF")
    asked = told[told.index("zero =") : told.index("Valve amplifiers")]
    (job / "drilling.toml").write_text(asked, "utf-8")
    again = said(capsys, "job", "drilling", job, "--to", tmp_path / "d.pdf")
    assert "zero =" not in again
    assert "lethal" in again
    listed = said(capsys, "job", "drilling", job, "--bodies")
    assert all(name in listed and each.source in listed for name, each in BODIES.items())
    (job / "drilling.toml").write_text("[S102]\nalong = 1e9", "utf-8")
    assert main(["job", "drilling", str(job)]) == 1
    assert "drilling.toml: S102.along" in capsys.readouterr().err


def test_labels_are_printed_in_any_size_and_a_name_in_the_folder_is_left_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = tmp_path / "wner-7"
    begin_job(job, "workshop-a", ["larger-plate-load"], owner="O. Wner")
    told = said(capsys, "job", "labels", job)
    assert "Left out, for the owner's name is in it: mark" in told
    assert "Left out" not in said(capsys, "job", "labels", job, "--mark", "17", "--size", "67x25", "--first", "3")
    assert "nothing to drill" in said(capsys, "job", "drilling", job)
    assert main(["job", "labels", str(job), "--first", "99"]) == 1
    assert "labels 1 to 8" in capsys.readouterr().err
    listed = " ".join(said(capsys, "job", "labels", "--help").split())
    assert all(size in listed for size in SIZES)
