"""The page to hand over in Chromium: keys, pictures, sizes of screens, paper."""

from __future__ import annotations

import json
import random
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from ampsim.base.wording import one_line
from ampsim.job.page.answers import say
from ampsim.job.page.choices import choose
from ampsim.job.page.hearing import hear
from ampsim.job.page.played import take_played
from ampsim.job.page.tables import take_tables
from ampsim.job.page.wished import Wished, grant
from ampsim.job.page.write import write_page
from ampsim.library.loader import load_audition, load_wishes
from ampsim.measures.sweep import gain_at, gain_db
from ampsim.simulation.response import simulate
from tests.browser.contrast import faint_words
from tests.browser.page_figures import job_of_two_mods, measured, missing
from tests.job.test_page import hostile_job, small_job

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"missing: {', '.join(missing())}")
WIDE, NARROW = ".picture.wide svg", ".picture.narrow svg"
SCREENS = [(320, 640), (390, 844), (768, 1024), (1024, 768), (1440, 900)]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_page(load_audition("bright-cathode-depth"), tmp_path_factory.mktemp("page") / "page.html")


def opened(chromium: Any, path: Path, size: tuple[int, int] = (1024, 768), **more: Any) -> Any:
    page = chromium.new_page(viewport={"width": size[0], "height": size[1]}, **more)
    page.problems = []
    page.on("pageerror", lambda problem: page.problems.append(str(problem)))
    page.on("console", lambda line: page.problems.append(line.text))
    page.on("dialog", lambda dialog: (page.problems.append(dialog.message), dialog.dismiss()))
    page.goto(path.as_uri())
    return page


def facts_of(path: Path) -> dict[str, Any]:
    return dict(json.loads(re.findall(r'id="facts">(.*?)</script>', path.read_text("utf-8"), re.DOTALL)[0]))


def test_keys_move_picture_numbers_and_words_together(chromium: Any, demo: Path) -> None:
    page, job = opened(chromium, demo), load_audition("bright-cathode-depth")
    before = page.locator("#modded-0 path").get_attribute("d")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('fieldset').querySelector('legend').textContent") == "bright"
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowLeft")
    name = "bright 390p, cathode 6k8, depth 6.9, gain 3, presence 5"
    assert page.locator("p [data-now]").inner_text() == name
    at = job.compare_at | {"bright": "390p", "depth": 0.69}
    gains = gain_at(simulate([job.stock, job.modded], positions=[at]), job.frequencies).values[:, 0]
    cells = [[float(each.replace("\u2212", "-")) for each in row.split("\t")[1:]]
             for row in page.locator("tbody").inner_text().splitlines()]  # fmt: skip
    assert np.array(cells) == pytest.approx(np.column_stack([*gains, gains[1] - gains[0]]), abs=0.061)
    page.get_by_role("status").get_by_text(name).wait_for()
    assert page.get_by_role("status").inner_text().startswith(f"{name}: Brighter")
    assert page.locator("figure .wide desc").text_content() in page.get_by_role("status").inner_text()
    assert page.get_by_role("slider", name="depth").get_attribute("aria-valuetext") == "6.9 of 10"
    assert page.locator("#modded-0 path").get_attribute("d") != before
    assert page.problems == []
    page.close()


def random_settings(count: int, seed: int) -> list[dict[str, Any]]:
    """Places of every control of the demo job's page, ends among them."""
    draw = random.Random(seed)
    ends = [0.0, 1.0]
    return [
        {
            "bright": draw.choice(["open", "120p", "390p"]),
            "cathode": draw.choice(["as drawn", "6k8", "2k7 and 1u"]),
            **{name: draw.choice([*ends, draw.random(), draw.random()]) for name in ("depth", "gain", "presence")},
        }
        for _ in range(count)
    ]


def test_at_200_random_positions_the_page_agrees_with_a_simulation(chromium: Any, demo: Path) -> None:
    page, job = opened(chromium, demo), load_audition("bright-cathode-depth")
    settings = random_settings(200, 18)
    assert {each["name"] for each in facts_of(demo)["choices"]} == set(settings[0])
    found = page.evaluate("(all) => all.map((each) => ampPage.gainsAt(each).map((gain) => [...gain]))", settings)
    response = simulate(
        [job.stock, job.modded], positions=[job.compare_at | each for each in settings], nodes=["speaker"]
    )
    levels = gain_db(response, "speaker").transpose("position", "variant", "frequency").values
    assert np.abs(np.array(found) - levels).max() <= 0.01
    page.close()


def test_at_random_positions_the_page_says_what_python_says(chromium: Any, demo: Path) -> None:
    page, job = opened(chromium, demo), load_audition("bright-cathode-depth")
    tables = take_tables(job, choose(job))
    settings = [each for each in random_settings(40, 7) if each["gain"] > 0.0][:7]
    loudest = facts_of(demo)["limits"]["loudest"]
    played = take_played(job, tables.offered)
    said = page.evaluate("(all) => all.map((each) => [ampPage.hear(each), ampPage.say(each)])", settings)
    heads, broken = set(), 0
    for setting, (numbers, there) in zip(settings, said, strict=True):
        heard = hear(job, tables, setting, loudest)
        here = say(tables, played, setting, heard)
        assert numbers["state"] == heard.state
        assert there["headline"] == here.headline
        assert [each["name"] for each in there["answers"]] == [each.name for each in here.answers]
        for one, other in zip(there["answers"], here.answers, strict=True):
            assert _worded(one["words"]) == _worded(other.words)
            assert one["size"] == pytest.approx(other.size, abs=0.05)
        broken += any(each.name == "Breaking up" and each.size is not None for each in here.answers)
        if heard.state == "heard":
            assert numbers["acum"] == pytest.approx(heard.acum, abs=2e-3)
            for name in ("bass", "middle", "most", "louder"):
                assert numbers[name] == pytest.approx(getattr(heard, name), abs=6e-3)
            assert dict(numbers["shares"]) == pytest.approx(dict(heard.shares), abs=4e-3)
        heads.add(here.headline)
    assert len(heads) >= 3
    assert broken >= 3
    page.close()


def test_when_it_breaks_up_follows_the_switches(chromium: Any, demo: Path, tmp_path: Path) -> None:
    """What stands there after switching is what a page says that opens there."""
    job, page = load_audition("bright-cathode-depth"), opened(chromium, demo)
    there = replace(job, compare_at=job.compare_at | {"bright": "open", "cathode": "2k7 and 1u"})
    fresh = opened(chromium, write_page(there, tmp_path / "there.html"), java_script_enabled=False)
    opens = _breaking(page)
    page.get_by_label("open").check()
    page.get_by_label("2k7 and 1u").check()
    moved, drawn = _breaking(page), _breaking(fresh)
    assert moved != opens
    assert moved == drawn
    assert "with bright open, cathode 2k7 and 1u; the knobs stay where this page opens" in moved[0]
    page.get_by_role("slider", name="gain").fill("9")
    assert _breaking(page) == moved
    page.emulate_media(media="print")
    assert page.locator(".breaking .picture svg").is_visible()
    assert page.problems == []


def _breaking(page: Any) -> tuple[str, ...]:
    """Words, description, lines and marks of when it breaks up."""
    words = page.locator("[data-breaking]").inner_text().replace("\u00a0", " ")
    lines = [page.locator(f"#breaking-line-{place} path").first.get_attribute("d") for place in (0, 1)]
    marks = page.locator("[id^=breaking-mark-]").evaluate_all(
        """(all) => all.map((each) => [each.id, each.getAttribute("visibility") ?? "visible",
        ...["x", "y"].map((way) => Number(each.querySelector("use").getAttribute(way)).toFixed(1))].join(" "))"""
    )
    return (words, page.locator(".breaking desc").text_content(), *lines, *sorted(marks))


def test_a_wish_is_answered_where_the_controls_stand(chromium: Any, tmp_path: Path) -> None:
    job = small_job("bright-switch", "depth", compare_at={"gain": 0.3, "bright": "120p", "depth": 0.5})
    (wish,) = load_wishes("bright-when-low").wishes[:1]
    wished = [Wished("sparkle"), Wished("more of it", "done", wish)]
    path = write_page(job, tmp_path / "page.html", wishes=wished)
    page, tables = opened(chromium, path), take_tables(job, choose(job))
    row = page.locator("[data-wish]")
    assert row.count() == 1
    for bright in ("open", "120p", "390p"):
        for depth in (0.0, 0.7):
            page.evaluate("(at) => ampPage.goTo(at)", {"bright": bright, "depth": depth, "gain": 0.9})
            at = {**tables.offered.start(), "bright": bright, "depth": depth, "gain": 0.9}
            here = grant(wished[1], tables, at)
            assert row.locator(".said").inner_text().replace("\u00a0", " ") == here.words
            assert row.locator(".ends span").all_inner_texts() == [here.ends[0], "stock", here.ends[1]]
            drawn = [float(row.locator("rect.got").get_attribute(name)) for name in ("x", "width")]
            assert drawn == [
                float(each) for each in re.findall(r'class="got" x="([\d.]+)".*?width="([\d.]+)"', here.scale)[0]
            ]
    assert page.problems == []
    page.close()


def _worded(sentence: str) -> str:
    """Without the digits, which may be rounded the other way."""
    return re.sub(r"\d", "0", sentence)


def test_with_the_knob_at_nothing_the_sentence_says_so(chromium: Any, demo: Path) -> None:
    page = opened(chromium, demo)
    first = page.locator("[data-headline]")
    assert first.inner_text().startswith("Brighter")
    page.get_by_label("open").check()
    page.get_by_label("as drawn", exact=True).check()
    for name in ("depth", "gain"):
        page.get_by_role("slider", name=name).fill("0" if name == "depth" else "10")
    assert "audible difference" in first.inner_text() or first.inner_text().startswith("Nothing changes")
    page.get_by_role("slider", name="gain").fill("0")
    assert first.inner_text().startswith("No signal")
    assert page.locator(".row:visible").count() == 0
    page.close()


def test_every_control_has_a_name(chromium: Any, demo: Path) -> None:
    page = opened(chromium, demo)
    for switch, names in (
        ("bright", ["open as drawn", "120p", "390p"]),
        ("cathode", ["as drawn", "6k8", "2k7 and 1u"]),
    ):
        group = page.get_by_role("group", name=switch, exact=True)
        assert [group.get_by_role("radio", name=name, exact=True).count() for name in names] == [1, 1, 1]
    for name in ("depth", "gain", "presence"):
        assert page.get_by_role("slider", name=name, exact=True).count() == 1
    assert page.get_by_role("img", name="Stock against modded").count() == 1


def moved_and_fresh(chromium: Any, here: Path, there: Path, size: tuple[int, int]) -> tuple[Any, Any, Any]:
    """A page moved by keys; one opened at that place, as drawn and without its script; and one never moved."""
    moved = opened(chromium, here, size)
    moved.get_by_label("6k8").check()
    moved.get_by_role("slider", name="depth").focus()
    for _ in range(60):
        moved.keyboard.press("ArrowLeft")
    fresh = opened(chromium, there, size, java_script_enabled=False)
    start = opened(chromium, here, size, java_script_enabled=False)
    assert moved.problems == []
    return moved, fresh, start


def test_a_moved_picture_is_the_picture_drawn_there(chromium: Any, tmp_path: Path) -> None:
    """Read against the numbers beside the axes, which may begin elsewhere."""
    job = job_of_two_mods()
    here = write_page(job, tmp_path / "here.html", ["cathode", "depth"])
    moved_to = replace(job, compare_at={"cathode": "6k8", "depth": 0.4})
    there = write_page(moved_to, tmp_path / "there.html", ["cathode", "depth"])
    for size, prefix in (((1024, 768), ""), ((390, 844), "narrow-")):
        pages = moved_and_fresh(chromium, here, there, size)
        for name, axis in (("stock-0", "gain"), ("modded-0", "gain"), ("change-0", "change")):
            moved, fresh, start = (_levels(page, prefix, name, axis) for page in pages)
            # Within the ninth of a point that matplotlib may leave out of a line: 'path.simplify_threshold'.
            point = abs(np.diff(_axis(pages[0], prefix, axis)[:, 1]) / np.diff(_axis(pages[0], prefix, axis)[:, 0]))[0]
            assert np.abs(np.interp(fresh[:, 0], *moved.T) - fresh[:, 1]).max() < 0.15 * point
            if name != "stock-0":
                assert np.abs(np.interp(start[:, 0], *moved.T) - start[:, 1]).max() > 1.0
        for page in pages:
            page.close()


def _levels(page: Any, prefix: str, name: str, axis: str) -> NDArray[np.float64]:
    """A line as points across and what the axis beside it says of each [dB]."""
    path = page.locator(f"#{prefix}{name} path").get_attribute("d")
    points = np.array(re.findall(r"-?[\d.]+", path), float).reshape(-1, 2)
    return np.column_stack([points[:, 0], np.polyval(np.polyfit(*_axis(page, prefix, axis).T, 1), points[:, 1])])


def _axis(page: Any, prefix: str, name: str) -> NDArray[np.float64]:
    """Height [points] and level [dB] of each number of an axis, by its middle."""
    found = []
    for number in range(page.locator(f"[id^={prefix}{name}-tick-]").count()):
        text = page.locator(f"#{prefix}{name}-tick-{number} text")
        place = text.evaluate(
            "(each) => { const [box, svg] = [each, each.ownerSVGElement].map((one) => one.getBoundingClientRect());"
            " return (box.y + box.height / 2 - svg.y) / each.ownerSVGElement.getScreenCTM().a; }"
        )
        found.append((place, float(text.text_content().replace("\u2212", "-"))))
    return np.array(found)


@pytest.mark.parametrize("size", SCREENS)
def test_nothing_is_cut_off_or_too_small(chromium: Any, demo: Path, size: tuple[int, int]) -> None:
    page = opened(chromium, demo, size)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    shown = page.locator(f"{NARROW if size[0] <= 520 else WIDE}").bounding_box()
    assert shown["x"] >= 0
    assert shown["x"] + shown["width"] <= size[0]
    for each in page.locator(".buttons label, input[type=range]").all():
        assert each.bounding_box()["height"] >= 44.0
    smallest = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll('.picture svg text')].filter((each) => each.getClientRects()
        .length).map((each) => parseFloat(getComputedStyle(each).fontSize) * each.ownerSVGElement.getScreenCTM().a))"""
    )
    assert smallest >= (8.0 if size[0] == 320 else 9.0)


def test_in_a_reader_s_own_colours_a_frame_shows_what_is_chosen(chromium: Any, demo: Path) -> None:
    page = opened(chromium, demo, forced_colors="active", color_scheme="dark")
    frames = page.evaluate(
        """() => [...document.querySelectorAll('.buttons input')].map((each) =>
        [each.checked, parseFloat(getComputedStyle(each.nextElementSibling).borderTopWidth)])"""
    )
    chosen, others = ([width for checked, width in frames if checked is which] for which in (True, False))
    assert chosen
    assert min(chosen) > max(others)
    grounds = "(all) => all.map((each) => getComputedStyle(each).backgroundColor)"
    assert set(page.locator(".key svg").evaluate_all(grounds)) == {"rgb(255, 255, 255)"}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground(chromium: Any, demo: Path, scheme: Any) -> None:
    assert faint_words(opened(chromium, demo, color_scheme=scheme)) == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_prints_as_vectors_with_every_position_of_the_switches(chromium: Any, demo: Path, paper: str) -> None:
    page = opened(chromium, demo)
    page.get_by_label("390p").check()
    printed = page.pdf(format=paper)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) <= 4
    assert not re.search(rb"/Subtype\s*/Image", printed)
    assert not page.locator(".positions").is_visible()
    page.emulate_media(media="print")
    assert [each.is_visible() for each in page.locator(".positions .one").all()] == [True] * 9
    assert not page.locator("form").is_visible()
    assert not page.locator(NARROW).is_visible()
    assert page.locator("p [data-now]").inner_text() == "bright 390p, cathode 6k8, depth 7, gain 3, presence 5"


def test_texts_that_mean_harm_do_none(chromium: Any, tmp_path: Path) -> None:
    job = hostile_job()
    page = opened(chromium, write_page(job, tmp_path / "page.html"))
    page.get_by_role("radio").first.check()
    assert page.locator("h1").text_content() == one_line(job.name)
    assert page.locator("p [data-now]").text_content() == f"{job.name} open {job.name}, gain 5"
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.problems == []


def test_the_page_is_small_asks_for_nothing_and_follows_every_key(chromium: Any, demo: Path) -> None:
    found = measured(chromium, demo, presses=30)
    assert found["bytes"] <= 700_000
    assert found["requests"] == 0
    assert found["presses"] == 30
