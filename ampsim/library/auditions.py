"""An audition: which amp, which mods, which positions, and what to show of them."""

from __future__ import annotations

from collections.abc import Mapping

from ..base.entries import Entry
from ..base.errors import DescriptionError, nearest, shown
from ..base.quantities import HERTZ, VOLT
from ..circuit.amp import Amp
from ..circuit.build import build_circuit
from ..circuit.plugging import plug_in
from ..circuit.source import parse_source
from ..simulation.analyses import Transient
from ..simulation.stimuli import Sine
from ..studies.audition_request import (
    FREQUENCIES,
    ROTATIONS,
    Audition,
    Setting,
    View,
    default_audition,
    swept_positions,
)

MOST_POSITIONS = 60  # in one picture


def read_audition(data: Mapping[str, object], file: str, stock: Amp, modded: Amp) -> Audition:
    """Make an Audition of a job file's tables; the amps it names are loaded by the caller.

    Parameters
    ----------
    data : mapping
        The tables of the file.
    file : str
        What messages call it.
    stock, modded : Amp
        The amp that it names, as drawn and with its mods.

    What the file leaves out (`views`, `compare`, `waveform`) is as in `default_audition`: all that the mods add.

    Raises
    ------
    DescriptionError
        Naming file, entry, offending value and the nearest valid thing.
    """
    top = Entry(data, file)
    # Amp and mods are loaded by the caller; positions are kept there by the panel, which reads them itself.
    for key in ("amp", "mods", "positions"):
        top.has(key)
    name, about = top.label("name"), top.text("about", "")
    stock, modded = plugged_amps(top, stock, modded)
    listen_at = top.place("listen_at", top.raw("listen_at")) if top.has("listen_at") else "speaker"
    frequencies = _frequencies(top) if top.has("frequencies") else FREQUENCIES
    unsaid = default_audition(stock, modded)
    views = tuple(_view(each, modded) for each in top.tables("views")) if top.has("views") else unsaid.views
    compare, wave = top.table("compare"), top.table("waveform")
    title = compare.label("title", "stock against modded") if top.has("compare") else unsaid.compare_title
    compare_at = read_setting(compare, modded) if top.has("compare") else unsaid.compare_at
    wave_at = read_setting(wave, modded) if top.has("waveform") else unsaid.wave_at
    tone = Sine(wave.value("frequency", HERTZ, 220.0), wave.value("level", VOLT, 0.05))
    for entry in (compare, wave, top):
        entry.finish()
    for amp in (stock, modded):
        _refuse_unknown_place(top, amp, listen_at)
    return Audition(
        name, about, stock, modded, listen_at, frequencies, title, compare_at, views, Transient(tone), wave_at, file
    )


def plugged_amps(top: Entry, stock: Amp, modded: Amp) -> tuple[Amp, Amp]:
    """Both amps with the source that the entry `source` names, where there is one."""
    if not top.has("source"):
        return stock, modded
    source = parse_source(top.raw("source"), top.where("source"))
    return plug_in(stock, source), plug_in(modded, source)


def _refuse_unknown_place(top: Entry, amp: Amp, place: str) -> None:
    try:
        build_circuit(amp).net(place)
    except DescriptionError as problem:
        raise top.fail("listen_at", str(problem)) from None


def _frequencies(top: Entry) -> tuple[float, ...]:
    given = top.raw("frequencies")
    if not isinstance(given, list) or not 1 <= len(given) <= 20:
        raise top.fail("frequencies", f"{shown(given)} is not a list of one to twenty frequencies")
    return tuple(top.element("frequencies", each).value("frequencies", HERTZ) for each in given)


def _view(entry: Entry, amp: Amp) -> View:
    title, at = entry.label("title"), read_setting(entry, amp)
    vary = entry.raw("vary")
    rotations = _rotations(entry)
    entry.finish()
    positions: list[Setting] = [dict(at)]
    for name in vary if isinstance(vary, list) else [vary]:
        _known(entry, amp, name, "vary")
        more = swept_positions(amp, name, rotations)
        # Counted before they are made: a dozen knobs have more positions than a computer has memory.
        if len(positions) * len(more) > MOST_POSITIONS:
            raise entry.fail(
                "vary", f"with {shown(name)} more than {MOST_POSITIONS} positions, too many for one picture"
            )
        positions = [before | after for before in positions for after in more]
    if not positions:
        raise entry.fail("vary", "no positions; name a control")
    return View(title, tuple(positions))


def _rotations(entry: Entry) -> tuple[float, ...]:
    if not entry.has("rotations"):
        return ROTATIONS
    given = entry.raw("rotations")
    if not isinstance(given, list) or not 1 <= len(given) <= MOST_POSITIONS:
        raise entry.fail("rotations", f"{shown(given)} is not a list of rotations")
    return tuple(entry.element("rotations", each).number("rotations", 0.0, 1.0) for each in given)


def read_setting(entry: Entry, amp: Amp) -> Setting:
    """Read the entry `at`: rotations of knobs and positions of switches that the amp has."""
    at = entry.table("at")
    setting: Setting = {}
    for name in at.names():
        _known(at, amp, name, name)
        setting[name] = (
            at.choice(name, amp.controls[name].positions)
            if amp.controls[name].kind == "switch"
            else (at.number(name, 0.0, 1.0))
        )
    return setting


def _known(entry: Entry, amp: Amp, name: object, key: str) -> None:
    if not isinstance(name, str) or name not in amp.controls:
        raise entry.fail(key, f"no control {shown(name)} in {amp.name}{nearest(name, amp.controls)}")
