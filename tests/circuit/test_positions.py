"""Positions in words: one form for tables, pictures, pages and sentences."""

from __future__ import annotations

import pytest

from ampsim.circuit.positions import face, position_label, setting_clause


@pytest.mark.parametrize(
    ("rotation", "words"),
    [(0.0, "0"), (0.3, "3"), (0.725, "7.25"), (0.29, "2.9"), (1 / 3, "3.333"), (1.0, "10")],
)
def test_a_rotation_reads_as_on_the_panel_of_an_amp(rotation: float, words: str) -> None:
    assert face(rotation) == words
    assert setting_clause("gain", rotation) == f"gain at {words}"


def test_a_position_names_switches_by_their_positions() -> None:
    assert position_label({"gain": 0.725, "bright": "120p"}) == "gain 7.25, bright 120p"
    assert position_label({}) == "as drawn"
