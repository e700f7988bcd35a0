"""Headroom: which stage clips first with the mod, and what clean and full power become."""

from __future__ import annotations

import json
import math

import pandas as pd
import xarray as xr

from .. import measures, style
from ..findings import GRADES, Finding
from ..headroom import headroom
from ..pictures.headroom import compression, harmonics_over_level
from .section import Examined, Progress, Section


def section(examined: Examined, progress: Progress | None = None) -> Section:
    """Play both amps a sine at rising levels, and say what clips when."""
    variants = list(dict.fromkeys([examined.stock, examined.modded]))
    response = headroom(variants, examined.positions, progress=progress)
    findings = measures.headroom_findings(response, "headroom")
    position = worst_position(findings, response)
    modded = str(response["variant"].values[-1])
    return Section(
        title="headroom",
        findings=tuple(findings),
        tables={
            "power": _power(response),
            "where stages clip": _clips(response),
            f"harmonics at the speaker, {modded}, {position}": _harmonics(response, modded, position),
        },
        pictures={
            "headroom": compression(response, position),
            "harmonics over level": harmonics_over_level(response, position),
        },
        notes=_notes(response),
    )


def worst_position(findings: list[Finding], response: xr.Dataset) -> str:
    """The position of the most worrying finding, of equals that of the largest number; the first without findings."""
    if not findings:
        return str(response["position"].values[0])
    return max(findings, key=_worry).position


def _worry(finding: Finding) -> tuple[int, float]:
    return GRADES.index(finding.grade), 0.0 if math.isnan(finding.value) else abs(finding.value)


def without_repeats(table: pd.DataFrame) -> pd.DataFrame:
    """One row instead of several for a variant that is the same at all positions, as the stock amp often is."""
    kept = []
    for _, rows in table.groupby("variant", sort=False):
        alike = len(rows) > 1 and len(rows.drop(columns="position").drop_duplicates()) == 1
        kept.append(rows.head(1).assign(position="every position") if alike else rows)
    return pd.concat(kept, ignore_index=True)


def _power(response: xr.Dataset) -> pd.DataFrame:
    table = without_repeats(measures.power_table(response))
    levels = {name: [_told(level, response) for level in table[name]] for name in table if str(name).endswith("[V]")}
    table = table.assign(**{str(name): column for name, column in levels.items()})
    return table.rename(columns=lambda name: str(name).replace("there, ", "at ").removesuffix(" [V]"))


def _clips(response: xr.Dataset) -> pd.DataFrame:
    """Levels by stage, a column to each variant and position, in words."""
    table = measures.clipping_table(response)
    table["told"] = [
        _told(level, response) + (f", {how}" if how else "")
        for level, how in zip(table["clips at [V]"], table["how"], strict=True)
    ]
    wide = table.pivot_table(index=["variant", "position"], columns="stage", values="told", aggfunc="first", sort=False)
    return without_repeats(wide.reset_index().rename_axis(columns=None))


def _told(level: float, response: xr.Dataset) -> str:
    lowest, highest = (style.in_volts(float(each)) for each in response["level"].values[[0, -1]])
    return {0.0: f"below {lowest}", float("inf"): f"not up to {highest}"}.get(level, style.in_volts(level))


def _harmonics(response: xr.Dataset, variant: str, position: str) -> pd.DataFrame:
    table = measures.harmonics_table(response, variant, position)
    return table.assign(**{"level [V]": [style.in_volts(level) for level in table["level [V]"]]}).rename(
        columns={"level [V]": "level"}
    )


def _notes(response: xr.Dataset) -> tuple[str, ...]:
    facts = measures.stimulus(response)
    loads = {ohm for ohm in json.loads(response.attrs["load_ohm"]).values() if ohm}
    found = [
        f"Levels are peak volts {response.attrs['source']} of a sine of {style.in_hertz(facts['frequency'])}, "
        f"{1e3 * facts['settle']:.0f} ms after it starts. A stage clips where the fundamental between the stage before "
        "and its own output is down by 1 dB against a small signal, counted from its own grids inside a feedback loop. "
        "Levels are within 0.5 dB, power within 0.1 dB of a ladder in steps of 1 dB; beyond clipping bias goes on "
        "moving, which moves harmonics by a dB or two.",
        "Headroom has no published limit. Our own: 2 and 6 dB less at the speaker when the first stage clips, 1 and 3 "
        "dB less power. Supplies are as stiff as drawn: a rectifier's sag is in them as far as the drawing has a "
        "resistor for it.",
    ]  # fmt: skip
    if loads:
        found.append(
            f"Power is what the drawn load takes: rms volts squared over {' or '.join(f'{ohm:.3g}' for ohm in loads)} "
            "ohm, the resistance that takes as much as its impedance at this frequency."
        )
    failed = json.loads(response.attrs["failed"])
    return (*found, f"Without an answer, and left out: {'; '.join(failed)}.") if failed else tuple(found)
