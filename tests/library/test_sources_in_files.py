"""Questions say where the signal enters: a job file, wishes, a job's record; mistakes name file and entry."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.source import parse_source
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.changing import change_entry
from ampsim.job.record.frozen import open_audition
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from ampsim.library.files import models
from ampsim.library.loader import load_audition, load_wishes
from ampsim.studies.search.search import find_values

SAID = "generator 600 at input"


def with_source(path: Path, shipped: str, source: str) -> Path:
    text = (models() / shipped).read_text("utf-8")
    path.write_text(f'source = "{source}"\n{text}', "utf-8")
    return path


def test_an_audition_says_what_is_plugged_in(tmp_path: Path) -> None:
    found = load_audition(with_source(tmp_path / "job.toml", "jobs/bright-cathode-depth.toml", SAID))
    assert found.stock.source == found.modded.source == parse_source(SAID)
    assert "guitar volume" not in found.modded.controls
    with pytest.raises(DescriptionError, match=r"job\.toml: source: .*V9\.grid.*no jack or place|V9\.grid"):
        load_audition(with_source(tmp_path / "job.toml", "jobs/bright-cathode-depth.toml", "generator at V9.grid"))
    with pytest.raises(DescriptionError, match=r"job\.toml: source: 'gutar'"):
        load_audition(with_source(tmp_path / "job.toml", "jobs/bright-cathode-depth.toml", "gutar"))


def test_wishes_say_what_is_plugged_in(tmp_path: Path) -> None:
    """A part behind the first valve changes nearly the same from any source: the grid loads a guitar a little."""
    drawn = find_values(load_wishes("bright-when-low"))
    driven = find_values(load_wishes(with_source(tmp_path / "wishes.toml", "wishes/bright-when-low.toml", SAID)))
    assert driven.wanted.stock.source == parse_source(SAID)
    np.testing.assert_allclose(driven.rooms, drawn.rooms, atol=0.3)


def test_a_job_says_what_is_plugged_in(tmp_path: Path) -> None:
    record = begin_job(tmp_path / "job", "workshop-a", ["bright-switch"], owner="one", words="two")
    record = save_record(change_entry(record, "source", SAID), tmp_path / "job")
    assert read_record(tmp_path / "job") == record
    assert open_audition(record, tmp_path / "job").modded.source == parse_source(SAID)
