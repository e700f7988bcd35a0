"""Where the panel stands and what it shows: the kernel's side without the browser."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import xarray as xr

from ...base.errors import AmpsimError, DescriptionError, nearest, shown
from ...base.wording import one_line
from ...circuit.amp import Amp
from ...pictures.canvas import Curves, Picture
from ...pictures.moving_svg import MovingSvg
from ...pictures.overlay import describe_overlay, overlay_curves
from . import picture as sheet
from .dials import Dial, Values, all_dials
from .positions_file import PANEL
from .simulator import PanelSimulator, Position

Steps = dict[str, int]
Shown = dict[str, Any]
_ROOMY = 0.45  # at rest, curves that fill less of the axes than this get new limits
_MOST_NAME = 48
_SOURCE = ("level", "tone", "shape")


class PanelState:
    """The dials and their steps, the held positions, and the drawing whose curves move.

    What changes is returned as a mapping of what to show: "drawing" (SVG text) and "frames" (of its axes), "curves"
    (paths and levels), "held", "tables".
    Each says in "of" which steps it belongs to, so that nothing old can pass for new.
    """

    def __init__(self, stock: Amp, modded: Amp, listen_at: str, values: Values, frequencies: Sequence[float]) -> None:
        self.simulator = PanelSimulator(stock, modded)
        self.held: list[Position] = []
        self._spans, self._first_place, self._frequencies = values, listen_at, tuple(frequencies)
        self.dials = all_dials(stock, modded, values, listen_at, {})
        self.at: Steps = {dial.key: dial.drawn for dial in self.dials}
        self._picture: Picture | None = None
        self._template: MovingSvg | None = None
        self._rough = False
        self._drawn_at: tuple[Position, str] | None = None  # where the drawing was made, its limits for there
        self._unsteady: dict[str, str] = {}
        self._answer: Shown = {}  # the curves as shown last, without where

    # Where it stands ------------------------------------------------------------------------------------------------

    def value(self, kind: str) -> Any:
        """What the only dial of a kind stands at."""
        return next(iter(self.values(kind).values()))

    def values(self, *kinds: str) -> dict[str, Any]:
        """What the dials of some kinds stand at, by name."""
        return {dial.name: dial.values[self.at[dial.key]] for dial in self.dials if dial.kind in kinds}

    @property
    def node(self) -> str:
        """The place listened at."""
        return str(self.value("place"))

    def here(self, name: str = PANEL) -> Position:
        """The position of the panel, under a name."""
        return Position(name, self.values("knob", "switch"), self.values("part"))

    def in_words(self) -> str:
        """What differs from the drawing."""
        return self.simulator.in_words(self.here())

    def response(self) -> xr.Dataset:
        """The frequency sweep of both amps where the panel stands."""
        return self.simulator.sweep(self.here(), self.node)

    def _held_responses(self) -> dict[str, xr.Dataset]:
        return {each.name: self.simulator.sweep(each, self.node) for each in self.held}

    # Changing it ----------------------------------------------------------------------------------------------------

    def steps_at(self, position: Mapping[str, float | str], values: Mapping[str, float]) -> Steps:
        """The steps at which the panel stands at a position and part values [ohm, F or H]; adds steps where they lack.

        Dials that are not named stay.

        Raises
        ------
        DescriptionError
            For a control or part the panel does not have, or a value it cannot take.
        """
        wanted = {self._key(name, "knob", "switch"): value for name, value in position.items()}
        wanted |= {self._key(name, "part"): value for name, value in values.items()}
        for amp in (self.simulator.stock, self.simulator.modded):
            amp.setting(position)
        plain = {key: value if isinstance(value, str) else float(value) for key, value in wanted.items()}
        if any(dial.step_of(plain[dial.key]) is None for dial in self.dials if dial.key in plain):
            self._add_steps({key: value for key, value in plain.items() if isinstance(value, float)})
        return {**self.at, **_steps(self.dials, plain)}

    def _key(self, name: str, *kinds: str) -> str:
        known = {dial.name: dial.key for dial in self.dials if dial.kind in kinds}
        if name not in known:
            raise DescriptionError(f"the panel has no {' or '.join(kinds)} {shown(name)}{nearest(name, known)}")
        return known[name]

    def _add_steps(self, extra: Mapping[str, float]) -> None:
        standing = {dial.key: dial.values[self.at[dial.key]] for dial in self.dials}
        now = {key: value for key, value in standing.items() if isinstance(value, float)}
        amps = (self.simulator.stock, self.simulator.modded)
        self.dials = all_dials(*amps, self._spans, self._first_place, {**now, **extra})
        self.at = _steps(self.dials, standing)

    def as_drawn(self) -> Steps:
        """The steps with every control and part as drawn."""
        return {**self.at, **{dial.key: dial.drawn for dial in self.dials if dial.kind in ("knob", "switch", "part")}}

    def hold(self, name: str) -> None:
        """Keep the present position under a name; an empty name is made from its settings.

        Raises
        ------
        DescriptionError
            When eight are held already, or one has this name.
        """
        if len(self.held) >= sheet.MOST_HELD:
            raise DescriptionError(f"{sheet.MOST_HELD} positions are held already; drop one first")
        name = one_line(name).strip()[:_MOST_NAME] or self._free_name()
        if name == PANEL or name in [each.name for each in self.held]:
            raise DescriptionError(f"a position {shown(name)} is held already; give it another name")
        self.held.append(self.here(name))

    def _free_name(self) -> str:
        words = self.in_words()
        names = [*([words] if len(words) <= _MOST_NAME else []), *(f"position {n}" for n in range(1, 20))]
        return next(name for name in names if name not in [each.name for each in self.held])

    # What it shows --------------------------------------------------------------------------------------------------

    def turn(self, at: Steps) -> Shown:
        """Stand at other steps: new paths in the drawing, or a drawing with wider limits where they do not fit."""
        before, self.at = self.at, dict(at)
        moved = {key for key, step in at.items() if before.get(key) != step}
        if moved and all(key.startswith(_SOURCE) for key in moved):
            return self._answered(**self._answer)
        try:
            if self._template is None or any(key.startswith("place") for key in moved):
                return self.draw()
            points = overlay_curves(self.response(), self.node)
            if self._template.fits(points):
                return self._answered(paths=self._template.paths(points), **_levels(points))
            return self._wider(points)
        except AmpsimError as problem:
            return self._answered(problem=str(problem))

    def _answered(self, **answer: Any) -> Shown:
        self._answer = answer
        return {"curves": {"of": self.at, **answer}}

    def _wider(self, points: Curves) -> Shown:
        """In the middle of a drag: wider limits in the same picture; the rest is put right when it rests."""
        assert self._picture is not None
        sheet.widen(self._picture, points)
        self._rough, self._drawn_at = bool(self.held), None
        return self._show_drawing(self._picture, points)

    def draw(self) -> Shown:
        """Draw anew, with limits that suit and the held lines."""
        self._picture, self._rough, self._drawn_at = self.picture(), False, (self.here(), self.node)
        found = self._show_drawing(self._picture, overlay_curves(self.response(), self.node))
        return {"held": [_held_entry(each, place) for place, each in enumerate(self.held)], **found}

    def picture(self) -> Picture:
        """A fresh drawing of where the panel stands."""
        found = sheet.draw(self.response(), self.node, list(self._held_responses().values()))
        self._unsteady = self.simulator.unsteady(self.here())
        if self._unsteady:
            found.stamp([f"{name} {words}: not what is drawn here" for name, words in self._unsteady.items()])
        return found

    def _show_drawing(self, picture: Picture, points: Curves) -> Shown:
        self._template = MovingSvg(picture, points)
        answer = self._answered(paths=self._template.drawn, **_levels(points))
        return {"drawing": self._template.svg(), "frames": sheet.frames(picture), **answer}

    def settle(self) -> Shown:
        """Nothing has moved for a moment: tables, and limits that suit if they do not."""
        try:
            points = overlay_curves(self.response(), self.node)
            # Limits of a fresh drawing are the best there are, roomy or not.
            fresh = self._drawn_at == (self.here(), self.node)
            suits = self._template is not None and not self._rough and (fresh or self._template.fits(points, _ROOMY))
            same = self._unsteady == self.simulator.unsteady(self.here())
            stands = suits and same and "problem" not in self._answer  # an engine may fail once and not again
            return {**({} if stands else self.draw()), "tables": self._tables()}
        except AmpsimError as problem:
            return {"tables": {"of": self.at, "problem": str(problem)}}

    def _tables(self) -> Shown:
        response, unsteady = self.response(), self.simulator.unsteady(self.here())
        gains = sheet.gain_rows(response, self._held_responses(), self.node, self._frequencies)
        warnings = [f"{name} {words}. " for name, words in unsteady.items()]
        return {
            "of": self.at,
            "position": "".join([*warnings, self.in_words()]),
            "gains": sheet.without_gains(gains, [self.simulator.names.index(name) for name in unsteady]),
            "bias": sheet.bias_rows(self.simulator.at_rest(self.here())),
            "loops": sheet.loop_rows(self.simulator.loops(self.here()), self.simulator.names),
            "alternative": "".join([*warnings, describe_overlay(response, self.node)]),
        }

    def for_browser(self) -> list[dict[str, Any]]:
        """The dials as plain data; those that the mods bring first."""
        order = ("mods", "amp", "listening", "source")
        found = [_plain(dial, self._group(dial)) for dial in self.dials]
        return sorted(found, key=lambda each: order.index(each["group"]))

    def _group(self, dial: Dial) -> str:
        if dial.kind in _SOURCE:
            return "source"
        if dial.kind == "place":
            return "listening"
        return "amp" if dial.kind != "part" and dial.name in self.simulator.stock.controls else "mods"


def _steps(dials: Sequence[Dial], values: Mapping[str, float | str]) -> Steps:
    found = {dial.key: dial.step_of(values[dial.key]) for dial in dials if dial.key in values}
    for key, step in found.items():
        if step is None:
            raise DescriptionError(f"{key}: {shown(values[key])} is none of its positions")
    return {key: step for key, step in found.items() if step is not None}


def _levels(points: Curves) -> Shown:
    """Frequencies [Hz] and both gains [dB] of the curves, silence as None."""
    gains = {kind: [round(level, 5) if math.isfinite(level) else None for level in points[f"{kind}-0"][:, 1].tolist()]
             for kind in ("stock", "modded")}  # fmt: skip
    return {"levels": {"frequency": points["stock-0"][:, 0].tolist(), **gains}}


def _plain(dial: Dial, group: str) -> dict[str, Any]:
    return {
        "key": dial.key,
        "name": dial.name,
        "kind": dial.kind,
        "slides": dial.slides,
        "texts": dial.texts,
        "notes": dial.notes,
        "values": dial.values if dial.kind in ("knob", "part") else (),
        "switched": [asdict(each) for each in dial.switched],
        "group": group,
    }


def _held_entry(position: Position, place: int) -> dict[str, Any]:
    look = sheet.held_look(place)
    return {"name": position.name, "dashes": look.dashes, "width": look.width}
