"""Tables of ports for the page: those of where the panel stands first, then those of the steps beside it.

With them the page moves the picture by itself; a table holds one position of the switches and of what moves the bias.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from ...base.errors import AmpsimError
from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.values import with_values
from ...simulation.port_tables import PortTable, port_table
from .background import BackgroundTask, Guard
from .dials import Dial
from .simulator import SWEEP
from .state import PanelState, Steps

_KEPT = 48  # tables
_AHEAD = 16  # positions beside the one at hand
KINDS = ("stock", "modded")
Send = Callable[[dict[str, Any], list[bytes]], None]


@dataclass(frozen=True, eq=False)
class _Kept:
    """A table of one amp, and the values of the dials that it stands and falls with."""

    kind: str
    holds: dict[str, float | str]
    table: PortTable


class KnobTables:
    """Makes tables in a thread of its own, and sends each as soon as it is there.

    Parameters
    ----------
    state : PanelState
    send : callable
        Takes a message and its bytes.
    guard : context manager
        Held while a table is sent.
    """

    def __init__(self, state: PanelState, send: Send, guard: Guard | None = None) -> None:
        self._state, self._send = state, send
        self._kept: OrderedDict[int, _Kept] = OrderedDict()
        self._task: BackgroundTask[list[_Kept]] = BackgroundTask(guard)
        self._wanted: list[Steps] = []
        self._asked: Steps = {}
        self._made: Steps = {}  # whose tables are being made

    def ask(self, at: Steps) -> None:
        """Send the tables of these steps, then those of the steps beside them; what was asked before is dropped.

        Asked again for those that are being made, it goes on with them.
        """
        self._asked, self._wanted = dict(at), []
        if at != self._made:
            self._wanted = [self._asked]
            self._next()

    def stop(self) -> None:
        """Make no more tables."""
        self._wanted, self._made = [], {}
        self._task.stop()

    def join(self, seconds: float) -> None:
        """Wait for the table at work, so long at most [s]."""
        self._task.join(seconds)

    def _next(self) -> None:
        if not self._wanted:
            return
        at = self._made = self._wanted.pop(0)
        dials, values = self._state.dials, self._values(at)

        def work(progress: Progress) -> list[_Kept]:
            return [self._find(kind, values) or self._make(kind, dials, values, progress) for kind in KINDS]

        def deliver(answer: list[_Kept] | AmpsimError) -> None:
            self._made = {}
            # Without a table the page asks for each position, as ever; ngspice's own answer says what is wrong.
            if not isinstance(answer, AmpsimError):
                for each in answer:
                    self._hand_over(each, at)
                if at == self._asked:
                    self._wanted += list(self._beside(at, answer))[:_AHEAD]
            self._next()

        self._task.start(work, deliver)

    def _values(self, at: Steps) -> dict[str, float | str]:
        return {dial.key: dial.values[at[dial.key]] for dial in self._state.dials}

    def _amp(self, kind: str) -> Amp:
        return self._state.simulator.stock if kind == "stock" else self._state.simulator.modded

    def _find(self, kind: str, values: dict[str, float | str]) -> _Kept | None:
        for number, each in list(self._kept.items()):
            if each.kind == kind and all(values[key] == at for key, at in each.holds.items()):
                self._kept.move_to_end(number)
                return each
        return None

    def _make(self, kind: str, dials: tuple[Dial, ...], values: dict[str, float | str], progress: Progress) -> _Kept:
        amp, parts = self._amp(kind), [dial for dial in dials if dial.kind == "part" and kind == "modded"]
        given = {dial.name: float(values[dial.key]) for dial in parts}
        spans = {dial.name: (float(dial.values[0]), float(dial.values[-1])) for dial in parts}
        position = {dial.name: values[dial.key] for dial in dials
                    if dial.kind in ("knob", "switch") and dial.name in amp.controls}  # fmt: skip
        places = next(dial.values for dial in dials if dial.kind == "place")
        known = {key for each in self._kept.values() if each.kind == kind for key in each.table.moving}
        amp_now, heard = with_values(amp, given), [str(each) for each in places]
        # One worker: another is kept free for the hand.
        how: dict[str, Any] = {"sweep": SWEEP, "workers": 1, "progress": progress}
        found = port_table(amp_now, position, heard, spans=spans, known=known, **how)
        keys = [dial.key for dial in dials if dial.kind == "switch" and dial.name in amp.controls]
        made = _Kept(kind, {key: values[key] for key in (*keys, *found.moving)}, found)
        self._kept[id(made)] = made
        while len(self._kept) > _KEPT:
            self._kept.popitem(last=False)
        return made

    def _hand_over(self, kept: _Kept, at: Steps) -> None:
        """Send a table as it is heard at the place that these steps listen at."""
        place = next(dial for dial in self._state.dials if dial.kind == "place")
        one = kept.table.heard_at(str(place.values[at[place.key]]))
        holds = {key: at[key] for key in (place.key, *kept.holds)}
        self._send({"table": {"kind": kept.kind, "holds": holds, "facts": one.facts()}}, [one.numbers()])

    def _beside(self, at: Steps, here: list[_Kept]) -> Iterator[Steps]:
        """Steps that differ in one switch, or by one step of what moves the bias."""
        moving = {key for each in here for key in each.table.moving}
        for dial in self._state.dials:
            now, count = at[dial.key], len(dial.values)
            steps = range(count) if dial.kind == "switch" else (now - 1, now + 1) if dial.key in moving else ()
            yield from ({**at, dial.key: step} for step in steps if step != now and 0 <= step < count)
