"""The page to hand over, as a file: its numbers, its sentences, its positions, and texts that mean harm."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.caution import CAUTION
from ampsim.base.errors import DescriptionError
from ampsim.base.wording import in_hertz, in_volts, plain
from ampsim.circuit.mods import apply_mods
from ampsim.job.page.answers import NAMES, headline, say, tone_answers
from ampsim.job.page.breaking_up import reached_words, take_breaking_up
from ampsim.job.page.choices import choose
from ampsim.job.page.hearing import NOTHING, Heard, brightness_words, hear, rest_words
from ampsim.job.page.played import take_played
from ampsim.job.page.tables import take_tables
from ampsim.job.page.write import write_page
from ampsim.job.papers.owner_page import owner_page
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.frozen import open_audition
from ampsim.library.loader import load_amp, load_audition, load_mod, parse_mod
from ampsim.measures.sweep import gain_at, gain_db
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from ampsim.studies.audition_request import Audition, default_audition
from ampsim.studies.brightness.reasons import explain_brightness
from ampsim.studies.brightness.sentences import knob_sentence, limits_sentence
from ampsim.studies.headroom.measures import power_table
from ampsim.studies.headroom.simulate import headroom
from tests.browser.page_figures import job_of_two_mods

EVIL = "</script><script>alert(\"1\")</script>' onload='x' &amp; $title \u2028"


class Reader(HTMLParser):
    """What a browser would see: elements with attributes, and text outside scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words, self.whole, self.facts, self._inside = "", "", "", ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        self._inside = "facts" if dict(attrs).get("id") == "facts" else tag

    def handle_endtag(self, tag: str) -> None:
        self._inside = ""

    def handle_data(self, data: str) -> None:
        if self._inside == "facts":
            self.facts += data
        elif self._inside not in ("script", "style"):
            self.whole += data
            self.words = self.whole.replace("\u00a0", " ")


def read(path: Path) -> tuple[Reader, dict[str, Any]]:
    found = Reader(path.read_text("utf-8"))
    return found, json.loads(found.facts)


@pytest.fixture(scope="module")
def of_two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_page(job_of_two_mods(), tmp_path_factory.mktemp("page") / "page.html")


def small_job(*mods: str, **changed: Any) -> Audition:
    stock = load_amp("workshop-a")
    return replace(default_audition(stock, apply_mods(stock, *map(load_mod, mods))), **changed)


def test_the_table_that_opens_is_that_of_a_simulation(of_two: Path) -> None:
    job, found = job_of_two_mods(), read(of_two)[0]
    gains = gain_at(simulate([job.stock, job.modded], positions=[job.compare_at]), job.frequencies)
    for at, (stock, modded) in zip(job.frequencies, gains.values[:, 0].T, strict=True):
        cells = [f"{stock:.1f}", f"{modded:.1f}", f"{modded - stock:+.1f}"]
        assert "".join([in_hertz(at), *cells]).replace("-", "\u2212") in found.words


def test_it_stays_small(of_two: Path, tmp_path: Path) -> None:
    assert of_two.stat().st_size <= 300_000
    assert write_page(load_audition("bright-cathode-depth"), tmp_path / "page.html").stat().st_size <= 700_000


def test_what_moves_the_bias_turns_in_steps_and_all_else_smoothly(tmp_path: Path) -> None:
    stock = load_amp("ballroom")
    own = next(name for name, each in stock.controls.items() if each.kind == "knob" and name != "bias")
    mod = parse_mod({"name": "m", "reason": "r", "parts": {"C77": "10n"},
                     "edits": [{"fit": "C77", "between": ["speaker", "ground"]}]})  # fmt: skip
    job = default_audition(stock, apply_mods(stock, mod))
    tables = take_tables(job, choose(job, ["bias", own]))
    assert [each.name for each in tables.offered.smooth] == [own]
    (bias,) = tables.offered.stepped
    assert bias.values[0] == 0.0
    assert bias.values[-1] == 1.0
    assert {bias.start, bias.drawn} <= set(bias.values)
    at = {**tables.offered.start(), own: 0.37, "bias": bias.values[1]}
    direct = gain_db(simulate([job.stock, job.modded], positions=[at]), job.listen_at)
    assert np.abs(np.array(tables.gains(at)) - direct.values[:, 0]).max() <= 0.01


def test_there_is_room_for_what_is_wanted_and_the_rest_gives_way(monkeypatch: pytest.MonkeyPatch) -> None:
    job = small_job("depth", "bright-switch")
    every = [each.name for each in take_tables(job, choose(job)).offered.choices]
    assert every[:2] == ["bright", "depth"]
    assert "gain" in every
    monkeypatch.setattr("ampsim.job.page.tables.MOST_BYTES", 70_000)
    assert [each.name for each in take_tables(job, choose(job)).offered.choices] == ["bright", "depth"]
    with pytest.raises(DescriptionError, match="name fewer"):
        take_tables(job, choose(job, ["bright", "depth", "gain"]))


def test_the_picture_begins_where_the_amp_does(of_two: Path, tmp_path: Path) -> None:
    stock = load_amp("rehearsal-room")
    job = default_audition(stock, apply_mods(stock, parse_mod({"name": "m", "reason": "r", "edits": [{"lift": "C3"}]})))
    assert "Gain from the guitar to the speaker" in read(of_two)[0].words
    assert "Gain from the input to the speaker" in read(write_page(job, tmp_path / "page.html"))[0].words


def test_a_page_of_an_amp_with_a_reverb_says_how_its_echoes_are_counted(of_two: Path, tmp_path: Path) -> None:
    stock = load_amp("ballroom")
    job = default_audition(stock, apply_mods(stock, parse_mod({"name": "m", "reason": "r", "edits": [{"lift": "C3"}]})))
    assert "counted as if they came at once" in read(write_page(job, tmp_path / "page.html", []))[0].words
    assert "counted as if they came at once" not in read(of_two)[0].words


def test_when_it_breaks_up_is_what_playing_both_amps_where_it_opens_gives(of_two: Path) -> None:
    job, (page, _) = job_of_two_mods(), read(of_two)
    begins = choose(job).start()
    levels = power_table(headroom([job.stock, job.modded], [begins])).set_index("variant")
    assert "Played with cathode 2k7 and 1u; the knobs stay where this page opens, depth 10, presence 5." in page.words
    for percent in (5, 10):
        stock, modded = (levels.loc[amp.variant, f"{percent} % THD at [V]"] for amp in (job.stock, job.modded))
        assert reached_words(percent, stock, modded) in page.words
        assert f"{percent} % at {in_volts(modded)}" in page.words  # to who cannot see the picture
    ids = [found["id"] for _, found in page.elements if "id" in found]
    assert len(ids) == len(set(ids))


def test_of_many_positions_it_breaks_up_where_the_page_opens(monkeypatch: pytest.MonkeyPatch) -> None:
    job = job_of_two_mods()
    monkeypatch.setattr("ampsim.job.page.breaking_up.MOST_SHOWN", 2)
    found = take_breaking_up(job, choose(job))
    assert "where this page opens, with cathode 2k7 and 1u, depth 10, presence 5; the picture does not follow" in plain(
        found.words
    )
    assert len(found.facts["shown"]) == 1
    assert set(found.facts["at"]) == {0}


def test_no_line_of_the_page_ends_before_a_unit_or_within_a_span(of_two: Path) -> None:
    page = Reader(re.sub("<svg.*?</svg>", "", of_two.read_text("utf-8"), flags=re.DOTALL))
    assert "80\u00a0to\u00a0200\u00a0Hz" in page.whole
    body = page.whole[page.whole.index("What you will hear") :]
    assert re.findall(r"\d (?:dB|Hz|kHz|%|W|acum|mV)\b|\d (?:%|to \d)|\bto \d", body) == []


@pytest.mark.parametrize(("stock", "modded", "words"), [
    (0.1, 0.05, "at 50 % of the picking strength that stock takes"),
    (0.1, 0.15, "at 1.5 times the picking strength of stock"),
    (0.1, 0.103, "where stock does"), (math.inf, math.inf, "up to the hardest stroke, as with stock"),
    (0.1, math.inf, "stays below 5 % up to the hardest stroke, unlike stock"),
    (math.inf, 0.1, "with stock it is below it up to the hardest stroke"),
    (0.0, 0.0, "However softly it is played, distortion is above 5 %, as with stock"),
    (0.1, 0.0, "However softly it is played, distortion is above 5 %, unlike stock"),
])  # fmt: skip
def test_words_of_where_distortion_reaches_a_mark(stock: float, modded: float, words: str) -> None:
    assert words in reached_words(5.0, stock, modded)


def test_it_opens_where_the_job_compares(of_two: Path) -> None:
    found = read(of_two)[0]
    chosen = [each for tag, each in found.elements if tag == "input" and "checked" in each]
    slider = next(each for tag, each in found.elements if tag == "input" and each.get("id") == "slider1")
    assert [each["value"] for each in chosen] == ["2"]
    assert (slider["value"], slider["max"], slider["aria-valuetext"]) == ("10", "10", "10 of 10")
    assert "cathode 2k7 and 1u, depth 10" in found.words


def test_the_sentences_begin_in_plain_words(tmp_path: Path) -> None:
    job = load_audition("bright-cathode-depth")
    job = replace(
        job, modded=apply_mods(job.stock, load_mod("bright-switch")), compare_at={"gain": 0.3, "bright": "120p"}
    )
    found = read(write_page(job, tmp_path / "page.html"))[0]
    tables = take_tables(job, choose(job))
    heard = hear(job, tables, tables.offered.start(), 100.0)
    answer = explain_brightness(job.stock, job.modded, job.compare_at, "gain")
    assert heard.acum == pytest.approx(answer["sharpness"].values, abs=2e-3)
    assert -heard.louder == pytest.approx(float(answer["offset"]), abs=0.01)
    said = say(tables, take_played(job, tables.offered), tables.offered.start(), heard)
    assert said.headline.startswith("Brighter")
    assert not re.search(r"\d", said.headline)
    for each in said.answers:
        assert re.match(r"(?:[^\W\d]+,? ){2}", each.words), each.words
    told = [said.headline, *(each.words for each in said.answers), knob_sentence(answer)]
    for sentence in (*told, limits_sentence(answer.attrs)):
        assert sentence in found.words
    assert {"Breaking up", "Brightness", "Hiss"} <= {each.name for each in said.answers} <= set(NAMES)
    assert "Turn gain up from 3 to" in found.words
    assert found.words.count("Computed for soft, clean playing") == 1
    assert not [each for each in job.modded.part_by_designator if re.search(rf"\b{each}\b", found.words)]
    assert CAUTION in found.words
    assert load_mod("bright-switch").reason in found.words


def test_shares_add_up_and_name_what_is_not_on_the_page() -> None:
    job = small_job(
        "bright-switch", "depth", "larger-plate-load", compare_at={"gain": 0.3, "bright": "390p", "depth": 1.0}
    )
    tables = take_tables(job, choose(job, ["bright"]))
    assert rest_words(job, tables.offered) == "depth at 10 and larger plate load"
    heard = hear(job, tables, tables.offered.start(), 100.0)
    assert sum(share for _, share in heard.shares) == pytest.approx(heard.acum[1] - heard.acum[0], abs=1e-9)
    told = brightness_words(heard).partition(". ")[2]
    parts = [float(each.replace("\u2212", "-")) for each in re.findall(r"[+\u2212][\d.]+\d", told)]
    assert parts[0] == heard.sharper
    assert sum(parts[1:]) == pytest.approx(parts[0], abs=1e-9)


@given(st.floats(-0.5, 0.5), st.lists(st.floats(-0.3, 0.3), min_size=1, max_size=5))
def test_rounded_shares_always_add_up(sharper: float, shares: list[float]) -> None:
    size = round(sharper, 2)
    scaled = [(f"part {chr(97 + n)}", each + (sharper - sum(shares)) / len(shares)) for n, each in enumerate(shares)]
    heard = Heard("heard", (1.0, 1.0 + size), shares=tuple(scaled))
    if abs(heard.sharper) < 0.08:
        return
    told = brightness_words(heard).partition(". ")[2]
    parts = [float(each.replace("\u2212", "-")) for each in re.findall(r"[+\u2212][\d.]+\d", told)]
    assert told.startswith("All of it comes from part") or sum(parts[1:]) == pytest.approx(parts[0], abs=1e-9)


def test_what_is_not_noticed_is_said_to_be_inaudible() -> None:
    assert of_tone(Heard("heard", (1.5, 1.53), 0.4, -0.6, 0.7, 0.5)).startswith("Makes no audible difference")
    assert of_tone(Heard("heard", (1.5, 1.53), 0.4, -0.6, 1.7, 0.5)).startswith("A little different in tone")
    assert of_tone(Heard("heard", (1.5, 1.3), -2.0, 1.5, 3.0, -1.2)) == (
        "Duller, thinner in the bass, stronger in the middle and softer than stock."
    )


def of_tone(heard: Heard) -> str:
    return headline(heard, tone_answers(heard), True)


def test_the_heading_is_what_the_job_is_called(tmp_path: Path) -> None:
    mod = tmp_path / "own.toml"
    mod.write_text('name = "own"\nreason = "less"\n[[edits]]\nreplace = "R4"\nwith = "2k2"\n', "utf-8")
    heads = []
    for folder, name in (("shelf-7_final2", ""), ("shelf-8", "Less of it")):
        record = begin_job(tmp_path / folder, "lesson-stage", [mod], name=name, owner="A. Owner", words="less, please")
        page = owner_page(open_audition(record, tmp_path / folder), record, tmp_path / f"{folder}.html")
        text = page.read_text("utf-8")
        heads.append(re.search(r"<h1>(.*?)</h1>", text)[1])
        assert folder not in text
        assert "less, please" in text
    assert heads == [f"{load_amp('lesson-stage').name}, for A. Owner", "Less of it, for A. Owner"]


def test_named_controls_and_the_place_of_the_job_among_them() -> None:
    offered = choose(small_job("depth", compare_at={"gain": 0.33, "depth": 0.5}), ["depth", "gain", "depth"])
    assert [(each.name, each.start) for each in offered.choices] == [("depth", 0.5), ("gain", 0.33)]
    depth, gain = offered.in_steps(["depth", "gain"]).choices
    assert depth.texts == ("0", "2", "4", "5", "6", "8", "10")
    assert gain.texts == ("0", "2", "3.3", "4", "5", "6", "8", "10")


@pytest.mark.parametrize(
    ("named", "said"),
    [(["depht"], "nearest: depth")],
)
def test_controls_that_cannot_be_offered_are_refused(named: list[str], said: str) -> None:
    with pytest.raises(DescriptionError, match=said):
        choose(small_job("depth"), named)


def test_a_mod_without_controls_gives_a_page_without_controls(tmp_path: Path) -> None:
    found, facts = read(write_page(small_job("larger-plate-load"), tmp_path / "page.html", []))
    assert not [tag for tag, _ in found.elements if tag in ("form", "input")]
    assert (facts["choices"], len(facts["tables"])) == ([], 2)
    assert "As bright as stock" in found.words or "bout as bright as stock" in found.words
    assert "The controls stand at guitar volume 10" in found.words


def test_a_position_without_signal_is_said_and_drawn_off_the_axes(tmp_path: Path) -> None:
    stock = load_amp("lesson-stage")
    mute = {"open": [], "shut": [{"bridge": ["R5.1", "ground"]}]}
    mod = parse_mod({
        "name": "mute", "reason": "silence",
        "switches": [{"designator": "S9", "control": "mute", "drawn": "open", "positions": mute}],
    })  # fmt: skip
    job = replace(default_audition(stock, apply_mods(stock, mod)), listen_at="R5.1")
    found, _ = read(write_page(replace(job, compare_at={"mute": "shut"}), tmp_path / "page.html"))
    assert "No signal reaches the place listened at" in found.words
    assert "no signal" in found.words
    tables = take_tables(job, choose(job))
    assert (
        tables.gains({**tables.offered.start(), "mute": "shut"})[1].max()
        < tables.gains(tables.offered.start())[0].min() - 50.0
    )
    assert of_tone(hear(job, tables, {**tables.offered.start(), "mute": "open"}, 40.0)) == NOTHING


def hostile_job() -> Audition:
    job = small_job("bright-switch")
    mod = job.modded.mods[0]
    switch = replace(mod.switches[0], control=EVIL, positions=tuple(
        (f"{label} {EVIL}", edits) for label, edits in mod.switches[0].positions
    ), drawn=f"open {EVIL}")  # fmt: skip
    stock = replace(job.stock, name=EVIL)
    modded = replace(stock, mods=(replace(mod, name=EVIL, reason=EVIL, switches=(switch,)),))
    at = {EVIL: f"120p {EVIL}"}
    return replace(job, name=EVIL, about=EVIL, stock=stock, modded=modded, compare_at=at)


def test_texts_that_mean_harm_stay_texts(tmp_path: Path) -> None:
    plain = read(
        write_page(small_job("bright-switch", about="x", compare_at={"bright": "120p"}), tmp_path / "plain.html")
    )[0]
    path = write_page(hostile_job(), tmp_path / "page.html")
    found, facts = read(path)
    assert [tag for tag, _ in found.elements] == [tag for tag, _ in plain.elements]
    assert not [each for _, each in found.elements for name in each if name.startswith("on")]
    assert found.words.count(EVIL) >= 8
    assert facts["choices"][0]["name"] == EVIL
    assert path.read_text("utf-8").count("</script") == 3


def test_nothing_is_asked_of_a_network(of_two: Path) -> None:
    text = of_two.read_text("utf-8")
    found = Reader(text)
    for tag, each in found.elements:
        for name in ("src", "href", "xlink:href", "action", "data", "srcset"):
            assert (each.get(name) or "#").startswith(("#", "data:,")), (tag, each)
    assert not re.search(r"@import|url\((?!#)|fetch\(|XMLHttp|WebSocket|sendBeacon", text)
    policy = next(each["content"] for tag, each in found.elements if "http-equiv" in each)
    assert (policy or "").startswith("default-src 'none'; script-src 'sha256-")


def test_the_same_job_gives_the_same_file(tmp_path: Path) -> None:
    job = small_job("cathode-switch")
    one, other = (write_page(job, tmp_path / name).read_bytes() for name in ("one.html", "other.html"))
    assert one == other
    assert not re.search(rb"20\d\d-\d\d-\d\d", one)
    assert str(tmp_path).encode() not in one


def test_without_a_path_the_job_gives_the_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done: list[tuple[int, int, str]] = []
    path = write_page(small_job("larger-plate-load"), controls=[], progress=lambda *each: done.append(each))
    assert path == Path("larger-plate-load.html")
    assert path.is_file()
    assert done == [(1, 2, "tables"), (2, 2, "tables")]


def test_a_file_that_cannot_be_written_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = small_job("larger-plate-load")
    (tmp_path / "file").write_text("", "utf-8")
    with pytest.raises(DescriptionError, match="is a folder"):
        write_page(job, tmp_path)
    with pytest.raises(DescriptionError, match="cannot be made: "):
        write_page(job, tmp_path / "file" / "page.html")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    (tmp_path / "page.html").write_text("before", "utf-8")
    monkeypatch.setattr("ampsim.job.page.write.os.replace", full)
    with pytest.raises(DescriptionError, match="No space left"):
        write_page(job, tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text("utf-8") == "before"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["file", "page.html"]


def test_a_frequency_outside_the_sweep_is_refused(tmp_path: Path) -> None:
    assert FrequencySweep().grid()[-1] == pytest.approx(20e3)
    with pytest.raises(DescriptionError, match="outside the sweep"):
        write_page(small_job("larger-plate-load", frequencies=(1e6,)), tmp_path / "page.html")
