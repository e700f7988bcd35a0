"""Page and player in Chromium stand at one position, by one name, which is that of the papers; a mod by lot."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from ampsim.audio.listen import ListeningOptions, listen
from ampsim.audio.phrases import phrase
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import position_label
from ampsim.job.page.write import write_page
from ampsim.library.loader import parse_mod
from ampsim.studies.audition_request import Audition, default_audition
from tests.browser.contrast import faint_words
from tests.browser.page_figures import missing
from tests.browser.test_page_browser import opened
from tests.tools.any_amps import made_amp
from tests.tools.any_mods import mod_of

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"missing: {', '.join(missing())}")
CONTROL = "voice 2"  # ends in a digit, so that a position that begins with one cannot follow it as it is
NAMES = {"warm": "10", "plain": "half, off", "lean": "3 \u00fcber"}


@pytest.fixture(scope="module")
def job() -> Audition:
    amps = (made_amp(5, n) for n in range(80))
    made = next(each for each in (mod_of("on-off-on", amp) for amp in amps if amp.kind == "single") if each)
    text = json.dumps(made.tables).replace('"voice"', json.dumps(CONTROL))
    for old, new in NAMES.items():
        text = text.replace(f'"{old}"', json.dumps(new))
    return default_audition(made.amp.amp, apply_mods(made.amp.amp, parse_mod(json.loads(text))))


@pytest.fixture(scope="module")
def page_of(job: Audition, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Any]]:
    clips = listen(job, ListeningOptions(linear=True, played=phrase("chords"))).clips
    return write_page(job, tmp_path_factory.mktemp("page") / "page.html", clips=clips), list(clips.clips)


def turn(page: Any, name: str) -> None:
    """The switch of the page, by the place of its position."""
    page.locator("form input[type=radio]").nth(list(NAMES.values()).index(name)).check()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_player_stands_on_the_page_s_ground(chromium: Any, page_of: tuple[Path, list[Any]], scheme: Any) -> None:
    page = opened(chromium, page_of[0], color_scheme=scheme)
    ground = "(one) => getComputedStyle(one).backgroundColor"
    assert page.locator("#player").evaluate(ground) == page.locator("main").evaluate(ground)
    lines = "(all) => all.map((each) => getComputedStyle(each).borderTopWidth)"
    assert set(page.locator("#player .row:not(.test)").evaluate_all(lines)) == {"0px"}
    assert faint_words(page) == []


def test_a_position_has_one_name_on_page_player_and_paper(chromium: Any, page_of: tuple[Path, list[Any]]) -> None:
    path, _ = page_of
    page = opened(chromium, path)
    labels = [position_label({CONTROL: each}) for each in NAMES.values()]
    assert [each.text_content() for each in page.locator(".positions h3").all()] == labels
    shown = []
    for name in NAMES.values():
        turn(page, name)
        shown.append(page.locator("p [data-now]").inner_text().split(", ", 1 + name.count(", ")))
    assert [", ".join(each[: 1 + name.count(", ")]) for each, name in zip(shown, NAMES.values(), strict=True)] == labels
    told = [each.inner_text() for each in page.locator("#player .choices .name").all()]
    assert any(each.startswith("stock") for each in told)
    for label in labels:
        assert any(each.endswith(label) for each in told), (label, told)
    assert page.problems == []
    page.close()


def test_choosing_on_the_page_chooses_in_the_player_and_the_other_way_round(
    chromium: Any, page_of: tuple[Path, list[Any]]
) -> None:
    path, clips = page_of
    page = opened(chromium, path)
    for name in (*NAMES.values(), *reversed(NAMES.values())):
        turn(page, name)
        chosen = page.locator("#player .choice.on .name").inner_text()
        assert chosen.endswith(position_label({CONTROL: name}))
    for number, clip in enumerate(clips):
        page.locator("#player .choices input[type=radio]").nth(number).check()
        if CONTROL in clip.setting and clip.variant != "stock":
            at = page.evaluate("document.querySelector('form input:checked').value")
            assert list(NAMES.values())[int(at)] == clip.setting[CONTROL]
            assert position_label({CONTROL: clip.setting[CONTROL]}) in page.locator("p [data-now]").inner_text()
    assert page.problems == []
    page.close()
