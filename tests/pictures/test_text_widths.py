"""A line is as wide as its words together: as matplotlib measures it whole, to a thousandth of a letter."""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextToPath

from ampsim.base.wording import one_line
from ampsim.pictures.svg_drawing import extent
from ampsim.pictures.text_widths import _MARGIN, _RULER, text_width, wrap_text

WORDS = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x17F, exclude_categories=("Cc", "Cf")))


@given(WORDS, st.sampled_from((7.5, 8.5, 11.5)), st.booleans())
def test_a_line_is_as_wide_as_it_is_measured(words: str, size: float, bold: bool) -> None:
    font = FontProperties(size=size, weight="bold" if bold else "normal")
    measured = _RULER.get_text_width_height_descent(one_line(words), font, ismath=False)[0] / 100.0 * _MARGIN
    assert abs(text_width(words, size, bold) - measured) < 1e-3 * size / 72.0


@given(WORDS, st.sampled_from((7.5, 8.5, 11.5)), st.booleans())
def test_letters_of_an_svg_are_together_as_large_as_their_text(words: str, size: float, bold: bool) -> None:
    weight = "bold" if bold else "normal"
    measured = TextToPath().get_text_width_height_descent(words, FontProperties(size=size, weight=weight), ismath=False)
    wide, tall, low = extent(words, size, weight)
    np.testing.assert_allclose((tall, low), measured[1:], atol=1e-3 * size)
    joined = len(re.findall("f[fil]", words))  # drawn as one letter where the font has it
    assert -1e-3 < (wide - measured[0]) / size < 1e-3 + 0.05 * joined


@given(st.lists(st.sampled_from(["AVAToWa.", "1/f", "(V1A)", "To", "Ya.", "22u", "Wärme"])), st.floats(0.3, 4.0))
def test_lines_are_as_full_as_they_can_be(words: list[str], width: float) -> None:
    lines = wrap_text(" ".join(words), width, 8.5)
    assert " ".join(lines).split() == words or any(text_width(word, 8.5) > width for word in words)
    assert all(text_width(line, 8.5) <= width * (1.0 + 1e-9) for line in lines)
    for line, following in pairwise(lines):
        first = following.split()[0]
        assert text_width(f"{line} {first}", 8.5) > width * (1.0 - 1e-9)


def test_no_line_ends_between_a_number_and_its_unit() -> None:
    words = "stock: −0.171 V to 0.171 V, THD 0.19 %, at 4.2 kHz"
    for tenths in range(8, 40):
        lines = wrap_text(words, 0.1 * tenths, 8.5)
        assert " ".join(lines) == words
        assert not [line for line in lines if line.split()[0].rstrip(",") in ("V", "%", "kHz")]
