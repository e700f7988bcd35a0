"""Work side by side gives what it gives one after the other, and stops as a whole."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import pytest

from ampsim.base.errors import Stopped
from ampsim.base.progress import ProgressBar
from ampsim.base.side_by_side import side_by_side


@pytest.mark.parametrize("hands", [1, 2, 3, 20])
def test_results_stand_in_order_and_the_caller_is_told_in_its_own_thread(hands: int) -> None:
    under_way, most = set[int](), [0]
    told: list[tuple[int, int | None, threading.Thread]] = []

    def piece(place: int) -> Callable[[], int]:
        def work() -> int:
            under_way.add(place)
            most[0] = max(most[0], len(under_way))
            time.sleep(0.002 * (place % 3))
            under_way.discard(place)
            return place**2

        return work

    found = side_by_side([piece(place) for place in range(9)], hands, lambda *news: told.append((*news, _here())))
    assert found == [place**2 for place in range(9)]
    assert 1 <= most[0] <= hands
    assert {each for _, _, each in told} == {_here()}
    for place in range(9):
        assert [result for each, result, _ in told if each == place] == [None, place**2]


def _here() -> threading.Thread:
    return threading.current_thread()


class Endless:
    """Work that ends only where it is stopped, by its word of progress."""

    def __init__(self) -> None:
        self.begun, self.stopped = threading.Event(), threading.Event()

    def __call__(self) -> int:
        self.begun.set()
        bar, until = ProgressBar(), time.monotonic() + 240.0
        try:
            while time.monotonic() < until:
                bar(1, 2, "simulations")
                time.sleep(0.001)
        except Stopped:
            self.stopped.set()
            raise
        return 1


def test_an_error_stops_what_is_under_way_and_what_was_not_begun() -> None:
    endless, begun = Endless(), []

    def faulty() -> int:
        endless.begun.wait(240.0)
        raise ValueError("this one")

    with pytest.raises(ValueError, match="this one"):
        side_by_side([endless, faulty, lambda: begun.append(1) or 1], 2)
    assert endless.stopped.is_set()
    assert not begun


def test_ctrl_c_stops_everything() -> None:
    pieces = [Endless(), Endless(), Endless()]

    def interrupt(place: int, _result: int | None) -> None:
        if place == 1:
            pieces[0].begun.wait(240.0)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        side_by_side(pieces, 2, interrupt)
    assert pieces[0].stopped.is_set()
    assert not pieces[2].begun.is_set()
    assert not [each for each in threading.enumerate() if each.name.startswith("side-by-side")]
