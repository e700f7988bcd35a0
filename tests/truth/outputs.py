"""Output stages of the data sheets, through the output-stage templates with a next to lossless transformer.

What the sheets leave open was read as follows, for every row alike where nothing else is said: drive is r.m.s. on
each grid from a source without resistance; load and watts are those of the primary (a lossless transformer hands
them on); a screen resistor has no capacitor behind it, since none is printed; rail voltages are against the chassis,
see `_rails`. The EL84's single-ended row E2 is read with its cathode resistor: with the printed bias held instead, a
fit of everything else leaves the second harmonic at 4.3 V half as much again as printed.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.description import Valve
from ampsim.measures.waveforms import harmonics, power_w, steady_voltage
from tests.truth.bench import Parts, Rest, amp, near_ideal, rail, stage, tone, wired
from tests.truth.claims import Case, Limit
from tests.truth.valves_alone import POINT, by_row, claim_of

SENSE = 0.1  # ohm in each rail, to read its mean current under drive
LOAD = 8.0
_OUTPUT = Limit(0.15, "output stage: watts and supply current 15 %")
_DISTORTION = Limit(0.30, "distortion 30 % of itself")
LIMITS = POINT | {
    "plate current": _OUTPUT,
    "output power": _OUTPUT,
    "distortion": _DISTORTION,
    "second harmonic": _DISTORTION,
    "third harmonic": _DISTORTION,
}
CIRCUITS = (
    "single-ended output",
    "single-ended output, triode connected",
    "push-pull output, cathode bias",
    "push-pull output, fixed bias",
    "push-pull output, fixed bias, triode connected",
)


def _rails(row: str, at: Mapping[str, float]) -> tuple[float, float]:
    """Plate rail and screen rail [V] against the chassis."""
    plate = at.get("plate_volts", at.get("supply_volts", 0.0))
    screen = at["supply_volts"] if "screen_ohms" in at else at.get("screen_volts", plate)
    if row.startswith("E2"):  # 250 V across the valve, and the cathode stands at minus the grid volts
        return plate - at["grid_volts"], screen - at["grid_volts"]
    if row.startswith("E5"):  # 250 V across the valve; the printed 34 mA flows in the cathode resistor
        return plate + 0.034 * at["cathode_ohms"], screen
    if row.startswith("F4"):  # printed against the chassis: 355 V at rest, 350 V driven; 375 V feeds the screens
        return (355.0 if row == "F4a" else 350.0), screen
    return plate, screen


def _stage(row: str, circuit: str, valve: Valve, at: Mapping[str, float]) -> Amp:
    plate, screen = _rails(row, at)
    double = circuit.startswith("push-pull")
    parts: Parts = {"T1": near_ideal(at["load_ohms"], 20.0), "R1": LOAD, "R2": SENSE, "R3": SENSE}
    roles: dict[str, object] = {"transformer": "T1", "supply": "B1"}
    rails = [rail("B1", plate, through="R2")]
    if circuit.endswith("triode connected"):
        roles["triode_connected"] = "yes"
        del parts["R3"]
    else:
        roles["screen_supply"] = "B2"
        rails.append(rail("B2", screen, through="R3"))
    if "screen_ohms" in at:
        parts["R3"] = at["screen_ohms"]
    if "cathode_ohms" in at:
        parts |= {"R4": at["cathode_ohms"], "C4": "100u"}
        roles |= {"cathode_resistor": "R4", "cathode_bypass": "C4"}
    else:
        rails.append(rail("bias", at["grid_volts"]))
    sockets = {"valve_a": "V1", "valve_b": "V2"} if double else {"valve": "V1"}
    parts |= dict.fromkeys(sockets.values(), valve.type)
    before = [_splitter(parts, "cathode_ohms" in at)] if double else []
    if not double and "cathode_ohms" not in at:
        # So large that grid current cannot shift the bias while a tone lasts.
        parts |= {"C5": "1m", "R5": "10k"}
        roles |= {"coupling": "C5", "grid_leak": "R5", "bias": "bias"}
    output = stage("push-pull output" if double else "single-ended output", **sockets, **roles)
    return amp(parts, [*before, output, stage("load", load="R1")], *rails)


def _splitter(parts: Parts, self_bias: bool) -> Mapping[str, object]:
    """A driver transformer: the source to one grid, its mirror image to the other, bias at the centre tap."""
    parts["T2"] = near_ideal(4.0 * 8.0, 1.0)
    pins = {"primary_a": "out", "primary_b": "out_b", "centre": "ground" if self_bias else "bias"}
    return wired("driver", T2=pins | {"tap8": "in", "common": "ground"})


def _measure(row: str, circuit: str, valve: Valve, at: Mapping[str, float]) -> dict[str, float]:
    built = _stage(row, circuit, valve, at)
    joined = circuit.endswith("triode connected")
    if not at["drive_volts"]:
        rest = Rest(built)
        found = {"plate current": rest.amps("V1", "plate", *(["screen"] if joined else []))}
        return found if joined else found | {"screen current": rest.amps("V1", "screen")}
    rails = ["B1"] if joined else ["B1", "B2"]
    told = tone(built, at["drive_volts"] * 2.0**0.5, ["speaker", *rails])
    heard = harmonics(told)
    share = 10.0 ** (heard["relative"].squeeze().values / 20.0)
    valves = 2.0 if circuit.startswith("push-pull") else 1.0
    means = {name: float(steady_voltage(told, name)[..., :-1].mean()) for name in rails}
    volts = dict(zip(("B1", "B2"), _rails(row, at), strict=True))
    ohms = {"B1": SENSE, "B2": at.get("screen_ohms", SENSE)}
    amps = {name: (volts[name] - means[name]) / ohms[name] / valves for name in rails}
    return {
        "plate current": amps["B1"],
        "screen current": amps.get("B2", 0.0),
        "output power": float(power_w(told).squeeze()),
        "distortion": float(heard["thd"].squeeze()) / 100.0,
        "second harmonic": float(share[1]),
        "third harmonic": float(share[2]),
    }


def cases() -> list[Case]:
    """Every row of the data sheets about an output stage."""
    found = []
    for valve, points in by_row(*CIRCUITS):
        row, circuit, at = points[0].id, points[0].circuit, dict(points[0].conditions)
        claims = tuple(claim_of(point, valve, LIMITS) for point in points)
        found.append(Case(claims, partial(_measure, row, circuit, valve, at)))
    return found
