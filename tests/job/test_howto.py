"""The how-to: nothing in it tells whose amp it was; page and Markdown say the same; nothing half-written is left."""

from __future__ import annotations

import base64
import datetime
import errno
import io
import os
import random
import re
import shutil
from dataclasses import fields, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import mistune
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from PIL import Image

from ampsim.base import files
from ampsim.base.errors import DescriptionError
from ampsim.interface.commands.main import main
from ampsim.job.howto.content import Bullets, Grid, HowTo, Part, Words, howto_of
from ampsim.job.howto.listing import publish_list
from ampsim.job.howto.markdown import markdown_of
from ampsim.job.howto.private_words import BLANK, PrivateWords
from ampsim.job.howto.public import PublicJob, public_job
from ampsim.job.howto.write import INDEX, howto_html, write_howto
from ampsim.job.papers.page_tree import read_page
from ampsim.job.papers.pdf import pdf_of
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.billing import Bill, Charge, Order
from ampsim.job.record.data import (
    Blind,
    Choice,
    Mark,
    Note,
    OwnersWish,
    Phase,
    Record,
    Session,
    State,
    Status,
    Sweep,
)
from ampsim.job.record.photos import keep_photo
from ampsim.job.record.reading import read_record
from ampsim.job.record.saving import save_record
from tests.tools import read_pdf
from tests.tools.systems import needs_fork

MOD = """
name = "{name}"
reason = "{reason}"
parts = {{ C109 = "470p" }}
edits = [{{ fit = "C109", across = "R3" }}]
"""
EVIL = "</script><script>alert(1)</script> `$x$` *b* _i_ [l](javascript:alert(1)) | # ![p](q) ~~s~~ 1. \\ &amp; <b>"


def word(lot: random.Random) -> str:
    """A word that stands nowhere else."""
    return "".join(lot.choice("bcdfghjklmnpqrstvwxz") for _ in range(9)).capitalize()


def photo_of(path: Path, secret: str) -> Path:
    notes = Image.Exif()
    notes[0x010F], notes[0x013B] = secret, secret
    notes.get_ifd(0x8825)[29] = secret
    Image.new("RGB", (200, 150), (30, 60, 30)).save(path, exif=notes, comment=secret.encode())
    return path


def made(tmp_path: Path, lot: random.Random) -> tuple[Path, list[str]]:
    """A job with a secret in every entry that is nobody's business, and the secrets."""
    first, last, serial, *notes = (word(lot) for _ in range(24))
    owner, notes_left = f"{first} {last}", iter(notes)
    serial = f"{serial[:3]}-{lot.randrange(1000, 9999)}{serial[3:]}"
    price, day = f"{lot.randrange(1000, 9999)}.{lot.randrange(10, 99)}", datetime.date(2031, 7, lot.randrange(10, 28))
    mod = MOD.format(name=f"{first.upper()}'s treble", reason=f"{last} asked; costs EUR {price}.")
    (tmp_path / "mod.toml").write_text(mod, "utf-8")
    folder = tmp_path / "job"
    called = {"owner": owner, "serial": serial, "promised": day, "name": f"For {owner} {next(notes_left)}"}
    record = begin_job(folder, "lesson-stage", [tmp_path / "mod.toml"], **called)
    mail, phone = f"{next(notes_left)}@example.org", f"+44 {lot.randrange(10**6, 10**7)} {lot.randrange(10, 99)}"
    words = f"It's {first.lower()} ({last}), {serial}: softer!\nCall {phone} or {mail}, {price} EUR at most by {day}."
    photo = photo_of(tmp_path / f"{last} at home.jpg", next(notes_left))
    for of in ("C109", "on arrival"):
        record = keep_photo(record, folder, photo, of, note=next(notes_left), shown_to=["howto"])
    hidden = photo_of(tmp_path / "hidden.jpg", next(notes_left))
    record = keep_photo(record, folder, hidden, "R4", note=next(notes_left), shown_to=["owner"])
    marked = replace(record.photos[0], marks=(Mark(0.5, 0.5, "C109", f"for {owner}, {price} euros"),))
    date = datetime.date(2031, 6, 1)
    charge = Charge("fit", next(notes_left), Decimal(1), "h", Decimal(price), Decimal(1), Decimal(price))
    record = replace(
        record,
        words=words,
        wishes=(OwnersWish(f"{last} wants warmth", note=next(notes_left)),),
        states=(*record.states, State(Status.ON_THE_BENCH, date, next(notes_left))),
        arrival=(Note(date, next(notes_left)),),
        choices=(Choice(date, "470p or 1n across R3", "470p", f"{first} liked it", "470p: dull\n1n: duller"),),
        blind=(Blind(date, (next(notes_left), "two"), 5, 4, next(notes_left)),),
        sessions=(Session(date, ("Look.",), 5, next(notes_left), "note"),),
        sweeps=(Sweep(Phase.ARRIVAL, date, f"measurements/{last}.csv", last),),
        photos=(marked, *record.photos[1:]),
        quotes=(Bill(date, "EUR", 2, (charge,), Decimal(price), number=next(notes_left), without=(next(notes_left),)),),
        orders=(Order(date, next(notes_left), ("C109",), Decimal(price), "EUR"),),
    )
    save_record(record, folder)
    return folder, [first, last, owner, serial, price, str(day), mail, phone, *notes]


def everything(place: Path) -> str:
    """All that a folder of published files says: texts, what is packed in them, and what pictures carry."""
    told = []
    for path in sorted(place.rglob("*")):
        told.append(path.name)
        data = path.read_bytes() if path.is_file() else b""
        told.append(data.decode("latin-1"))
        inner = data
        for _ in range(3):
            packed = [base64.b64decode(each) for each in re.findall(rb"base64,([A-Za-z0-9+/=]+)", inner)]
            told += [each.decode("latin-1") for each in packed]
            inner = b"\n".join(packed)
            told += [str(dict(Image.open(io.BytesIO(each)).getexif())) for each in packed if each[:2] == b"\xff\xd8"]
        if path.suffix == ".pdf":
            pdf = read_pdf.open_pdf(data)
            told += [*read_pdf.texts(pdf), str(pdf.get_metadata_dict())]
    return "\n".join(told).lower()


@pytest.mark.parametrize("seed", range(3))
def test_nothing_published_tells_whose_amp_it_was(seed: int, tmp_path: Path) -> None:
    folder, secrets = made(tmp_path, random.Random(seed))
    page = tmp_path / "out" / "treble.html"
    assert main(["job", "howto", str(folder), "--yes", "--to", str(page)]) == 0
    found = everything(page.parent)
    assert {path.name for path in page.parent.iterdir()} == {"treble", "treble.html", "treble.pdf"}
    assert [each for each in secrets if each.lower() in found] == []
    text = (page.parent / "treble" / INDEX).read_text("utf-8")
    for published in ("softer!", "warmth", "470p (taken): dull", "1n: duller", "'s treble", "on arrival"):
        assert published in text
    assert text.count(BLANK.replace("[", "\\[").replace("]", "\\]")) >= 8
    assert len(list((page.parent / "treble").glob("picture-*.svg"))) == 4


def test_what_may_be_published_has_no_place_for_whose_it_is() -> None:
    names = {each.name for each in fields(PublicJob)}
    assert names & {each.name for each in fields(Record)} == {"words", "wishes", "choices", "photos"}


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory.mktemp("howto"), random.Random(9))[0]


@pytest.fixture(scope="module")
def job(begun: Path) -> PublicJob:
    return public_job(read_record(begun), begun)


@pytest.fixture(scope="module")
def howto(job: PublicJob) -> HowTo:
    return howto_of(job)


def test_all_that_people_wrote_is_listed_before_it_is_published(job: PublicJob, howto: HowTo) -> None:
    told = publish_list(job, howto, "x/howto.html")
    for each in (job.words.splitlines()[0], job.wishes[0], job.modded.mods[0].reason, "C109: for", "Photo 2: on arr"):
        assert each in told
    assert "6 texts named somebody" in told
    assert howto.parts[0].title == "Cautions"


def test_it_is_written_only_when_somebody_agrees(
    begun: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "a.html"
    assert main(["job", "howto", str(begun), "--list", "--to", str(page)]) == 0
    assert "What will be published" in capsys.readouterr().out
    assert main(["job", "howto", str(begun), "--to", str(page)]) == 1
    assert "nothing was written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_control_that_is_called_like_the_owner_is_refused(tmp_path: Path) -> None:
    mod = MOD.format(name="x", reason="y") + (
        '[[switches]]\ndesignator = "S9"\ncontrol = "ada example"\ndrawn = "as drawn"\n'
        '[switches.positions]\n"as drawn" = []\n"on" = [{ fit = "C108", across = "R4" }]\n'
    )
    (tmp_path / "mod.toml").write_text(mod.replace("{ C109", '{ C108 = "1u", C109'), "utf-8")
    record = begin_job(tmp_path / "job", "lesson-stage", [tmp_path / "mod.toml"], owner="Ada Example")
    with pytest.raises(DescriptionError, match="ada example"):
        public_job(record, tmp_path / "job")
    assert public_job(replace(record, owner="Ada Other"), tmp_path / "job").modded


NAMES = st.lists(st.text("abcdefgäéñøß", min_size=2, max_size=8), min_size=1, max_size=3)


@example(["de", "de"], str.upper, "{}")
@given(
    NAMES, st.sampled_from([str.upper, str.lower, str.title]), st.sampled_from(["{}", "I'm {}.", "({})", "{}'s amp"])
)
def test_a_name_is_found_in_any_case_and_at_any_place(names: list[str], case: Any, sentence: str) -> None:
    private = PrivateWords(Record("job", "amp", owner=" ".join(names)))
    for name in (names[0], names[-1], " ".join(names)):
        told = private.blank(sentence.format(case(name)))
        if name not in ("de", "dé"):  # as in "de la"
            assert told == sentence.format(BLANK) or set(re.findall(r"\w+", told)) <= {"I", "m", "s", "amp"}


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("R4 at 470k, 22u/25V, 1.5 dB at 82 Hz", True), ("V1A 12AX7, 300 V, 0.0047 uF", True), ("12 345 ohm", True),
        ("between 100 Hz and 5000 Hz", True), ("pay 20 EUR", False), ("EUR 1,500.50", False),
        ("€ 15,50", False), ("99 pounds", False),
        ("a.b@c.de", False), ("0171 123 45 67", False), ("(0171) 1234567", False), ("www.example.org/me", False),
    ],
)  # fmt: skip
def test_values_stay_and_what_leads_to_somebody_goes(text: str, kept: bool) -> None:
    assert (PrivateWords(Record("job", "amp", owner="")).blank_letter(text) == text) is kept


def test_a_short_serial_number_is_said_not_to_be_looked_for() -> None:
    assert PrivateWords(Record("job", "amp", serial="12")).remarks
    assert PrivateWords(Record("job", "amp", serial="A 1204/7")).blank("it is a1204-7.") == f"it is {BLANK}."


@given(st.one_of(st.sampled_from([EVIL, "1. a", "- a", "# a", "+ a", "> a", "    a", "a  ", "www.x.org"]), st.text()))
def test_what_a_person_wrote_stays_a_text_in_markdown(text: str) -> None:
    parts = (Part("t", (Words(text), Bullets((text,)), Words(text, "quoted"), Words(text, "heading"))),)
    shown = mistune.html(markdown_of(HowTo(text, text, text, parts))[0])
    assert isinstance(shown, str)
    tags = set(re.findall(r"</?([a-z0-9]+)", shown))
    assert tags <= {"h1", "h2", "h3", "p", "ul", "li", "blockquote", "strong", "br"}
    if text == EVIL:
        plain = re.sub(r"<[^>]+>", "", shown).replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
        assert plain.count(" ".join(EVIL.split())) == 7


MORE = """
name = "a first by name, second by need"
reason = "The lead of the new part."
edits = [{ replace = "C109", with = "1n" }]
"""


def test_a_mod_of_another_mod_s_part_comes_after_it_and_what_was_tried_stands_with_the_mod(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text(MORE, "utf-8")
    (tmp_path / "z.toml").write_text(MOD.format(name="z", reason="y"), "utf-8")
    record = begin_job(tmp_path / "job", "lesson-stage", [tmp_path / "a.toml", tmp_path / "z.toml"])
    choice = Choice(datetime.date(2031, 6, 1), "z or nothing", "z", "liked", "z: dull\nnothing: bright")
    found = howto_of(public_job(replace(record, choices=(choice,)), tmp_path / "job"))
    assert found.intro.startswith("2 mods, each with its reason, what it does")
    titles = [part.title for part in found.parts]
    assert [title for title in titles if title.startswith("Mod")] == ["Mod 1: z", f"Mod 2: {MORE.split(chr(34))[1]}"]
    assert "What else was tried" not in titles
    page = howto_html(found)
    assert page.index("Mod 1: z") < page.index("z (taken): dull") < page.index("nothing: bright") < page.index("Mod 2")


def test_nothing_that_people_wrote_runs_on_the_page() -> None:
    parts = (Part(EVIL, (Words(EVIL), Bullets((EVIL,)), Words(EVIL, "quoted"), Words(EVIL, "heading"))),)
    page = howto_html(HowTo(EVIL, EVIL, EVIL, parts))
    assert "<script" not in page
    assert page.count("&lt;/script&gt;") >= 8


def test_page_and_markdown_say_the_same(howto: HowTo) -> None:
    assert howto.intro.startswith("One mod: its reason, what it does")
    page = " ".join(read_pdf.texts(read_pdf.open_pdf(pdf_of(read_page(howto_html(howto))))))
    shown = mistune.create_markdown(plugins=["table"])(markdown_of(howto)[0])
    assert isinstance(shown, str)
    assert shown.count("<table>") == sum(isinstance(b, Grid) for part in howto.parts for b in part.blocks)
    said = set(re.findall(r"[A-Za-z]{4,}", re.sub(r"<[^>]+>", " ", shown)))
    assert len(said) > 150
    assert said - set(re.findall(r"[A-Za-z]{4,}", page)) <= {"quot", "amp"}


# Faults -------------------------------------------------------------------------------------------------------------


def whole(place: Path) -> str:
    """The text of a folder, once every picture that it shows was found to be there and whole."""
    text = (place / INDEX).read_text("utf-8")
    for name in re.findall(r"\]\((picture-[0-9a-f]+\.svg)\)", text):
        assert (place / name).read_text("utf-8").rstrip().endswith("</svg>")
    return text


def other(howto: HowTo) -> HowTo:
    """Another how-to, with another drawing."""
    parts = [
        replace(
            part, blocks=tuple(replace(b, drawing=b.drawing + "\n") if b.kind == "sheet" else b for b in part.blocks)
        )
        for part in howto.parts
    ]
    return replace(howto, title="another", parts=tuple(parts))


@pytest.mark.parametrize("failing", range(5))
def test_a_full_disk_leaves_the_old_one_as_it_was(
    failing: int, begun: Path, howto: HowTo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = tmp_path / "h.html"
    write_howto(howto, begun, page)
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    count, sync = 0, os.fsync

    def full(handle: int) -> None:
        nonlocal count
        count += 1
        if count > failing:
            raise OSError(errno.ENOSPC, "No space left on device")
        sync(handle)

    monkeypatch.setattr(files.os, "fsync", full)
    monkeypatch.setattr(files, "_sync_folder", lambda _: None)
    with pytest.raises(DescriptionError, match="No space left"):
        write_howto(other(howto), begun, page)
    after = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    if failing < 4:  # a trial, two pictures, the text, then the page
        assert after == before
    assert after[page] == before[page]
    whole(page.with_suffix(""))
    assert not list(tmp_path.rglob("*.part"))


def killed(howto: HowTo, folder: Path, page: Path, at: int) -> None:
    """Write in a process that is killed as it puts the file with this number in its place."""
    child, count, put = os.fork(), 0, os.replace
    if child:
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9
        return

    def replace_or_die(*paths: Any) -> None:
        nonlocal count
        count += 1
        if count == at:
            os._exit(9)
        put(*paths)

    files.os.replace = replace_or_die  # type: ignore[assignment]
    write_howto(howto, folder, page)
    os._exit(0)


@needs_fork
def test_a_killed_program_leaves_a_whole_one_and_the_next_tidies_up(begun: Path, howto: HowTo, tmp_path: Path) -> None:
    for at in (1, 2, 3, 4):  # two pictures are new, then the text, then the page
        page = tmp_path / str(at) / "h.html"
        place = page.with_suffix("")
        write_howto(howto, begun, page)
        old = whole(place)
        killed(other(howto), begun, page, at)
        assert (whole(place) == old) is (at < 4)
        write_howto(howto, begun, page)
        names = [path.name for path in place.iterdir()]
        assert len(names) == 1 + len(set(markdown_of(howto)[1]))
        assert not any(name.endswith(".part") for name in names)
        assert whole(place) == old


def test_files_of_others_stay(begun: Path, howto: HowTo, tmp_path: Path) -> None:
    place = tmp_path / "h"
    place.mkdir()
    (place / "mine.md").write_text("mine", "utf-8")
    (place / "picture-mine.svg").write_text("mine", "utf-8")
    write_howto(howto, begun, tmp_path / "h.html")
    assert (place / "mine.md").read_text("utf-8") == (place / "picture-mine.svg").read_text("utf-8") == "mine"
    (place / INDEX).write_text("mine", "utf-8")
    with pytest.raises(DescriptionError, match="was not made by ampsim"):
        write_howto(howto, begun, tmp_path / "h.html")
    assert (place / INDEX).read_text("utf-8") == "mine"
    shutil.rmtree(place)
    place.write_text("a file", "utf-8")
    with pytest.raises(DescriptionError, match="no folder of its own"):
        write_howto(howto, begun, tmp_path / "h.html")
    assert place.read_text("utf-8") == "a file"
