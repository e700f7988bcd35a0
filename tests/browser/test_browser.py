"""The panel in JupyterLab and Chromium: keys, mouse, words, pixels."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest

from tests.browser.lab import Lab, lab, missing
from tests.browser.patience import wait_for
from tests.browser.sheet import MOVING, ROOT, Sheet

# The picture of a fresh simulation of the panel's position, with the limits that are on the page.
_FRESH = """
import ampsim
from ampsim.circuit.positions import coord_name
from ampsim.circuit.values import with_values
from ampsim.interface.panel.simulator import AS_SET
from ampsim.pictures.export import svg
from ampsim.pictures.overlay import overlay_picture
def fresh():
    amp = with_values(job.modded, panel.part_values)
    grid = ampsim.FrequencySweep(20.0, 20e3, 40)
    found = ampsim.simulate([job.stock, amp], grid, [panel.position], [panel.listen_at])
    found = found.drop_vars([coord_name(each) for each in panel.position]).assign_coords(position=[AS_SET])
    picture = overlay_picture(found, panel.listen_at)
    for axes, live in zip(picture.axes, panel._state._picture.axes):
        axes.set_ylim(live.get_ylim())
    return svg(picture)
"""

# A waveform begins only once it is allowed to: whoever looks or cancels is sooner.
_WAVE_HELD_UP = """
import threading
go_on, _wave = threading.Event(), panel._state.simulator.wave
def held_up(*how):
    go_on.wait(200.0)
    return _wave(*how)
panel._state.simulator.wave = held_up
"""
_WAVE_GOES_ON = """
go_on.set()
panel._state.simulator.wave = _wave
panel._wave_task.join(200.0)
"""


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    lacks = missing()
    if lacks and os.environ.get("CI") != "true":
        pytest.skip(f"no browser tests: {', '.join(lacks)} missing")
    assert not lacks
    with lab(tmp_path_factory.mktemp("lab")) as found:
        hosts: set[str] = set()
        found.page.on("request", lambda request: hosts.add(urlsplit(request.url).hostname or ""))
        sheet = Sheet(found)
        sheet.run()
        found.python(_FRESH)
        yield found
        assert hosts <= {"127.0.0.1", ""}, "something was asked of the network"


@pytest.fixture
def sheet(opened: Lab) -> Sheet:
    found = Sheet(opened)
    opened.python("panel.clear(); panel.as_drawn()")
    found.settled()
    return found


def fresh_svg(sheet: Sheet) -> str:
    return str(sheet.lab.value("fresh()"))


def fresh_paths(sheet: Sheet) -> dict[str, str]:
    text = fresh_svg(sheet)
    found = {gid: re.search(rf'<g id="{gid}">\s*<path d="([^"]*)"', text) for gid in MOVING}
    return {gid: " ".join(match[1].split()) for gid, match in found.items() if match}


def test_every_control_has_a_name(sheet: Sheet) -> None:
    nameless = sheet.page.evaluate(
        """(root) => [...document.querySelectorAll(`${root} :is(input, select, button, summary)`)]
            .filter((each) => !(each.labels?.[0]?.textContent || each.ariaLabel || each.textContent).trim())
            .map((each) => each.outerHTML)""",
        ROOT,
    )
    assert nameless == []
    assert sheet.page.locator(ROOT).get_by_role("slider", name="gain", exact=True).count() == 1
    assert sheet.slider("gain").get_attribute("aria-valuetext") == "5, 150k of 1M"


def test_the_picture_has_words(sheet: Sheet) -> None:
    svg = sheet.page.locator(f"{ROOT} .picture svg").first
    assert svg.get_attribute("role") == "img"
    before = svg.locator("> desc").text_content()
    sheet.choose("cathode", "6k8")
    sheet.settled()
    after = svg.locator("> desc").text_content()
    assert after != before
    assert after == sheet.lab.value("panel.tables['alternative']")


def test_the_keyboard_alone_moves_everything(sheet: Sheet) -> None:
    before = sheet.paths()
    sheet.slider("depth").focus()
    for _ in range(3):
        sheet.page.keyboard.press("ArrowRight")
    sheet.page.keyboard.press("Tab")  # to the bright switch
    sheet.page.keyboard.press("ArrowRight")
    sheet.page.keyboard.press("Tab")  # to the cathode switch
    sheet.page.keyboard.press("ArrowDown")
    sheet.page.keyboard.press("Tab")  # to C101
    sheet.page.keyboard.press("End")
    sheet.settled()
    at = sheet.lab.value("{**panel.position, **panel.part_values}")
    assert (at["depth"], at["bright"], at["cathode"], at["C101"]) == (0.03, "120p", "6k8", 22e-9)
    assert sheet.paths() != before
    assert sheet.paths() == fresh_paths(sheet)
    # Nothing of it went to the notebook: the cell is still there and still selected.
    assert sheet.page.evaluate("window.jupyterapp.shell.currentWidget.content.widgets.length") == 1


def test_a_drag_ends_on_what_is_shown(sheet: Sheet) -> None:
    sheet.choose("bright", "390p")
    box = sheet.slider("gain").bounding_box()
    y = box["y"] + box["height"] / 2
    sheet.page.mouse.move(box["x"] + box["width"] * 0.5, y)
    sheet.page.mouse.down()
    for place in [*np.linspace(0.5, 0.02, 40), *np.linspace(0.02, 0.8, 60), *np.linspace(0.8, 0.31, 50)]:
        sheet.page.mouse.move(box["x"] + box["width"] * place, y)
    sheet.page.mouse.up()
    sheet.current()
    step = int(sheet.slider("gain").input_value())
    assert 20 < step < 40
    assert sheet.lab.value("panel.position['gain']") == step / 100
    # Between asking the browser and asking the kernel the panel may come to rest and draw with better limits.
    assert any(sheet.paths() == fresh_paths(sheet) for _ in range(4))
    sheet.settled()
    assert sheet.paths() == fresh_paths(sheet)


def test_live_pixels_are_those_of_a_fresh_drawing(sheet: Sheet) -> None:
    sheet.choose("cathode", "2k7 and 1u")
    sheet.settled()
    drawn = sheet.page.evaluate("document.querySelector('.ampsim-panel .picture svg').id")
    for step in (53, 57, 61):
        sheet.put("treble", step)
        sheet.current()
    assert sheet.page.evaluate("document.querySelector('.ampsim-panel .picture svg').id") == drawn  # patched, not drawn
    sheet.settled()
    live = sheet.pixels()
    sheet.repaint()
    painted = sheet.pixels()
    svg = fresh_svg(sheet)
    try:
        sheet.show_instead(svg)
        fresh = sheet.pixels()
    finally:
        sheet.lab.python("panel.hold('x'); panel.clear()")  # draws the live picture anew
    assert np.array_equal(painted, fresh)
    # What was patched is painted in tiles: at their edges the smoothing of a line may differ by a shade.
    assert (np.abs(live.astype(int) - fresh).max(axis=2) > 32).sum() == 0
    assert np.unique(live.reshape(-1, 3), axis=0).shape[0] > 50  # there is a picture


def test_tables_give_the_numbers_of_the_kernel(sheet: Sheet) -> None:
    sheet.choose("cathode", "6k8")
    sheet.settled()
    gains, bias, loops = sheet.tables()
    assert gains == sheet.lab.value("panel.tables['gains']")
    assert bias == sheet.lab.value("panel.tables['bias']")
    assert loops == sheet.lab.value("panel.tables['loops']")


def test_coming_back_to_a_position_measures_it_again(sheet: Sheet) -> None:
    for _ in range(2):
        sheet.choose("cathode", "6k8")
        sheet.settled()
        sheet.lab.python("panel.as_drawn()")
        sheet.settled()
        assert sheet.page.locator(ROOT).get_by_role("group", name="cathode").get_by_label("as drawn").is_checked()


def test_hold_clear_and_back_to_the_drawing(sheet: Sheet) -> None:
    sheet.choose("bright", "120p")
    sheet.page.locator(ROOT).get_by_label("name", exact=True).fill("<b>sparkle</b>")
    sheet.press("Hold")
    sheet.page.wait_for_selector(f"{ROOT} .held li")
    assert sheet.page.locator(f"{ROOT} .held .name").all_text_contents() == ["<b>sparkle</b>"]
    sheet.press("Panel as drawn")
    wait_for(lambda: sheet.page.locator(ROOT).get_by_label("open", exact=True).is_checked())
    sheet.settled()
    assert sheet.lab.value("panel.position['bright']") == "open"
    sheet.press("Drop <b>sparkle</b>")
    sheet.page.wait_for_selector(f"{ROOT} .held", state="hidden")


def test_a_waveform_is_computed_shown_and_grows_old(sheet: Sheet) -> None:
    summary = sheet.page.locator(ROOT).get_by_text("Waveform and harmonics")
    summary.click()
    try:
        sheet.lab.python(_WAVE_HELD_UP)  # or it is done before anybody has seen that it was begun
        sheet.press("Compute waveform")
        sheet.page.wait_for_selector(f'{ROOT}[data-wave="computing"]')
        sheet.lab.python(_WAVE_GOES_ON)
        sheet.page.wait_for_selector(f'{ROOT}[data-wave="done"]')
        assert sheet.page.locator(f"{ROOT} .waves svg").count() == 2
        sheet.put("gain", 40)
        sheet.page.wait_for_selector(f"{ROOT} .waves.old")
        assert "Old" in sheet.page.locator(f"{ROOT} .wave [role=status]").text_content()
        sheet.lab.python(_WAVE_HELD_UP)
        sheet.press("Compute waveform")
        sheet.press("Cancel")
        sheet.page.wait_for_selector(f'{ROOT}[data-wave="cancelled"]')
        sheet.lab.python(_WAVE_GOES_ON)
        assert not sheet.lab.value("panel._wave_task._thread.is_alive()")
        assert sheet.lab.value("panel.wave") == {"state": "cancelled"}
        assert sheet.page.locator(f"{ROOT} .waves svg").count() == 0
        assert sheet.page.locator(ROOT).get_attribute("data-wave") == "cancelled"
    finally:
        summary.click()


def test_positions_are_heard_from_the_panel(sheet: Sheet) -> None:
    """Six tenths of a second of the phrase, through the whole circuit, to the player and its keys."""
    page = sheet.page
    sheet.lab.python(
        "import os, dataclasses\nfrom ampsim.audio.phrases import phrase\nos.environ['AMPSIM_CACHE'] = 'kept-sounds'\n"
        "panel.phrase = dataclasses.replace(phrase('chords'), volts=phrase('chords').volts[:28800])"
    )
    sheet.lab.python("panel.hold('as it was')")
    sheet.choose("bright", "390p")
    sheet.settled()
    summary = page.locator(ROOT).get_by_text("Hear the difference", exact=True)
    summary.click()
    try:
        sheet.press("Hear it")
        page.wait_for_selector(f'{ROOT}[data-hear="done"]')
        page.wait_for_selector(f"{ROOT} .ampsim-player[data-state=playing]")
        names = ["stock, as set", "modded, as set", "held 1: as it was"]
        assert page.locator(f"{ROOT} .ampsim-player .choice .name").all_inner_texts() == names
        assert sheet.lab.value("list(panel.sounds.labels)") == names
        page.locator(f"{ROOT} .ampsim-player .choice input").first.focus()
        page.keyboard.press("3")
        assert page.get_by_text("Heard now: 3 held 1: as it was.").is_visible()
        page.keyboard.press(" ")
        page.wait_for_selector(f"{ROOT} .ampsim-player[data-state=still]")
        # Keys of the player are no commands to the notebook.
        assert page.evaluate("window.jupyterapp.shell.currentWidget.content.activeCell.model.type") == "code"
        sheet.choose("bright", "open")
        assert "Old: the panel has moved since" in page.locator(f"{ROOT} .aloud .line [role=status]").text_content()
    finally:
        summary.click()


_PARTS = """() => {
  const panel = document.querySelector('.ampsim-panel');
  const count = (within, where) => within.querySelectorAll(where).length;
  const all = { panels: count(document, '.ampsim-panel'), outputs: count(document, '.jp-OutputArea-child') };
  const parts = panel.querySelectorAll(':scope > *, .bench > *, .seen > *');
  for (const part of parts) all[part.className] = count(part, '*');
  return { ...all, ticks: [...panel.querySelectorAll('.picture [id^=ytick] text')].map((each) => each.textContent) };
}"""

# The kernel takes its time over the next move.
_SLOW_ONCE = """
import time
_turn = panel._state.turn
def slow(at):
    panel._state.turn = _turn
    time.sleep(4.0)
    return _turn(at)
panel._state.turn = slow
"""
# The hand goes on while the kernel is at its first step, so long that it is asked again; where the slider jumped to.
_ON_ITS_WAY = """async (input) => {
  const pause = (ms) => new Promise((done) => setTimeout(done, ms));
  const jumps = [];
  let hand = null;
  const look = setInterval(() => hand !== null && Number(input.value) !== hand && jumps.push(Number(input.value)), 2);
  for (const [step, wait] of [[10, 400], [50, 2600], [90, 400]]) {
    input.value = hand = step;
    input.dispatchEvent(new Event('input', { bubbles: true }));
    await pause(wait);
  }
  const panel = input.closest('.ampsim-panel');
  while (panel.dataset.curves !== 'current' || panel.dataset.tables !== 'current') await pause(20);
  clearInterval(look);
  return [...new Set(jumps)];
}"""


def test_a_slow_kernel_does_not_turn_the_controls_back(sheet: Sheet) -> None:
    sheet.lab.python(_SLOW_ONCE)
    assert sheet.slider("depth").evaluate(_ON_ITS_WAY) == []
    sheet.agreed()
    assert sheet.slider("depth").input_value() == "90"
    assert sheet.lab.value("panel.position['depth']") == 0.9


def test_a_button_is_not_undone_by_a_move_before_it(sheet: Sheet) -> None:
    sheet.lab.python(_SLOW_ONCE)
    sheet.put("depth", 10)
    sheet.page.wait_for_selector(f'{ROOT}[data-curves="waiting"]')
    sheet.page.wait_for_timeout(400)  # that is told
    sheet.put("depth", 50)
    sheet.page.wait_for_timeout(400)  # and that, once the kernel is free
    sheet.press("Panel as drawn")
    wait_for(lambda: sheet.slider("depth").input_value() == "0")
    sheet.settled()
    sheet.page.wait_for_timeout(1000)
    assert sheet.slider("depth").input_value() == "0"
    assert sheet.lab.value("panel.position['depth']") == 0.0


def test_hundreds_of_moves_leave_no_trace(sheet: Sheet) -> None:
    """Counted is what is ours: JupyterLab's own tool bar says or does not say how long its cells took."""
    end = 30

    def elements_after(moves: int) -> dict[str, Any]:
        sheet.put("depth", 0)
        sheet.agreed()  # an answer for the end comes after all moves
        steps = [move * 7 % 101 for move in range(moves)]
        sheet.put("depth", *(step if step != end else 0 for step in steps), end)
        sheet.agreed()  # the page is ahead of the kernel
        sheet.lab.python("panel.clear()")  # limits, and so the ticks, for where it stands
        sheet.rested()
        return dict(sheet.page.evaluate(_PARTS))

    before = elements_after(40)
    assert elements_after(300) == before
    assert sheet.lab.value("panel.position['depth']") == end / 100
    assert sheet.paths() == fresh_paths(sheet)


def test_positions_outlive_the_kernel(sheet: Sheet) -> None:
    sheet.put("gain", 23)
    sheet.page.locator(ROOT).get_by_label("job file", exact=True).fill("kept.toml")
    sheet.press("Save")
    sheet.page.get_by_text("Saved to kept.toml.").wait_for()
    sheet.put("gain", 24)
    sheet.settled()
    # And kept since, without a button.
    wait_for(lambda: "gain = 0.24" in (sheet.lab.folder / "kept.toml").read_text("utf-8"))
    sheet.agreed()
    before = sheet.paths()
    sheet.page.evaluate("window.jupyterapp.shell.currentWidget.sessionContext.session.kernel.restart()")
    sheet.put("gain", 25)
    sheet.page.wait_for_selector(f'{ROOT}[data-reach="lost"]')
    assert sheet.page.get_by_text("run this cell again").is_visible()
    # The knobs go on, and what they show is not taken for ngspice's.
    assert sheet.paths() != before
    assert sheet.page.get_by_text("worked out in this page and not confirmed by ngspice").is_visible()
    sheet.run()
    assert sheet.lab.value("panel.position['gain']") == 0.5
    sheet.page.locator(ROOT).get_by_label("job file", exact=True).fill("kept.toml")
    sheet.press("Read back")
    sheet.page.get_by_text("Read 1 positions from kept.toml.").wait_for()
    wait_for(lambda: sheet.slider("gain").input_value() == "24")
    sheet.settled()
    sheet.lab.python(_FRESH)


def test_jupyterlab_asks_no_question_of_its_own(sheet: Sheet) -> None:
    """Whether it may fetch news; `ampsim notebooks` has answered that."""
    assert sheet.page.evaluate("document.querySelectorAll('.Toastify__toast, .jp-Dialog').length") == 0


def test_a_stored_notebook_shows_a_picture(sheet: Sheet) -> None:
    sheet.page.evaluate("window.jupyterapp.commands.execute('docmanager:save')")
    sheet.page.wait_for_function("() => !window.jupyterapp.shell.currentWidget.context.model.dirty")
    book: Any = json.loads((sheet.lab.folder / "sheet.ipynb").read_text("utf-8"))
    # The picture stands below the panel, which hides it, and is of where the panel was left.
    data = next(each["data"] for each in book["cells"][0]["outputs"] if "image/png" in each.get("data", {}))
    assert not sheet.page.locator(".jp-RenderedImage").first.is_visible()
    assert 20_000 < len(data["image/png"]) < 200_000


def test_two_tabs_of_one_kernel_stand_alike(sheet: Sheet) -> None:
    """What one view moves the other shows, controls and curves, and what that moves then turns nothing back."""
    from playwright.sync_api import expect

    sheet.page.evaluate("window.jupyterapp.commands.execute('docmanager:save')")
    page = sheet.page.context.new_page()
    try:
        page.goto(f"{sheet.lab.address}/doc/tree/sheet.ipynb")
        page.wait_for_selector(f"{ROOT} .picture svg")
        other = Sheet(replace(sheet.lab, page=page))
        other.settled()
        sheet.put("gain", 31)
        sheet.settled()
        expect(other.slider("gain")).to_have_value("31")
        other.settled()
        assert other.paths() == sheet.paths()
        other.put("treble", 17)
        other.settled()
        expect(sheet.slider("treble")).to_have_value("17")
        sheet.settled()
        assert [each.slider("gain").input_value() for each in (sheet, other)] == ["31", "31"]
        assert sheet.lab.value("[panel.position[name] for name in ('gain', 'treble')]") == [0.31, 0.17]
        assert other.paths() == sheet.paths()
    finally:
        page.close()


@pytest.mark.parametrize("size", [(1024, 768), (1600, 1000), (420, 800)])
def test_nothing_is_cut_off(sheet: Sheet, size: tuple[int, int]) -> None:
    sheet.page.set_viewport_size({"width": size[0], "height": size[1]})
    sheet.choose("cathode", "6k8")
    sheet.settled()
    wide = sheet.page.evaluate(
        "(root) => { const e = document.querySelector(root); return [e.scrollWidth, e.clientWidth]; }", ROOT
    )
    assert wide[0] <= wide[1]
    cut = sheet.page.evaluate(
        """(root) => {
            const edge = document.querySelector(root).getBoundingClientRect();
            return [...document.querySelectorAll(`${root} :is(label, output, .note, button, input, svg)`)]
                .filter((each) => each.offsetParent !== null || each.tagName === 'svg')
                .filter((each) => { const box = each.getBoundingClientRect();
                    return box.width && (box.right > edge.right + 1 || box.left < edge.left - 1); })
                .map((each) => each.outerHTML.slice(0, 90));
        }""",
        ROOT,
    )
    assert cut == []
    if size[0] >= 1024:
        slider, picture = (
            sheet.slider("gain").bounding_box(),
            sheet.page.locator(f"{ROOT} .picture").first.bounding_box(),
        )
        assert slider["y"] < picture["y"] + picture["height"]  # seen together
        assert slider["x"] < picture["x"]
