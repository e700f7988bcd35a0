"""The commands around a job and a measured sweep, as typed."""

from __future__ import annotations

import functools
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from ampsim.bench.proof.sheet import proof_of_rounds
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.plugging import plug_in
from ampsim.circuit.values import with_values
from ampsim.interface.commands.check import explain
from ampsim.interface.commands.common import find_audition
from ampsim.interface.commands.job import deciding
from ampsim.interface.commands.job.common import open_record_audition
from ampsim.interface.commands.main import main
from ampsim.job.papers import handover
from ampsim.job.papers.exercise import ExerciseSheet
from ampsim.job.papers.exercise_questions import Question
from ampsim.job.record.reading import read_record
from ampsim.library.files import models, models_in
from ampsim.library.kinds import listing
from ampsim.library.loader import load_amp, load_audition, load_mod, parse_mod
from ampsim.measures.sweep import gain_db
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.studies.audition import Outcome
from tests.tools.systems import needs_links

GROUPS = {
    "taking in": ("begin", "wish", "note", "photo", "mark", "cautions"),
    "at the bench": ("readings", "diagnose", "sweep"),
    "deciding": ("find", "compare", "blind", "audition", "consequences"),
    "what it costs": ("quote", "order", "stock"),
    "doing": ("parts", "wiring", "plan", "drilling", "labels", "done", "steps"),
    "proof": ("proof",),
    "handing over": ("record", "page", "howto", "exercise", "invoice"),
    "at any time": ("show", "state", "take", "accept", "change"),
}
EVIL = "</script><script>alert(1)</script> 'x' &amp; $title"
READ = ("B1", "V1A.plate", "V1A.cathode", "V1B.plate", "V1B.cathode")
LESSON = ("B1", "V1A.plate", "V1A.cathode")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("jobs") / "one"
    words = ["--owner", EVIL, "--words", "more sparkle when quiet"]
    assert main(["job", "begin", str(home), "--amp", "workshop-b", "--mod", "bright-switch", *words]) == 0
    return home


@pytest.fixture
def kept(folder: Path) -> Iterator[None]:
    """Nothing in the folder may change."""
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    yield
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def said(capsys: pytest.CaptureFixture[str], *order: str | Path) -> str:
    assert main([str(each) for each in order]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], *order: str | Path) -> str:
    assert main([str(each) for each in order]) == 1
    return capsys.readouterr().err


def volts_file(path: Path, amp: Amp, places: tuple[str, ...], more: str = "") -> Path:
    """Invented readings: what a simulation gives, a place a line."""
    found = simulate(amp, OperatingPoint(), nodes=places)["voltage"].values.ravel()
    rows = [f"{place};" + f"{volts:.3f}".replace(".", ",") for place, volts in zip(places, found, strict=True)]
    path.write_text("\n".join(["place;volts", more, *rows]), "utf-8")
    return path


def sweep_file(path: Path, amp: Amp, **at: str) -> Path:
    gain = gain_db(simulate(amp, FrequencySweep(), [at], ["speaker"]), "speaker")
    rows = zip(gain["frequency"].values, np.ravel(gain.values) - 20.0, strict=True)
    lines = [f"{hertz:.2f};{level:.3f}".replace(".", ",") for hertz, level in rows]
    path.parent.mkdir(exist_ok=True)
    path.write_text("\n".join(["# invented", "Hz;dB", *lines]), "utf-8")
    return path


# Taking in


def test_an_amp_is_taken_in(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said(capsys, "job", "wish", folder, "sparkle with the gain low", "--note", "bright switch")
    said(capsys, "job", "note", folder, "hums a little")
    said(capsys, "job", "state", folder, "on the bench")
    told = said(capsys, "job", "show", folder / "job.toml")
    for words in ("alert(1)", "more sparkle when quiet", "sparkle with the gain low", "hums a little", "on the bench"):
        assert words in told
    assert [each.state for each in read_record(folder).states] == ["taken in", "on the bench"]
    assert "lethal" in said(capsys, "job", "cautions", folder)


@pytest.mark.usefixtures("kept")
def test_what_a_job_cannot_hold_is_refused_and_nothing_is_written(
    folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert "on the bench" in refused(capsys, "job", "state", folder, "on the bnech")
    assert "a job in this folder already" in refused(capsys, "job", "begin", folder, "--amp", "workshop-b")
    assert "no such file" in refused(capsys, "job", "show", tmp_path / "nowhere")
    assert "after the mod" in refused(capsys, "job", "diagnose", folder, "--round", "after the mods")
    assert "--mains-drawn" in refused(capsys, "job", "proof", folder, "--mains-drawn", "230")
    assert "none is tied to a wish file" in refused(capsys, "job", "find", folder)


# At any time


def test_files_are_taken_in_by_kind(folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('name = "own"\nreason = "less"\n[[edits]]\nreplace = "R4"\nwith = "2k2"\n', "utf-8")
    assert "as mod" in said(capsys, "job", "take", folder, own)
    assert "as amp" in said(capsys, "job", "take", folder, "workshop-b")
    assert "as drawer" in said(capsys, "job", "take", folder, "workshop")
    assert read_record(folder).mods == ("bright-switch", "own")
    assert read_record(folder).drawer == "workshop"
    said(capsys, "job", "change", folder, "mods", '["bright-switch"]')
    assert read_record(folder).history[-1].before == ["bright-switch", "own"]


@pytest.mark.usefixtures("kept")
def test_a_mod_that_does_not_go_with_the_others_is_not_frozen(
    folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    own = tmp_path / "clash.toml"
    own.write_text(
        'name = "clash"\nreason = "none"\n[parts]\nC101 = "47p"\n[[edits]]\nfit = "C101"\nacross = "R4"\n', "utf-8"
    )
    assert "C101" in refused(capsys, "job", "take", folder, own)
    own.write_text(
        'name = "far"\nreason = "none"\n[parts]\nC109 = "47p"\n[[edits]]\nfit = "C109"\nbetween = ["V9.plate", "B1"]\n',
        "utf-8",
    )
    assert "V9.plate" in refused(capsys, "job", "take", folder, own)
    assert "V9.plate" in refused(capsys, "job", "begin", tmp_path / "new", "--amp", "workshop-b", "--mod", own)
    assert not (tmp_path / "new").exists()
    assert "nearest: bright-switch" in refused(capsys, "job", "take", folder, "bright-swich")
    own.write_text("volts = 1\n", "utf-8")
    assert "clash.toml" in refused(capsys, "job", "take", folder, own)


def test_a_file_edited_by_hand_is_told_and_accepted(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frozen = folder / "frozen" / "bright-switch.toml"
    frozen.write_text(frozen.read_text("utf-8").replace("120p", "150p"), "utf-8")
    assert "bright-switch.toml: not as it was frozen" in refused(capsys, "job", "wiring", folder)
    assert "bright-switch.toml" in said(capsys, "job", "accept", folder)
    assert "as it was" in said(capsys, "job", "accept", folder)
    assert "150p" in said(capsys, "job", "wiring", folder)


@pytest.mark.parametrize(("entry", "value"), [("name", "12"), ("words", "[loud]"), ("wishes[1].note", "2025-03-01")])
def test_a_changed_text_stays_a_text_and_the_one_before_is_kept(
    folder: Path, capsys: pytest.CaptureFixture[str], entry: str, value: str
) -> None:
    if entry.startswith("wishes") and not read_record(folder).wishes:
        said(capsys, "job", "wish", folder, "w", "--note", "n")
    assert f"{entry} is: {value}" in said(capsys, "job", "change", folder, entry, value)
    assert read_record(folder).history[-1].after == value
    assert read_record(folder).history[-1].before
    assert "already" in said(capsys, "job", "change", folder, entry, value)


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    ("change", "told"),
    [
        (["ownr.x", "1"], "ownr"),
        (["compare", '{ at = { bright = "12p" } }'], "bright"),
        (["frequencies", "[82, -3]"], "-3"),
        (["amp", "workshop-a"], "take it in first"),
        (["owner"], "--take-out"),
        (["format", "1"], "by hand"),
    ],
)
def test_a_change_after_which_the_job_would_not_open_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str], change: list[str], told: str
) -> None:
    assert told in refused(capsys, "job", "change", folder, *change)


# At the bench


def test_a_place_that_the_amp_does_not_have_is_refused_when_it_is_entered(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (folder / "job.toml").read_text("utf-8")
    assert main(["job", "change", str(folder), "listen_at", "V1B.plat"]) == 1
    told = capsys.readouterr().err
    assert "listen_at" in told
    assert "nearest: V1B.plate" in told
    assert (folder / "job.toml").read_text("utf-8") == before


def test_a_state_of_the_future_is_named_with_what_mends_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    home = tmp_path / "job"
    assert main(["job", "begin", str(home), "--amp", "workshop-b", "--mod", "bright-switch"]) == 0
    assert main(["job", "change", str(home), "states[1].date", "2999-01-01"]) == 0
    capsys.readouterr()
    assert main(["job", "state", str(home), "on the bench"]) == 1
    remedy = re.search(r"with: ampsim (job change) FOLDER '(states\[1\]\.date)' ([\d-]+)", capsys.readouterr().err)
    assert remedy
    assert main([*remedy[1].split(), str(home), remedy[2], remedy[3]]) == 0
    assert main(["job", "state", str(home), "on the bench"]) == 0


def test_readings_are_written_down_and_name_the_part(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    folder, stock = tmp_path / "lesson", load_amp("lesson-stage")
    said(capsys, "job", "begin", folder, "--amp", "lesson-stage")
    more = "mains;231\nmains_drawn;230\nmeter;10M\nacross R3;199,5"
    file = volts_file(tmp_path / "arrival.csv", with_values(stock, {"R4": 2400.0}), LESSON, more)
    assert "'gain'" in refused(capsys, "job", "readings", folder, file, "--at", "gain=0.3")
    for command in (("job", "readings", folder, file), ("compare", "R4 = 2k2", "--amp", "lesson-stage")):
        assert "'gain 3' does not say where" in refused(capsys, *command, "--at", "gain 3")
    told = said(capsys, "job", "readings", folder, file)
    assert "lethal" in told
    assert "mains 231 V, 230 V in the drawing" in told
    assert "in measurements alone: across R3" in told
    last = read_record(folder).measured[-1]
    assert (last.phase, last.mains, last.meter, len(last.volts)) == ("on arrival", 231.0, 10e6, len(LESSON))
    assert (folder / "measurements" / "arrival.csv").read_bytes() == file.read_bytes()
    told = said(capsys, "job", "diagnose", folder)
    assert "the drawing's volts hold for 230 V" in told
    assert re.search(r"^1\. R4 has risen", told, re.MULTILINE)
    assert "What to measure next" in told
    assert "lethal" in told
    assert (folder / "pictures" / "volts-on-arrival.png").stat().st_size > 10_000
    assert "row mains_drawn" in refused(capsys, "job", "diagnose", folder, file, "--mains-drawn", "230")
    said(capsys, "job", "change", folder, "measured[1].mains_volts", "--take-out")
    assert "says nothing without the mains" in refused(capsys, "job", "diagnose", folder, "--mains-drawn", "230")


@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize(
    ("text", "told"),
    [("V9.plate;100", "V9.plate"), ("V1A.plate;lots", "lots"), ("V1A.plate;nan", "nan"), ("across R3;1", "against")],
)
def test_readings_that_are_none_are_refused(
    folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str, told: str
) -> None:
    (tmp_path / "bad.csv").write_text(f"place;volts\n{text}\n", "utf-8")
    err = refused(capsys, "job", "readings", folder, tmp_path / "bad.csv")
    assert "bad.csv" in err
    assert told in err


@pytest.mark.usefixtures("kept")
def test_a_sweep_that_is_none_is_refused(folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "bad.csv").write_text("Hz;dB\n100;1\n200;loud\n", "utf-8")
    assert "bad.csv" in refused(capsys, "job", "sweep", folder, tmp_path / "bad.csv")
    (tmp_path / "bad.wav").write_bytes(b"RIFF")
    assert "bad.wav" in refused(capsys, "job", "sweep", folder, tmp_path / "bad.wav")


# Deciding


def test_values_are_found_for_a_wish_of_the_job(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "as wishes" in said(capsys, "job", "take", folder, "bright-when-low")
    assert "--as" not in refused(capsys, "job", "find", folder)
    said(capsys, "job", "wish", folder, "sparkle", "--file", "bright-when-low", "--entry", "1")
    told = said(capsys, "job", "find", folder)
    assert "C301" in told
    assert "lethal" in told
    assert (folder / "pictures" / "corridor.svg").is_file()
    assert "nearest: bright-when-low" in refused(capsys, "job", "find", folder, "bright-when-lo")


def test_a_search_that_leaves_nothing_says_so_and_draws_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With next to no resistance in its feedback loop the amp oscillates, whatever else is wished."""
    wishes = tmp_path / "w.toml"
    wishes.write_text(
        'name = "w"\namp = "workshop-a"\n[[parts]]\nreplace = "R20"\nvalues = ["220"]\n'
        '[[wishes]]\nmargin = "at least 30 degrees"\n',
        "utf-8",
    )
    told = said(capsys, "find", wishes, "--to", tmp_path / "found")
    assert "No set of values is left" in told
    assert "nothing to draw" in told
    assert not list(tmp_path.glob("found/*"))


def test_what_a_job_does_not_say_is_shown_with_all_that_its_mods_add(folder: Path) -> None:
    record, job = open_record_audition(folder)
    assert not record.audition
    assert job.name == record.name
    assert job.compare_at == {"bright": "390p"}
    assert [view.title for view in job.views] == [
        "bright of bright switch",
        "volume with bright switch",
        "tone with bright switch",
    ]
    assert find_audition(str(folder), None, []) == job


def test_what_a_job_says_only_in_part_is_filled_up_with_all_that_its_mods_add(tmp_path: Path) -> None:
    plain = 'name = "x"\namp = "workshop-a"\nmods = ["bright-switch"]\n'
    for said, at, wave in (
        ('frequencies = ["100"]\n', {"bright": "390p"}, {"bright": "390p"}),
        ("[compare]\nat = { gain = 0.3 }\n", {"gain": 0.3}, {"bright": "390p"}),
        ('[compare]\n[waveform]\nfrequency = "220"\n', {}, {}),
    ):
        (tmp_path / "job.toml").write_text(plain + said, "utf-8")
        for job in (load_audition(str(tmp_path / "job.toml")), open_record_audition(tmp_path)[1]):
            assert (job.compare_at, job.wave_at) == (at, wave)
            assert [len(view.positions) for view in job.views] == [3, 5]


def test_audition_and_consequences_are_those_of_the_job(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[Any, ...]] = []
    monkeypatch.setattr(deciding, "print_consequences", lambda *given: asked.append(given))
    monkeypatch.setattr(
        "ampsim.studies.audition.audition", lambda *given: asked.append(given) or Outcome({}, (), "all of it")
    )
    said(capsys, "job", "consequences", folder, "--topic", "pop", "--all")
    assert "all of it" in said(capsys, "job", "audition", folder)
    assert "all of it" in said(capsys, "audition", folder, "--to", folder / "pictures")
    ((first, topics, path, everything), (second, pictures, _), (third, *_)) = asked
    assert everything
    assert first == second == third == open_record_audition(folder)[1]
    assert (topics, path, pictures) == (["pop"], folder / "papers" / "consequences.html", folder / "pictures")


# Doing


def test_parts_wiring_and_steps(folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert "C101" in said(capsys, "job", "parts", folder, "--to", tmp_path / "parts.csv")
    assert "C101" in (tmp_path / "parts.csv").read_text("utf-8")
    told = said(capsys, "job", "wiring", folder)
    assert "A common to A1" in told
    assert "lethal" in told
    assert {path.name for path in (folder / "pictures").glob("schematic.*")} == {"schematic.png", "schematic.svg"}
    told = said(capsys, "job", "steps", folder)
    assert "MAKE SAFE" in told
    assert "lethal" in told


# Proof and handing over


def test_what_was_measured_before_and_after_is_proved_and_handed_over(
    folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(handover, "proof_of_rounds", functools.partial(proof_of_rounds, count=20))
    stock = load_amp("workshop-b")
    modded = apply_mods(stock, load_mod("bright-switch"))
    said(capsys, "job", "sweep", folder, sweep_file(tmp_path / "sweep.csv", stock))
    after = sweep_file(tmp_path / "after" / "sweep.csv", modded, bright="390p")
    told = said(capsys, "job", "sweep", folder, after, "--round", "after the mod", "--note", "dummy load")
    assert "bright 390p" in told
    assert "lies within the tolerance band at 100 %" in told
    assert "measurements/sweep 2.csv" in told
    good = volts_file(tmp_path / "good.csv", modded, READ)
    said(capsys, "job", "readings", folder, good, "--round", "after the mod", "--mains", "230 V")
    told = said(capsys, "job", "proof", folder, "--mains-drawn", "230")
    assert "all 6 pass" in told
    assert "Sweep after the mod: pass" in told
    told = said(capsys, "job", "record", folder, "--topic", "stability", "--paper", "Letter")
    assert "On paper (Letter): " in told
    assert (folder / "papers" / "record.pdf").read_bytes().startswith(b"%PDF")
    page = (folder / "papers" / "record.html").read_text("utf-8")
    for words in ("Sweep on arrival", "Sweep after the mod", "What the work changed", "all 6 pass", "size: letter"):
        assert words in page
    assert "<script" not in page


def test_the_page_is_the_owners(folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    told = said(capsys, "job", "page", folder, "--to", tmp_path / "page.html")
    page = (tmp_path / "page.html").read_text("utf-8")
    assert "You asked for" in page
    assert page.count("<script") == 3  # facts, tables and the program
    assert "On paper (A4)" in told
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF")


def test_the_exercise_keeps_its_answers_back(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[tuple[str, int, int]] = []
    question = Question("How many volts?", 123.4, "V", 120.0, 127.0)
    few = ExerciseSheet("one", "an amp", "a mod", pd.DataFrame(), (("At rest", question),))
    monkeypatch.setattr(
        "ampsim.job.papers.exercise.exercise", lambda job, level, seed: made.append((job.name, level, seed)) or few
    )
    papers = folder / "papers"
    said(capsys, "job", "exercise", folder)
    assert made == [(read_record(folder).name, 2, 0)]
    assert sorted(path.name for path in papers.glob("exercise*")) == ["exercise.html", "exercise.pdf"]
    assert "123" not in (papers / "exercise.html").read_text("utf-8")
    said(capsys, "job", "exercise", folder, "--answers")
    assert "123" in (papers / "exercise-answers.html").read_text("utf-8")


@needs_links
def test_a_folder_that_leads_out_is_not_written_to(
    folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (folder / "pictures").rename(folder / "pictures before")
    (folder / "pictures").symlink_to(tmp_path, target_is_directory=True)
    try:
        assert "leads out" in refused(capsys, "job", "wiring", folder)
        assert not list(tmp_path.iterdir())
    finally:
        (folder / "pictures").unlink()
        (folder / "pictures before").rename(folder / "pictures")


# A measured sweep without a job


def test_a_measured_sweep_is_laid_over_the_amp_and_a_part_found(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = parse_mod({"name": "another value", "reason": "invented", "edits": [{"replace": "C4", "with": "330p"}]})
    file = sweep_file(tmp_path / "bench.csv", apply_mods(load_amp("workshop-a"), other))
    order = ["measured", file, "--amp", "workshop-a", "--fit", "C4"]
    told = said(capsys, *order, "--to", tmp_path / "picture.png")
    assert (tmp_path / "picture.png").stat().st_size > 10_000
    assert "330p" in told
    assert "lies within the tolerance band at" in told
    assert "lethal" in told


def test_a_sweep_of_a_job_finds_a_part_where_the_controls_stood(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # The capacitor is in circuit at this position only, so it could not be found with the controls as drawn.
    mod = load_mod("bright-switch")
    parts = [replace(part, value=330e-12) if part.designator == "C102" else part for part in mod.parts]
    drifted = apply_mods(load_amp("workshop-b"), replace(mod, parts=tuple(parts)))
    file = sweep_file(tmp_path / "drifted.csv", drifted, bright="390p")
    order = ["job", "sweep", folder, file, "--round", "after the mod", "--fit", "C102"]
    assert "C102 is 330p (drawn 390p)" in said(capsys, *order)


def test_a_sweep_says_what_it_came_from_and_where_it_was_heard(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    driven = plug_in(load_amp("workshop-b"), "generator 600")
    file = sweep_file(tmp_path / "bench.csv", driven)
    order = ["job", "sweep", folder, file, "--to", tmp_path / "picture.png"]
    guessed = said(capsys, *order)
    assert "From generator 600 at input (nobody wrote it down; this fits best), heard at speaker" in guessed
    assert "no amp of the run is as far out" not in guessed
    wrong = said(capsys, *order, "--source", "guitar")
    assert "no amp of the run is as far out" in wrong
    assert "As from generator 600 at input it would not fail" in wrong
    assert "From generator 600, heard at V1A.plate" in said(
        capsys, *order, "--source", "generator", "--heard", "V1A.plate"
    )
    kept = read_record(folder).sweeps
    assert [(each.source, each.heard) for each in kept[-3:]] == [
        ("", "speaker"), ("guitar", "speaker"), ("generator 600", "V1A.plate")
    ]  # fmt: skip
    assert "generator 600" in said(capsys, "job", "show", folder)
    for option, text in (("--source", "gutar"), ("--source", "generator at V9.grid"), ("--heard", "V9.plate")):
        assert text.split()[-1] in refused(capsys, *order, option, text)
    assert read_record(folder).sweeps == kept
    told = said(capsys, "measured", file, "--amp", "workshop-b", "--source", "generator 600", "--at", "tone=0.5",
                "--to", tmp_path / "picture.png")  # fmt: skip
    assert "From generator 600, heard at speaker; controls: tone 5" in told


def test_an_audition_takes_any_source_and_any_place(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    order = ["audition", "--amp", "workshop-b", "--mod", "bright-switch", "--to", tmp_path / "pictures"]
    told = said(capsys, *order, "--source", "generator 600", "--heard", "V1A.plate")
    assert "Signal: generator 600; heard at V1A.plate" in told
    assert "gain to V1A.plate" in told
    assert "V9.plate" in refused(capsys, *order, "--heard", "V9.plate")
    assert "nearest: guitar" in refused(capsys, *order, "--source", "gitar")


def test_the_tone_is_a_wav_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "sweep from" in said(capsys, "tone", tmp_path / "tone.wav")
    assert (tmp_path / "tone.wav").read_bytes()[:4] == b"RIFF"


# Help


def test_the_steps_are_listed_in_the_order_of_a_job(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["job", "--help"])
    told = capsys.readouterr().out
    found = re.findall(r"^  (\w+) {2,}\S|^([a-z].*):$", told.split("options:")[0], re.MULTILINE)
    listed = [step or title.split(",")[0].removesuffix(" with the owner") for step, title in found]
    assert listed[: listed.index("change") + 1] == [each for title in GROUPS for each in (title, *GROUPS[title])]
    assert max(map(len, told.splitlines())) <= 80


@pytest.mark.parametrize("step", [step for steps in GROUPS.values() for step in steps])
def test_every_step_explains_itself(step: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["job", step, "--help"])
    assert "the job's folder" in capsys.readouterr().out


HEAVY = """
import argparse, contextlib, io, sys
from ampsim.interface.commands.main import main, make_parser

def every_help(parser):
    parser.format_help()
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for each in action.choices.values():
                every_help(each)

every_help(make_parser())
with contextlib.redirect_stdout(io.StringIO()):
    assert main(["models"]) == 0
heavy = ("numpy", "pandas", "xarray", "matplotlib", "scipy", "ampsim.circuit.amp", "ampsim.job.record.data")
loaded = [name for name in heavy if name in sys.modules]
assert not loaded, f"help and models: {loaded}"
job = sys.argv[-1]
for command in (*(["check", path] for path in sys.argv[1:]), ["job", "show", job]):
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(command) == 0, command
    loaded = [name for name in ("pandas", "xarray", "matplotlib", "scipy", "numba", "jinja2") if name in sys.modules]
    assert not loaded, f"{command}: {loaded}"
from ampsim.simulation.ngspice.pool import POOL
POOL.close()
with contextlib.redirect_stdout(io.StringIO()):
    assert main(["job", "show", job]) == 0
assert POOL.take_idle(1) == [], "job show again starts a simulator"
sys.argv[1:] = ["job", "steps", job]
with contextlib.redirect_stdout(io.StringIO()):
    assert main() == 0
assert "xarray" in sys.modules
assert "distributed" not in sys.modules, "steps"  # dask.array xarray loads itself, where there is one
"""


def test_commands_that_only_read_files_load_nothing_heavy(tmp_path: Path) -> None:
    job = tmp_path / "job"
    assert main(["job", "begin", str(job), "--amp", "workshop-a", "--mod", "bright-switch"]) == 0
    (tmp_path / "volts.csv").write_text("V1A.plate;160\nmains;230\n", "utf-8")
    assert main(["job", "readings", str(job), str(tmp_path / "volts.csv")]) == 0
    names = ("amps/workshop-a", "mods/depth", "jobs/bright-cathode-depth", "valves/EL84")
    files = [str(models() / f"{name}.toml") for name in (*names, "wishes/bright-when-low", "drawers/workshop")]
    done = subprocess.run(
        [sys.executable, "-c", HEAVY, *files, str(job)], capture_output=True, encoding="utf-8", check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("kind", sorted(listing()))
def test_what_comes_along_is_checked_by_its_name_as_by_its_path(kind: str) -> None:
    name, path = next(iter(models_in(kind).items()))
    assert explain(Path(name)) == explain(path)
