"""The drilling sheet, read back from its PDF: to size within a tenth of a millimetre, every name as it is elsewhere."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.job.papers.drilling import DrillingSheet, drilling_sheet, drilling_sheets, write_drilling
from ampsim.job.papers.drilling_request import FILE, read_drilling, request_text
from ampsim.job.papers.sheets import SIZES, Circle, Sheet, Text, sheets_pdf
from ampsim.job.papers.wiring import wiring_tables
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.frozen import open_job
from ampsim.job.record.reading import read_record
from ampsim.work.holes.face import faces
from ampsim.work.holes.panel_parts import PanelWork, panel_work
from ampsim.work.wiring.readback import wiring
from tests.job.test_pdf import TYPST
from tests.tools.any_mods import single_mods
from tests.tools.read_pdf import joined, open_pdf, sizes
from tests.tools.read_sheets import DOT, dots, measured_centre, measured_diameter, measured_rulers

POINTS = 72.0 / 25.4
ODD = 'name = "odd"\nreason = "r"\nparts = {{ C950 = "120p", C951 = "1n" }}\n[[switches]]\ndesignator = "S950"\n' \
    'control = {control}\ntype = "on-off-on"\n[switches.positions]\n{first} = []\n' \
    '"b" = [{{ fit = "C950", between = ["P1.top", "P1.wiper"] }}]\n' \
    '{last} = [{{ fit = "C951", across = "P1" }}]\n'  # fmt: skip
PLACED = (
    'zero = "the jack"\n[P104]\nalong = 15.3\nup = 7.5\n[S102]\nalong = 81.7\nhole = 12.7\nwide = 9\ndeep = 30\n'
    '[P1]\nalong = 0\nthere = true\nbody = "pot, 24 mm"\n[J9]\nalong = 400.0\nbody = "jack 1/4 inch, open"\n'
)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("drilling") / "job"
    begin_job(folder, "workshop-a", ["depth", "cathode-switch"], owner="O. Wner", name="deeper")
    return folder


def sheet_of(folder: Path, asked: str = "") -> DrillingSheet:
    (folder / FILE).write_text(asked, "utf-8")
    record = read_record(folder)
    return drilling_sheet(record, open_job(record, folder), folder)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_holes_crosses_and_rulers_are_to_size_within_a_tenth_of_a_millimetre(job: Path, paper: str) -> None:
    made = drilling_sheets(sheet_of(job, PLACED), paper)
    pdf = open_pdf(sheets_pdf("t", made))
    wide, high = SIZES[paper]
    assert sizes(pdf) == {(round(high * POINTS), round(wide * POINTS))}
    page = dots(pdf, 0)
    full = [each for each in made[0].shapes if isinstance(each, Circle) and each.dash == "solid"]
    holes = [(measured_centre(page, each), each.diameter) for each in full]  # where to look; the rest is measured
    assert len(holes) == 2
    (left, top), (right, low) = (centre for centre, _ in holes)
    assert right - left == pytest.approx(81.7 - 15.3, abs=0.1)
    assert low - top == pytest.approx(7.5, abs=0.1)
    for ((x, y), _), diameter in zip(holes, (10.0, 12.7), strict=True):
        assert measured_diameter(page, x, y, diameter) == pytest.approx(diameter, abs=0.1)
    assert measured_rulers(page) == pytest.approx((100.0, 101.6), abs=0.1)


def test_every_hole_is_on_a_sheet_and_those_far_apart_on_sheets_of_their_own(job: Path) -> None:
    sheet = sheet_of(job, PLACED)
    assert [(each.part.name, each.along) for each in sheet.row] == [
        ("P1", 0.0), ("P104", 15.3), ("S102", 81.7), ("J9", 400.0),
    ]  # fmt: skip
    pdf = open_pdf(sheets_pdf("t", drilling_sheets(sheet)))
    words = [page.get_textpage().get_text_range() for page in pdf]
    assert "1 of 2" in words[0]
    assert "P104: 10 mm" in words[0]
    assert "J9" not in words[0].replace("J9 and", "")
    assert "J9: 10 mm" in words[1]
    measured = next(each.part.body for each in sheet.row if each.part.name == "S102")
    assert (measured.hole, measured.wide, measured.deep) == (12.7, 9.0, 30.0)
    assert any("9 by 14 mm behind the panel, 30 mm deep" in step for step in sheet.steps)
    assert any("P1 and P104 are 15.3 mm apart" in each for each in sheet.near)
    assert not any("P1 " in step for step in sheet.steps)  # it is there: nothing is done to it


def test_what_ampsim_places_itself_stands_clear_and_its_file_gives_the_same_sheet(job: Path) -> None:
    ours = sheet_of(job)
    assert ours.near == ()
    assert all(each.ours for each in ours.row)
    again = sheet_of(job, request_text("x", ours.row))
    assert [(each.part, each.along, each.up) for each in again.row] == [
        (each.part, each.along, each.up) for each in ours.row
    ]
    placed = sheet_of(job, PLACED)
    kept = sheet_of(job, request_text(placed.zero, placed.row))
    assert kept.row == placed.row


@pytest.mark.parametrize(("text", "told"), [
    ('[P104]\nalong = "left"', "P104.along"), ("[P104]\nalong = 5000", "from -1000 to 1000"), ("[P104]\nx = 1", "x"),
    ('[P104]\nbody = "pot"', "pot, 24 mm"), ("[J9]\nalong = 3", "say its body"), ("[J9]\nthere = true", "say where"),
    ("[x]\nalong = 3", "not a designator"), ("P104 = 3", "P104"), ("[P104", "drilling.toml"),
    ("[S102]\nhole = 0.1", "from 1 to 60"), ("[S102]\nwide = true", "S102.wide"), ("[S102]\nalong = nan", "along"),
])  # fmt: skip
def test_a_mistake_in_the_file_is_named(job: Path, text: str, told: str) -> None:
    with pytest.raises(DescriptionError, match=told) as problem:
        sheet_of(job, text)
    assert FILE in str(problem.value)
    (job / FILE).unlink()


def test_positions_are_called_as_in_the_wiring_and_point_where_its_table_says(job: Path) -> None:
    sheet = sheet_of(job)
    found = open_job(read_record(job), job)
    tables = wiring_tables(wiring(found.modded))
    for face in sheet.faces:
        title = next((each for each in tables if each.startswith(f"contacts of {face.part.name} ")), "")
        rows = list(zip(tables[title]["position"], tables[title]["lever"], strict=True)) if title else []
        assert [(way.label, way.stands) for way in face.ways] == rows
        assert face.scale == (not rows)
        # As the owner's page and the player have them.
        assert tuple(way.label for way in face.ways) == found.modded.controls[face.control].positions
    words = joined(open_pdf(sheets_pdf("t", drilling_sheets(sheet))))
    assert all("".join(way.label.split()) in words for face in sheet.faces for way in face.ways)


def test_every_switch_of_any_mod_has_its_names_on_the_panel_as_it_is_wired() -> None:
    tried = 0
    for mod in single_mods(40, seed=29):
        work = panel_work(mod.amp.amp, mod.modded)
        shown = {face.part.name: [(way.label, way.stands) for way in face.ways] for face in faces(mod.modded, work)}
        for plan in wiring(mod.modded).switches if mod.mod.switches else ():
            if plan.designator in {each.designator for each in mod.mod.switches} and plan.kind:
                assert shown[plan.shaft or plan.designator] == [(row.label, row.stands) for row in plan.rows], mod
                tried += 1
    assert tried > 3


def test_a_job_without_holes_has_no_sheet(tmp_path: Path) -> None:
    begin_job(tmp_path / "job", "workshop-a", ["larger-plate-load"])
    record = read_record(tmp_path / "job")
    found = open_job(record, tmp_path / "job")
    sheet = drilling_sheet(record, found, tmp_path / "job")
    assert sheet.empty
    with pytest.raises(DescriptionError, match="nothing to drill"):
        drilling_sheets(sheet)
    assert read_drilling(tmp_path / "job" / FILE, panel_work(found.stock, found.modded)).places == {}


NAMES = [*TYPST, "x" * 300, "W " * 150, "כיוון אחר " * 20, "تجربة طويلة جدا " * 20, "日本語の名前" * 30,
         "a\u202eb" * 60, "\u0301" * 200, "👍🏽" * 80, "\ufffd\x00\n\t" * 20, ""]  # fmt: skip


def test_no_text_leaves_its_place_and_none_becomes_anything_but_text() -> None:
    rows = [Text(50.0, 6.0 + 5.0 * n, 30.0, 4.0, name, 8.0, 5.0, side) for side in ("left", "centre", "right")
            for n, name in enumerate(NAMES)]  # fmt: skip
    sheets = [Sheet(210.0, 297.0, [*rows[n : n + len(NAMES)]]) for n in range(0, len(rows), len(NAMES))]
    data = sheets_pdf("#panic()", sheets)
    pdf = open_pdf(data)
    for page in pdf:
        dark = np.flatnonzero(dots([page], 0).any(axis=0)) / DOT
        assert dark.min() >= 49.9
        assert dark.max() <= 80.1
    shown = joined(pdf)
    assert all("".join(name.split()) in shown for name in TYPST)
    assert not any(each in data for each in (b"/URI", b"/JavaScript", b"/Launch", b"/EmbeddedFile", b"root:"))


def test_a_control_with_hostile_names_is_drawn_as_text(tmp_path: Path) -> None:
    names = ['"#read(\\"/etc/passwd\\")"', '"<b>x</b>"', '"כיוון"']
    (tmp_path / "odd.toml").write_text(ODD.format(control=names[0], first=names[1], last=names[2]), "utf-8")
    begin_job(tmp_path / "job", "workshop-a", [str(tmp_path / "odd.toml")], name="$x$ #panic()")
    sheet = sheet_of(tmp_path / "job")
    words = joined(open_pdf(write_drilling(sheet, tmp_path / "d.pdf").read_bytes()))
    assert '#read("/etc/passwd")' in words
    assert "<b>x</b>" in words
    assert "#panic()" in words


@settings(max_examples=40)
@given(st.lists(st.one_of(st.sampled_from(PLACED.splitlines()), st.text(max_size=12)), max_size=9))
def test_whatever_stands_in_the_file_it_is_read_or_named(lines: list[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / FILE
        path.write_text("\n".join(lines), "utf-8", "surrogatepass")
        try:
            places, told = read_drilling(path, PanelWork((), ())).places, FILE
        except DescriptionError as problem:
            places, told = {}, str(problem)
        assert FILE in told
        assert all(abs(along) <= 1000.0 and abs(up) <= 35.0 for along, up in places.values())


def test_a_folder_is_no_file_of_holes(job: Path) -> None:
    record = read_record(job)
    found = open_job(record, job)
    (job / FILE).unlink(missing_ok=True)
    (job / FILE).mkdir()
    with pytest.raises(DescriptionError, match=FILE):
        drilling_sheet(record, found, job)
    (job / FILE).rmdir()
