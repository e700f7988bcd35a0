"""Thousands of netlists, chunk by chunk: on this machine or elsewhere, kept in a folder, stopped and taken up again.

A chunk travels as a whole to wherever it is worked on and comes back as plain arrays. Every netlist is loaded afresh,
so its numbers are the same to the last bit whichever process works on it, beside whatever else.
"""

from __future__ import annotations

import concurrent.futures
import contextlib
import itertools
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from ..base.errors import DescriptionError, EngineError, Stopped
from ..base.progress import SIMULATIONS, Progress, ProgressBar, quiet
from ..base.system import as_done, cores
from .batch_store import Keeper, Packed, pack, unpack
from .kept_sweeps import run_kept
from .netlist import Netlist
from .ngspice import engine
from .ngspice.engine import Outcome

# Netlists in a chunk: a tenth of a second of work or more, so that transport and keeping do not count.
CHUNK = 32
# Chunks handed out at most: enough for a cluster of many processes, few enough to stop and to hold in memory.
_AHEAD = 64


class Future(Protocol):
    """What an executor hands out: the result, later."""

    def result(self) -> Any:
        """Wait for the result, or raise what went wrong."""

    def cancel(self) -> Any:
        """Give the work up if it has not begun."""


class Executor(Protocol):
    """Whoever can call a function elsewhere: the executors of `concurrent.futures`, dask's `Client.get_executor()`."""

    def submit(self, work: Callable[..., Any], /, *arguments: Any) -> Future:
        """Call the function with these arguments, some time, in some process."""


@dataclass(frozen=True)
class Tally:
    """What became of a campaign's distinct netlists: those simulated now, and those found in the folder."""

    simulated: int
    kept: int


def run(
    netlists: Iterable[Netlist],
    *,
    folder: str | Path | None = None,
    executor: Executor | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
    total: int | None = None,
    tally: Callable[[Tally], object] | None = None,
) -> list[Outcome]:
    """Simulate a campaign of netlists and return their outcomes in order; equal netlists run once.

    Parameters
    ----------
    netlists : iterable of Netlist
        May be made one by one, while the first are already at work.
    folder : str or Path, optional
        Where finished chunks are kept. A campaign that was stopped or killed goes on from there. Files of another
        campaign do no harm; torn or foreign ones count as not there. Numbers alone are ever read from it.
    executor : Executor, optional
        Works on the chunks, each in one of its processes with one simulator; ampsim and ngspice must be installed
        there. Without it: `workers` simulators of this process.
    workers : int, optional
        Simulator processes; as many as there are cores if not given. An executor has its own say.
    progress : callable, optional
        See `base.progress`; called after each chunk with the netlists done.
    total : int, optional
        How many netlists there are, for `progress`, where they are made one by one.
    tally : callable, optional
        Called at the end with how many were simulated and how many had been kept.

    Returns
    -------
    list of Arrays or EngineError
        As `engine.run`: the failure of one netlist is returned.

    Raises
    ------
    DescriptionError
        When the folder cannot be written.
    EngineError
        When a chunk cannot be worked on at all.
    """
    wanted = netlists if total is not None else list(netlists)
    count = len(wanted) if isinstance(wanted, list) else total or 0
    bar = ProgressBar()
    work = _Campaign(_keeper(folder), progress or bar, count)
    try:
        with _hands(executor, workers) as hands:
            return work.finish(wanted, hands)
    finally:
        bar.close()
        if tally is not None:
            tally(Tally(work.simulated, work.kept))


def answer(netlists: tuple[Netlist, ...]) -> Packed:
    """Work on one chunk in this process, with one simulator: what an executor calls."""
    return pack(engine.run(netlists, workers=1, progress=quiet))


@contextlib.contextmanager
def _hands(executor: Executor | None, workers: int | None) -> Iterator[Callable[[tuple[Netlist, ...]], Future]]:
    """Give chunks to the executor, or to as many threads as there are to be simulators."""
    if executor is not None:
        yield lambda chunk: executor.submit(answer, chunk)
        return
    stopped = threading.Event()

    def watch(_done: int, _total: int, _text: str) -> None:
        if stopped.is_set():
            raise Stopped("the campaign was given up while a chunk was at work")

    def attend(chunk: tuple[Netlist, ...]) -> Packed:
        return pack(run_kept(chunk, watch, workers=1))

    threads = ThreadPoolExecutor(max(1, workers or cores()))
    try:
        yield lambda chunk: threads.submit(attend, chunk)
    finally:
        stopped.set()
        threads.shutdown(wait=True, cancel_futures=True)


@dataclass
class _Campaign:
    """One call of `run`: which netlists are distinct, which chunks are out, what has come back."""

    keeper: Keeper | None
    report: Progress
    total: int
    simulated: int = 0
    kept: int = 0
    _outcomes: list[Outcome] = field(default_factory=list)
    _uses: list[int] = field(default_factory=list)

    def finish(self, netlists: Iterable[Netlist], hands: Callable[[tuple[Netlist, ...]], Future]) -> list[Outcome]:
        """Hand chunks out and take them back in order; on any interruption give up those still out."""
        order: list[int] = []
        out: deque[tuple[tuple[Netlist, ...], Packed | Future]] = deque()
        try:
            for chunk in self._chunks(self._distinct(netlists, order)):
                out.append((chunk, self._look_up(chunk) or hands(chunk)))
                while len(out) >= _AHEAD or (out and _there(out[0][1])):
                    self._take(*out.popleft())
            while out:
                self._take(*out.popleft())
        finally:
            for _, future in out:
                if not isinstance(future, Packed):
                    future.cancel()
        self.report(len(order), self.total, SIMULATIONS)
        return [self._outcomes[place] for place in order]

    def _distinct(self, netlists: Iterable[Netlist], order: list[int]) -> Iterator[Netlist]:
        places: dict[tuple[str, tuple[str, ...]], int] = {}
        for netlist in netlists:
            place = places.setdefault((netlist.digest, netlist.form.vectors), len(places))
            order.append(place)
            if place == len(self._uses):
                self._uses.append(0)
                yield netlist.with_fresh_load()
            self._uses[place] += 1

    @staticmethod
    def _chunks(netlists: Iterator[Netlist]) -> Iterator[tuple[Netlist, ...]]:
        while chunk := tuple(itertools.islice(netlists, CHUNK)):
            yield chunk

    def _look_up(self, chunk: tuple[Netlist, ...]) -> Packed | None:
        return self.keeper.find(chunk) if self.keeper else None

    def _take(self, chunk: tuple[Netlist, ...], found: Packed | Future) -> None:
        if isinstance(found, Packed):
            self.kept += len(chunk)
        else:
            found = _result(found)
            self.simulated += len(chunk)
            if self.keeper:
                self.keeper.keep(chunk, found)
        self._outcomes += unpack(chunk, found)
        self.report(sum(self._uses[: len(self._outcomes)]), self.total, SIMULATIONS)


def _there(found: Packed | Future) -> bool:
    return isinstance(found, Packed) or bool(getattr(found, "done", lambda: False)())


def _result(future: Future) -> Packed:
    try:
        if isinstance(future, concurrent.futures.Future):
            future = next(as_done([future]))
        return Packed(*future.result())
    except EngineError:
        raise
    except Exception as problem:
        raise EngineError(f"a chunk of the campaign was lost: {type(problem).__name__}: {problem}") from problem


def _keeper(folder: str | Path | None) -> Keeper | None:
    if folder is None:
        return None
    path = Path(folder)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise DescriptionError(f"{path}: cannot keep a campaign there: {problem}") from problem
    return Keeper(path)
