"""Section "pop of a switch": what the loudspeaker gets when a switch of the mod, or one the amp had, is moved."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import pandas as pd
import xarray as xr

from ...base.errors import DescriptionError
from ...base.progress import Progress
from ...circuit.amp import Amp
from ...circuit.switches.moving import ContactData
from ...circuit.switches.planning import planned_switches
from ...pictures.canvas import Picture
from ..agreement import agreement_findings, agreement_of, agreement_words
from ..combinations import combined_labels, where_it_tells, with_loudest
from ..findings import Finding, Grade, most_worrying
from ..section import Examination, Section
from . import TITLE
from .findings import pop_findings
from .measures import LOUD_W, PEAK, first_remedy, pop_summary, pop_table, possible_rows
from .moves import MOVEMENTS, transitions
from .picture import pop_picture as draw_pop
from .simulate import STRAY, pop

_LOUD_HERTZ = (100.0, 1000.0)
"""A pop has all frequencies: at these two [Hz] the loudest of the positions in which controls meet is looked for."""

_CHECKS = 2  # movements that ngspice does too, if there are no more switches


def section(examined: Examination, progress: Progress | None = None) -> Section:
    """Move every switch of the modded amp at every position of its other controls, and say what is heard.

    Of the positions in which these meet at the loudest ones.

    A switch that the stock amp has too is moved in both.
    """
    if not examined.modded.all_switches:
        return Section(TITLE, (), {}, {}, ("This amp has no switch to move.",))
    runs: dict[str, xr.Dataset] = {}
    findings: list[Finding] = []
    for control in (switch.control for switch in examined.modded.all_switches):
        try:
            runs[control] = _run(examined, control, progress)
        except DescriptionError as refusal:
            findings.append(_unknown(examined, control, str(refusal)))
    own = _own_pops(examined, runs)
    for response in runs.values():
        findings += [each for each in pop_findings(response, TITLE, own) if each.variant == examined.modded.variant]
    tables = {"pops, loudest first": _loudest_first(runs)} if runs else {}
    pictures, agreement = _pictures(runs, findings), agreement_of(*runs.values())
    findings += agreement_findings(agreement, TITLE, examined.modded.variant)
    return Section(TITLE, tuple(findings), tables, pictures, (*_notes(examined), agreement_words(agreement)))


def _loudest_first(runs: dict[str, xr.Dataset]) -> pd.DataFrame:
    table = pd.concat(map(pop_summary, runs.values()), ignore_index=True)
    return table.sort_values(PEAK, key=lambda peaks: -peaks.abs(), kind="stable", ignore_index=True)


def _own_pops(examined: Examination, runs: dict[str, xr.Dataset]) -> dict[str, float]:
    """The switches of the stock amp, and how loud they pop in it at most [V]."""
    stock = examined.stock.variant
    found = {}
    for switch in examined.stock.all_switches:
        if switch.control in runs and stock in runs[switch.control]["variant"].values:
            table = possible_rows(pop_table(runs[switch.control].sel(variant=[stock])))
            plain = table[table["remedy"] == first_remedy(table)]
            found[switch.control] = float(plain[PEAK].abs().max())
    return found


def _run(examined: Examination, control: str, progress: Progress | None) -> xr.Dataset:
    """A switch moved at the positions of the others, and where these meet at the loudest; closer where that tells."""
    others = _without(examined, control)
    played = with_loudest(others, *_LOUD_HERTZ)
    response = _moved(played, control, progress)
    closer = where_it_tells(played, pop_findings(response)) if played.combined else None
    return _moved(closer, control, progress) if closer else response


def _moved(examined: Examination, control: str, progress: Progress | None) -> xr.Dataset:
    stock, modded = examined.stock, examined.modded
    had = control in {switch.control for switch in stock.all_switches}
    amps = [stock, modded] if had and stock.variant != modded.variant else [modded]
    checks = max(1, _CHECKS // len(modded.all_switches))
    found = pop(amps, transitions(modded, [control]), examined.every, progress=progress, checks=checks)
    return found.assign_attrs(combined_labels(examined))


def _without(examined: Examination, control: str) -> Examination:
    """What is examined without the switch that moves, each position once."""
    bare = [
        {name: value for name, value in position.items() if name != control}
        for position in (*examined.positions, *examined.combined)
    ]
    once = [each for place, each in enumerate(bare) if each not in bare[:place]]
    own = [{name: value for name, value in each.items() if name != control} for each in examined.positions]
    return replace(
        examined,
        positions=tuple(each for each in once if each in own),
        combined=tuple(each for each in once if each not in own),
    )


def _unknown(examined: Examination, control: str, why: str) -> Finding:
    return Finding(TITLE, control, examined.modded.variant, "every position", math.nan, "V", None, Grade.UNKNOWN,
                   f"{control}: its pop is not known. {why}.", "not simulated", "none", "", True)  # fmt: skip


def _pictures(runs: dict[str, xr.Dataset], findings: list[Finding]) -> dict[str, Picture]:
    """The loudest switch at its loudest position."""
    known = [each for each in findings if each.picture]
    if not known:
        return {}
    worst = most_worrying(known)
    return {TITLE: draw_pop(runs[worst.subject], worst.position, worst.variant)}


def _notes(examined: Examination) -> Iterator[str]:
    data = ContactData()
    yield (
        f"Assumed: contacts of {data.on:g} ohm closed and {data.off / 1e9:g} gigohm open; every capacitor behind an "
        f"open contact leaks through {data.leak / 1e9:g} gigohm and has been there long enough to stand discharged. "
        "An electrolytic leaks more, so a bleed leaves more of its pop than is said here. Where a part that hangs free "
        f"on the way has no answer without it, every contact has {1e12 * STRAY:g} pF of its own and its wires."
    )
    orders = ", ".join(f"{each.name} ({1e3 * abs(each.gap):g} ms)" for each in MOVEMENTS)
    yield (
        f"Orders of the contacts: {orders}; of these each switch does what its kind can. Bounces act like a longer "
        "gap; they are left out."
    )
    for control, kind, order in _planned(examined.modded):
        yield f"{control} is planned as {kind or 'no usual switch'}; its contacts: {order}."
    yield (
        f"Loud is a peak beyond that of a sine of {LOUD_W:g} W in the loudspeaker's nominal load: own threshold. "
        "High voltage switched on: filter capacitors empty, valves hot, supplies below ground up. Valves of a pair are "
        "alike here; a real pair pops more."
    )


def _planned(amp: Amp) -> Iterator[tuple[str, str, str]]:
    """Every switch, the kind it is planned as, and the order of its contacts."""
    try:
        yield from ((each.control, each.kind, str(each.order)) for each in planned_switches(amp))
    except DescriptionError:
        return
