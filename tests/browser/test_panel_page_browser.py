"""The panel as a page in Chromium: the same panel as in a notebook, without one, and without a network."""

from __future__ import annotations

import random
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
from numpy.typing import NDArray

pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")
pytest.importorskip("playwright")

from playwright.sync_api import expect

from ampsim.interface.panel import Panel, audition_panel
from ampsim.library.loader import load_audition
from tests.browser.contrast import faint_words
from tests.browser.page_figures import missing
from tests.browser.patience import WAIT, wait_for
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
    opened.put("treble", *range(5, 60, 4), *range(60, 31, -4), 32)
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
    expect(again.slider("bass")).to_have_value("12")
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


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_in_a_dark_scheme_the_page_is_dark_and_its_words_stand_out(opened: PagePanel, scheme: Any) -> None:
    opened.page.emulate_media(color_scheme=scheme)
    grounds = {
        opened.page.locator(each).first.evaluate("(one) => getComputedStyle(one).backgroundColor")
        for each in ("body", ".ampsim-panel", ".ampsim-panel button", ".ampsim-player", ".ampsim-panel .seen")
    }
    assert all((sum(map(int, re.findall(r"\d+", each)[:3])) < 200) is (scheme == "dark") for each in grounds)
    assert opened.page.locator(".picture svg").evaluate("(one) => getComputedStyle(one).backgroundColor") in (
        "rgb(255, 255, 255)", "rgba(0, 0, 0, 0)",
    )  # fmt: skip
    opened.page.get_by_text("Hear the difference").click()
    assert faint_words(opened.page) == []


@pytest.mark.parametrize("light", ["true", "false"])
def test_a_notebook_s_theme_is_followed(opened: PagePanel, light: str) -> None:
    """JupyterLab and Notebook set this word on the page's body, whatever the system prefers."""
    opened.page.emulate_media(color_scheme="light")
    opened.page.evaluate("(light) => { document.body.dataset.jpThemeLight = light; }", light)
    for each in (".ampsim-panel", ".ampsim-panel button", ".ampsim-player", ".ampsim-panel .seen"):
        ground = opened.page.locator(each).first.evaluate("(one) => getComputedStyle(one).backgroundColor")
        assert (sum(map(int, re.findall(r"\d+", ground)[:3])) < 200) is (light == "false")
    opened.page.get_by_text("Hear the difference").click()
    assert faint_words(opened.page) == []


def test_tables_that_run_out_of_a_narrow_page_are_reached_by_key(opened: PagePanel) -> None:
    opened.page.set_viewport_size({"width": 380, "height": 760})
    tables = opened.page.get_by_role("region", name="Numbers")
    tables.focus()
    before = tables.evaluate("(one) => [one.scrollWidth > one.clientWidth, one.scrollLeft]")
    assert before == [True, 0]
    opened.page.keyboard.press("ArrowRight")
    wait_for(lambda: tables.evaluate("(one) => one.scrollLeft > 0"))


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
    # Moved in the moment in which the page learns of it: it has a new line a second later.
    opened.slider("middle").evaluate(
        """(input) => new MutationObserver((_, watching) => {
            if (document.body.dataset.connection !== "lost") return;
            watching.disconnect();
            input.value = 77;
            input.dispatchEvent(new Event("input", { bubbles: true }));
            document.body.dataset.moved = "while lost";
        }).observe(document.body, { attributes: true })"""
    )
    served.run(lambda: [each.close() for each in served.panel.comm.tabs])
    opened.page.wait_for_selector("body[data-moved='while lost'][data-connection=there]", state="attached")
    opened.settled()
    assert served.panel.position["middle"] == 0.77


# The numbers beside the upper axis and how high each stands, in points as the paths count.
_TICKS = """(panel) => {
  const drawn = panel.querySelector('.picture svg').getBoundingClientRect();
  return [...panel.querySelectorAll('[id="axes_1"] [id^=ytick_] text')].map((text) => {
    const { top, height } = text.getBoundingClientRect();
    return [Number(text.textContent.replace('\u2212', '-')), (top + height / 2 - drawn.top) * 504 / drawn.width];
  });
}"""


def put_and_read(opened: PagePanel, name: str, step: int) -> dict[str, Any]:
    """What the page shows in the very task in which a slider moves: nobody else has had time to answer."""
    script = f"""([root, name, step]) => {{
      const ticks = {_TICKS};
      const panel = document.querySelector(root);
      const found = [...panel.querySelectorAll('input')].find((each) => each.labels[0]?.textContent === name);
      found.value = step;
      found.dispatchEvent(new Event('input', {{ bubbles: true }}));
      const d = (gid) => panel.querySelector(`.picture [id="${{gid}}"] path`).getAttribute('d');
      return {{ ...panel.dataset, words: panel.querySelector('.proof').textContent,
        curves: Object.fromEntries(['stock-0', 'modded-0', 'change-0'].map((gid) => [gid, d(gid)])),
        ticks: ticks(panel) }};
    }}"""
    return dict(opened.page.evaluate(script, [ROOT, name, step]))


def heights(d: str, at: NDArray[np.float64]) -> NDArray[np.float64]:
    points = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", d), float)
    return np.interp(at, points[:, 0], points[:, 1])


def test_the_page_itself_draws_what_ngspice_then_says(opened: PagePanel, served: ServedPanel) -> None:
    lot, compared = random.Random(4), 0
    opened.agreed()
    for _ in range(8):
        frames = served.panel.frames
        found = put_and_read(opened, lot.choice(["gain", "treble", "bass", "depth", "presence"]), lot.randint(10, 90))
        assert (found["drawn"], found["proof"]) == ("current", "open")
        opened.settled()
        opened.agreed()
        if served.panel.frames != frames:  # drawn anew with limits that suit
            continue
        compared += 1
        for gid, d in found["curves"].items():
            across = np.linspace(*frames[0]["box"][:2], 300)
            apart = heights(d, across) - heights(served.panel.curves["paths"][gid], across)
            assert np.abs(apart).max() < 0.15, gid  # of a point; a line is 2 wide
    assert compared > 2


def ticks_of(opened: PagePanel) -> NDArray[np.float64]:
    """Numbers beside the upper axis and their heights, as they stand."""
    return np.array(opened.page.locator(ROOT).evaluate(_TICKS))


def test_limits_grow_in_the_page_and_what_stands_in_the_picture_moves_with_them(opened: PagePanel) -> None:
    opened.put("master", 50)
    opened.settled()
    opened.agreed()
    before = ticks_of(opened)
    drawn = put_and_read(opened, "master", 0)
    grown = np.array(drawn["ticks"])
    assert grown[:, 0].min() < before[:, 0].min() - 50
    assert 3 <= len(grown) <= 8
    # Numbers stand evenly; the curve is where they say, and where ngspice puts it.
    assert np.polyfit(*grown.T, 1, full=True)[1][0] < 0.1
    opened.settled()
    shown = []
    for text, ticks in ((drawn["curves"]["modded-0"], grown), (opened.paths()["modded-0"], ticks_of(opened))):
        slope, zero = np.polyfit(*ticks.T, 1)
        shown.append((heights(text, np.array([300.0]))[0] - zero) / slope)
    assert abs(shown[0] - shown[1]) < 1.0  # dB, of more than a hundred
    opened.put("master", 50)
    opened.settled()


def test_there_and_back_before_the_kernel_heard_of_it_ends_on_what_ngspice_said(opened: PagePanel) -> None:
    opened.agreed()
    before, step = opened.paths(), opened.slider("depth").input_value()
    opened.slider("depth").evaluate(
        """async (input, step) => {
        for (const each of ["100", step]) {
            input.value = each;
            input.dispatchEvent(new Event("input", {bubbles: true}));
            await new Promise((done) => requestAnimationFrame(done));
        }
    }""",
        step,
    )
    # Behind the page's own clock for a hand at rest: what it has to say to the kernel is on its way.
    opened.page.evaluate("new Promise((done) => setTimeout(done, 700))")
    opened.agreed()
    assert opened.paths() == before


def all_has_come(opened: PagePanel, served: ServedPanel) -> None:
    """Wait until the tables of neighbouring positions are made, and until the page has all that was sent."""
    panel, last = served.panel, object()
    while (working := served.run(lambda: panel.knob_tables._task._thread)) is not last:
        panel.knob_tables.join(WAIT)
        last = working
    words = f"all has come {time.monotonic()}"
    served.run(lambda: setattr(panel, "said", words))
    expect(opened.page.locator(f"{ROOT} .said")).to_have_text(words)


def test_what_differs_from_ngspice_is_said_and_not_shown(opened: PagePanel, served: ServedPanel) -> None:
    tables, panel = served.panel.knob_tables, served.panel
    true: dict[int, Any] = {}

    def wrong() -> None:
        kept = tables._find("modded", tables._values(panel.at))
        assert kept is not None
        numbers, ports = kept.table.table.copy(), len(kept.table.ports)
        numbers[ports:] *= 1.1  # what is heard, not what happens at the ports
        louder = replace(kept, table=replace(kept.table, table=numbers))
        true[next(number for number, each in tables._kept.items() if each is kept)] = kept
        tables._kept.update(dict.fromkeys(true, louder))  # or the true one may come once more
        tables._hand_over(louder, panel.at)

    opened.agreed()
    all_has_come(opened, served)
    served.run(wrong)
    all_has_come(opened, served)
    step = 1 + int(opened.slider("presence").input_value())
    found = put_and_read(opened, "presence", step)
    opened.settled()
    opened.page.wait_for_selector(f'{ROOT}[data-proof="differs"]')
    assert re.search(r"differs by 0.8\d dB at", opened.page.locator(f"{ROOT} .proof").inner_text())
    assert opened.paths() == {gid: " ".join(d.split()) for gid, d in served.panel.curves["paths"].items()}
    assert found["curves"]["modded-0"].split() != opened.paths()["modded-0"].split()
    served.run(lambda: tables._kept.update(true))


def test_switches_beside_are_there_before_they_are_asked_for(opened: PagePanel, served: ServedPanel) -> None:
    opened.agreed()
    group = opened.page.locator(ROOT).get_by_role("group", name="bright", exact=True)
    there = """(root) => ({ ...document.querySelector(root).dataset })"""
    all_has_come(opened, served)
    seen = []
    for option in group.get_by_role("radio").all():
        option.evaluate("(each) => each.click()")
        seen.append(opened.page.evaluate(there, ROOT)["drawn"])
        opened.settled()
    assert set(seen) == {"current"}


def test_a_table_that_is_lost_is_asked_for_again(opened: PagePanel, served: ServedPanel) -> None:
    """A message may be lost with the connection; then nothing but the page knows of it."""
    tables, lost = served.panel.knob_tables, []
    opened.agreed()
    all_has_come(opened, served)
    send, tables._send = tables._send, lambda *sent: lost.append(sent)
    try:
        place = opened.page.locator(ROOT).get_by_label("listen at", exact=True)
        before = place.input_value()
        place.select_option(index=0)
        wait_for(lambda: len(lost) >= 2)  # of both amps
        opened.page.wait_for_selector(f'{ROOT}[data-curves="current"][data-proof="asked"]')
    finally:
        tables._send = send
    opened.agreed()
    place.select_option(before)
    opened.settled()


def test_a_part_that_moves_the_bias_waits_for_ngspice(chromium: Any) -> None:
    own = audition_panel(JOB, values={"R4": ("1k", "4k7", "E12"), "C1": ("1u", "47u", "E6")})
    with serving(own) as found:
        page = open_page(chromium, found.address.url)
        page.agreed()
        assert put_and_read(page, "C1", 1)["words"].startswith("Worked out in this page")
        page.settled()
        seen = [put_and_read(page, "R4", step)["words"] for step in (0, 7)]
        assert "R4 moves the bias: waiting for ngspice …" in seen
        page.settled()
        page.agreed()  # its own
        assert own.part_values["R4"] == 3900.0
        assert page.paths() == {gid: " ".join(d.split()) for gid, d in own.curves["paths"].items()}
        assert page.page.problems == []
        page.page.close()


def test_with_nobody_to_answer_the_knobs_go_on_and_it_is_said(chromium: Any) -> None:
    own = audition_panel(JOB, values={"R4": ("1k", "4k7", "E12")})
    with serving(own) as first:
        found = open_page(chromium, first.address.url)
        found.agreed()
    page, before = found.page, found.paths()
    page.get_by_text("No answer: the command").wait_for()
    found.put("middle", 55)
    page.wait_for_selector(f'{ROOT}[data-reach="lost"]')
    opacity = page.locator(f"{ROOT} .picture")
    assert found.paths() != before
    assert opacity.evaluate("(each) => getComputedStyle(each).opacity") == "1"
    assert page.get_by_text("worked out in this page and not confirmed by ngspice").is_visible()
    assert page.locator(f"{ROOT} .proof").inner_text() == "Not confirmed by ngspice."
    # The bias of another cathode resistor is not known here.
    found.put("R4", 0)
    assert page.get_by_text("nothing here follows the controls").is_visible()
    assert opacity.evaluate("(each) => getComputedStyle(each).opacity") == "0.35"
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
    before, after = opened.page.evaluate(
        """(root) => {
            const sizes = () => [...document.querySelectorAll(`${root} :is(label, output, button, .title, .note)`)]
                .filter((each) => each.checkVisibility()).map((each) => parseFloat(getComputedStyle(each).fontSize));
            const before = sizes();
            document.documentElement.style.fontSize = "24px";
            return [before, sizes()];
        }""",
        ROOT,
    )
    assert len(before) > 20
    assert after == pytest.approx([1.5 * each for each in before])
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

    before = slider.input_value()
    drag(0.0, -160.0)
    wait_for(lambda: page.evaluate("scrollY") > 100)
    assert slider.input_value() == before
    drag(-40.0, 0.0)
    wait_for(lambda: int(slider.input_value()) < 80)
    context.close()
