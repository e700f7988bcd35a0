"""What the panel says of itself beside its curves: what changes nothing here, and what a saved notebook keeps."""

from __future__ import annotations

import asyncio
import random
import re
import threading
from typing import Any

import numpy as np
import pytest

pytest.importorskip("anywidget", reason="the extra 'notebooks' is not installed")

import IPython.display

from ampsim.base.progress import quiet
from ampsim.circuit.values import with_values
from ampsim.interface.panel import Panel, explore
from ampsim.interface.panel.background import BackgroundTask
from ampsim.interface.panel.idle import HEARD_DB, idle_dials
from ampsim.library import loader
from ampsim.simulation.analyses import FrequencySweep
from ampsim.simulation.response import simulate

JOB = loader.load_audition("bright-cathode-depth")


@pytest.fixture(scope="module")
def panel() -> Panel:
    return explore(JOB.stock, JOB.modded, values={"C101": ("47p", "22n", "E6"), "R4": ("680", "4k7", "E6")})


def idle_at(panel: Panel, **at: float | str) -> set[str]:
    state = panel._state
    panel.turn(at)
    return set(idle_dials(state.simulator, state.dials, state.here(), state.node, quiet))


def test_what_is_out_of_circuit_or_has_no_track_left_changes_nothing(panel: Panel) -> None:
    assert idle_at(panel, bright="120p", gain=0.3) == set()
    assert idle_at(panel, bright="open", gain=0.3) == {"part C101"}
    assert idle_at(panel, bright="390p", gain=1.0) == {"part C101", "switch bright"}


@pytest.mark.parametrize("seed", range(2))
def test_what_is_said_to_change_nothing_changes_nothing_anywhere_on_its_way(panel: Panel, seed: int) -> None:
    """Every knob, switch and part at random steps of its own, from a random position: by fresh simulations."""
    draw, state = random.Random(seed), panel._state
    panel.at = {
        **panel.at,
        **{d.key: draw.randrange(len(d.values)) for d in state.dials if d.kind in ("knob", "switch")},
    }
    here, dials = state.here(), [dial for dial in state.dials if dial.kind in ("knob", "switch", "part")]
    idle = idle_dials(state.simulator, dials, here, "speaker", quiet)

    def levels(settings: Any, values: Any) -> Any:
        amps = [JOB.stock, with_values(JOB.modded, values)]
        grid = FrequencySweep(20.0, 20e3, 5)
        return 20.0 * np.log10(np.abs(simulate(amps, grid, [settings], ["speaker"])["voltage"].values))

    drawn = levels(here.settings, here.values)
    for dial in dials:
        moved = 0.0
        for step in {0, len(dial.values) - 1, draw.randrange(len(dial.values))}:
            part = {dial.name: dial.values[step]}
            where = (here.settings, here.values | part) if dial.kind == "part" else (here.settings | part, here.values)
            moved = max(moved, float(np.abs(levels(*where) - drawn).max()))
        assert (moved < HEARD_DB) == (dial.key in idle), (dial.key, moved)


def test_it_is_told_once_it_is_known_and_only_for_where_the_panel_stands(panel: Panel) -> None:
    panel.turn({"bright": "open", "gain": 0.3})
    panel._on_button(None, {"do": "rest", "with": "", "at": {}}, [])
    panel._idle_task.join(240.0)
    assert panel.idle == {"of": panel.at, "keys": ["part C101"]}
    panel.turn({"bright": "390p"})
    assert panel.idle["of"] != panel.at


def test_an_answer_that_comes_after_the_page_was_closed_is_dropped() -> None:
    task: BackgroundTask[int] = BackgroundTask()
    go = threading.Event()

    async def ask() -> None:
        task.start(lambda progress: int(go.wait(240.0)), told.append)

    told: list[Any] = []
    asyncio.run(ask())
    go.set()
    task.join(240.0)  # an error in the thread would be one of this test
    assert told == []


def test_a_notebook_keeps_the_panel_as_it_was_left(panel: Panel, monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[Any] = []

    class Handle:
        display_id = "one"

        def update(self, data: Any, raw: bool) -> None:
            shown.append(data)

    monkeypatch.setattr(IPython.display, "display", lambda data, **how: shown.append(data) or Handle())
    panel.turn({"gain": 0.3, "bright": "120p"})
    panel._ipython_display_()
    hint, live, executed = shown
    assert "application/vnd.jupyter.widget-view+json" in live
    assert "image/png" not in live
    # A front end without anywidget shows an error in place of the panel: what to install is an output of its own, which
    # the style of a panel that can be seen hides.
    assert "application/vnd.jupyter.widget-view+json" not in hint
    assert all("pip install anywidget" in words for words in hint.values())
    (marked,) = re.findall('class="([^"]+)"', hint["text/html"])
    assert re.search(rf"\.{marked}\b[^{{]*{{\s*display: none", panel._css)
    panel.turn({"gain": 0.9})
    assert len(shown) == 3
    panel._on_button(None, {"do": "rest", "with": "", "at": {}}, [])
    panel._idle_task.join(240.0)
    left = shown[-1]
    assert "gain 9" in left["text/plain"]
    assert left["image/png"] != executed["image/png"]
    assert left == panel._as_it_stands()


def test_what_the_browser_says_waits_until_a_cell_is_done_with_the_panel(
    panel: Panel, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A kernel may take messages in one thread and run cells in another: each picture is that of one of them."""
    begun, go_on, turn = threading.Event(), threading.Event(), panel._state.turn

    def slow(at: dict[str, int]) -> dict[str, Any]:
        begun.set()
        assert go_on.wait(240.0)
        return turn(at)

    monkeypatch.setattr(panel._state, "turn", slow)
    cell = threading.Thread(target=panel.turn, args=({"depth": 0.3},))
    said = {"do": "hold", "with": "as it was", "at": {}}
    message = threading.Thread(target=panel._on_button, args=(None, said, []))
    cell.start()
    assert begun.wait(240.0)
    message.start()
    message.join(1.0)
    assert panel._state.held == []
    go_on.set()
    cell.join(240.0)
    message.join(240.0)
    assert [(each.name, each.settings["depth"]) for each in panel._state.held] == [("as it was", 0.3)]
