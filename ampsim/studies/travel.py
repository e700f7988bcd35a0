"""A knob's travel: what a control does over its rotation at named frequencies, with its own taper and with others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import xarray as xr

from ..base.caution import CAUTION_LINE
from ..base.errors import DescriptionError, nearest, shown
from ..base.tables import text_table
from ..base.wording import in_hertz, join_words, minus
from ..circuit.amp import Amp, Pot
from ..circuit.positions import Position, face, position_label
from ..circuit.tapers import parse_taper, rotation_of, track_fraction
from ..measures.knob_travel import QUARTERS, audible_gain, most_moved, quarter_shares
from ..measures.sweep import gain_at
from ..pictures.canvas import Picture
from ..pictures.knob_travel import MOST_TAPERS, knob_travel_picture
from ..simulation.analyses import FrequencySweep
from ..simulation.request import Case
from ..simulation.response import simulate

FREQUENCIES = (100.0, 1000.0, 5000.0)
_STEPS = 32
_SHOWN = 8  # steps from one row of the table to the next are a multiple of this
_BESIDE = 1.06  # [ratio] how far the sweep goes beyond the frequencies asked for


@dataclass(frozen=True, eq=False)
class Travel:
    """What a knob does over its rotation.

    Attributes
    ----------
    control
        Which knob.
    gain
        Dims (taper, rotation, frequency) [dB]; rotations from 0 to 1, the first taper is the amp's own.
    where
        Where everything else stands, in words.
    """

    control: str
    gain: xr.DataArray = field(repr=False)
    where: str

    @property
    def shares(self) -> pd.DataFrame:
        """The share of the change in each quarter of the turn [%], a row to each taper and frequency."""
        found = quarter_shares(self.gain)
        rows = [
            {"taper": str(taper), "at": in_hertz(float(hertz)), **{
                f"{each} [%]": float(found.sel(taper=taper, frequency=hertz, quarter=each)) for each in QUARTERS
            }}
            for taper in found["taper"].values
            for hertz in found["frequency"].values
        ]  # fmt: skip
        return pd.DataFrame(rows)

    @property
    def table(self) -> pd.DataFrame:
        """Gain [dB] at every eighth of the turn, a row to each taper and rotation."""
        chosen = self.gain.isel(rotation=slice(None, None, _STEPS // _SHOWN))
        rows = [
            {"taper": str(taper), "knob": face(float(rotation)), **{
                f"{hertz:g} Hz [dB]": float(chosen.sel(taper=taper, rotation=rotation, frequency=hertz))
                for hertz in chosen["frequency"].values
            }}
            for taper in chosen["taper"].values
            for rotation in chosen["rotation"].values
        ]  # fmt: skip
        return pd.DataFrame(rows)

    @property
    def words(self) -> str:
        """Where the change lies, and with which taper it is most even."""
        at = most_moved(self.gain)
        most = quarter_shares(self.gain).sel(frequency=at).max("quarter")
        heard = audible_gain(self.gain).sel(frequency=at).isel(taper=0)
        span = f"{self.control} changes {in_hertz(at)} by {float(heard.max() - heard.min()):.1f} dB"
        if np.isnan(most.values).any():
            return f"{self.control} does nothing at {in_hertz(at)} or any other of these frequencies."
        pairs = zip(most["taper"].values, most.values, strict=True)
        told = [f"{float(each):.0f} % with {taper}" for taper, each in pairs]
        even = str(most["taper"].values[int(np.argmin(most.values))])
        return (
            f"{span}. Of that the busiest quarter of the turn makes {join_words(told)}: {even} spreads it most evenly."
        )

    @property
    def picture(self) -> Picture:
        """Gain over the rotation, and below the share of the change in each quarter."""
        return knob_travel_picture(self.gain)

    @property
    def text(self) -> str:
        """Everything in words and tables."""
        head = f"{self.gain.attrs['amp']}: {self.control} over its travel, at {self.gain.attrs['output']}; {self.where}"
        titles = ("Gain", "Share of the change in each quarter of the turn")
        tables = zip(titles, (self.table, self.shares), strict=True)
        return "\n\n".join(
            [head, *(f"{title}\n{text_table(each)}" for title, each in tables), minus(self.words), CAUTION_LINE]
        )


def travel(
    amp: Amp,
    control: str,
    tapers: Sequence[str] = (),
    frequencies: Sequence[float] = FREQUENCIES,
    at: Position | None = None,
    listen_at: str = "speaker",
) -> Travel:
    """Turn a knob from end to end, with its own taper and with others, and read the gain at some frequencies.

    Parameters
    ----------
    amp : Amp
    control : str
        A knob.
    tapers : sequence of str
        Besides the amp's own; default linear, or where it is linear "audio 10 %".
    frequencies : sequence of float
        Up to six [Hz].
    at : mapping
        Where the other controls stand (rotations 0 to 1 [ratio]); default as drawn.
    listen_at : str
        The place listened at; default the loudspeaker.

    Raises
    ------
    DescriptionError
        For what is no knob, no taper or no place, and for ganged pots with tapers of their own.
    EngineError
        When ngspice gives no trustworthy answer.

    Notes
    -----
    Another taper is the same track with its wiper at another rotation, so every line comes from this very amp.
    """
    at, named = dict(at or {}), sorted({float(each) for each in frequencies})
    own = _taper_of(amp, control, at)
    others = [parse_taper(each) for each in tapers] or ["audio 10 %" if own == "linear" else "linear"]
    chosen = list(dict.fromkeys([own, *others]))
    if len(chosen) > MOST_TAPERS:
        raise DescriptionError(f"{len(chosen)} tapers in one picture; at most {MOST_TAPERS} stay readable")
    turns = np.linspace(0.0, 1.0, _STEPS + 1)
    settings = [
        {**at, control: rotation_of(own, track_fraction(taper, float(turn))) if taper != own else float(turn)}
        for taper in chosen
        for turn in turns
    ]
    sweep = FrequencySweep(named[0] / _BESIDE, named[-1] * _BESIDE)
    found = gain_at(simulate(amp, sweep, settings, [listen_at]), named, listen_at).values[0]
    coords = {"taper": chosen, "rotation": turns, "frequency": named}
    where = ", ".join(filter(None, [position_label({k: v for k, v in at.items() if k != control}), amp.variant]))
    attrs = {"amp": amp.name, "output": listen_at, "control": control, "where": where, "units": "dB"}
    gain = xr.DataArray(found.reshape(len(chosen), len(turns), len(named)), coords, ("taper", "rotation", "frequency"))
    return Travel(control, gain.assign_attrs(attrs), where)


def _taper_of(amp: Amp, control: str, at: Position) -> str:
    """The taper of a knob's pots.

    Raises
    ------
    DescriptionError
        For no knob, or several tapers.
    """
    knobs = [name for name, each in amp.controls.items() if each.kind == "knob"]
    if control not in knobs:
        raise DescriptionError(f"{amp.name} has no knob {shown(control)}{nearest(control, knobs)}")
    parts = Case(amp, at).wired.parts
    pots = [part for name in amp.controls[control].designators if isinstance(part := parts.get(name), Pot)]
    found = {pot.taper for pot in pots}
    if len(found) != 1:
        told = join_words([f"{pot.designator} is {pot.taper}" for pot in pots]) if pots else "its pot is not fitted"
        raise DescriptionError(f"{control}: {told}; a travel is that of one taper")
    return found.pop()
