"""A phrase through amps at positions, computed sample by sample, or taken from what was computed before."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ..base.errors import DescriptionError, EngineError, Stopped
from ..base.kept_files import kept_folder
from ..base.progress import Progress, ProgressBar
from ..base.system import as_done, cores
from ..circuit.amp import Amp
from ..circuit.build import SPEAKER
from ..circuit.positions import Position, control_coords, position_label
from ..simulation.request import Case, request
from ..simulation.timestep import solver
from ..simulation.timestep.solver import OVERSAMPLING, Played
from ..studies.stability.steady import refuse_unsteady
from .cache import RenderedVolts, fetch_stored, store
from .cache_key import case_key, known_controls, whole_moves
from .loads import LOUDSPEAKER, load_words, with_load
from .phrases import RATE, Phrase, phrase

Array = NDArray[np.float64]
Moves = tuple[tuple[float, Position], ...]
MOST_SECONDS = 1200.0  # of sound in one call, all cases together
_PARTS = 1000  # of a case, for showing progress


Play = Callable[..., Played]


@dataclass(frozen=True)
class RenderTask:
    """One amp at one position; `moves` are what is turned or switched on the way: (seconds, position)."""

    amp: Amp
    position: Position
    moves: Moves = ()

    @property
    def label(self) -> str:
        """Amp, variant and position, for messages."""
        return Case(self.amp, self.position).name

    @property
    def stands(self) -> list[tuple[Amp, Position]]:
        """The amp at every position that it stands at on the way."""
        return [(self.amp, {**self.position, **moved}) for moved in ({}, *(moved for _, moved in self.moves))]


@dataclass(frozen=True)
class RenderOptions:
    """How tasks are computed: `node` to listen at, `oversampling`, where results are kept (None: nowhere), the solver.

    `play` is `timestep.solver.play` when None.
    """

    node: str = SPEAKER
    oversampling: int = 8
    folder: Path | None = None
    play: Play | None = None

    def __post_init__(self) -> None:
        if self.oversampling not in OVERSAMPLING:
            raise DescriptionError(f"oversampling {self.oversampling}; it may be {', '.join(map(str, OVERSAMPLING))}")

    @property
    def solver(self) -> Play:
        """The solver to call."""
        return self.play or solver.play


def render(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    played: Phrase | None = None,
    *,
    loads: Sequence[str] = (LOUDSPEAKER,),
    node: str = SPEAKER,
    oversampling: int = 8,
    cache: Path | bool = True,
    progress: Progress | None = None,
    play: Play | None = None,
) -> xr.Dataset:
    """Play a phrase through amps at positions of their controls, clipping and all.

    Parameters
    ----------
    amps : Amp or sequence of Amp
        Variants, such as the stock amp and the amp with a mod.
    positions : iterable of mapping
        As in `simulate`.
    played : Phrase
        Default: `phrase()`.
    loads : sequence of str
        "loudspeaker", "resistor" or both: what the amp works into; with both there are twice as many variants.
    node : str
        The place to listen at.
    oversampling : {1, 2, 4, 8, 16}
        8 for listening, 4 for a preview: less aliases more.
    cache : bool or Path
        Whether, or where, results are kept and taken from.
    progress : callable
        See `base.progress`; called from several threads, one at a time. Without it a bar tells, at a terminal or in a
        notebook.
    play : callable
        Another solver with the signature of `timestep.solver.play`.

    Returns
    -------
    xarray.Dataset
        `volts` (variant, position, time) [V], float32; `repaired` and `computed` samples and `kept`, whether it was
        computed before, (variant, position). ``attrs["words"]`` says what is heard.

    Raises
    ------
    DescriptionError
        For a request that cannot be: unknown control, load or place, too much of it; an amp that oscillates.
    EngineError
        When a single sample could not be solved: there is no sound then.
    Stopped
        When `progress` raised it.
    """
    played = played or phrase()
    asked = request(amps, positions)
    given, settings = asked.variants, asked.positions
    pairs = list(itertools.product(loads, given))
    variants = [with_load(amp, load) for load, amp in pairs]
    folder = kept_folder() if cache is True else cache or None
    means = RenderOptions(node, oversampling, folder, play)
    tasks = [RenderTask(amp, setting) for amp in variants for setting in settings]
    done = compute(tasks, played.volts, means, progress)
    names = [amp.variant + (f" on a {load}" if len(loads) > 1 else "") for load, amp in pairs]
    onto = dict.fromkeys(load_words(amp, load) for load, amp in pairs)
    words = " ".join([played.words, *onto, repaired_words([kept for kept, _ in done])])
    facts = {"words": words, "phrase": played.words, "node": node, "oversampling": oversampling, "rate": RATE}
    facts |= {"amp": given[0].name, "level": played.level}
    return _dataset(names, settings, done, facts, [load for load, _ in pairs])


def compute(
    tasks: Sequence[RenderTask],
    signal: Array,
    means: RenderOptions,
    progress: Progress | None = None,
) -> list[tuple[RenderedVolts, bool]]:
    """What each task gives, and whether it was there already; on every core, equal tasks once.

    Parameters
    ----------
    tasks : sequence of RenderTask
    signal : ndarray
        What goes into the amp [V], shape (samples,), at 48 kHz.
    means : RenderOptions
    progress : callable
        As in `render`.

    Raises
    ------
    DescriptionError, EngineError, Stopped
        As `render`.
    """
    if signal.size / RATE * len(tasks) > MOST_SECONDS:
        raise DescriptionError(f"{len(tasks)} clips of {signal.size / RATE:.1f} s; at most {MOST_SECONDS:g} s in all")
    keys = [case_key(task.amp, task.position, task.moves, signal, means.node, means.oversampling) for task in tasks]
    found = {key: fetch_stored(means.folder, key) if means.folder else None for key in dict.fromkeys(keys)}
    missing = {key: task for key, task in zip(keys, tasks, strict=True) if found[key] is None}
    refuse_unsteady([stand for task in tasks for stand in task.stands], "A clip")
    with ProgressBar() as bar:
        fresh = _Run(missing, signal, means, progress or bar).results() if missing else {}
    whole = {key: fresh.get(key) or found[key] for key in found}
    return [(kept, key not in fresh) for key in keys if (kept := whole[key]) is not None]


class _Run:
    """Tasks on threads; the first that fails, or a caller who has had enough, stops the others."""

    def __init__(
        self,
        tasks: dict[str, RenderTask],
        signal: Array,
        means: RenderOptions,
        progress: Progress,
    ) -> None:
        self._tasks, self._signal, self._means = tasks, signal, means
        self._progress = progress
        self._shares = dict.fromkeys(tasks, 0)
        self._lock, self._stop = threading.Lock(), threading.Event()

    def results(self) -> dict[str, RenderedVolts]:
        # Twice as many threads as cores: three clips on two cores then keep both at work to the end.
        with ThreadPoolExecutor(min(len(self._tasks), 2 * cores())) as pool:
            running = {pool.submit(self._one, key, task): key for key, task in self._tasks.items()}
            try:
                return {running[one]: one.result() for one in as_done(running)}
            finally:
                self._stop.set()

    def _one(self, key: str, task: RenderTask) -> RenderedVolts:
        self._go_on()
        stands = known_controls(task.amp, task.position)
        more: dict[str, Any] = {"moves": whole_moves(stands, task.moves)} if task.moves else {}
        played = self._means.solver(
            task.amp,
            self._signal,
            RATE,
            position=stands,
            node=self._means.node,
            oversampling=self._means.oversampling,
            progress=lambda done, total, _: self._show(key, done, total),
            **more,
        )
        self._go_on()
        kept = _check(played, task, self._signal.size)
        if self._means.folder:
            store(self._means.folder, key, kept)
        self._show(key, 1, 1)
        return kept

    def _go_on(self) -> None:
        if self._stop.is_set():
            raise Stopped("stopped before the end")

    def _show(self, key: str, done: int, total: int) -> None:
        self._go_on()
        with self._lock:
            self._shares[key] = max(self._shares[key], _PARTS * done // max(total, 1))
            try:
                self._progress(sum(self._shares.values()), _PARTS * len(self._shares), "played")
            except Stopped:
                self._stop.set()
                raise


def _check(played: Played, task: RenderTask, count: int) -> RenderedVolts:
    """What the solver gave, or an error where it is no sound."""
    volts = np.asarray(played.volts, np.float32)
    if volts.shape != (count,) or not np.isfinite(volts).all():
        raise EngineError(f"{task.label}: the solver gave no sound of {count:,} finite samples; nothing is played")
    return RenderedVolts(volts, int(played.repaired), count)


def repaired_words(rows: Sequence[RenderedVolts]) -> str:
    """How many samples were repaired; a sample that fails is an error, so none did."""
    repaired, computed = (sum(getattr(kept, name) for kept in rows) for name in ("repaired", "computed"))
    were = f"{repaired:,} {'was' if repaired == 1 else 'were'}"
    return f"Of {computed:,} samples {were} repaired (solved in smaller steps, no worse for it) and 0 failed."


def _dataset(
    names: list[str],
    settings: list[dict[str, float | str]],
    done: Sequence[tuple[RenderedVolts, bool]],
    facts: dict[str, Any],
    loads: list[str],
) -> xr.Dataset:
    shape = (len(names), len(settings))
    volts = np.stack([kept.volts for kept, _ in done]).reshape(*shape, -1)
    dims = ("variant", "position")
    data: dict[str, Any] = {"volts": ((*dims, "time"), volts, {"units": "V"})}
    for name in ("repaired", "computed"):
        data[name] = (dims, np.array([getattr(kept, name) for kept, _ in done]).reshape(shape))
    data["kept"] = (dims, np.array([before for _, before in done]).reshape(shape))
    coords: dict[str, Any] = {"variant": names, "position": [position_label(setting) for setting in settings]}
    coords |= control_coords(settings) | {"load": ("variant", loads)}
    coords["time"] = ("time", np.arange(volts.shape[-1]) / RATE, {"units": "s"})
    return xr.Dataset(data, coords, facts)
