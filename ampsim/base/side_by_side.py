"""Pieces of work side by side in one process: while one waits for a simulator, another computes."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import copy_context
from queue import Empty, SimpleQueue
from threading import Event
from typing import TypeVar

from .errors import Stopped
from .progress import told_instead
from .system import TICK

_Result = TypeVar("_Result")
_TURN = 0.0005  # s; who has read an answer of a simulator waits no longer for its turn


def side_by_side(
    pieces: Sequence[Callable[[], _Result]],
    hands: int,
    tell: Callable[[int, _Result | None], object] = lambda _place, _result: None,
) -> list[_Result]:
    """Do pieces of work, begun in their order, and return their results in that order.

    On Ctrl-C and after an error those under way stop at their next word of progress, and the rest is left.

    Parameters
    ----------
    pieces : sequence of callable
        None may change what another reads.
    hands : int
        How many are under way at once; with one, everything is done in the thread that called.
    tell : callable
        Called in the thread that called with the place of a piece: with None when it begins, then with its result.
    """
    if hands < 2 or len(pieces) < 2:
        return [_alone(place, piece, tell) for place, piece in enumerate(pieces)]
    stopped, news = Event(), SimpleQueue[tuple[int, bool]]()

    def watch(_done: int, _total: int, _text: str) -> None:
        if stopped.is_set():
            raise Stopped("given up while it was under way")

    def attend(place: int) -> _Result:
        watch(0, 0, "")
        news.put((place, False))
        try:
            with told_instead(watch):
                return pieces[place]()
        finally:
            news.put((place, True))

    pool = ThreadPoolExecutor(min(hands, len(pieces)), "side-by-side")
    try:
        with _short_turns():
            under_way = [pool.submit(copy_context().run, attend, place) for place in range(len(pieces))]
            for place, ended in _heard(news, 2 * len(pieces)):
                tell(place, under_way[place].result() if ended else None)
            return [each.result() for each in under_way]
    finally:
        stopped.set()
        pool.shutdown(wait=True, cancel_futures=True)


def _alone(place: int, piece: Callable[[], _Result], tell: Callable[[int, _Result | None], object]) -> _Result:
    tell(place, None)
    result = piece()
    tell(place, result)
    return result


def _heard(news: SimpleQueue[tuple[int, bool]], count: int) -> Iterator[tuple[int, bool]]:
    """So many messages, waited for in short steps, so that Ctrl-C ends the wait on every system."""
    while count:
        try:
            yield news.get(timeout=TICK)
        except Empty:
            continue
        count -= 1


@contextmanager
def _short_turns() -> Iterator[None]:
    before = sys.getswitchinterval()
    sys.setswitchinterval(_TURN)
    try:
        yield
    finally:
        sys.setswitchinterval(before)
