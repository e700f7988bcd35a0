"""The page to hand over, as a file: its numbers, its sentences, its positions, and texts that mean harm."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim.base.caution import CAUTION
from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.job.page.choices import MOST_POSITIONS, choose
from ampsim.job.page.silence import leave_out_silent
from ampsim.job.page.write import write_page
from ampsim.job.papers.owner_page import owner_page
from ampsim.job.record.beginning import begin_job
from ampsim.job.record.frozen import open_audition
from ampsim.library.loader import load_amp, load_audition, load_mod, parse_mod
from ampsim.measures.sweep import gain_at
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate
from ampsim.studies.audition_request import Audition, default_audition
from ampsim.studies.brightness.reasons import explain_brightness
from ampsim.studies.brightness.sentences import brightness_sentences
from tests.browser.page_figures import job_of_33

EVIL = "</script><script>alert(\"1\")</script>' onload='x' &amp; $title \u2028"


class Reader(HTMLParser):
    """What a browser would see: elements with attributes, and text outside scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.words, self.facts, self._inside = "", "", ""
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
            self.words += data


def read(path: Path) -> tuple[Reader, dict[str, Any]]:
    found = Reader(path.read_text("utf-8"))
    return found, json.loads(found.facts)


@pytest.fixture(scope="module")
def of_33(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_page(job_of_33(), tmp_path_factory.mktemp("page") / "page.html")


def small_job(*mods: str, **changed: Any) -> Audition:
    stock = load_amp("workshop-a")
    return replace(default_audition(stock, apply_mods(stock, *map(load_mod, mods))), **changed)


def test_33_positions_stay_small(of_33: Path) -> None:
    assert len(read(of_33)[1]["readings"]) == 33
    assert of_33.stat().st_size <= 500_000


def test_the_numbers_are_those_of_a_simulation(of_33: Path) -> None:
    job, facts = job_of_33(), read(of_33)[1]
    asked = [{"cathode": name, "depth": step / 10} for name in ("as drawn", "6k8", "2k7 and 1u") for step in range(11)]
    gains = gain_at(simulate([job.stock, job.modded], positions=asked, nodes=["speaker"]), job.frequencies)
    told = np.array([
        [[float(cell.replace("\u2212", "-")) for cell in row] for row in reading["rows"]]
        for reading in facts["readings"]
    ])  # fmt: skip
    levels = gains.transpose("position", "frequency", "variant").values
    assert told[..., :2] == pytest.approx(levels, abs=0.051)
    assert told[..., 2] == pytest.approx(levels[..., 1] - levels[..., 0], abs=0.051)
    assert facts["readings"][12]["name"] == "cathode 6k8, depth 1"


def test_the_lines_are_drawn_where_the_numbers_say(of_33: Path) -> None:
    """One straight law from decibels to height holds for every line and position on the same axes."""
    facts = read(of_33)[1]
    frequencies = np.log(job_of_33().frequencies)
    first = np.array(facts["lines"][0].split(), float).reshape(-1, 2)[:, 0]
    wanted = np.interp(frequencies, [np.log(20.0), np.log(20e3)], [first[0], first[-1]])
    for column, line in ((0, 0), (1, 1), (2, 2)):
        heights, levels = [], []
        for reading, places in zip(facts["readings"], facts["places"], strict=True):
            points = np.array(facts["lines"][places[line]].split(), float).reshape(-1, 2)
            heights += list(np.interp(wanted, *points.T))
            levels += [float(row[column].replace("\u2212", "-")) for row in reading["rows"]]
        slope, offset = np.polyfit(levels, heights, 1)
        assert slope < 0.0
        # Half a printed digit and the curve between two points of the line.
        assert np.abs(np.polyval((slope, offset), levels) - heights).max() < 0.12 * abs(slope) + 0.15


def test_the_picture_begins_where_the_amp_does(of_33: Path, tmp_path: Path) -> None:
    stock = load_amp("rehearsal-room")
    job = default_audition(stock, apply_mods(stock, parse_mod({"name": "m", "reason": "r", "edits": [{"lift": "C3"}]})))
    assert "Gain from the guitar to the speaker" in read(of_33)[0].words
    assert "Gain from the input to the speaker" in read(write_page(job, tmp_path / "page.html"))[0].words


def test_it_opens_where_the_job_compares(of_33: Path) -> None:
    found = read(of_33)[0]
    chosen = [each for tag, each in found.elements if tag == "input" and "checked" in each]
    slider = next(each for tag, each in found.elements if tag == "input" and each["type"] == "range")
    assert [each["value"] for each in chosen] == ["2"]
    assert (slider["value"], slider["max"], slider["aria-valuetext"]) == ("10", "10", "10 of 10")
    assert "cathode 2k7 and 1u, depth 10" in found.words


def test_the_sentences_are_those_of_the_analysis(tmp_path: Path) -> None:
    job = load_audition("bright-cathode-depth")
    job = replace(
        job, modded=apply_mods(job.stock, load_mod("bright-switch")), compare_at={"gain": 0.3, "bright": "120p"}
    )
    found = read(write_page(job, tmp_path / "page.html"))[0]
    for place in ("120p", "390p"):
        answer = explain_brightness(job.stock, job.modded, {"gain": 0.3, "bright": place}, "gain")
        for sentence in brightness_sentences(answer, 3000.0, "this position"):
            assert sentence in found.words
    assert "Turn gain up from 3 to" in found.words
    assert found.words.count("Nothing changes here") == 1
    assert found.words.count("Computed for soft, clean playing") == 1
    assert CAUTION in found.words
    assert load_mod("bright-switch").reason in found.words


@pytest.mark.parametrize("controls", [["master"], ["bright", "master", "gain"]])
def test_a_silent_end_stop_is_no_position_and_that_is_said(controls: list[str], tmp_path: Path) -> None:
    job = small_job("bright-switch")
    found, facts = read(write_page(job, tmp_path / "page.html", controls))
    texts = {each["kind"] + str(n): each["texts"] for n, each in enumerate(facts["choices"])}
    knobs = [each for kind, each in texts.items() if kind.startswith("knob")]
    assert knobs
    assert all(each[0] != "0" and each[-1] == "10" for each in knobs)
    # Every position that is left is there once, by its name, with numbers of its own, and all of them are heard.
    assert len(facts["readings"]) == np.prod([len(each) for each in texts.values()])
    assert len({each["name"] for each in facts["readings"]}) == len(facts["readings"])
    offered, _, words = leave_out_silent(choose(job, controls), np.zeros(len(choose(job, controls).settings()), bool))
    assert (offered, words) == (choose(job, controls), "")
    levels = np.array([[float(row[1].replace("\u2212", "-")) for row in each["rows"]] for each in facts["readings"]])
    assert levels.max(axis=1).min() > levels.max() - 60.0
    assert "Left out is " in found.words
    assert "master at 0" in found.words
    at = next(each for each in facts["readings"] if each["name"].endswith("master 10") or "master 10," in each["name"])
    setting = dict(zip((each.name for each in offered.choices), _values(offered, at["name"]), strict=True))
    gains = gain_at(simulate(job.modded, positions=[offered.fixed | setting]), job.frequencies)
    told = [float(row[1].replace("\u2212", "-")) for row in at["rows"]]
    assert told == pytest.approx(gains.values[0, 0], abs=0.051)


def _values(offered: Any, name: str) -> list[float | str]:
    """The setting that a position is named for."""
    words = dict(each.rsplit(" ", 1) for each in name.split(", "))
    return [words[each.name] if each.kind == "switch" else float(words[each.name]) / 10.0 for each in offered.choices]


def test_where_everything_is_silent_the_page_is_whole() -> None:
    job = small_job("bright-switch")
    offered = choose(job, ["bright", "master"])
    left, kept, words = leave_out_silent(offered, np.ones(len(offered.settings()), bool))
    assert [len(each.values) for each in left.choices] == [1, 1]
    assert kept == [offered.start()]
    assert left.start() == 0
    assert "bright at 120p" in words


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


@pytest.mark.parametrize(
    ("mods", "steps"),
    [
        (["depth"], [11]),
        (["cathode-switch"], [3]),
        (["bright-switch", "cathode-switch", "depth"], [3, 3, 6]),
        (["larger-plate-load"], []),
    ],
)
def test_knobs_get_the_steps_there_is_room_for(mods: list[str], steps: list[int]) -> None:
    offered = choose(small_job(*mods))
    assert [len(each.values) for each in offered.choices] == steps
    assert len(offered.settings()) == int(np.prod(steps)) <= MOST_POSITIONS


def test_named_controls_and_the_place_of_the_job_among_them() -> None:
    offered = choose(small_job("depth", compare_at={"gain": 0.33, "depth": 0.5}), ["depth", "gain", "depth"])
    depth, gain = offered.choices
    assert depth.texts == ("0", "2", "4", "5", "6", "8", "10")
    assert gain.texts == ("0", "2", "3.3", "4", "6", "8", "10")
    assert offered.settings()[offered.start()] == offered.fixed | {"depth": 0.5, "gain": 0.33}
    assert len(offered.settings()) == 49


@pytest.mark.parametrize(
    ("named", "said"),
    [(["depht"], "nearest: depth"), (["gain", "bass", "depth"], "name fewer")],
)
def test_controls_that_cannot_be_offered_are_refused(named: list[str], said: str) -> None:
    with pytest.raises(DescriptionError, match=said):
        choose(small_job("depth"), named)


def test_a_mod_without_controls_gives_a_page_without_controls(tmp_path: Path) -> None:
    found, facts = read(write_page(small_job("larger-plate-load"), tmp_path / "page.html"))
    assert not [tag for tag, _ in found.elements if tag in ("form", "input")]
    assert len(facts["readings"]) == 1
    assert "At equal loudness this position is" in found.words
    assert "The controls stand at guitar volume 10" in found.words


def test_a_position_without_signal_is_said_and_drawn_off_the_axes(tmp_path: Path) -> None:
    stock = load_amp("lesson-stage")
    mute = {"open": [], "shut": [{"bridge": ["R5.1", "ground"]}]}
    mod = parse_mod({
        "name": "mute", "reason": "silence",
        "switches": [{"designator": "S9", "control": "mute", "drawn": "open", "positions": mute}],
    })  # fmt: skip
    job = replace(default_audition(stock, apply_mods(stock, mod)), listen_at="R5.1")
    found, facts = read(write_page(job, tmp_path / "page.html"))
    assert facts["readings"][1]["rows"][0][1:] == ["no signal", "no signal"]
    assert "No signal reaches the speaker here" in found.words
    stock, modded, _ = (facts["lines"][each].split()[1::2] for each in facts["places"][1])
    assert len(set(modded)) == 1
    assert float(modded[0]) > max(map(float, stock)) + 50.0
    assert "Nothing changes here" in found.words


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
    plain = read(write_page(small_job("bright-switch", about="x"), tmp_path / "plain.html"))[0]
    path = write_page(hostile_job(), tmp_path / "page.html")
    found, facts = read(path)
    assert [tag for tag, _ in found.elements] == [tag for tag, _ in plain.elements]
    assert not [each for _, each in found.elements for name in each if name.startswith("on")]
    assert found.words.count(EVIL) >= 8
    assert facts["readings"][1]["name"] == f"{EVIL} 120p {EVIL}"
    assert path.read_text("utf-8").count("</script") == 2


def test_nothing_is_asked_of_a_network(of_33: Path) -> None:
    text = of_33.read_text("utf-8")
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
    path = write_page(small_job("larger-plate-load"), progress=lambda *each: done.append(each))
    assert path == Path("larger-plate-load.html")
    assert path.is_file()
    assert done == [(1, 1, "positions")]


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
