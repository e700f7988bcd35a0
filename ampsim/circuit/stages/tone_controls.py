"""Tone controls beyond the three-band stack: one knob, two knobs, a scoop of the middle, and one with feedback."""

from __future__ import annotations

from .template import GROUND, Kind, Role, StageBuilder, Template
from .triodes import CATHODE, GRID, PLATE, cathode_net, cathode_network, grid_network, plate_parts

_R, _C, _P = ("resistor",), ("capacitor",), ("pot",)


def _rheostat(bench: StageBuilder, role: str, net: str) -> str:
    """Go through a pot wired as a variable resistor, turned up for less resistance; return the far net."""
    for pot in bench.designators(role):
        far = f"{pot.lower()}_wiper"
        bench.put(pot, top=net, wiper=far, bottom=far)
        return far
    return net


def _track(bench: StageBuilder, role: str, top: str, bottom: str) -> str:
    """Fit a pot's track between two nets and return the net of its wiper."""
    pot = bench.designators(role)[0]
    bench.put(pot, top=top, wiper=f"{pot.lower()}_wiper", bottom=bottom)
    return f"{pot.lower()}_wiper"


def _one_knob(bench: StageBuilder) -> tuple[str, ...]:
    line = bench.through("series_resistor", bench.through("coupling", bench.signal[0]))
    bench.across("capacitor", _tone_pot(bench, line), GROUND)
    return (line,)


def _tone_pot(bench: StageBuilder, line: str) -> str:
    # Turned down, the capacitor lies on the line: the wiper is at the end that rotation 1 leaves.
    pot = bench.designators("pot")[0]
    far = f"{pot.lower()}_wiper"
    bench.put(pot, top=far, wiper=far, bottom=line)
    return far


def _blend(bench: StageBuilder) -> tuple[str, ...]:
    source, pot = bench.signal[0], bench.designators("pot")[0]
    bright, dark = f"{pot.lower()}_top", f"{pot.lower()}_bottom"
    bench.across("treble_capacitor", source, bright)
    bench.across("treble_shunt", bright, GROUND)
    bench.across("bass_resistor", source, dark)
    bench.across("bass_capacitor", dark, GROUND)
    return (_track(bench, "pot", bright, dark),)


def _two_knob(bench: StageBuilder) -> tuple[str, ...]:
    source = bench.through("coupling", bench.signal[0])
    bass, treble = (bench.designators(role)[0].lower() for role in ("bass", "treble"))
    top, bottom = bench.through("bass_resistor", source, f"{bass}_top"), f"{bass}_bottom"
    out = f"{treble}_wiper"
    wiper = _track(bench, "bass", top, bottom)
    bench.across("bass_capacitor_top", top, wiper)
    bench.across("bass_capacitor_bottom", wiper, bottom)
    bench.across("bass_foot_resistor", bottom, GROUND)
    bench.across("treble_capacitor", source, f"{treble}_top")
    bench.across("treble_foot_capacitor", f"{treble}_bottom", GROUND)
    _track(bench, "treble", f"{treble}_top", f"{treble}_bottom")
    bench.through("joining_resistor", wiper, out)
    return (out,)


def _scoop(bench: StageBuilder) -> tuple[str, ...]:
    source = bench.through("coupling", bench.signal[0])
    out = bench.through("bridge_resistor", source)
    middle = bench.through("capacitor_in", source)
    bench.across("capacitor_out", middle, out)
    bench.across("foot_resistor", _rheostat(bench, "depth", middle), GROUND)
    return (out,)


def _feedback_tone(bench: StageBuilder) -> tuple[str, ...]:
    source, plate = bench.signal[0], bench.net("plate")
    bass, treble = (bench.designators(role)[0].lower() for role in ("bass", "treble"))
    back = bench.through("output_capacitor", plate)
    top, bottom = bench.through("bass_resistor_in", source, f"{bass}_top"), f"{bass}_bottom"
    bench.across("bass_resistor_back", bottom, back)
    wiper = _track(bench, "bass", top, bottom)
    bench.across("bass_capacitor_in", top, wiper)
    bench.across("bass_capacitor_back", wiper, bottom)
    bench.across("treble_capacitor_in", source, f"{treble}_top")
    bench.across("treble_capacitor_back", f"{treble}_bottom", back)
    middle = _track(bench, "treble", f"{treble}_top", f"{treble}_bottom")
    bench.through("joining_resistor", wiper, middle)
    grid = grid_network(bench, bench.through("coupling", middle))
    cathode = cathode_net(bench)
    bench.valve("valve", plate, grid, cathode)
    cathode_network(bench, cathode)
    plate_parts(bench, bench.rail("supply"), plate, grid)
    bench.across("output_leak", back, GROUND)
    return (back,)


ONE_KNOB = Template(
    "one-knob tone",
    Kind.NETWORK,
    "a pot and a capacitor to ground that take treble away when turned down",
    {
        "pot": Role("tone pot, wired as a variable resistor", _P, True),
        "capacitor": Role("capacitor to ground", _C, True),
        "coupling": Role("capacitor from the stage before", _C),
        "series_resistor": Role("resistor that the signal comes through", _R),
    },
    1,
    _one_knob,
)

BLEND = Template(
    "blend tone",
    Kind.NETWORK,
    "one pot between a treble branch and a bass branch; in the middle of its travel the middle is scooped",
    {
        "pot": Role("tone pot: up the treble branch, down the bass branch", _P, True),
        "treble_capacitor": Role("capacitor of the treble branch", _C, True),
        "treble_shunt": Role("resistor from the treble branch to ground", _R, True),
        "bass_resistor": Role("resistor of the bass branch", _R, True),
        "bass_capacitor": Role("capacitor from the bass branch to ground", _C, True),
    },
    1,
    _blend,
)

TWO_KNOB = Template(
    "two-knob tone",
    Kind.NETWORK,
    "passive bass and treble controls that lift and cut; of a three-band stack with a fixed middle see tone stack",
    {
        "bass": Role("bass pot", _P, True),
        "treble": Role("treble pot", _P, True),
        "bass_resistor": Role("resistor to the top of the bass pot", _R, True),
        "bass_foot_resistor": Role("resistor from the bottom of the bass pot to ground", _R, True),
        "bass_capacitor_top": Role("capacitor from the top of the bass pot to its wiper", _C, True),
        "bass_capacitor_bottom": Role("capacitor from its wiper to its bottom", _C, True),
        "joining_resistor": Role("resistor from the bass wiper to the treble wiper", _R, True),
        "treble_capacitor": Role("capacitor to the top of the treble pot", _C, True),
        "treble_foot_capacitor": Role("capacitor from the bottom of the treble pot to ground", _C, True),
        "coupling": Role("capacitor from the stage before", _C),
    },
    1,
    _two_knob,
)

SCOOP = Template(
    "mid scoop",
    Kind.NETWORK,
    "bridged T that takes the middle away, as deep as its pot stands",
    {
        "bridge_resistor": Role("resistor from in to out", _R, True),
        "capacitor_in": Role("capacitor from in to the middle of the T", _C, True),
        "capacitor_out": Role("capacitor from the middle of the T to out", _C, True),
        "depth": Role("pot from the middle of the T to ground; turned up for a deeper scoop", _P),
        "foot_resistor": Role("resistor between that and ground", _R, True),
        "coupling": Role("capacitor from the stage before", _C),
    },
    1,
    _scoop,
)

FEEDBACK_TONE = Template(
    "baxandall tone",
    Kind.GAIN,
    "controls of bass and treble in the feedback of a triode (P. J. Baxandall, Wireless World, October 1952)",
    {
        "valve": Role("triode", ("valve",), True),
        **PLATE,
        "bass": Role("bass pot", _P, True),
        "treble": Role("treble pot", _P, True),
        "bass_resistor_in": Role("resistor from in to the top of the bass pot", _R, True),
        "bass_resistor_back": Role("resistor from the bottom of the bass pot to out", _R, True),
        "bass_capacitor_in": Role("capacitor from the top of the bass pot to its wiper", _C, True),
        "bass_capacitor_back": Role("capacitor from its wiper to its bottom", _C, True),
        "joining_resistor": Role("resistor from the bass wiper to the treble wiper", _R, True),
        "treble_capacitor_in": Role("capacitor from in to the top of the treble pot", _C, True),
        "treble_capacitor_back": Role("capacitor from the bottom of the treble pot to out", _C, True),
        "output_capacitor": Role("capacitor from the plate to out", _C, True),
        "output_leak": Role("resistor from out to ground", _R),
        **CATHODE,
        **GRID,
        "coupling": Role("capacitor from the network to the grid", _C, True),
        "grid_leak": Role("grid leak", _R, True),
    },
    1,
    _feedback_tone,
)

TEMPLATES = (ONE_KNOB, BLEND, TWO_KNOB, SCOOP, FEEDBACK_TONE)
