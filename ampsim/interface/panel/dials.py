"""What can be set on the panel: every control as a list of values it steps through, with the words beside each."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ...base.e_series import preferred_values
from ...base.errors import DescriptionError, nearest, shown
from ...base.quantities import OHM, Quantity, format_value, parse_value
from ...circuit.amp import Amp, Part, Pot
from ...circuit.control import Control
from ...circuit.positions import face
from ...circuit.signal_path import listening_points
from ...circuit.tapers import track_fraction
from ...circuit.values import SwitchedValue, quantity_of, switched_values, value_of

FACE_STEPS = 100  # a knob goes from 0 to 10 in steps of a tenth
_LEVELS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0)  # V peak at the source
_TONES = (82.41, 110.0, 146.83, 196.0, 246.94, 329.63, 440.0, 660.0, 1000.0, 2000.0, 5000.0)  # Hz, open strings first
Values = Mapping[str, tuple[str, str, str]]


@dataclass(frozen=True)
class Switched:
    """The readout of a part's dial where a switch stands at a step: the text (empty: the dial's own) and the note."""

    key: str
    step: int
    text: str
    note: str


@dataclass(frozen=True)
class Dial:
    """One control of the panel.

    `kind` is "knob", "switch", "part", "place", "level", "tone" or "shape"; `values` are what it steps through,
    `texts` how each is written and `notes` what stands beside it; `drawn` is the step it starts at. A part's `switched`
    says what its readout is where a switch puts another in its place or takes it out.
    """

    name: str
    kind: str
    values: tuple[float | str, ...]
    texts: tuple[str, ...]
    notes: tuple[str, ...]
    drawn: int
    switched: tuple[Switched, ...] = ()

    @property
    def key(self) -> str:
        """Its name among all dials: a part and a control may share a name."""
        return f"{self.kind} {self.name}"

    @property
    def slides(self) -> bool:
        """Whether it is a slider; else a choice by name."""
        return self.kind in ("knob", "part", "level", "tone")

    def step_of(self, value: float | str) -> int | None:
        """The step that stands for a value; None when it lies between steps."""
        for step, each in enumerate(self.values):
            near = isinstance(each, float) and isinstance(value, float) and math.isclose(each, value, rel_tol=1e-9)
            if near or each == value:
                return step
        return None


def knob(amp: Amp, control: Control, extra: Iterable[float] = ()) -> Dial:
    """A knob from 0 to 10; beside it the resistance [ohm] from its wiper to the lower end of the track."""
    drawn = float(control.drawn)
    rotations = _sort_values([*(step / FACE_STEPS for step in range(FACE_STEPS + 1)), drawn, *extra])
    pot = amp.part_by_designator[control.designators[0]]
    assert isinstance(pot, Pot)
    track = format_value(pot.value, OHM)
    below = [_three_figures(track_fraction(pot.taper, rotation) * pot.value) for rotation in rotations]
    notes = tuple(f"{format_value(ohms, OHM)} of {track}" for ohms in below)
    return Dial(control.name, "knob", rotations, tuple(map(face, rotations)), notes, rotations.index(drawn))


def switch(control: Control) -> Dial:
    """A switch with its named positions."""
    names = control.positions
    return Dial(control.name, "switch", names, names, ("",) * len(names), names.index(str(control.drawn)))


def part(amp: Amp, designator: str, span: Sequence[str], extra: Iterable[float] = ()) -> Dial:
    """A part's value in steps of an E series; the value it has now is always among them.

    Parameters
    ----------
    amp : Amp
    designator : str
        A part that has a value.
    span : sequence of str
        Least value, most and E series, such as ``("47p", "22n", "E6")``.
    extra : iterable of float
        Values that must be among the steps [ohm, F or H].

    Raises
    ------
    DescriptionError
        When there is no such part, or the span is none.
    """
    found = amp.part_by_designator.get(designator)
    if not isinstance(found, (Part, Pot)):
        known = [name for name, each in amp.part_by_designator.items() if isinstance(each, (Part, Pot))]
        raise DescriptionError(f"{amp.name} has no part with a value {shown(designator)}{nearest(designator, known)}")
    if isinstance(span, str) or len(span) != 3:
        raise DescriptionError(f"{designator}: {shown(span)}; expected least, most and series: ('47p', '22n', 'E6')")
    quantity, where = quantity_of(amp, designator), f"values of {designator}"
    least, most = (parse_value(text, quantity, where) for text in span[:2])
    if not 0.0 < least < most:
        raise DescriptionError(f"{where}: {shown(span)}; the least value comes first")
    now = value_of(amp, designator)
    values = _sort_values([*preferred_values(span[2], least, most), now, *extra])
    texts = tuple(format_value(value, quantity) for value in values)
    switched = tuple(_switched_readout(amp, each, quantity) for each in switched_values(amp, designator))
    return Dial(designator, "part", values, texts, ("",) * len(values), values.index(now), switched)


def _switched_readout(amp: Amp, found: SwitchedValue, quantity: Quantity) -> Switched:
    step = amp.controls[found.control].positions.index(found.position)
    if found.value is None:
        return Switched(f"switch {found.control}", step, "", "not in circuit")
    text = format_value(found.value, quantity)
    return Switched(f"switch {found.control}", step, text, f"by the switch {found.control}")


def listening(stock: Amp, modded: Amp, listen_at: str) -> Dial:
    """The places to listen at: the output of every stage that both amps have, and the one asked for."""
    both = listening_points(modded)
    places = {place: f"{stage} ({place})" for stage, place in listening_points(stock).items() if stage in both}
    places.setdefault(listen_at, listen_at)
    names = tuple(places)
    return Dial("listen at", "place", names, tuple(places.values()), ("",) * len(names), names.index(listen_at))


def source_dials() -> tuple[Dial, ...]:
    """Level, frequency and shape of the source for the waveform view."""
    levels = tuple(f"{1000.0 * level:g} mV" if level < 1.0 else f"{level:g} V" for level in _LEVELS)
    tones = tuple(f"{tone:.0f} Hz" if tone < 1000.0 else f"{tone / 1000.0:g} kHz" for tone in _TONES)
    blank = ("",) * len(_TONES)
    shapes = ("sine", "burst")
    return (
        Dial("source level", "level", _LEVELS, levels, ("peak",) * len(levels), _LEVELS.index(0.05)),
        Dial("frequency", "tone", _TONES, tones, blank, _TONES.index(196.0)),
        Dial("shape", "shape", shapes, shapes, ("", ""), 0),
    )


def all_dials(stock: Amp, modded: Amp, values: Values, listen_at: str, extra: Mapping[str, float]) -> tuple[Dial, ...]:
    """Every dial of a panel.

    Parameters
    ----------
    stock, modded : Amp
    values : mapping
        Parts to try other values in, as in `explore`.
    listen_at : str
        The place to listen at first.
    extra : mapping
        By key of the dial, a value that must be among its steps: rotation from 0 to 1, or the part's value
        [ohm, F or H].
    """
    controls = {**stock.controls, **modded.controls}
    owner = {name: modded if name in modded.controls else stock for name in controls}
    found = [
        knob(owner[name], control, _asked_values(extra, f"knob {name}")) if control.kind == "knob" else switch(control)
        for name, control in controls.items()
    ]
    found += [part(modded, name, span, _asked_values(extra, f"part {name}")) for name, span in values.items()]
    return (*found, listening(stock, modded, listen_at), *source_dials())


def _sort_values(values: Iterable[float]) -> tuple[float, ...]:
    found: list[float] = []
    for value in sorted(values):
        if not found or not math.isclose(value, found[-1], rel_tol=1e-9):
            found.append(value)
    return tuple(found)


def _asked_values(extra: Mapping[str, float], key: str) -> list[float]:
    return [extra[key]] if key in extra else []


def _three_figures(value: float) -> float:
    return float(f"{value:.3g}")
