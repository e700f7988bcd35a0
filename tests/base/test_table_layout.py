"""Tables of text: they fit whatever width they are given, and say all that they hold."""

from __future__ import annotations

import re

from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.table_layout import WIDTH, text_width
from ampsim.base.tables import text_of_rows

# No dash of a rule and no sign of a wide script: words are looked for as they stand.
words = st.text("abcdefghijklmnopqrstuvwxyzäöü0123456789", min_size=1, max_size=11)
texts = st.lists(words, min_size=1, max_size=9).map(" ".join)
heads = st.tuples(
    st.lists(words, min_size=1, max_size=3).map(" ".join), st.sampled_from(["", " [V]", " [dB]", " [mA]"])
).map("".join)


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[str], list[list[object]]]:
    """Columns of text that lead columns of numbers, as those that commands print."""
    lead, figures = draw(st.integers(1, 5)), draw(st.integers(0, 14))
    names = draw(st.lists(heads, min_size=lead + figures, max_size=lead + figures))
    numbers = st.floats(-9999.0, 99999.0)
    # Few texts to a column: many rows share them, as those of one variant do.
    said = [draw(st.lists(texts, min_size=1, max_size=3)) for _ in range(lead)]
    count = draw(st.integers(0, 6))
    rows = [
        [draw(st.sampled_from(each)) for each in said] + [draw(numbers) for _ in range(figures)] for _ in range(count)
    ]
    return names, rows


@given(tables())
def test_a_table_fits_and_loses_no_word(table: tuple[list[str], list[list[object]]]) -> None:
    names, rows = table
    text = text_of_rows(names, rows)
    assert max(map(text_width, text.splitlines()), default=0) <= WIDTH
    told = re.findall(r"[^\s:,]+", text)
    for row in rows:
        for cell in row:
            if isinstance(cell, str):
                assert set(cell.split()) <= set(told), cell
    heads_told = "".join(told)
    for name in names:
        assert all(word in heads_told for word in name.split())


@given(tables())
def test_a_table_that_fits_has_a_line_for_each_row(table: tuple[list[str], list[list[object]]]) -> None:
    names, rows = table
    text = text_of_rows([name[:8] for name in names[:4]], [row[:1] + [1.0] * (len(row[:4]) - 1) for row in rows])
    if all(len(str(row[0])) < 40 for row in rows):
        assert len(text.splitlines()) == 2 + len(rows)


def test_heads_are_broken_before_their_units_first_and_stand_on_the_rule() -> None:
    names = ["position", *(f"{hertz} Hz [dB]" for hertz in range(1000, 1010))]
    lines = text_of_rows(names, [["as drawn"] + [123.0] * 10]).splitlines()
    assert lines[0].split() == [word for hertz in range(1000, 1010) for word in (str(hertz), "Hz")]
    assert lines[1].split() == ["position"] + ["[dB]"] * 10


def test_what_all_rows_share_stands_above_and_a_variant_above_its_rows() -> None:
    names = ["variant", "position", *(f"reading {n} [V]" for n in range(10))]
    rows: list[list[object]] = [
        [variant, "gain 3, bright 120p, cathode 6k8", *[1000.0] * 10]
        for variant in ("stock", "modded amp", "modded amp")
    ]
    lines = text_of_rows(names, rows).splitlines()
    assert lines[0] == "position: gain 3, bright 120p, cathode 6k8"
    assert sum("modded amp" in line for line in lines) in (1, 2)


def test_signs_that_take_two_columns_are_counted_so() -> None:
    text = text_of_rows(["name", "volts [V]"], [["\u96fb\u5727" * 60, 1.0]])
    assert max(map(text_width, text.splitlines())) <= WIDTH
