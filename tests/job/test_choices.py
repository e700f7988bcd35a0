"""A choice is kept in its job: why, of what, what was found; and as a mod that parts, wiring and plan follow."""

from __future__ import annotations

from pathlib import Path

import pytest

from ampsim.circuit.build import build_circuit
from ampsim.interface.commands.main import main
from ampsim.job.papers.shop_record import kept_choices
from ampsim.job.record.choosing import take_choice, weigh_choice
from ampsim.job.record.frozen import frozen_faults, open_job
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from ampsim.library.candidates import read_candidates
from ampsim.library.files import read_toml
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate

ASKED = ["1u or 22u across R11", "bright-switch"]
REASON = "fuller, and the owner's guitar is thin\nheard blind, four of five"


def begin(job: Path, *mods: str) -> None:
    assert main(["job", "begin", str(job), "--amp", "workshop-a", *(f"--mod={each}" for each in mods)]) == 0


def compare(job: Path, *more: str) -> int:
    return main(["job", "compare", str(job), *ASKED, "--at", "gain=0.3", *more])


def test_what_was_chosen_and_why_is_kept_in_the_job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "job"
    begin(job, "bright-switch")
    assert compare(job) == 0
    assert read_record(job).choices == ()
    assert (job / "pictures" / "candidates.png").is_file()
    assert compare(job, "--chosen", "22u across R12") == 1
    assert "22u across R11" in capsys.readouterr().err
    assert compare(job, "--chosen", "22u across R11", "--note", REASON) == 0
    assert "Out of the job, as candidates that were not chosen: bright-switch" in capsys.readouterr().out
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
    assert main(["job", "show", str(job)]) == 0
    told = capsys.readouterr().out
    assert "Chosen" in told
    assert "22u across R11" in told
    ((said, found),) = kept_choices(read_record(job))
    assert "of 1u or 22u across R11; bright-switch" in said
    assert found == lines
    frozen = read_toml(job / "frozen" / "22u-across-r11.toml")
    assert frozen["reason"].startswith("fuller, and the owner's guitar is thin heard blind, four of five. Chosen on ")
    assert frozen["reason"].endswith("of 1u or 22u across R11; bright-switch (bright 390p, gain 3).")
    assert main(["job", "parts", str(job)]) == 0
    assert "22u" in capsys.readouterr().out


CHOICES = [
    "R4 = 2k2 or 3k3",
    "100p or none between P1.top and P1.wiper",
    "gain = linear or audio 10 %",
    "V1 = 12AY7",
    "330k across gain",
    "1u or none across second stage.cathode resistor",
    "47k in series at R20.1",
    "cold-stage-to-warm at second stage",
    "bright-switch + C1 = none or 2u2 + R11 = 4k7",
]


@pytest.mark.parametrize("asked", CHOICES)
def test_a_job_with_the_chosen_candidate_is_the_amp_that_was_compared(tmp_path: Path, asked: str) -> None:
    """Whatever the way to say it: what was frozen opens to the circuit of the candidate, to the last digit."""
    job = tmp_path / "job"
    begin(job)
    before = read_record(job)
    question = read_candidates(open_job(before, job).stock, asked)
    wanted = question.candidates[0]
    save_record(take_choice(before, job, weigh_choice(before, job, question, wanted.label), "because"), job)
    record = read_record(job)
    assert frozen_faults(record, job) == []
    sweep = FrequencySweep(per_decade=5)
    curves = [
        simulate(amp, sweep, nodes=["speaker"])["voltage"].values for amp in (wanted.amp, open_job(record, job).modded)
    ]
    assert (curves[0] == curves[1]).all()


def test_another_choice_takes_the_one_before_out_and_none_takes_out_all(tmp_path: Path) -> None:
    job = tmp_path / "job"
    begin(job, "bright-switch")
    asked = ["job", "compare", str(job), "1u, 22u or none across R11", "--chosen"]
    for chosen, mods in [
        ("22u across R11", ("bright-switch", "22u-across-r11")),
        ("22u across R11", ("bright-switch", "22u-across-r11")),
        ("1u across R11", ("bright-switch", "1u-across-r11")),
        ("none across R11", ("bright-switch",)),
    ]:
        assert main([*asked, chosen]) == 0
        assert read_record(job).mods == mods
        build_circuit(open_job(read_record(job), job).modded)
    assert [each.chosen for each in read_record(job).choices] == ["22u across R11"] * 2 + [
        "1u across R11",
        "none across R11",
    ]


def test_a_choice_of_parts_is_not_called_as_parts_of_the_job(tmp_path: Path) -> None:
    job = tmp_path / "job"
    begin(job)
    assert main(["job", "compare", str(job), "1u across R11", "--chosen", "1u across R11"]) == 0
    assert main(["job", "compare", str(job), "100n across R4", "--chosen", "100n across R4"]) == 0
    parts = [part.designator for mod in open_job(read_record(job), job).modded.mods for part in mod.parts]
    assert len(set(parts)) == 2


def test_what_does_not_go_with_the_job_is_refused_before_it_is_compared(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = tmp_path / "job"
    begin(job)
    assert main(["job", "compare", str(job), "R4 = 2k2", "--chosen", "R4 2k2"]) == 0
    before = read_record(job)
    capsys.readouterr()
    assert main(["job", "compare", str(job), "R4 = 820 or 3k3", "--chosen", "R4 3k3"]) == 1
    told = capsys.readouterr()
    assert "does not go with the other mods of the job" in told.err
    assert "Change against" not in told.out
    assert read_record(job) == before


def test_several_positions_are_kept_with_the_choice(tmp_path: Path) -> None:
    job = tmp_path / "job"
    begin(job)
    at = ["--at", "bright=120p or 390p"]
    assert main(["job", "compare", str(job), "bright-switch", *at, "--chosen", "bright switch"]) == 0
    (kept,) = read_record(job).choices
    assert kept.asked == "bright-switch (bright 120p or bright 390p)"
    assert [line.partition(":")[0] for line in kept.found.splitlines()] == ["bright 120p", "bright 390p"]
    assert len(list((job / "pictures").glob("candidates-*.png"))) == 2
