"""The panel as a page in Chromium: the same panel as in a notebook, without one, and without a network."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest

pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")
pytest.importorskip("playwright")

from playwright.sync_api import expect

from ampsim.interface.panel import Panel, audition_panel
from ampsim.library.loader import load_audition
from tests.browser.page_figures import missing
from tests.browser.sheet import ROOT, PagePanel
from tests.tools.served_panel import ServedPanel, serving

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"no browser tests: {', '.join(missing())} missing")
JOB = load_audition("bright-cathode-depth")


@pytest.fixture(scope="module")
def panel() -> Panel:
    return audition_panel(JOB)


@pytest.fixture(scope="module")
def served(panel: Panel) -> Iterator[ServedPanel]:
    with serving(panel, JOB.name) as found:
        yield found


@pytest.fixture
def opened(chromium: Any, served: ServedPanel) -> Iterator[PagePanel]:
    page = open_page(chromium, served.address.url)
    yield page
    page.page.close()


def open_page(chromium: Any, url: str, width: int = 1280) -> PagePanel:
    """A tab in which nothing goes wrong, and that asks for nothing elsewhere."""
    page = chromium.new_page(viewport={"width": width, "height": 900})
    page.set_default_timeout(30_000)
    page.problems, page.hosts = [], set()
    page.on("pageerror", lambda problem: page.problems.append(str(problem)))
    page.on("console", lambda line: page.problems.append(line.text))
    page.on("request", lambda request: page.hosts.add(urlsplit(request.url).hostname))
    page.goto(url)
    found = PagePanel(page)
    found.settled()
    return found


def test_keys_move_the_panel_through_the_page(opened: PagePanel, served: ServedPanel) -> None:
    before, gain = opened.paths(), served.panel.position["gain"]
    opened.slider("gain").focus()
    for _ in range(3):
        opened.page.keyboard.press("ArrowRight")
    opened.choose("cathode", "2k7 and 1u")
    opened.settled()
    assert served.panel.position["gain"] == pytest.approx(gain + 0.03)
    assert served.panel.position["cathode"] == "2k7 and 1u"
    drawn = {gid: " ".join(d.split()) for gid, d in served.panel.curves["paths"].items()}
    assert opened.paths() == drawn != before
    assert opened.tables()[0] == served.panel.tables["gains"]
    assert (opened.page.problems, opened.page.hosts) == ([], {"127.0.0.1"})


def test_a_drag_ends_on_what_is_shown(opened: PagePanel, served: ServedPanel) -> None:
    for step in [*range(5, 60, 4), *range(60, 31, -4), 32]:
        opened.put("treble", step)
    opened.settled()
    assert served.panel.position["treble"] == 0.32
    assert opened.paths() == {gid: " ".join(d.split()) for gid, d in served.panel.curves["paths"].items()}


def test_a_tab_closed_and_opened_again_stands_where_it_was(
    opened: PagePanel, served: ServedPanel, chromium: Any
) -> None:
    opened.put("bass", 71)
    opened.press("Hold")
    opened.page.wait_for_selector(f"{ROOT} .held li")
    names = opened.page.locator(f"{ROOT} .held .name").all_text_contents()
    opened.page.close()
    again = open_page(chromium, served.address.url)
    assert again.slider("bass").input_value() == "71"
    assert again.page.locator(f"{ROOT} .held .name").all_text_contents() == names
    # What one tab does the other shows, and it is not turned back.
    other = open_page(chromium, served.address.url)
    other.put("bass", 12)
    expect(again.slider("bass")).to_have_value("12", timeout=30_000)
    again.settled()
    other.settled()
    assert served.panel.position["bass"] == 0.12
    for tab in (again, other):
        assert tab.page.problems == []
        tab.page.close()


@pytest.mark.parametrize("width", [1280, 800, 360])
def test_nothing_is_wider_than_the_page(opened: PagePanel, width: int) -> None:
    opened.page.set_viewport_size({"width": width, "height": 740})
    opened.settled()
    assert opened.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_every_control_keeps_a_notebooks_shortcuts_away_itself(opened: PagePanel) -> None:
    """A notebook's handler looks at the focused element before it looks at what that stands in."""
    bare = opened.page.evaluate(
        """(root) => [...document.querySelectorAll(`${root} :is(input, select, button, summary)`)]
            .filter((each) => each.focus() || document.activeElement === each)
            .filter((each) => each.dataset.lmSuppressShortcuts !== 'true').map((each) => each.outerHTML)""",
        ROOT,
    )
    assert bare == []


def test_what_moves_while_the_line_is_broken_arrives(opened: PagePanel, served: ServedPanel) -> None:
    served.run(lambda: [each.close() for each in served.panel.comm.tabs])
    opened.page.wait_for_selector("body[data-connection=lost]", state="attached")
    opened.put("middle", 77)
    opened.page.wait_for_selector("body[data-connection=there]", state="attached")
    opened.settled()
    assert served.panel.position["middle"] == 0.77


def test_when_nothing_answers_it_is_said(chromium: Any, panel: Panel) -> None:
    with serving(panel) as first:
        found = open_page(chromium, first.address.url)
    page = found.page
    page.get_by_text("No answer: the command").wait_for()
    found.put("middle", 55)
    page.wait_for_selector(f'{ROOT}[data-reach="lost"]')
    assert page.get_by_text("nothing here follows the controls").is_visible()
    assert page.locator(f"{ROOT} .picture").evaluate("(each) => getComputedStyle(each).opacity") == "0.35"
    page.close()


def test_in_a_low_window_the_picture_stays_beside_the_last_control(opened: PagePanel) -> None:
    """1280 by 900 at 200 %."""
    opened.page.set_viewport_size({"width": 640, "height": 450})
    opened.settled()
    last = opened.slider("presence")
    last.evaluate("(each) => each.scrollIntoView({ block: 'end' })")
    picture = opened.page.locator(f"{ROOT} .picture svg").bounding_box()
    control = last.bounding_box()
    assert picture
    assert control
    assert -1.0 <= picture["y"] <= picture["y"] + picture["height"] <= control["y"] + 1.0
    assert control["y"] + control["height"] <= 451.0


def test_letters_and_controls_follow_the_browsers_text_size(opened: PagePanel) -> None:
    def sizes() -> list[float]:
        return opened.page.evaluate(
            """(root) => [...document.querySelectorAll(`${root} :is(label, output, button, .title, .note)`)]
                .filter((each) => each.checkVisibility()).map((each) => parseFloat(getComputedStyle(each).fontSize))""",
            ROOT,
        )

    before = sizes()
    opened.page.add_style_tag(content="html { font-size: 24px }")
    assert sizes() == pytest.approx([1.5 * each for each in before])
    assert opened.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_move_is_spoken_once_the_hand_rests(opened: PagePanel) -> None:
    spoken = opened.page.locator(f"{ROOT} .spoken")
    assert spoken.text_content() == ""
    opened.put("gain", 20)
    opened.settled()
    change = dict(zip(opened.tables()[0][0], opened.tables()[0][3], strict=True))
    expect(spoken).to_contain_text("gain 2")
    assert f"{change['1 kHz']} dB at 1 kHz" in str(spoken.text_content())


def test_a_swipe_scrolls_and_turns_nothing_and_a_drag_turns(chromium: Any, served: ServedPanel) -> None:
    context = chromium.new_context(viewport={"width": 820, "height": 600}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(served.address.url)
    PagePanel(page).settled()
    slider, device = page.get_by_role("slider", name="treble"), context.new_cdp_session(page)

    def drag(across: float, down: float) -> None:
        box = slider.bounding_box()
        start = (box["x"] + 0.8 * box["width"], box["y"] + 0.5 * box["height"])
        points = [{"x": start[0] + across * n / 8, "y": start[1] + down * n / 8} for n in range(9)]
        for n, point in enumerate(points):
            device.send(
                "Input.dispatchTouchEvent", {"type": "touchMove" if n else "touchStart", "touchPoints": [point]}
            )
            page.wait_for_timeout(20)
        device.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        page.wait_for_timeout(200)

    before = slider.input_value()
    drag(0.0, -160.0)
    assert slider.input_value() == before
    assert page.evaluate("scrollY") > 100
    drag(-40.0, 0.0)
    assert int(slider.input_value()) < 80
    context.close()
