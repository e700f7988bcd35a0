"""TOML that costs much, or that an editor or a merge left its marks in, ends in a message that names the line."""

from __future__ import annotations

import math
import tomllib
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.library.auditions import read_audition
from ampsim.library.files import toml_tables
from ampsim.library.loader import load_amp, load_mod
from ampsim.library.toml_lines import broken_at, lines_of
from tests.figures.budgets import LINES, greedy_files

DEEP = ".".join("a" * 5000)


@pytest.mark.parametrize(
    "text",
    [
        f"{DEEP} = 1",
        f"x = 1\n[{DEEP}]",
        f"[[{DEEP}]]",
        f"x = {{ {DEEP} = 1 }}",
        ".".join(['"a b"'] * 50) + " = 1",
        " . ".join(["a", "'b.c'"] * 20) + " = 1",
    ],
    ids=range(6),
)
def test_a_key_of_many_parts_is_refused_before_it_is_read(text: str) -> None:
    tracemalloc.start()
    with pytest.raises(DescriptionError, match=r"^file\.toml, line \d: a key of more than 16 parts joined by dots$"):
        toml_tables(text.encode(), "file.toml")
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 100 * len(text) + 100_000


@pytest.mark.parametrize(
    "text",
    [
        ".".join("a" * 16) + " = 1",
        "a = [" + ", ".join(["1.5"] * 1000) + "]",
        'a = "' + "e.g. this. " * 50 + '"',
        'a = "' + "x" * 100_000 + '"',
        'a = """\n=======\n"""',
    ],
    ids=range(5),
)
def test_what_people_write_is_read(text: str) -> None:
    assert toml_tables(text.encode(), "file.toml") == tomllib.loads(text)


PARTS = st.one_of(
    st.text("abcXYZ019_-", min_size=1, max_size=8),
    st.text("ab .=[]#'", max_size=6).map('"{}"'.format),
    st.text('ab .=[]#"', max_size=6).map("'{}'".format),
)


@given(st.lists(PARTS, min_size=1, max_size=40), st.sampled_from((".", " . ", "\t.")), st.sampled_from(range(4)))
def test_keys_of_any_depth_are_read_or_refused_by_their_depth(parts: list[str], dot: str, way: int) -> None:
    key = dot.join(parts)
    text = (f"{key} = 1", f"[{key}]", f"[[ {key} ]]", f"a = {{ {key} = 1 }}")[way]
    if len(parts) > 16:
        with pytest.raises(DescriptionError, match="more than 16 parts"):
            toml_tables(text.encode(), "file.toml")
    else:
        assert toml_tables(text.encode(), "file.toml") == tomllib.loads(text)


@given(
    st.lists(st.sampled_from(("gain", "treble", "bass", "middle", "master", "bright", "cathode")), max_size=14),
    st.lists(st.floats(0.0, 1.0), min_size=1, max_size=80),
)
@settings(deadline=None)
def test_products_of_controls_are_counted_before_they_are_made(varied: list[str], rotations: list[float]) -> None:
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, load_mod("bright-switch"), load_mod("cathode-switch"))
    view = {"title": "x", "vary": varied, "rotations": rotations}
    counts = [3 if name in ("bright", "cathode") else len(rotations) for name in varied]
    tables = {"name": "x", "views": [view]}
    if len(rotations) > 60 or math.prod(counts) > 60:
        with pytest.raises(DescriptionError, match=r"views\[1\]\.(vary|rotations)"):
            read_audition(tables, "job", stock, modded)
    else:
        (made,) = read_audition(tables, "job", stock, modded).views
        assert len(made.positions) == math.prod(counts)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["<<<<<<< HEAD", "=======", ">>>>>>> other branch", "||||||| base"])
def test_the_marks_of_a_merge_are_named(mark: str, end: str) -> None:
    with pytest.raises(DescriptionError, match=r"line 2 is a mark of a merge \(.{7}\); choose one of the versions"):
        toml_tables(end.join(["a = 1", mark, "b = 2"]).encode(), "file.toml")


def test_a_byte_order_mark_is_named() -> None:
    with pytest.raises(DescriptionError, match="begins with a byte-order mark"):
        toml_tables("\ufeffa = 1".encode(), "file.toml")


@pytest.mark.parametrize("line", LINES, ids=repr)
def test_lines_of_any_kind_are_numbered_or_passed_over(line: str) -> None:
    text = "first = 1\n" + line * 300
    found = lines_of(text)
    assert found["first"] == 1
    assert all(1 <= number <= text.count("\n") + 1 for number in found.values())
    try:
        tomllib.loads(text)
    except ValueError:
        assert broken_at(text).startswith("line ")


@pytest.mark.parametrize("spoilt", ['b = "x\nc = 2', "b = '''x\nc = 2", 'b = """x\\', "b = [1\nc = 2"])
def test_the_entry_where_a_text_breaks_is_named(spoilt: str) -> None:
    assert broken_at(f"a = 1\n{spoilt}\n") == "line 2, at b"


def test_more_positions_than_a_picture_holds_are_refused_before_they_are_made() -> None:
    stock = load_amp("workshop-a")
    modded = apply_mods(stock, load_mod("depth"))
    tables = tomllib.loads(greedy_files()["twelve knobs varied"])
    tracemalloc.start()
    with pytest.raises(DescriptionError, match=r"views\[1\]\.vary: with 'gain' more than 60 positions"):
        read_audition(tables, "job", stock, modded)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 5_000_000
