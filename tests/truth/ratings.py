"""What parts and valves carry, against hand figures; stored charge; limits for driven valves that the files repeat."""

from __future__ import annotations

import math
from functools import lru_cache, partial

import xarray as xr

from ampsim import Sine, load_valve
from ampsim.circuit.amp import Amp
from ampsim.studies.ratings.simulate import stress
from ampsim.work.cautions.discharge import ChargedCapacitor, fall_times
from ampsim.work.cautions.stored_charges import discharge_s, stored_coulombs, stored_joules
from tests.truth.bench import Parts, amp, near_ideal, rail, stage, wired
from tests.truth.claims import CLOSED, COPIED, PREDICTED, Case, Claim, Limit, printed

_JOULE = "Joule's law: V**2 / R, and half of it for the peak of a sine"
_SHEET = "Philips data sheet EL84, 1953 and 1955, p. 4, worked out from its volts, milliamperes and watts"
_OUTPUT = Limit(0.15, "output stage: watts and supply current 15 %")


def _divider(level: float) -> xr.Dataset:
    """The source with nothing but 4 kohm across it: the whole tone stands on one resistor."""
    circuit = amp({"R1": "4k"}, [stage("load", load="R1")])
    found: xr.Dataset = stress(circuit, tones=[Sine(1000.0, level, 0.01, 10)]).isel(variant=0, position=0)
    return found


def _hand() -> dict[str, float]:
    sine = _divider(10.0)
    rest = stress(_dropper(), tones=[]).isel(variant=0, position=0)
    return {
        "mean power": float(sine["part_watts"].sel(part="R1", state="driven")),
        "pulse power": float(sine["part_watts"].sel(part="R1", state="pulse")),
        "peak volts": float(sine["part_volts"].sel(part="R1", state="driven")),
        "power at rest": float(rest["part_watts"].sel(part="R1", state="rest")),
    }


def _dropper() -> Amp:
    """50 V across 200 kohm, 12.5 mW: 100 V over two equal resistors."""
    parts: Parts = {"R1": "200k", "R2": "200k", "R3": "1M"}
    return amp(parts, [wired("drop", R1=["B1", "out"], R2=["out", "ground"], R3=["in", "ground"])], rail("B1", 100.0))


def _pair() -> Amp:
    """Two EL84 with a common cathode resistor, as the sheet's class AB row; rails against the chassis."""
    parts: Parts = {"T1": near_ideal(8e3, 20.0), "T2": near_ideal(32.0, 1.0), "R1": 8.0, "R4": 130.0, "C4": "100u"}
    parts |= {"V1": "EL84", "V2": "EL84"}
    pins = {"primary_a": "out", "primary_b": "out_b", "centre": "ground", "tap8": "in", "common": "ground"}
    output = stage(
        "push-pull output", valve_a="V1", valve_b="V2", cathode_resistor="R4", cathode_bypass="C4",
        transformer="T1", supply="B1", screen_supply="B2",
    )  # fmt: skip
    return amp(
        parts, [wired("driver", T2=pins), output, stage("load", load="R1")], rail("B1", 300.0), rail("B2", 300.0)
    )


@lru_cache(maxsize=1)
def _el84() -> dict[str, float]:
    found = stress(_pair(), tones=[Sine(1000.0, 10.0 * math.sqrt(2.0), 0.06, 4)]).isel(variant=0, position=0)

    def watts(pin: str, state: str) -> float:
        return float(found["electrode_watts"].sel(electrode=f"V1.{pin}", state=state))

    return {
        "plate dissipation at rest": watts("plate", "rest"),
        "screen dissipation at rest": watts("screen", "rest"),
        "screen dissipation driven": watts("screen", "driven"),
    }


def _stored() -> dict[str, float]:
    return {"energy": stored_joules(450.0, 50e-6), "charge": stored_coulombs(450.0, 50e-6)}


def _bleeder() -> dict[str, float]:
    return {"time to 60 V": discharge_s(450.0, 50e-6, 220e3)}


def _banks() -> dict[str, float]:
    side = [ChargedCapacitor("b", "0", 50e-6, 450.0), ChargedCapacitor("b", "0", 50e-6, 450.0)]
    stack = [ChargedCapacitor("b", "m", 100e-6, 225.0), ChargedCapacitor("m", "0", 100e-6, 225.0)]
    return {
        "two side by side": max(fall_times([("b", "0", 220e3)], side, 60.0)),
        "two stacked": max(fall_times([("b", "m", 220e3), ("m", "0", 220e3)], stack, 60.0)),
    }


def _limit(valve: str, name: str) -> dict[str, float]:
    return {f"{name}": getattr(load_valve(valve).limits, name) or math.nan}


def _hand_cases() -> list[Case]:
    network = Limit(1e-3, "tone in steps of a hundredth of its period, read at them: 0.1 %")
    rows = (("mean power", 12.5e-3, "W"), ("pulse power", 25e-3, "W"), ("peak volts", 10.0, "V"),
            ("power at rest", 12.5e-3, "W"))  # fmt: skip
    claims = (
        Claim("power by hand", name, value, unit, _JOULE, "computed", CLOSED, network) for name, value, unit in rows
    )
    return [Case(tuple(claims), _hand)]


def _sheet_case() -> Case:
    rest_volts, driven_volts = 300.0 - 0.080 * 130.0, 300.0 - 0.114 * 130.0
    rows = (
        ("plate dissipation at rest", rest_volts * 0.036),
        ("screen dissipation at rest", rest_volts * 0.004),
        ("screen dissipation driven", driven_volts * 0.011),
    )
    return Case(
        tuple(Claim("E3 watts", name, value, "W", _SHEET, "computed", PREDICTED, _OUTPUT) for name, value in rows),
        _el84,
    )


def _charge_cases() -> list[Case]:
    source = "C V**2 / 2, C V and R C ln(V0 / 60) by hand, for a reservoir of 50 uF at 450 V with a 220 kohm bleeder"

    def claim(row: str, what: str, value: float, digit: float, unit: str) -> Claim:
        limit = Limit(printed(value, digit), "closed form: half of the last printed digit")
        return Claim(row, what, value, unit, source, "computed", CLOSED, limit)

    stored = (claim("Z4", "energy", 5.06, 0.01, "J"), claim("Z4", "charge", 22.5e-3, 0.1e-3, "C"))
    bank = "R C ln(V0 / 60) by hand: two of 50 uF at 450 V with 220 kohm; two of 100 uF in series, each with 220 kohm"
    limit = Limit(2e-3, "closed form; 1 ohm of leads to each capacitor and the last digit by hand: 0.2 %")
    banks = tuple(
        Claim("capacitor bank", name, seconds, "s", bank, "computed", CLOSED, limit)
        for name, seconds in (("two side by side", 44.33), ("two stacked", 29.08))
    )
    return [
        Case(stored, _stored),
        Case((claim("Z5", "time to 60 V", 22.2, 0.1, "s"),), _bleeder),
        Case(banks, _banks),
    ]


def _copied_cases() -> list[Case]:
    exact = Limit(1e-9, "copied from the sheet: the same number")
    rows = (
        ("E6 driven", "EL84", "screen_watts_driven", 4.0, "Philips data sheet EL84, 1953 and 1955, p. 6"),
        ("F6 driven", "EL34", "plate_watts_driven", 27.5, "Philips data sheet EL34, 1958 and 1959, p. 4"),
    )
    return [
        Case((Claim(row, name, value, "W", source, "verified", COPIED, exact),), partial(_limit, valve, name))
        for row, valve, name, value, source in rows
    ]


def cases() -> list[Case]:
    """Every figure about what parts and valves carry."""
    return [*_hand_cases(), _sheet_case(), *_charge_cases(), *_copied_cases()]
