"""The player in Chromium: what it sends to the loudspeaker sample by sample, keys, words, the blind comparison."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import binom

from ampsim.audio.clips import Clips
from ampsim.audio.player.content import player_facts, player_script
from ampsim.audio.player.embed import embed
from ampsim.job.page.write import write_page
from ampsim.measures.blind import read_line
from tests.audio.test_player import EVIL, clips_of, sines
from tests.browser.page_figures import missing
from tests.browser.player import FADE, HZ, LEAD, LEVELS, RATE, clip, offline, ramp, switched
from tests.job.test_page import small_job

pytestmark = pytest.mark.skipif(bool(missing()), reason=f"missing: {', '.join(missing())}")

# Whatever goes to the loudspeaker is kept as well, by the thread that makes it.
_TAP = r"""
window.heardBlocks = [];
const plain = AudioNode.prototype.connect;
const tap = `registerProcessor('tap', class extends AudioWorkletProcessor {
  process([input]) { if (input[0]) this.port.postMessage(input[0].slice()); return true; }
});`;
const Real = AudioContext;
window.AudioContext = class extends Real {
  constructor(...how) {
    super(...how);
    this.ready = this.audioWorklet.addModule(`data:text/javascript,${encodeURIComponent(tap)}`);
  }
};
AudioNode.prototype.connect = function (to, ...more) {
  if (to instanceof AudioDestinationNode && !(this instanceof AudioWorkletNode)) {
    this.context.ready.then(() => {
      const node = new AudioWorkletNode(this.context, 'tap');
      node.port.onmessage = ({ data }) => window.heardBlocks.push(...data);
      plain.call(this, node);
      plain.call(node, to);
    });
  }
  return plain.call(this, to, ...more);
};
"""

# What a busy machine would break, though the player did not. A few keys may take longer than the clip: its end, faded
# for good reasons, goes on as the sine does, whose eleven periods are 800 samples. And between looking at the clock and
# setting a fade by it more time may go by than the player's twentieth of a second: all is set so much sooner.
_BUSY = """
const clock = Object.getOwnPropertyDescriptor(BaseAudioContext.prototype, 'currentTime').get;
Object.defineProperty(BaseAudioContext.prototype, 'currentTime', { get() { return clock.call(this) + 0.3; } });
const copy = AudioBuffer.prototype.copyToChannel;
AudioBuffer.prototype.copyToChannel = function (row, ...where) {
  row.copyWithin(row.length - 320, row.length - 1120, row.length - 800);
  return copy.call(this, row, ...where);
};
"""

# Blocks arrive late where the machine is busy, so a fade has ended when the sound says so: in each of the last tenths
# the sine reaches its level. A tenth of 128 samples holds 1.8 periods, whose peak is met within 0.02 % at 32 kHz.
_RESTS = """(level) => [...Array(10).keys()].every((tenth) => {
  const end = heardBlocks.length - 128 * tenth;
  const peak = Math.max(...heardBlocks.slice(end - 128, end).map(Math.abs));
  return Math.abs(peak / level - 1) < 0.003;
})"""


def test_a_switch_makes_no_gap_no_click_and_no_seek(chromium: Any) -> None:
    """Against the closed form: one sine that never loses its phase, and levels on straight lines between."""
    heard, expected, states = switched(chromium)
    assert np.abs(heard - expected).max() < 2e-6
    assert [each["heard"] for each in states] == [0, 1, 2, 0]
    places = [moment - LEAD / RATE for moment in (0.256, 0.512, 0.516, 1.024)]
    assert [each["place"] for each in states] == pytest.approx(places, abs=1e-9)


def test_equal_positions_keep_their_level_through_a_switch(chromium: Any) -> None:
    """So nothing but a difference is heard; fades of equal power would add 3 dB here."""
    moves = [[round(0.128 * step, 3), "choose", step % 2] for step in range(1, 8)]
    heard, _ = offline(chromium, 1.0, [sines([0.3, 0.3], 1.0)], moves)
    assert np.abs(heard[LEAD:-LEAD] - 0.3 * clip(1.0)[: heard.size - 2 * LEAD]).max() < 2e-6


def test_pause_goes_on_where_it_stopped(chromium: Any) -> None:
    moves = [[0.256, "pause"], [0.512, "choose", 1], [0.768, "play"]]
    heard, states = offline(chromium, 1.0, [sines(LEVELS, 1.0)], moves)
    count, wave = heard.size, np.concatenate([clip(1.0), np.zeros(RATE)])
    stop, again = round(0.256 * RATE), round(0.768 * RATE) + LEAD
    expected = np.zeros(count)
    expected[LEAD:] = LEVELS[0] * wave[: count - LEAD]
    expected *= ramp(count, 0.256, 1.0, 0.0)
    expected[again:] += LEVELS[1] * wave[stop : stop + count - again] * ramp(count, 0.768, 0.0, 1.0)[again:]
    assert np.abs(heard - expected).max() < 2e-6
    assert [each["playing"] for each in states] == [True, False, False]


def test_without_repeat_it_ends_by_itself(chromium: Any) -> None:
    moves = [[0.128, "repeat", False], [0.768, "choose", 1]]
    heard, states = offline(chromium, 1.0, [sines(LEVELS, 0.5)], moves)
    expected = np.zeros(heard.size)
    expected[LEAD : LEAD + RATE // 2] = LEVELS[0] * clip(0.5)
    assert np.abs(heard - expected).max() < 2e-6
    assert states[0]["playing"]


def test_the_rest_of_a_clip_joins_on_without_a_seam(chromium: Any) -> None:
    rows = [sines(LEVELS, 0.5), sines(LEVELS, 1.5)]
    heard, _ = offline(chromium, 1.0, rows, [[0.256, "load", 1]], complete=False)
    assert np.abs(heard[LEAD:] - LEVELS[0] * clip(1.5)[: heard.size - LEAD]).max() < 2e-6


def test_where_the_first_part_has_ended_it_waits_and_goes_on(chromium: Any) -> None:
    rows = [sines(LEVELS, 0.384), sines(LEVELS, 1.5)]
    heard, states = offline(chromium, 1.2, rows, [[0.768, "load", 1]], complete=False)
    assert (states[0]["waiting"], states[0]["place"]) == (True, pytest.approx(0.384, abs=1e-9))
    end, again = round(0.384 * RATE), round(0.768 * RATE) + LEAD
    expected = np.zeros(heard.size)
    expected[LEAD : LEAD + end] = LEVELS[0] * clip(0.384)
    rest = clip(1.5)[end : end + heard.size - again]
    expected[again:] = LEVELS[0] * rest * ramp(heard.size, 0.768, 0.0, 1.0)[again:]
    assert np.abs(heard - expected).max() < 2e-6


def test_a_first_part_shorter_than_what_has_been_heard_begins_at_once(chromium: Any) -> None:
    rows = [sines([0.2], 1.5), sines([0.3], 0.5)]
    heard, _ = offline(chromium, 1.2, rows, [[0.768, "load", 1, False]])
    begun = round(0.768 * RATE) + LEAD
    expected = np.zeros(heard.size)
    expected[LEAD:] = 0.2 * clip(1.5)[: heard.size - LEAD] * ramp(heard.size, 0.768, 1.0, 0.0)[LEAD:]
    expected[begun:] += 0.3 * clip(0.5)[: heard.size - begun] * ramp(heard.size, 0.768, 0.0, 1.0)[begun:]
    assert np.abs(heard - expected).max() < 2e-6


_CONTRAST = """() => {
  const light = (colour) => {
    const parts = colour.match(/[\\d.]+/g).slice(0, 3).map((part) => part / 255);
    const [r, g, b] = parts.map((part) => (part <= 0.03928 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (box) => {
    const found = getComputedStyle(box).backgroundColor;
    return found !== "rgba(0, 0, 0, 0)" ? found : box.parentElement ? ground(box.parentElement) : "rgb(255, 255, 255)";
  };
  const worst = { texts: 0, least: 99, where: "" };
  for (const box of document.querySelectorAll(".ampsim-player *")) {
    const own = [...box.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
    if (!own || !box.checkVisibility()) continue;
    const [a, b] = [light(getComputedStyle(box).color), light(ground(box))];
    const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    worst.texts += 1;
    if (contrast < worst.least) [worst.least, worst.where] = [contrast, box.textContent];
  }
  return worst;
}"""


def opened(chromium: Any, folder: Path, clips: Any, before: str = "", **more: Any) -> Any:
    made = embed(clips)
    (folder / "page.html").write_text(
        f"<!doctype html><meta charset=utf-8><style>{made.style}</style>{made.body}<script>{made.script}</script>",
        "utf-8",
    )
    page = chromium.new_page(**more)
    page.problems, page.asked = [], []
    page.on("pageerror", lambda problem: page.problems.append(str(problem)))
    page.on("dialog", lambda dialog: (page.problems.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: page.asked.append(request.url))
    page.add_init_script(before)
    page.goto((folder / "page.html").as_uri())
    return page


def test_live_with_keys_the_sound_never_breaks(chromium: Any, tmp_path: Path) -> None:
    """The same in real time: where no fade is, every sample is that of one sine begun at one moment."""
    page = opened(chromium, tmp_path, clips_of(sines(LEVELS, 4.0)), _TAP + _BUSY)
    page.get_by_role("radio").first.focus()
    for key, place in ((" ", 0), ("2", 1), ("3", 2), ("1", 0), ("ArrowRight", 1)):
        page.keyboard.press(key)
        page.wait_for_function(_RESTS, arg=LEVELS[place] * 10.0 ** (-30.0 / 20.0))
    heard = np.trim_zeros(np.array(page.evaluate("heardBlocks")), "f")
    assert (page.problems, page.locator("#player").get_attribute("data-heard")) == ([], "1")
    turned = np.arange(heard.size)[:, None] * (2.0 * np.pi * HZ / RATE)
    sine, cosine = np.sin(turned).ravel(), np.cos(turned).ravel()
    start = np.linalg.lstsq(np.column_stack([sine, cosine])[-1000:], heard[-1000:], rcond=None)[0]
    one = (sine * start[0] + cosine * start[1]) / np.hypot(*start)
    clear = np.abs(one) > 0.5
    level = (heard / np.where(clear, one, 1.0))[clear][400:] / 10.0 ** (-30.0 / 20.0)
    steady = np.min([np.abs(level - each) for each in LEVELS], axis=0) < 1e-3
    assert level.min() > 0.1 - 1e-3
    assert level.max() < 0.4 + 1e-3
    assert {float(each) for each in np.round(level[steady], 2)} == set(LEVELS)
    # Besides four fades of 15 ms nothing moves.
    assert (~steady).sum() <= 4 * FADE * clear.mean() * 1.1
    assert np.abs(np.diff(level)).max() < 0.02


def test_it_can_be_read_on_a_dark_page(chromium: Any, tmp_path: Path) -> None:
    """As in a notebook with a dark theme: every text against the ground it stands on, contrast as WCAG 2.1 has it."""
    page = opened(chromium, tmp_path, clips_of(sines(LEVELS, 1.0)), color_scheme="dark")
    page.evaluate("document.body.style.background = '#111'")
    page.get_by_role("button", name="Compare blind").click()
    page.get_by_text("What was done to each").click()
    worst = page.evaluate(_CONTRAST)
    assert worst["texts"] > 15
    assert worst["least"] >= 4.5, worst
    page.close()


def test_it_is_found_and_used_by_its_words(chromium: Any, tmp_path: Path) -> None:
    page = opened(chromium, tmp_path, clips_of(sines(LEVELS, 2.0), labels=["stock", "bright", "fat"]))
    group = page.get_by_role("radiogroup", name="position heard")
    assert group.get_by_role("radio").count() == 3
    beside = group.get_by_role("radio", name="bright").get_attribute("aria-describedby")
    assert page.locator(f"#{beside}").inner_text() == "Turned up by 2.5 dB to be as loud as 1"
    assert page.get_by_text("What was done to each").is_visible()
    level = page.get_by_role("slider", name="listening level")
    assert level.get_attribute("aria-valuetext") == "-30 decibels of full scale"
    for words in ("Standard of loudness: no standard.", "the cabinet is not modelled", "Start low."):
        assert page.get_by_text(words).first.is_visible()
    said = page.locator(".small > p").all_inner_texts()
    assert said == ["A sine; the cabinet is not modelled.", "On this page sounds reach up to 14.1 kHz."]
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Play"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.textContent") == "Pause"
    page.keyboard.press("3")
    assert page.get_by_text("Heard now: 3 fat.").is_visible()
    page.keyboard.press("ArrowLeft")
    assert page.get_by_text("Heard now: 2 bright.").is_visible()
    outline = page.evaluate("getComputedStyle(document.querySelector('.choice.on')).outlineStyle")
    assert outline == "solid"
    page.keyboard.press(" ")
    assert page.get_by_text("Chosen: 2 bright.").is_visible()
    page.locator(".choice").first.click()
    assert page.get_by_text("Chosen: 1 stock.").is_visible()
    assert page.locator(".choice.on .now").inner_text() == "chosen"
    assert (page.problems, len(page.asked)) == ([], 1)


def test_blind_names_are_hidden_told_and_counted(chromium: Any, tmp_path: Path) -> None:
    random = "let turn = 0; Math.random = () => [0.5, 0.9, 0.1, 0.5][turn++ % 4];"  # X: 2, 3, 1, 2
    page = opened(chromium, tmp_path, clips_of(sines(LEVELS, 2.0), labels=["stock", "bright", "fat"]), random)
    page.get_by_role("button", name="Compare blind").click()
    status = page.locator("p[role=status]")
    right = 0
    for turn, (hidden, guess) in enumerate(((2, 2), (3, 1), (1, 1), (2, 2)), 1):
        assert page.get_by_text("Chosen: X.").is_visible()
        assert page.locator("#player").get_attribute("data-heard") == "hidden"
        page.keyboard.press("1")
        page.keyboard.press("x")
        page.locator(".guesses button").nth(guess - 1).click()
        right += hidden == guess
        chance = 100.0 * float(binom.sf(right - 1, turn, 1.0 / 3.0))
        said = status.inner_text()
        assert said.startswith(f"X was {hidden} {('stock', 'bright', 'fat')[hidden - 1]}. {right} of {turn} right;")
        assert said.endswith(f"in {chance:.0f} % of all trials.")
        page.get_by_role("button", name="Next round").click()
    page.get_by_role("button", name="End blind comparison").click()
    assert page.get_by_role("radio").count() == 3
    assert page.get_by_text("Chosen: 2 bright.").is_visible()
    assert page.problems == []


def test_only_positions_that_differ_are_compared_blind_and_only_those_that_are_chosen(
    chromium: Any, tmp_path: Path
) -> None:
    """The same sound under another name is said to be that; any two of the others may be chosen."""
    rows = [*sines((0.1, 0.4), 1.0), *sines((0.1, 0.2), 1.0)]
    page = opened(chromium, tmp_path, clips_of(rows, labels=["stock", "bright", "off", "fat"]))
    assert "3 off made as loud is the same sound as 1 stock" in page.locator(".twins").inner_text()
    asked = page.get_by_role("group", name="compare blind between")
    assert asked.locator("label").all_inner_texts() == ["1 stock", "2 bright", "4 fat"]
    asked.get_by_label("2 bright").uncheck()
    page.get_by_role("button", name="Compare blind").click()
    assert page.locator(".guesses button").all_inner_texts() == ["1 stock", "4 fat"]
    page.locator(".guesses button").first.click()
    assert "Compared blind, 1 stock or 4 fat: " in page.locator(".paper").text_content()
    page.get_by_role("button", name="End blind comparison").click()
    asked.get_by_label("4 fat").uncheck()
    assert page.get_by_role("button", name="Compare blind").is_disabled()
    page.close()
    alike = opened(chromium, tmp_path, clips_of(sines((0.1, 0.1), 1.0)))
    assert alike.get_by_role("button", name="Compare blind").is_disabled()
    assert "same sound" in alike.locator(".twins").inner_text()
    alike.close()


def test_on_a_page_a_result_is_a_line_to_send(chromium: Any, tmp_path: Path) -> None:
    labels = ["stock", f"fat {EVIL}", "one / other"]
    page = opened(chromium, tmp_path, clips_of(sines(LEVELS, 1.0), labels=labels), "Math.random = () => 0.5;")
    page.get_by_role("button", name="Compare blind").click()
    assert not page.locator("#kept").is_visible()
    for guess in (0, 1, 1):
        page.locator(".guesses button").nth(guess).click()
        page.get_by_role("button", name="Next round").click()
    found = read_line(page.get_by_label("The result as a line").input_value())
    assert (found.right, found.rounds) == (2, 3)
    assert found.among == ("stock", " ".join(f"fat {EVIL}".split()), "one/other")
    page.locator("#kept button").click()
    page.locator("#kept").get_by_text("opied").or_(page.locator("#kept").get_by_text("marked")).wait_for()
    assert page.problems == []
    page.close()


_STANDING = "Object.defineProperty(BaseAudioContext.prototype, 'currentTime', { get: () => 0 });"
_SEEN = "AudioContext = class extends AudioContext { constructor(how) { super(how); window.seen = this; } };"
_OUTPUTS = "navigator.mediaDevices.enumerateDevices = async () => [{ kind: %r }];"


@pytest.mark.parametrize(
    ("before", "silent"),
    [(_OUTPUTS % "audiooutput", False), (_OUTPUTS % "audioinput", True), (_OUTPUTS % "audiooutput" + _STANDING, True)],
    ids=["a device", "no device", "a device that stands still"],
)
def test_without_a_sound_device_it_is_said(chromium: Any, tmp_path: Path, before: str, silent: bool) -> None:
    page = opened(chromium, tmp_path, clips_of(sines(LEVELS, 4.0)), before + _SEEN)
    page.clock.install()  # after two seconds the page looks whether the device has let its clock go on
    page.get_by_role("button", name="Play", exact=True).click()
    if silent:
        page.clock.run_for(2300)
        page.locator(".trouble").get_by_text("no sound device").wait_for()
    else:
        page.wait_for_function("seen.currentTime > 0")
        page.clock.run_for(2300)
        assert "no sound device" not in page.locator(".trouble").text_content()
    assert page.problems == []
    page.close()


def test_what_is_heard_alone_is_not_guessed_at(chromium: Any) -> None:
    clips = clips_of(sines(LEVELS, 0.1))
    told = player_facts(Clips(clips.clips[:2], clips.standard, clips.unit, clips.words, clips.caution), clips.clips[2:])
    page = chromium.new_page()
    page.set_content("<div></div>")
    page.evaluate(
        f"""(told) => {{ {player_script()};
        makePlayer(document.querySelector('div')).load(told, [1, 2, 3].map(() => new Float32Array(800)), 8000); }}""",
        told,
    )
    assert page.get_by_text("At its true level").is_visible()
    page.get_by_role("button", name="Compare blind").click()
    assert page.locator(".guesses button").all_inner_texts() == ["1 position 0", "2 position 1"]
    assert page.get_by_role("radio").count() == 4
    page.close()


def test_the_chance_by_guessing_is_that_of_the_binomial_distribution(chromium: Any) -> None:
    page = chromium.new_page()
    asked = [[right, rounds, choices] for rounds in (1, 5, 16, 60) for right in (1, rounds) for choices in (2, 3, 9)]
    found = page.evaluate(
        f"(asked) => {{ {player_script()}; return asked.map((each) => chanceByGuessing(...each)); }}", asked
    )
    expected = [float(binom.sf(right - 1, rounds, 1.0 / choices)) for right, rounds, choices in asked]
    assert found == pytest.approx(expected, abs=1e-12)
    page.close()


def test_texts_that_mean_harm_do_none(chromium: Any, tmp_path: Path) -> None:
    page = opened(chromium, tmp_path, clips_of(sines(LEVELS, 1.0), evil=EVIL), viewport={"width": 320, "height": 640})
    page.get_by_role("button", name="Compare blind").click()
    page.locator(".guesses button").first.click()
    assert page.locator(".choice .name").first.text_content() == f"position 0{EVIL}"
    assert page.evaluate("document.querySelectorAll('img, [onload], [onerror]').length") == 0
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert (page.problems, len(page.asked)) == ([], 1)


def test_the_owners_page_plays_and_asks_nothing_of_a_network(chromium: Any, tmp_path: Path) -> None:
    """Under the page's own policy, with labels that mean harm, and on paper with no more than a line."""
    clips = clips_of(sines(LEVELS, 1.0), evil=EVIL)
    path = write_page(small_job("cathode-switch"), tmp_path / "page.html", clips=clips)
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    problems: list[str] = []
    asked: list[str] = []
    page.on("pageerror", lambda problem: problems.append(str(problem)))
    page.on("console", lambda line: problems.append(line.text))
    page.on("dialog", lambda dialog: (problems.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    player = page.get_by_role("group", name="listen to the positions")
    player.get_by_role("button", name="Play", exact=True).click()
    page.keyboard.press("2")
    assert player.locator(".heard").inner_text().startswith("Heard now: 2 position 1</script>")
    page.locator(".ampsim-player[data-state=playing]").wait_for()
    page.get_by_label("6k8").check()
    assert page.locator("p [data-now]").inner_text().startswith("cathode 6k8")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert (problems, len(asked)) == ([], 1)
    page.emulate_media(media="print")
    assert player.get_by_text("opened on a screen").is_visible()
    assert not player.get_by_role("button").first.is_visible()
    page.close()


def test_a_position_chosen_on_the_page_is_heard_and_the_other_way_round(chromium: Any, tmp_path: Path) -> None:
    job = small_job("cathode-switch", "depth")
    stands: list[Any] = [None, ("6k8", 1.0), ("as drawn", 1.0), ("6k8", 0.0)]
    plain = clips_of(sines((0.1, 0.2, 0.3, 0.4), 1.0))
    made = tuple(
        replace(clip, variant=job.modded.variant, setting=dict(zip(("cathode", "depth"), at, strict=True)))
        if at
        else replace(clip, variant=job.stock.variant)
        for clip, at in zip(plain, stands, strict=True)
    )
    page = chromium.new_page()
    page.goto(write_page(job, tmp_path / "page.html", ["cathode", "depth"], clips=replace(plain, clips=made)).as_uri())
    now, heard, told = page.locator("p [data-now]"), page.locator(".ampsim-player .heard"), page.locator("[data-sound]")
    for number, place in ((2, "cathode 6k8, depth 10"), (4, "cathode 6k8, depth 0"), (3, "cathode as drawn, depth 10")):
        page.locator(".choice").nth(number - 1).click()
        assert (now.inner_text(), told.inner_text()) == (place, "")
    page.locator(".choice").first.click()
    assert now.inner_text() == "cathode as drawn, depth 10"
    page.get_by_label("6k8").check()
    assert heard.inner_text() == "Chosen: 2 position 1."
    page.get_by_role("slider", name="depth").fill("3")
    assert heard.inner_text() == "Chosen: 4 position 3."
    assert told.inner_text().endswith("what is heard has depth at 0.")
    page.get_by_label("2k7 and 1u").check()
    assert told.inner_text().endswith("what is heard has cathode at 6k8 and depth at 0.")
    # What is hidden is not given away by where the page stands, nor by what is chosen there.
    page.get_by_role("button", name="Compare blind").click()
    page.locator(".choice").nth(2).click()
    assert now.inner_text() == "cathode 2k7 and 1u, depth 3"
    page.get_by_label("6k8").check()
    assert page.locator("#player").get_attribute("data-heard") == "2"
    page.close()


def test_paper_has_a_line_of_words_instead(chromium: Any, tmp_path: Path) -> None:
    page = opened(chromium, tmp_path, clips_of(sines(LEVELS, 1.0)))
    assert not page.get_by_text("opened on a screen").is_visible()
    page.emulate_media(media="print")
    assert page.get_by_text("opened on a screen").is_visible()
    assert not page.get_by_role("button").first.is_visible()
    page.close()
    silent = opened(chromium, tmp_path, clips_of(sines(LEVELS, 1.0)), java_script_enabled=False)
    assert silent.get_by_text("with JavaScript").is_visible()
    assert len(re.findall("player", silent.locator("#player").inner_html())) == 0
