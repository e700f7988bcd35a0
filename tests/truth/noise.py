"""Noise and hum against laws of physics and closed forms, and the rule for valve noise against a data sheet."""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from ampsim import load_valve
from ampsim.circuit.amp import Amp
from ampsim.circuit.valves.evaluation import Slopes, currents, slopes
from ampsim.measures.weighting import a_weight
from ampsim.simulation.analyses import NoiseSweep
from ampsim.studies.noise.hum import Mains, hum_spectrum
from ampsim.studies.noise.measures import weighted_v
from ampsim.studies.noise.simulate import equivalent_ohms, noise_spectrum
from tests.truth.bench import Parts, Rest, amp, rail, stage, wired
from tests.truth.claims import CLOSED, PREDICTED, Case, Claim, Limit

# Worked out here with numbers of its own: Boltzmann's constant, charge of the electron (SI), 27 degrees Celsius.
_K, _T = 1.380649e-23, 300.15
_NYQUIST = "H. Nyquist, Physical Review 32, 1928: 4 k T R; worked out in the test"
_IEC = "IEC 61672-1, table of the A curve at exact frequencies"
_STAGE = "small-signal circuit of a common-cathode stage with the valve law's own slopes, worked out in the test"
_SERIES = "Fourier series of a sawtooth and an RC filter with its load, worked out in the test"
_HUM = {
    "swing of the reservoir over I / (2 f C)": "rectifier theory, from memory",
    "ripple behind the filter over the closed form": _SERIES,
    "third harmonic there over the closed form": _SERIES,
    "hum at the plate over the closed form": _STAGE,
    "heater hum at the plate over the closed form": _STAGE,
}
_PRINTED_A = (-39.4, -26.2, -16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1, -6.6)
_CHAIN = "thermal noise of every resistor and 2.5/gm (from memory) through dividers and gains worked out in the test"
_PENTODE = "Ia / (Ia + Ig2) (2.5/gm + 20 Ig2 / gm^2), W. A. Harris, RCA Review 5, 1941, from memory"
_FED = "small-signal circuit of plate, screen and supply with the valve law's own slopes, worked out in the test"
_EXACT = Limit(1e-4, "bare network: 0.01 %")
_CLOSED = Limit(0.005, "closed form that leaves out the valve's capacitances: 0.5 %")
_HERTZ = (31.5, 63.0, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0)


def _divider() -> dict[str, float]:
    """100 kohm from the source, 50 kohm to ground."""
    circuit = amp({"R1": "100k", "R2": "50k"}, [stage("generator", resistance="R1"), stage("load", load="R2")])
    found = noise_spectrum(circuit, sweep=NoiseSweep(100.0, 1000.0, 1)).isel(variant=0, position=0, frequency=0)
    parts = {str(name): float(found["contribution"].sel(contributor=name)) for name in ("R1", "R2")}
    return {"noise density": float(found["noise"]), "of R1": parts["R1"], "of R2": parts["R2"]}


def _divider_cases() -> Case:
    def claim(what: str, value: float) -> Claim:
        return Claim("divider 100k and 50k", what, value, "V/sqrt(Hz)", _NYQUIST, "computed", CLOSED, _EXACT)

    r1, r2 = (math.sqrt(4.0 * _K * _T * ohms) for ohms in (100e3, 50e3))
    both = math.sqrt(4.0 * _K * _T / (1 / 100e3 + 1 / 50e3))
    return Case((claim("noise density", both), claim("of R1", r1 / 3.0), claim("of R2", r2 * 2.0 / 3.0)), _divider)


def _kt_over_c() -> dict[str, float]:
    """All the noise of 10 kohm with 1 nF across it."""
    stages = [stage("generator", resistance="R1"), wired("shunt", C1=["in", "ground"], R2=["in", "out"])]
    circuit = amp({"R1": "10k", "C1": "1n", "R2": "1"}, stages)
    found = noise_spectrum(circuit, sweep=NoiseSweep(1.0, 1e9, 50, output="C1.1"))
    return {"noise": float(weighted_v(found["noise"], weight=False)[0, 0])}


def _triode() -> Amp:
    """One 12AX7 behind 10 kohm: 100 kohm in the plate, 1.5 kohm and 1000 uF in the cathode."""
    parts: Parts = {"R1": "10k", "V1": "12AX7", "R2": "100k", "R3": "1k5", "C1": "1000u"}
    roles = {"valve": "V1", "supply": "B1", "plate_load": "R2", "cathode_resistor": "R3", "cathode_bypass": "C1"}
    return amp(parts, [stage("generator", resistance="R1"), stage("triode stage", **roles)], rail("B1", 300.0))


def _slopes(circuit: Amp) -> Slopes:
    rest = Rest(circuit)
    return slopes(load_valve("12AX7"), rest.volts("V1.plate", "V1.cathode"), rest.volts("V1.grid", "V1.cathode"))


def _by_hand() -> float:
    """sqrt(4 k T (2.5/gm + Rs) A^2 + 4 k T / Ra Rout^2), A = gm Rout, Rout = Ra beside rp."""
    at = _slopes(_triode())
    out = 1.0 / (1.0 / 100e3 + 1.0 / float(at.rp))
    gain = float(at.gm) * out
    return math.sqrt(4.0 * _K * _T * ((2.5 / float(at.gm) + 10e3) * gain**2 + out**2 / 100e3))


def _valve_noise() -> dict[str, float]:
    found = noise_spectrum(_triode(), sweep=NoiseSweep(1000.0, 10e3, 1, output="V1.plate"))
    return {"noise density over the closed form": float(found["noise"][0, 0, 0]) / _by_hand()}


def _req() -> dict[str, float]:
    gm = float(slopes(load_valve("6DJ8"), 90.0, -1.3).gm)
    return {"Req": equivalent_ohms(gm)}


def _valve_cases() -> list[Case]:
    limit = Limit(0.002, "closed form that leaves out the valve's capacitances: 0.2 %")
    source = "2.5/gm (from memory) and 4 k T R, worked out in the test"
    ratio = "noise density over the closed form"
    stage_noise = Claim("12AX7 behind 10 kohm", ratio, 1.0, "1", source, "computed", CLOSED, limit)
    req = Claim("T6", "Req", 300.0, "ohm", "Philips data sheet ECC88, 1958, p. 2", "verified", PREDICTED,
                Limit(0.30, "rule of thumb: 30 %, which is 1.5 dB of noise"))  # fmt: skip
    return [Case((stage_noise,), _valve_noise), Case((req,), _req)]


def _weight(hertz: float) -> dict[str, float]:
    exact = 1000.0 * 10.0 ** (round(10.0 * math.log10(hertz / 1000.0)) / 10.0)
    return {"A weight": 20.0 * math.log10(float(a_weight(exact)))}


def _weight_cases() -> list[Case]:
    limit = Limit(0.05, "half of the last printed digit", "dB")
    return [
        Case((Claim(f"A curve at {hertz:g} Hz", "A weight", db, "dB", _IEC, "verified", CLOSED, limit),),
             partial(_weight, hertz))
        for hertz, db in zip(_HERTZ, _PRINTED_A, strict=True)
    ]  # fmt: skip


def _filtered() -> Amp:
    """The same stage, cathode bypassed no more, behind a reservoir and one filter."""
    parts: Parts = {"R1": "10k", "V1": "12AX7", "R2": "100k", "R3": "1k5", "R50": "100", "C50": "47u", "R51": "10k",
                    "C51": "22u"}  # fmt: skip
    roles = {"valve": "V1", "supply": "B2", "plate_load": "R2", "cathode_resistor": "R3"}
    return amp(
        parts, [stage("generator", resistance="R1"), stage("triode stage", **roles)],
        rail("B1", 320.0, through="R50", reservoir="C50"),
        {"name": "B2", "from": "B1", "through": "R51", "reservoir": "C51"},
    )  # fmt: skip


def _hum() -> dict[str, float]:
    found = hum_spectrum(_filtered()).isel(variant=0, position=0)
    first, behind = found.isel(frequency=0), found["ripple"].sel(rail="B2")
    ours = (
        float(found["swing"][0]),
        abs(complex(behind[0])),
        abs(complex(behind[2])),
        abs(complex(first["hum"])),
        float(found["heater"][0]),
    )
    return {what: got / closed for what, got, closed in zip(_HUM, ours, _hum_by_hand(), strict=True)}


def _hum_by_hand() -> tuple[float, ...]:
    at, rest, mains = _slopes(_filtered()), Rest(_filtered()), Mains()
    rp, mu = float(at.rp), float(at.mu)
    # The stage seen from the supply, and from its cathode.
    branch = 100e3 + rp + (mu + 1.0) * 1500.0
    cathode = 1.0 / (1.0 / 1500.0 + (mu + 1.0) / (100e3 + rp))
    swing = rest.amps("V1", "plate") / (2.0 * 50.0 * 47e-6)

    def ripple(n: int) -> float:
        shunt = 1.0 / (2j * math.pi * 100.0 * n * 22e-6 + 1.0 / branch)
        return swing / (math.sqrt(2.0) * math.pi * n) * abs(shunt / (10e3 + shunt))

    heater = mains.heater_volts / mains.leak_ohms * cathode * (mu + 1.0) / (100e3 + rp) * 100e3
    return swing, ripple(1), ripple(3), ripple(1) * (branch - 100e3) / branch, heater


def _hum_case() -> Case:
    return Case(
        tuple(
            Claim("12AX7 behind one filter", what, 1.0, "1", source, "computed", CLOSED, _CLOSED)
            for what, source in _HUM.items()
        ),
        _hum,
    )


def _noise_at(circuit: Amp, place: str) -> float:
    """Noise density [V/sqrt(Hz)] at 100 Hz, where capacitances of valves do nothing."""
    found = noise_spectrum(circuit, sweep=NoiseSweep(100.0, 1000.0, 1, output=place))
    return float(found["noise"][0, 0, 0])


def _chain() -> Amp:
    """Two 12AX7, a linear track of a megohm at 0.4 between them; the second cathode without a capacitor."""
    track = {"track": "1M", "taper": "linear", "control": "volume", "rotation": 0.4}
    parts: Parts = {"R1": "68k", "V1": "12AX7", "R2": "100k", "R3": "1k5", "C1": "10m", "C2": "100u", "P1": track,
                    "V2": "12AX7", "R4": "220k", "R5": "3k3"}  # fmt: skip
    first = {"valve": "V1", "supply": "B1", "plate_load": "R2", "cathode_resistor": "R3", "cathode_bypass": "C1"}
    second = {"valve": "V2", "supply": "B1", "plate_load": "R4", "cathode_resistor": "R5"}
    stages = [stage("generator", resistance="R1"), stage("triode stage", "first", **first),
              stage("volume", coupling="C2", pot="P1"), stage("triode stage", "second", **second)]  # fmt: skip
    return amp(parts, stages, rail("B1", 300.0))


def _chain_by_hand(circuit: Amp) -> float:
    rest, valve = Rest(circuit), load_valve("12AX7")
    one, two = (
        slopes(valve, rest.volts(f"{name}.plate", f"{name}.cathode"), rest.volts(f"{name}.grid", f"{name}.cathode"))
        for name in ("V1", "V2")
    )
    out = 1.0 / (1.0 / 100e3 + 1.0 / float(one.rp))
    plate = ((2.5 / float(one.gm) + 68e3) * float(one.gm) ** 2 + 1.0 / 100e3) * out**2
    whole = out + 1e6
    wiper = (plate + 600e3) * (400e3 / whole) ** 2 + 400e3 * (1.0 - 400e3 / whole) ** 2
    mu, rp = float(two.mu), float(two.rp)
    branch = 220e3 + rp + (mu + 1.0) * 3.3e3
    ohms = (wiper + 2.5 / float(two.gm)) * (mu * 220e3 / branch) ** 2 + 3.3e3 * ((mu + 1.0) * 220e3 / branch) ** 2
    return math.sqrt(4.0 * _K * _T * (ohms + 220e3 * ((branch - 220e3) / branch) ** 2))


def _chain_noise() -> dict[str, float]:
    return {"noise density over the closed form": _noise_at(_chain(), "V2.plate") / _chain_by_hand(_chain())}


def _pentode() -> Amp:
    """An EL84 from 300 V: 4.7 kohm in the plate, 10 kohm and 10 uF at the screen, a cathode that stands still."""
    parts: Parts = {"R1": "1", "V1": "EL84", "R2": "4k7", "R3": "10k", "C1": "10u", "R4": "220", "C2": "999m",
                    "R50": "100", "C50": "47u", "R51": "1k", "C51": "22u"}  # fmt: skip
    roles = {"valve": "V1", "supply": "B2", "plate_load": "R2", "screen_resistor": "R3", "screen_bypass": "C1",
             "cathode_resistor": "R4", "cathode_bypass": "C2"}  # fmt: skip
    return amp(
        parts, [stage("generator", resistance="R1"), stage("pentode stage", **roles)],
        rail("B1", 300.0, through="R50", reservoir="C50"),
        {"name": "B2", "from": "B1", "through": "R51", "reservoir": "C51"},
    )  # fmt: skip


def _pentode_slopes(rest: Rest) -> np.ndarray:
    """How plate and screen current (rows) go with the volts of plate, grid and screen [S]."""
    volts = np.array([rest.volts(f"V1.{pin}", "V1.cathode") for pin in ("plate", "grid", "screen")])

    def drawn(at: np.ndarray) -> np.ndarray:
        found = currents(load_valve("EL84"), *map(float, at))
        return np.array([float(found.plate), float(found.screen)])

    return np.array([(drawn(volts + step) - drawn(volts - step)) / 2e-3 for step in 1e-3 * np.eye(3)]).T


def _pentode_noise() -> dict[str, float]:
    """The screen's capacitor keeps what the screen draws out of the plate's circuit, so at 100 Hz it stands still."""
    rest = Rest(_pentode())
    slope, plate, screen = _pentode_slopes(rest), rest.amps("V1", "plate"), rest.amps("V1", "screen")
    gm, out = slope[0, 1], 1.0 / (1.0 / 4.7e3 + slope[0, 0])
    ohms = plate / (plate + screen) * (2.5 / gm + 20.0 * screen / gm**2)
    closed = math.sqrt(4.0 * _K * _T * (ohms * gm**2 + 1.0 / 4.7e3)) * out
    return {"noise density over the handbook's": _noise_at(_pentode(), "V1.plate") / float(closed)}


def _pentode_hum() -> dict[str, float]:
    """Ripple comes through the plate load, and amplified through the screen, against it."""
    found, rest = hum_spectrum(_pentode(), output="V1.plate").isel(variant=0, position=0), Rest(_pentode())
    swing = rest.amps("V1", "plate", "screen") / (2.0 * 50.0 * 47e-6)
    slope, screen = _pentode_slopes(rest), 1.0 / 10e3 + 2j * math.pi * 100.0 * 10e-6
    matrix = np.array([[1.0 / 4.7e3 + slope[0, 0], slope[0, 2]], [slope[1, 0], screen + slope[1, 2]]])
    plate, fed = np.linalg.solve(matrix, [1.0 / 4.7e3, 1.0 / 10e3])
    drawn = (1.0 - plate) / 4.7e3 + (1.0 - fed) / 10e3
    shunt = 1.0 / (2j * math.pi * 100.0 * 22e-6 + drawn)
    closed = swing / (math.sqrt(2.0) * math.pi) * abs(shunt / (1e3 + shunt) * plate)
    return {"hum at the plate over the closed form": abs(complex(found["hum"][0])) / closed}


def _chain_cases() -> list[Case]:
    rounded = Limit(0.02, "the handbook's 20 is 19.3 at 27 degrees Celsius, and most of this noise: 2 %")
    chain, pentode, hum = (
        Claim(where, what, 1.0, "1", source, "computed", CLOSED, limit)
        for where, what, source, limit in (
            ("two 12AX7 and a track", "noise density over the closed form", _CHAIN, _CLOSED),
            ("EL84 with 10 uF at its screen", "noise density over the handbook's", _PENTODE, rounded),
            ("EL84 behind one filter", "hum at the plate over the closed form", _FED, _CLOSED),
        )
    )
    return [Case((chain,), _chain_noise), Case((pentode,), _pentode_noise), Case((hum,), _pentode_hum)]


def cases() -> list[Case]:
    """Every check of noise and hum."""
    ktc = Claim("10 kohm and 1 nF", "noise", math.sqrt(_K * _T / 1e-9), "V", "k T / C of a capacitor, from memory",
                "computed", CLOSED, Limit(0.001, "integral from 1 Hz to 1 GHz: 0.1 %"))  # fmt: skip
    return [_divider_cases(), Case((ktc,), _kt_over_c), *_valve_cases(), *_weight_cases(), _hum_case(),
            *_chain_cases()]  # fmt: skip
