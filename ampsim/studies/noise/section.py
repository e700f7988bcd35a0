"""Section "noise and hum": hiss by the part that makes it, ripple of the supply, leakage of the heaters."""

from __future__ import annotations

from collections.abc import Sequence

import xarray as xr

from ...base.progress import Progress
from ...circuit.positions import position_label
from ...pictures.canvas import Picture
from ..combinations import combined_labels
from ..findings import Finding, most_worrying
from ..section import Examination, Section
from . import TITLE
from .hum import hum_spectrum
from .hum_measures import hum_assumptions, hum_by_node, hum_findings, hum_table
from .measures import contributor_table, noise_findings, noise_table
from .picture import hum_bars_picture, noise_bars_picture, noise_picture
from .simulate import noise_spectrum

_LEAST = 0.02  # of the A-weighted power: fainter contributors are not in the table
_KINDS = {"hiss": "noise over frequency", "supply hum": "hum of the supply", "heater hum": "hum of the heaters"}
_LEFT_OUT = (
    "Left out: flicker (there are no figures for these valves), microphony, crackling parts, hum picked up by wires "
    "and transformers. The loudspeaker's own roll-off is not in the levels, which are those at its terminals."
)


def section(examined: Examination, progress: Progress | None = None) -> Section:
    """Simulate noise and hum of the stock and the modded amp at every position, and say what changes."""
    amps = [examined.stock, examined.modded]
    met = combined_labels(examined)
    noise = noise_spectrum(amps, examined.every, progress=progress).assign_attrs(met)
    hum = hum_spectrum(amps, examined.every, progress=progress).assign_attrs(met)
    findings = [*noise_findings(noise, _KINDS["hiss"]), *hum_findings(hum, noise, _KINDS)]
    noise, hum = (_told(each, examined, findings) for each in (noise, hum))
    tables = {
        "noise": noise_table(noise),
        "who makes the noise": contributor_table(noise, _LEAST),
        "hum": hum_table(hum),
        "where the hum comes from": hum_by_node(hum),
    }
    notes = (*hum_assumptions(hum), "Levels are A-weighted (IEC 61672-1), 20 Hz to 20 kHz.", _LEFT_OUT)
    return Section(TITLE, tuple(findings), tables, _pictures(noise, hum, findings), notes)


def _told(response: xr.Dataset, examined: Examination, findings: Sequence[Finding]) -> xr.Dataset:
    """The positions examined one at a time, and of the combined ones those that a finding is at."""
    told = {*map(position_label, examined.positions), *(each.position for each in findings)}
    return response.isel(position=[str(each) in told for each in response["position"].values])


def _pictures(noise: xr.Dataset, hum: xr.Dataset, findings: Sequence[Finding]) -> dict[str, Picture]:
    """Each at the position where the mod does worst."""
    worst = {kind: _worst(findings, kind) for kind in _KINDS}
    found = {
        _KINDS["hiss"]: noise_picture(noise, worst["hiss"]),
        "who makes the noise": noise_bars_picture(noise, worst["hiss"]),
        _KINDS["supply hum"]: hum_bars_picture(hum, "supply", worst["supply hum"]),
    }
    if hum.sizes["valve"]:
        found[_KINDS["heater hum"]] = hum_bars_picture(hum, "heater", worst["heater hum"])
    return found


def _worst(findings: Sequence[Finding], kind: str) -> str:
    # Less of it is no worry, however much less.
    return most_worrying([each for each in findings if each.picture == _KINDS[kind]], size=float).position
