"""What was found of a mod is told again as it was, only of the very same, and what is kept is believed in nothing."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from ampsim.base.kept_files import fetch_kept, keep
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.valves.laws import LAWS
from ampsim.library.loader import load_amp, parse_mod
from ampsim.pictures.canvas import Picture, png
from ampsim.pictures.export import save_picture, svg
from ampsim.pictures.plain_svg import is_plain_svg
from ampsim.simulation import kept_work
from ampsim.studies.findings import Finding, Grade
from ampsim.studies.section import Examination, Section
from ampsim.studies.sheet import kept_sections
from ampsim.studies.sheet.kept_sections import kept_section
from ampsim.studies.sheet.page import sheet_html
from ampsim.studies.sheet.sheet import Sheet

STOCK = load_amp("lesson-stage")
MODDED = apply_mods(STOCK, parse_mod({"name": "louder", "reason": "test", "edits": [{"replace": "R4", "with": "1k"}]}))
EXAMINED = Examination(STOCK, MODDED)
FOUND = Finding("a topic", "R4", "louder", "as drawn", 0.1, "W", None, Grade.NEAR, "warm", "by hand", "none", "<p>")
ROWS = pd.DataFrame({"what": ["R4", "é\n"], "watts": [0.1 + 0.2, float("nan")], "many": [1, 2], "so": [True, False]})


def a_picture() -> Picture:
    """With words that could be taken for something else."""
    picture = Picture(2.0, 1.0, "a <heading> & more", "it's @ rest, url(x), <!-- \\ -->")
    picture.write(0.2, 0.5, "<script>alert('@')</script> url(http://x) \\")
    return picture


@pytest.fixture(autouse=True)
def nothing_kept(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A folder of each test's own: what another one kept of the same mod would be told in place of an examination."""
    monkeypatch.setenv("AMPSIM_CACHE", str(tmp_path / "kept"))


@pytest.fixture
def examinations(monkeypatch: pytest.MonkeyPatch) -> list[Examination]:
    """What was examined anew, each by a section with this table and picture in it."""
    seen: list[Examination] = []

    def section(topic: str, examined: Examination, progress: object = None) -> Section:
        seen.append(examined)
        tables = {"rows": ROWS, "some": ROWS[ROWS["so"]][::-1]}
        return Section("a topic", (FOUND,), tables, {"<p>": a_picture()}, ("noted",), ("rows",))

    monkeypatch.setattr(kept_sections, "topic_section", section)
    return seen


def test_the_same_is_told_again_to_the_last_digit(examinations: list[Examination]) -> None:
    first, again = kept_section("ratings", EXAMINED), kept_section("ratings", EXAMINED)
    assert len(examinations) == 1
    assert (again.title, again.findings, again.notes, again.key_tables) == ("a topic", (FOUND,), ("noted",), ("rows",))
    for title, table in first.tables.items():
        pd.testing.assert_frame_equal(again.tables[title], table)
    assert sheet_html(Sheet(EXAMINED, (first,))) == sheet_html(Sheet(EXAMINED, (again,)))


def test_a_kept_picture_is_shown_at_once_and_drawn_anew_where_that_is_not_enough(
    examinations: list[Examination], tmp_path: Path
) -> None:
    kept_section("blocking", EXAMINED)
    (drawn,) = kept_section("blocking", EXAMINED).pictures.values()
    assert svg(drawn) == svg(a_picture())
    assert len(examinations) == 1
    (written,) = save_picture(drawn, tmp_path / "again.png")
    assert written.read_bytes() == png(a_picture())
    assert len(examinations) == 2
    assert drawn._repr_png_() == a_picture()._repr_png_()
    assert len(examinations) == 2


def test_anything_else_is_examined_anew(examinations: list[Examination], monkeypatch: pytest.MonkeyPatch) -> None:
    kept_section("noise", EXAMINED)
    others = [
        Examination(STOCK, replace(MODDED, rails=(replace(MODDED.rails[0], volts=299.999),))),
        Examination(STOCK, replace(MODDED, valves=(replace(MODDED.valves[0], law="koren 1996 triode"),))),
        Examination(STOCK, MODDED, ({},), ({"volume": 0.5},)),
        Examination(MODDED, STOCK),
    ]
    for number, each in enumerate(others, 2):
        kept_section("noise", each)
        assert len(examinations) == number
    kept_section("pop", EXAMINED)
    monkeypatch.setattr(kept_work, "_package", lambda: "another version")
    kept_section("noise", EXAMINED)
    assert len(examinations) == len(others) + 3


def test_what_a_law_or_a_topic_from_elsewhere_says_is_not_kept(
    examinations: list[Examination], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    kept_section("headroom", EXAMINED)
    monkeypatch.setitem(LAWS, "from elsewhere", replace(LAWS["three-halves"], lines=lambda _: ("",)))
    kept_section("headroom", EXAMINED)
    assert len(examinations) == 2
    monkeypatch.delitem(LAWS, "from elsewhere")
    kept_section("headroom", EXAMINED)
    assert len(examinations) == 2
    monkeypatch.setattr(kept_sections, "topic_file", lambda _: tmp_path / "__init__.py")
    kept_section("headroom", EXAMINED)
    assert len(examinations) == 3


def test_a_table_that_plain_data_cannot_hold_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    odd = Section("a topic", (), {"rows": ROWS.assign(what=[object(), None])}, {})
    examined, seen = Examination(STOCK, MODDED, ({}, {})), []
    monkeypatch.setattr(kept_sections, "topic_section", lambda *_: seen.append(odd) or odd)
    assert kept_section("spread", examined) == kept_section("spread", examined) == odd
    assert len(seen) == 2


def _forged(path: Path, change: Callable[[dict[str, Any]], object]) -> None:
    """Alter what is kept, and seal it as if it were our own."""
    content = fetch_kept(path, 10**7)
    assert content
    packed = json.loads(bytes(content))
    change(packed)
    keep(path, json.dumps(packed).encode())


def _with_svg(drawn: str) -> Callable[[dict[str, Any]], object]:
    def change(packed: dict[str, Any]) -> None:
        packed["pictures"][0][1][2] = packed["pictures"][0][1][2].replace("</svg>", drawn)

    return change


@pytest.mark.parametrize(
    "change",
    [
        lambda packed: packed.update(title=7),
        lambda packed: packed.update(notes=[["a"]]),
        lambda packed: packed.update(findings=None),
        lambda packed: packed["findings"][0].update(words=3),
        lambda packed: packed["findings"][0].update(value="<b>"),
        lambda packed: packed["findings"][0].update(grade="grand"),
        lambda packed: packed["findings"][0].update(more=1),
        lambda packed: packed["findings"][0].pop("limit"),
        lambda packed: packed.update(pictures=[["x", ["a", "b"]]]),
        lambda packed: packed["tables"][0][1].update(columns=[["a", "object", [1]]]),
        lambda packed: packed["tables"][0][1].update(columns=[["a", "no kind", [1, 2]]]),
        _with_svg("<script>alert(1)</script></svg>"),
        _with_svg("</svg><script>alert(1)</script>"),
        _with_svg("<g onload='alert(1)'/></svg>"),
        _with_svg("<use xlink:href='http://example.org/a.svg#b'/></svg>"),
        _with_svg("<image xlink:href='data:image/png;base64,'/></svg>"),
        _with_svg("<path style='fill: url(http://example.org/x)'/></svg>"),
        _with_svg("<style>@import 'http://example.org/x.css';</style></svg>"),
        _with_svg("<title><style><![CDATA[</style><img src=x>]]></style></title></svg>"),
        _with_svg("<!--><img src=x>--></svg>"),
        _with_svg("<foreignObject/></svg>"),
        _with_svg("<title><g/></title></svg>"),
        _with_svg("<a xlink:href='javascript:alert(1)'/></svg>"),
        _with_svg("</g></svg>"),
    ],
)
def test_a_forged_section_is_examined_anew(
    change: Callable[[dict[str, Any]], object], examinations: list[Examination]
) -> None:
    right = kept_section("stability", EXAMINED)
    path = kept_sections._path("stability", EXAMINED)
    assert path
    before = len(examinations)
    _forged(path, change)
    assert sheet_html(Sheet(EXAMINED, (kept_section("stability", EXAMINED),))) == sheet_html(Sheet(EXAMINED, (right,)))
    assert len(examinations) == before + 1


def test_a_damaged_section_is_examined_anew(examinations: list[Examination]) -> None:
    kept_section("pop", EXAMINED)
    path = kept_sections._path("pop", EXAMINED)
    assert path
    content, dice, before = path.read_bytes(), random.Random(1), len(examinations)
    for count in range(1, 11):
        place = dice.randrange(len(content))
        damaged = content[:place] if count % 2 else content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :]
        path.write_bytes(damaged)
        kept_section("pop", EXAMINED)
        assert len(examinations) == before + count


def test_what_we_draw_is_a_plain_drawing() -> None:
    assert is_plain_svg(svg(a_picture()))
    assert not is_plain_svg(svg(a_picture())[:-9])
