"""Lines that a notebook prints: broken between words, with nothing lost, and indented below their words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base import notebook
from ampsim.base.notebook import PAPER, broken_lines

words = st.text("abcdefghijklmnopqrstuvwxyz0123456789-[]().", min_size=1, max_size=30)
lines = st.tuples(st.sampled_from(["", "- ", "12. ", "b) ", "    "]), st.lists(words, max_size=40).map(" ".join))


@given(st.lists(lines.map("".join), max_size=5).map("\n".join))
def test_no_word_is_split_and_none_is_lost(text: str) -> None:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(notebook, "in_notebook", lambda: True)
        found = broken_lines(text)
    assert found.split() == text.split()
    assert all(len(line) <= PAPER or len(line.split()) == 1 for line in found.splitlines())
    assert [each for each in text.split("\n") if len(each) <= PAPER] == [
        each for each in text.split("\n") if each in found.split("\n") and len(each) <= PAPER
    ]


def test_what_follows_stands_below_the_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(notebook, "in_notebook", lambda: True)
    first, second = broken_lines(f"- {'word ' * 20}").splitlines()
    assert first.startswith("- word")
    assert second.startswith("  word")
