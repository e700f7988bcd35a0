"""The engine: netlists in, arrays out, on every core, whatever happens to a simulator process."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...base.errors import EngineError
from ...base.progress import SIMULATIONS, Progress, ProgressBar, throttled
from ...base.system import TICK, cores
from ..netlist import Netlist
from .kept_answers import fetch_answer, keep_answer
from .pool import POOL, Worker
from .protocol import Answer, Form, Task

# A guard against a simulation that never ends, per netlist [s].
TIMEOUT = 60.0
# Netlists in the hands of one worker: enough to hide the transport, few enough to stop and to share out.
_HANDFUL = 16
_SILENT = 2.0  # s; a worker silent for longer is asked whether it was stopped
_PATIENCE = 1.0  # of the time that a process took to start: after so long a wait another one is started


@dataclass(frozen=True)
class Arrays:
    """Answer to one netlist.

    `vectors` maps each name asked for to its values, complex for a frequency sweep; `scale` is time [s] or
    frequency [Hz], empty for an operating point; `notes` are ngspice's harmless remarks.
    """

    vectors: dict[str, NDArray[Any]]
    scale: NDArray[np.float64]
    notes: tuple[str, ...]


Outcome = Arrays | EngineError


def run(
    netlists: Iterable[Netlist],
    *,
    workers: int | None = None,
    timeout: float | None = None,
    progress: Progress | None = None,
) -> list[Outcome]:
    """Simulate netlists and return their outcomes in order.

    Parameters
    ----------
    netlists : iterable of Netlist
    workers : int, optional
        Simulator processes at work. If not given up to as many as there are cores, those of other threads counted in:
        what is idle at once, and another one whenever waiting has taken as long as it takes to start.
    timeout : float, optional
        Longest time for one netlist [s], 60 if not given. A netlist that takes longer, or whose simulator
        process dies, is tried once more on a fresh process and then gives an `EngineError`.
    progress : callable, optional
        See `base.progress`. Without it a bar on stderr shows the progress of a call that takes longer than a second,
        at a terminal or in a notebook.

    Returns
    -------
    list of Arrays or EngineError
        One netlist's failure is returned, not raised, and leaves the others alone.

    Raises
    ------
    EngineError
        When no simulator process can work at all.
    """
    wanted = list(netlists)
    if not wanted:
        return []
    bar = ProgressBar()
    report = bar if progress is None else throttled(progress)
    sweep = _Sweep(wanted, workers, TIMEOUT if timeout is None else timeout, report)
    try:
        return sweep.finish()
    finally:
        # Also on Ctrl-C: the pool ends workers that are still busy.
        POOL.give(sweep.workers)
        bar.close()


def run_distinct(
    netlists: Iterable[Netlist],
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> list[Outcome]:
    """Simulate netlists of which some may be equal: each distinct one once; otherwise as `run`.

    A stock amp is the same circuit at every position of a switch that only the modded one has. Answers in time are
    kept (`kept_answers`), and what was computed before is not computed again.
    """
    wanted = list(netlists)
    places: dict[tuple[object, ...], int] = {}
    order = [places.setdefault((each.digest, each.form.vectors, each.form.fresh), len(places)) for each in wanted]
    first = {place: netlist for netlist, place in zip(reversed(wanted), reversed(order), strict=True)}
    found = {place: outcome_of(first[place], *kept) for place in first if (kept := fetch_answer(first[place]))}
    left = [place for place in range(len(places)) if place not in found]
    for place, outcome in zip(
        left, run([first[place] for place in left], workers=workers, progress=progress), strict=True
    ):
        found[place] = outcome
        if isinstance(outcome, Arrays):
            keep_answer(first[place], outcome.scale, outcome.vectors, outcome.notes)
    return [found[place] for place in order]


def warm_up(workers: int = 1) -> None:
    """Start simulator processes without waiting for them, so that a first `run` finds them ready."""
    POOL.give(POOL.take(min(workers, cores())))


def versions() -> dict[str, str]:
    """Return the versions of ngspice and PySpice in use.

    Raises
    ------
    EngineError
        When no simulator process can work.
    """
    workers = POOL.take(1)
    try:
        known = workers[0].versions
        if known is None:
            known = workers[0].greet()
        return dict(known)
    except EOFError:
        raise EngineError(workers[0].stillborn(workers[0].last_words())) from None
    finally:
        POOL.give(workers)


class _Sweep:
    """One call of `run`: which netlists wait, which worker has which in hand, what has come back."""

    def __init__(self, netlists: Sequence[Netlist], hands: int | None, timeout: float, report: Progress) -> None:
        self.workers: list[Worker] = []
        self._bell: SimpleQueue[Worker] = SimpleQueue()
        self._netlists = netlists
        self._hands = hands
        self._timeout = timeout
        self._report = report
        self._queue = deque(range(len(netlists)))
        self._outcomes: dict[int, Outcome] = {}
        self._lost: set[int] = set()
        self._slow: set[int] = set()
        self._second_try: dict[Worker, int] = {}
        self._stillborn = 0
        self._since = time.monotonic()  # when it began, or the last worker came or was ready

    def finish(self) -> list[Outcome]:
        """Work until every netlist has its outcome."""
        total = len(self._netlists)
        while len(self._outcomes) < total:
            self._hire()
            self._feed()
            for worker in self._ringing_workers():
                # Not one that was given up meanwhile.
                if worker in self.workers and worker.inbox:
                    self._hear(worker)
            self._release()
            self._dismiss_overdue()
            self._report(len(self._outcomes), total, SIMULATIONS)
        return [self._outcomes[number] for number in range(total)]

    def _hire(self) -> None:
        if self._hands:
            left = len(self._netlists) - len(self._outcomes)
            self._add(POOL.take(min(self._hands, left) - len(self.workers)))
            return
        self._add(POOL.take_idle(min(POOL.spare, len(self._queue))))
        # Most is answered before another process could help; and one that others have is soon given back.
        waited = time.monotonic() - self._since > _PATIENCE * POOL.start_takes
        ready, room = all(worker.versions for worker in self.workers), POOL.spare > 0
        if self._queue and (room and ready and waited if self.workers else room or waited):
            self._add(POOL.take(1))

    def _add(self, workers: list[Worker]) -> None:
        if workers:
            self._since = time.monotonic()
        self.workers += workers
        for worker in workers:
            worker.ring(self._bell)

    def _release(self) -> None:
        """Give back who gets nothing more to do: another thread may wait for it."""
        if not (self._queue or self._hands):
            done = [worker for worker in self.workers if not (worker.hand or worker in self._second_try)]
            self.workers = [worker for worker in self.workers if worker not in done]
            POOL.give(done)

    def _ringing_workers(self) -> list[Worker]:
        """The workers that have something to say, at once or within a tick; once for each message."""
        try:
            first = self._bell.get(timeout=TICK)
        except Empty:
            return []
        return [first, *(self._bell.get_nowait() for _ in range(self._bell.qsize()))]

    def _feed(self) -> None:
        for worker in self.workers:
            if worker.versions is not None and worker in self._second_try:
                self._send(worker, [self._second_try.pop(worker)])
            handful = max(1, min(_HANDFUL, len(self._queue) // (2 * len(self.workers))))
            if self._queue and worker.versions is not None and len(worker.hand) <= handful // 2:
                count = min(handful - len(worker.hand), len(self._queue))
                self._send(worker, [self._queue.popleft() for _ in range(count)])

    def _send(self, worker: Worker, numbers: list[int]) -> None:
        worker.send(_task([self._netlist(number) for number in numbers]), numbers)

    def _netlist(self, number: int) -> Netlist:
        given = self._netlists[number]
        return Netlist(given.form.damped(), given.values) if number in self._slow else given

    def _hear(self, worker: Worker) -> None:
        try:
            if worker.versions is None:
                worker.greet()
                self._since, POOL.start_takes = time.monotonic(), worker.start_took
                return
            answer, body = worker.receive()
        except (EOFError, OSError):
            self._lose(worker, f"ended ({worker.last_words()})")
            return
        number = worker.hand.popleft()
        self._outcomes[number] = outcome_of(self._netlists[number], answer, body)
        if answer.spent:
            self._remove(worker)

    def _dismiss_overdue(self) -> None:
        now = time.monotonic()
        for worker in list(self.workers):
            limit = TIMEOUT if worker.versions is None else self._timeout
            if not (worker.hand or worker.versions is None):
                continue
            if now - worker.since > limit:
                self._slow.update(list(worker.hand)[:1])
                self._lose(worker, f"took longer than {limit:g} s")
            elif now - worker.since > _SILENT and worker.is_suspended():
                self._lose(worker, "was stopped from outside")

    def _lose(self, worker: Worker, how: str) -> None:
        """Go on without a worker; the netlist it had in hand gets a second try on a fresh one, and no third."""
        number = self._second_try.pop(worker, None)
        if worker.versions is None:
            self._stillborn += 1
            if self._stillborn > 2:
                raise EngineError(worker.stillborn(f"it {how}"))
        elif worker.hand:
            number = worker.hand.popleft()
        self._remove(worker)
        if number is None:
            return
        if number in self._lost and worker.versions is not None:
            problem = f'no answer to "{self._netlists[number].form.command}": the simulator process {how}, twice'
            self._outcomes[number] = EngineError(problem)
            return
        self._lost.add(number)
        (fresh,) = POOL.take(1, fresh=True)
        self._add([fresh])
        self._second_try[fresh] = number

    def _remove(self, worker: Worker) -> None:
        self.workers.remove(worker)
        self._queue.extendleft(reversed(worker.hand))
        POOL.end(worker)


def _task(netlists: Sequence[Netlist]) -> Task:
    """Pack netlists for a worker; what they have in common travels once."""
    forms: dict[Form, int] = {}
    items = []
    for netlist in netlists:
        items.append((forms.setdefault(netlist.form, len(forms)), netlist.values))
    return Task(tuple(forms), tuple(items))


def outcome_of(netlist: Netlist, answer: Answer, body: memoryview) -> Outcome:
    """Turn a worker's answer into arrays, without copying."""
    if answer.fault is not None:
        return EngineError(answer.fault)
    scale = np.frombuffer(body, dtype=np.float64, count=answer.points if answer.has_scale else 0)
    dtype = np.complex128 if answer.is_complex else np.float64
    rows = np.frombuffer(body, dtype=dtype, offset=scale.nbytes).reshape(len(netlist.form.vectors), answer.points)
    return Arrays(dict(zip(netlist.form.vectors, rows, strict=True)), scale, answer.notes)
