"""The figures of the player: what a switch does to the sound, how soon there is one, how large a page gets."""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ampsim.audio.matching import match_loudness
from ampsim.audio.phrases import phrase
from ampsim.audio.render import render
from ampsim.circuit.positions import every_position
from ampsim.job.page.write import write_page
from ampsim.studies.audition_request import Audition
from tests.browser import lab, page_figures, player
from tests.browser.sheet import ROOT, Sheet
from tests.figures.figure import Figure, Scale

_TURNS = 6
# From the click to a sound that has been handed to the device, in milliseconds.
_SOON = """(root) => new Promise((done) => {
  const player = document.querySelector(`${root} .ampsim-player`);
  const start = performance.now();
  new MutationObserver((_, watcher) => {
    if (player.dataset.state !== 'playing') return;
    watcher.disconnect();
    done(performance.now() - start);
  }).observe(player, { attributes: true, attributeFilter: ['data-state'] });
  [...document.querySelectorAll(`${root} .aloud button`)].find((each) => each.textContent === 'Hear it').click();
})"""


def switching(_: Scale) -> Iterator[Figure]:
    """Four switches between sines of three levels, against the closed form."""
    if page_figures.missing():
        yield Figure("player", f"not measured: {', '.join(page_figures.missing())} is missing", "", False)
        return
    with page_figures.browser() as running:
        heard, expected, _states = player.switched(running)
    worst = float(np.abs(heard - expected).max() / max(player.LEVELS))
    name = "player: four switches against one unbroken sine on straight fades, worst sample"
    yield Figure(name, f"{worst:.1e} of the largest", "<= 1e-5", worst <= 1e-5)


def first_sound(_: Scale) -> Iterator[Figure]:
    """Stock and modded on the live panel, after a knob has moved: from the button to the sound."""
    if lab.missing():
        yield Figure("sound on the panel", f"not measured: {', '.join(lab.missing())} is missing", "", False)
        return
    times = []
    with tempfile.TemporaryDirectory() as folder, lab.lab(Path(folder)) as opened:
        sheet = Sheet(opened)
        sheet.run()
        opened.python(f"import os; os.environ['AMPSIM_CACHE'] = {folder!r} + '/kept'")
        opened.page.locator(ROOT).get_by_text("Hear the difference", exact=True).click()
        for turn in range(_TURNS + 1):
            sheet.put("gain", 30 + 5 * turn)
            sheet.settled()
            times.append(float(opened.page.evaluate(_SOON, ROOT)) / 1000.0)
            opened.page.locator(f"{ROOT} .ampsim-player").get_by_role("button", name="Pause", exact=True).click()
            opened.python("panel.cancel_sound(); panel._playing.join(30.0)")
    middle = statistics.median(times[1:])
    value = f"{middle:.2f} s (worst {max(times[1:]):.2f}, the very first {times[0]:.2f})"
    yield Figure("first sound after a change of position, warm, median", value, "<= 1 s", middle <= 1.0)


def page_with_sounds(_: Scale) -> Iterator[Figure]:
    """The owner's page with stock and two positions of the whole phrase."""
    job: Audition = page_figures.job_of_two_mods()
    places = every_position(job.modded, "cathode")
    sounds = match_loudness(render(job.modded, places, phrase(), oversampling=1))
    with tempfile.TemporaryDirectory() as folder:
        with_them = write_page(job, Path(folder) / "with.html", clips=sounds).stat().st_size
        without = write_page(job, Path(folder) / "without.html").stat().st_size
    added = (with_them - without) / 1e6
    name = f"owner's page: {len(sounds)} positions of {sounds.seconds:.1f} s to hear add"
    yield Figure(name, f"{added:.2f} MB", "<= 4.1 MB", added <= 4.1)


SECTIONS = (switching, first_sound, page_with_sounds)
