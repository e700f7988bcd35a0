"""Stability: how far the feedback loop is from oscillating at the worst corner of the controls, on several loads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import pandas as pd
import xarray as xr

from ...base.errors import DescriptionError
from ...base.progress import Progress
from ...base.wording import join_words
from ...circuit.amp import Amp
from ...circuit.feedback import find_loops
from ...circuit.loop_search import Reach
from ...circuit.positions import position_label
from ...measures.margins import Margins, crossing_table
from ...simulation.agreement import SWEPT_LIMIT
from ...simulation.analyses import LoopSweep
from ...simulation.loop_gain import loop_gain
from ..agreement import percent_words
from ..section import Examination, Section
from . import TITLE
from .corner_search import Setting
from .declared import oscillator_findings
from .findings import LoopCase, stability_findings, stability_table
from .kept_corners import once_searched
from .loads import LOADS, OPEN, with_load
from .loop_place import has_feedback
from .loop_sweeps import CLOSE, on_one_sweep
from .picture import loop_margins_picture, travel_picture
from .steady import solvers_apart, unsteady_findings
from .worst_corner import Corners, loop_on_travel

# Corners and grid of the searches in which a control or the load is given.
_FEW = 120
_MOST_KNOBS = 4
_LOAD_WORDS = {OPEN: "no load", 2.0: "twice the load", 0.5: "half the load"}
_WORST = "margins at the worst corner"

Fixed = tuple[tuple[str, float | str], ...]


def section(examined: Examination, progress: Progress | None = None) -> Section:
    """Search the worst corner of both amps, at every position and on every load, and say what it means.

    First of all every amp is judged at rest, with or without a feedback loop.
    """
    amp = examined.modded
    looked_at = _looked_at(examined)
    apart = solvers_apart(amp)
    unsteady = tuple(unsteady_findings(examined, looked_at, apart <= SWEPT_LIMIT))
    declared = tuple(oscillator_findings(examined))
    if has_feedback(amp):
        found = _Searches(examined, progress).section()
        # What the loop does is said of the loop; what is left comes about some other way.
        said = any(finding.value < 0.0 for finding in found.findings)
        findings = (*(() if said else unsteady), *found.findings, *declared)
        return replace(found, findings=findings, notes=(*found.notes, _at_rest(apart)))
    lost = "; stock has one" if has_feedback(examined.stock) else ""
    rest = "" if unsteady else f" It stays at rest at the {len(looked_at)} positions looked at."
    own = [join_words(loop.carriers) for loop in find_loops(amp) if loop.reach is Reach.LOCAL]
    local = f" Local feedback goes through {'; '.join(own)}." if own else ""
    note = f"{amp.name} with {amp.variant} has no feedback loop from the output stage{lost}.{local}{rest}"
    return Section(TITLE, (*unsteady, *declared), {}, {}, (note, _at_rest(apart)))


def _at_rest(apart: float) -> str:
    """Who said that the amp stays at rest, and how far [ratio] two solvers are apart in that."""
    differ = f"as drawn it and ngspice differ by {percent_words(apart)}, {percent_words(SWEPT_LIMIT)} is allowed"
    if apart > SWEPT_LIMIT:
        return f"That the amp stays at rest is ngspice's word: our own solver does not agree ({differ})."
    return f"That the amp stays at rest was counted by our own solver of small signals: {differ}."


def _looked_at(examined: Examination) -> list[Setting]:
    """The positions asked for, and each control at its ends with the others as drawn and with every knob up."""
    controls = examined.modded.controls.values()
    up: Setting = {each.name: 1.0 for each in controls if each.kind == "knob"}
    found: list[Setting] = [{}, up, *(dict(position) for position in examined.positions)]
    for control in controls:
        ends: Sequence[float | str] = control.positions if control.kind == "switch" else (0.0, 1.0)
        found += [{**base, control.name: end} for base in ({}, up) for end in ends]
    return [each for place, each in enumerate(found) if each not in found[:place]]


class _Searches:
    """The searches of one section: each is made once."""

    def __init__(self, examined: Examination, progress: Progress | None) -> None:
        self._stock, self._modded = examined.stock, examined.modded
        self._positions = list(dict.fromkeys(map(self._settings, examined.positions)))
        self._report = progress
        self._done = 0
        self._evaluations = self._told = 0
        self._apart = 0.0
        self._corners = cache(self._search)

    def section(self) -> Section:
        """The section."""
        whole = self._corners(self._modded, (), 1.0)
        cases = [self._case((), 1.0)]
        cases += [self._case(held, 1.0) for held in self._settings_that_matter(whole)]
        cases += [self._case((), load) for load in self._loads()]
        if cases[0].margins.reversed:
            cases = cases[:1]  # the wrong way round is wrong on every load and at every position
        findings = stability_findings(cases, _WORST)
        knobs = [name for name in whole.controls if self._modded.controls[name].kind == "knob"][:_MOST_KNOBS]
        drawn = {_WORST: loop_margins_picture(self._both_loops(whole))}
        if knobs:
            turned = loop_on_travel(self._modded, whole.worst, knobs)
            drawn["margin over a knob's travel"] = travel_picture(turned)
        tables = {
            _WORST: stability_table(cases),
            "where the loop gain passes 1 or comes in step, at the worst corner": _crossings(whole),
            "what each control moves of 1 + T": _effects(whole),
        }
        return Section(TITLE, tuple(findings), tables, drawn, self._notes(whole), (_WORST,))

    def _settings(self, position: dict[str, float | str]) -> Fixed:
        """What a position holds: what it names, and the mod's own controls as drawn."""
        own = {name: each.drawn for name, each in self._modded.controls.items() if name not in self._stock.controls}
        named = {name: value for name, value in position.items() if name in self._modded.controls}
        return tuple({**own, **named}.items())

    def _settings_that_matter(self, whole: Corners) -> list[Fixed]:
        """What the positions hold of the controls that matter, each once; without those that open the line."""
        held = [tuple((name, value) for name, value in each if name in whole.controls) for each in self._positions]
        return [each for each in dict.fromkeys(held) if each and has_feedback(self._modded, dict(each))]

    def _loads(self) -> list[float]:
        try:
            with_load(self._modded, 1.0)
        except DescriptionError:
            return []
        return [load for load in LOADS if load != 1.0]

    def _case(self, held: Fixed, load: float) -> LoopCase:
        found = self._corners(self._modded, held, load)
        others = {name: value for name, value in found.telling.items() if name not in dict(held)}
        return LoopCase(
            variant=self._modded.variant,
            held=position_label(dict(held)) if held else "",
            corner=position_label(others) if others else "",
            margins=found.margins(found.worst),
            drawn=found.margins(found.start),
            stock=self._stock_margins(held, load),
            load=_LOAD_WORDS.get(load, ""),
            unusual=load == OPEN,
        )

    def _stock_margins(self, held: Fixed, load: float) -> Margins | None:
        known = tuple((name, value) for name, value in held if name in self._stock.controls)
        if not has_feedback(self._stock, dict(known)):
            return None
        found = self._corners(self._stock, known, load)
        return found.margins(found.worst)

    def _search(self, amp: Amp, held: Fixed, load: float) -> Corners:
        if not held and load == 1.0:
            found = once_searched(amp)
        else:
            # What matters to the loop was found with everything free, on the load drawn.
            telling = self._corners(amp, (), 1.0).controls
            found = once_searched(with_load(amp, load) if load != 1.0 else amp, dict(held), _FEW, telling)
        self._evaluations += found.evaluations
        self._told += found.response.sizes["position"]
        self._apart = max(self._apart, found.apart)
        self._done += 1
        if self._report:
            total = 2 * (len(self._positions) + len(LOADS))
            self._report(self._done, max(self._done, total), "searches for the worst corner")
        return found

    def _both_loops(self, whole: Corners) -> xr.Dataset:
        found = [(self._modded, whole)]
        if has_feedback(self._stock):
            found.insert(0, (self._stock, self._corners(self._stock, (), 1.0)))
        corners = [position_label(each.telling) for _, each in found]
        rows = on_one_sweep(len(found), lambda n, sweep: _loop_at_worst(*found[n], sweep))
        loops = [row["loop_gain"].values[0, 0] for row in rows]
        data = {"loop_gain": (("variant", "frequency"), loops, {"units": "1"})}
        coords = {
            "variant": [amp.variant for amp, _ in found],
            "position": ("variant", corners),
            "frequency": rows[0]["frequency"],
        }
        return xr.Dataset(data, coords, rows[-1].attrs)

    def _notes(self, whole: Corners) -> tuple[str, ...]:
        own = [name for name in self._modded.controls if name not in self._stock.controls]
        idle = [name for name in own if name not in whole.controls]
        return (
            *([f"Next to no difference to the loop: {', '.join(idle)}."] if idle else []),
            f"{self._evaluations} positions were looked at: every pot end with every switch position, a grid between "
            "them that is denser towards the ends, and from the worst of these in ever smaller steps.",
            self._solvers(),
            "Small signals, the valves at rest. That the amp stays at rest was counted on all its valves at once, at "
            "every control's ends. No load is ten thousand times the impedance drawn; an amp with a transformer is "
            "not meant to be played on it.",
        )

    def _solvers(self) -> str:
        apart = f"1 + T differs by {percent_words(self._apart)}, {percent_words(SWEPT_LIMIT)} is allowed"
        if self._apart > SWEPT_LIMIT:
            return f"Our own solver of small signals and ngspice do not agree: {apart}, so ngspice did that search."
        return (
            "Searched by our own solver of small signals; where margins are told, at "
            f"{self._told} positions, ngspice simulated the amp: there {apart}."
        )


def _loop_at_worst(amp: Amp, found: Corners, sweep: LoopSweep) -> xr.Dataset:
    if sweep is CLOSE:
        return found.response.sel(position=[position_label(found.worst)])
    return loop_gain(amp, None, [found.worst], sweep)


def _crossings(whole: Corners) -> pd.DataFrame:
    table = crossing_table(whole.response.sel(position=[position_label(whole.worst)]))
    table["frequency [Hz]"] = [float(f"{each:.3g}") for each in table["frequency [Hz]"]]
    return table.drop(columns=["variant", "position"]).round(1)


def _effects(whole: Corners) -> pd.DataFrame:
    known = sorted(((effect, name) for name, effect in whole.effects.items() if effect > 1e-5), reverse=True)
    rows = [(name, f"{float(f'{100.0 * effect:.2g}'):g}") for effect, name in known]
    return pd.DataFrame(rows, columns=["control", "at most [%]"])
