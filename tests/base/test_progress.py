"""Progress in a notebook: a line that is no error, and nothing of it left."""

from __future__ import annotations

from typing import Any

import pytest

import ampsim.base.progress as progress

IPYTHON = pytest.importorskip("IPython.display", reason="the extra 'notebooks' is not installed")


def test_a_notebook_is_told_beside_its_errors_and_keeps_nothing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shown: list[Any] = []

    class Handle:
        def update(self, data: Any, raw: bool) -> None:
            shown.append(data)

    def display(data: Any, raw: bool, display_id: bool) -> Handle:
        shown.append(data)
        return Handle()

    clock = iter(range(100))
    monkeypatch.setattr(progress, "in_notebook", lambda: True)
    monkeypatch.setattr(IPYTHON, "display", display)
    monkeypatch.setattr(progress.time, "monotonic", lambda: float(next(clock)))
    with progress.ProgressBar() as bar:
        for done in range(0, 9, 2):
            bar(done, 8, "simulations")
    assert any(each["text/plain"].startswith("simulations: 4 of 8, ") for each in shown)
    assert shown[-1] == {"text/html": "", "text/plain": ""}
    assert capsys.readouterr() == ("", "")


def test_what_takes_no_time_says_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "in_notebook", lambda: True)
    monkeypatch.setattr(IPYTHON, "display", lambda *_, **__: pytest.fail("shown"))
    with progress.ProgressBar() as bar:
        bar(1, 2, "simulations")
