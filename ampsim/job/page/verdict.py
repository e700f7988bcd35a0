"""Whether a mod makes any audible difference at all: only where nothing is noticed at any position of any control."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...circuit.nets import INPUT
from ...measures.noticed import FREQUENCY, SHARPNESS
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from ...studies.audition_request import Audition, Setting
from .answers import driven_answers, still_answers
from .hearing import HEARD, hear_all
from .played import Played, audible_pops
from .tables import NO_SIGNAL_DB, PageTables

NO_DIFFERENCE = (
    "Makes no audible difference: loudness, tone, breaking up, evening out, hiss and the pop of switches change by "
    "less than is noticed, at every position that was looked at."
)
Array = NDArray[np.float64]
_FAINT_DB = 60.0  # below the loudest position nothing is heard
_LOOKED_AT = 12  # positions at which brightness is worked out


def no_difference(tables: PageTables, played: Played, gains: Array, loudest: float) -> bool:
    """Whether nothing is noticed at all.

    Tone and loudness all over the range of the page's controls, and of every other control at its ends; how it is
    driven, hiss, soft notes after a hard stroke and pops at every position of the switches. What could not be
    worked out counts as noticed.

    Parameters
    ----------
    tables : PageTables
    played : Played
    gains : ndarray
        Of both amps at ``tables.samples()`` [dB], shape (positions, 2, f).
    loudest : float
        The highest gain of all positions [dB].
    """
    frequency = tables.frequency
    if not _alike(frequency, gains, loudest) or played.playing.missing or audible_pops(played.playing.pops):
        return False
    samples = tables.samples()
    for step in tables.offered.steps():
        for setting in (step, *({**step, **turn} for turn in _turns(tables))):
            driven, known = driven_answers(tables, played, setting)
            if not known or any(each.noticed for each in (*driven, *still_answers(played, setting))):
                return False
    some = samples[:: max(1, len(samples) // _LOOKED_AT)]
    if any(abs(each.sharper) >= SHARPNESS.least for each in hear_all(tables, some, loudest) if each.state == "heard"):
        return False
    return _alike(frequency, _elsewhere(played.audition, tables), loudest)


def _turns(tables: PageTables) -> list[Setting]:
    return [{each.name: end} for each in tables.offered.smooth for end in (0.0, 1.0)]


def _alike(frequency: Array, gains: Array, loudest: float) -> bool:
    """Whether gains [dB] differ by less than is noticed at every frequency, as they stand and at equal loudness."""
    heard = gains[..., (frequency >= HEARD[0]) & (frequency <= HEARD[1])]
    audible = heard.max(axis=(1, 2)) > loudest - _FAINT_DB
    change = heard[audible, 1] - heard[audible, 0]
    if not change.size:
        return True
    return bool(np.abs(change).max() < FREQUENCY.least and np.ptp(change, axis=1).max() < FREQUENCY.least)


def _elsewhere(audition: Audition, tables: PageTables) -> Array:
    """Gains of both amps [dB] with each of their controls alone at each of its ends or positions."""
    start = tables.offered.start()
    settings: list[Setting] = [start]
    for name, control in audition.modded.controls.items():
        values: tuple[float | str, ...] = control.positions or (0.0, 1.0)
        settings += [{**start, name: value} for value in values if value != start[name]]
    places = list(dict.fromkeys([audition.listen_at, INPUT]))
    response = simulate([audition.stock, audition.modded], FrequencySweep(), settings, places)
    volts = np.abs(
        response["voltage"].sel(node=audition.listen_at).transpose("position", "variant", "frequency").values
    )
    both = volts if volts.shape[1] == 2 else np.repeat(volts, 2, axis=1)
    return np.asarray(20.0 * np.log10(np.maximum(both, 10.0 ** (NO_SIGNAL_DB / 20.0))))
