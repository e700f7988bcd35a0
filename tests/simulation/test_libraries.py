"""The comparison of ngspice libraries sees what differs, of each kind, and nothing else."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.figures import libraries
from tests.figures.figure import Figure
from tests.figures.libraries import Answers, answer, compare, netlists


@pytest.fixture(scope="module")
def ours(tmp_path_factory: pytest.TempPathFactory) -> Answers:
    """What the library of this machine answers about the amps that come along."""
    file = tmp_path_factory.mktemp("answers") / "answers.npz"
    answer(0, file)
    return libraries.read(file, len(netlists(0)))


def short(ours: Answers, theirs: Answers) -> list[Figure]:
    return [figure for figure in compare(ours, theirs, netlists(0)) if not figure.fine]


def test_a_library_agrees_with_itself(ours: Answers) -> None:
    assert len(list(compare(ours, ours, netlists(0)))) == 4
    assert short(ours, ours) == []
    assert not any(ours.refused)


@pytest.mark.parametrize(
    ("kind", "far", "near", "word"),
    [(0, 3e-9, 3e-10, "operating points"), (1, 3e-10, 3e-11, "gain sweeps")],
)
def test_a_difference_in_one_place_is_seen(ours: Answers, kind: int, far: float, near: float, word: str) -> None:
    for size, count in ((far, 1), (near, 0)):
        volts = [each.copy() for each in ours.volts]
        loudest = np.unravel_index(np.argmax(np.abs(volts[kind])), volts[kind].shape)
        volts[kind][loudest] += size if kind == 0 else size * volts[kind][loudest]
        found = short(ours, ours._replace(volts=volts, version="99"))
        assert [word in figure.name and "ngspice 99 against" in figure.name for figure in found] == [True] * count


def test_a_transient_on_another_grid_is_compared_and_stated(ours: Answers) -> None:
    grids, volts = list(ours.grids), list(ours.volts)
    assert libraries.percent_apart(ours, ours, 2) == 0.0
    grids[2], volts[2] = grids[2][::2], volts[2][:, ::2]
    coarser = ours._replace(grids=grids, volts=volts)
    assert 0.0 < libraries.percent_apart(ours, coarser, 2) < 50.0
    louder = ours._replace(volts=[1.01 * each for each in ours.volts])
    assert libraries.percent_apart(ours, louder, 2) == pytest.approx(1.0)


def test_a_question_that_one_library_refuses_is_counted(ours: Answers) -> None:
    refused = [*ours.refused]
    refused[1] = "the analysis gave no data"
    (figure,) = short(ours, ours._replace(refused=refused))
    assert "answered by one only" in figure.name
    assert figure.value == "1"


def test_one_library_alone_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(libraries, "at_hand", lambda: [Path("only")])
    (figure,) = libraries.measure(libraries.at_hand(), 0)
    assert "nothing to compare" in figure.name
