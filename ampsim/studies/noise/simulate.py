"""Noise at the output, and which part brings how much of it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import cast

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from ...base.errors import EngineError
from ...base.progress import Progress, part_of
from ...circuit.amp import Amp, Socket
from ...circuit.build import SPEAKER, Circuit
from ...circuit.designators import element_name
from ...circuit.positions import Position
from ...circuit.semiconductors.device import Device
from ...circuit.semiconductors.measuring import channel_slope
from ...circuit.valves.description import Valve
from ...circuit.valves.evaluation import slopes
from ...circuit.valves.laws import LAWS
from ...simulation.analyses import FrequencySweep, NoiseSweep, OperatingPoint
from ...simulation.devices import package
from ...simulation.drives import NOISE_SIEMENS, noise_element, noise_vector
from ...simulation.netlist import Netlist, node_vector, valve_vectors, write
from ...simulation.netlist_writer import noisy_elements
from ...simulation.ngspice.engine import Arrays
from ...simulation.request import Case, answers, request
from ...simulation.response import provenance

# ngspice works at 27 degrees Celsius; constants of the SI, exact since 2019.
KELVIN, BOLTZMANN, CHARGE = 300.15, 1.380649e-23, 1.602176634e-19
# A triode's noise in its plate current is that of a resistor of this over gm in series with its grid.
TRIODE_FACTOR = 2.5
# A channel's noise is 4 k T times this times gm: A. van der Ziel, Proc. IRE 50, 1962, in saturation.
FET_FACTOR = 2.0 / 3.0
ValveNoise = tuple[tuple[str, float, float, float], ...]


def noise_spectrum(
    amps: Amp | Sequence[Amp],
    positions: Iterable[Position] = ({},),
    sweep: NoiseSweep | None = None,
    progress: Progress | None = None,
) -> xr.Dataset:
    """Noise at the output of one or more variants over positions of their controls, with the input silent.

    Each resistor and valve is a source of its own, so that the sum can be told apart again.

    Parameters
    ----------
    amps : Amp or sequence of Amp
    positions : iterable of mapping
        As in `simulate`.
    sweep : NoiseSweep
        Frequencies and `output`; default the loudspeaker's terminals, 20 Hz to 20 kHz, 20 a decade. Its `valves` are
        worked out here.
    progress : callable
        Called with (done, total).

    Returns
    -------
    xarray.Dataset
        `noise` [V/sqrt(Hz)] dims (variant, position, frequency); `contribution` [V/sqrt(Hz)], the same by
        `contributor`; their squares add up. `transfer` [1], the gain from the source to the output. Beside each
        contributor stand its `kind` ("resistor", "pot", "valve", "partition", "grid current", ...) and its `stage`.

    Raises
    ------
    DescriptionError
        For unknown controls, positions or places.
    EngineError
        When ngspice gives no trustworthy answer.

    Notes
    -----
    Two passes: at rest, then the sweep with every valve's noise at the currents and the gm found. Thermal noise of
    every resistor: 4 k T R (Nyquist). Triode: 2.5/gm ohm in series with the grid. Pentode: the cathode current's noise
    is that of a triode with the gm of plate and screen together and divides like the currents; partition noise
    2 q Ia Ig2 / (Ia + Ig2) runs between plate and screen. Both valve formulas from memory (tube noise theory of
    W. Schottky, D. O. North). Shot noise of the grid current is that of the grid's diode; a law with a grid current of
    its own has none. A junction of a semiconductor has shot noise 2 q I (W. Schottky, 1918), its series resistance
    thermal noise, both as ngspice has them. A channel's: 4 k T (2/3) gm (A. van der Ziel, 1962). Flicker, hum,
    microphony and crackling parts are left out: there are no figures for them here.
    """
    asked = request(amps, positions)
    base = sweep or NoiseSweep(per_decade=20)
    cases = asked.cases
    steps = 3 * len(cases)
    rest = [_at_rest(case) for case in cases]
    resting = answers(cases, rest, progress=part_of(progress, 0, steps))
    runs = [
        netlist
        for case, outcome in zip(cases, resting, strict=True)
        for netlist in _sweeps(case, replace(base, valves=valve_noise(case.wired, outcome)))
    ]
    twice = [case for case in cases for _ in range(2)]
    swept = answers(twice, runs, progress=part_of(progress, len(cases), steps))
    found = _dataset(cases, asked.shape, base, swept[::2], swept[1::2])
    facts = provenance(asked.variants, base, [*rest, *runs], [*resting, *swept])
    return found.assign_coords(asked.coords()).assign_attrs(facts | {"output": base.output, "kelvin": KELVIN})


def valve_noise(wired: Circuit, rest: Arrays) -> ValveNoise:
    """The noise of every valve as `NoiseSweep` takes it, from the volts and currents at rest."""
    return tuple(
        (part.designator, *_as_resistors(wired.amp.valve_by_type[part.type], *_readings(wired, part, rest)))
        for part in _sockets(wired)
    ) + tuple(_channel_noise(wired, rest))


def _channel_noise(wired: Circuit, rest: Arrays) -> Iterator[tuple[str, float, float, float]]:
    """The resistor [ohm] whose noise is that of each transistor's channel, `FET_FACTOR` times its gm."""
    for element in wired.elements:
        if element.kind == "transistor":
            vectors = {pin: node_vector(wired, f"{element.designator}.{pin}") for pin, _ in element.pins}
            volts = {pin: float(rest.vectors[name][0]) if name else 0.0 for pin, name in vectors.items()}
            device = wired.amp.semiconductor_by_type[cast("Device", wired.parts[element.designator]).type]
            gm = channel_slope(device, volts["drain"] - volts["source"], volts["gate"] - volts["source"])
            yield element.designator, FET_FACTOR * gm / NOISE_SIEMENS**2, 0.0, 0.0


def equivalent_ohms(gm: float) -> float:
    """Resistance [ohm] in series with the grid that makes as much noise as a triode: 2.5/gm, from memory."""
    return TRIODE_FACTOR / gm


def _as_resistors(valve: Valve, volts: Mapping[str, float], plate: float, screen: float) -> tuple[float, float, float]:
    """Resistors [ohm] for plate and partition noise, and the screen's share; volts against the cathode, amps."""
    at_screen = volts["screen"] if valve.family == "pentode" else None
    gm = float(slopes(valve, volts["plate"], volts["grid"], at_screen).gm)
    if gm <= 0.0 or plate <= 0.0:
        return 0.0, 0.0, 0.0
    share = screen / plate
    partition = 2.0 * CHARGE * plate * screen / (plate + screen) / (4.0 * BOLTZMANN * KELVIN * NOISE_SIEMENS**2)
    return equivalent_ohms(gm * (1.0 + share)) * (gm / NOISE_SIEMENS) ** 2, partition, share


def _readings(wired: Circuit, part: Socket, rest: Arrays) -> tuple[dict[str, float], float, float]:
    family = wired.amp.valve_by_type[part.type].family
    names = valve_vectors(part.designator, family)
    # Plate and screen currents come as millivolts-for-milliamperes.
    plate, screen = (1e-3 * float(rest.vectors[names[pin]][0]) if pin in names else 0.0 for pin in ("plate", "screen"))
    pins = [pin for pin in ("plate", "grid", "screen", "cathode") if pin != "screen" or family == "pentode"]
    vectors = {pin: node_vector(wired, f"{part.designator}.{pin}") for pin in pins}
    volts = {pin: float(rest.vectors[name][0]) if name else 0.0 for pin, name in vectors.items()}
    return {pin: value - volts["cathode"] for pin, value in volts.items()}, plate, screen


def _sockets(wired: Circuit) -> list[Socket]:
    parts = (wired.parts.get(element.designator) for element in wired.elements)
    return [part for part in parts if isinstance(part, Socket)]


def _at_rest(case: Case) -> Netlist:
    """The netlist of the operating point, every valve pin read."""
    valves = [element for element in case.wired.elements if element.kind in ("valve", "transistor")]
    pins = tuple(f"{element.designator}.{pin}" for element in valves for pin, _ in element.pins)
    return write(case.wired, case.setting, OperatingPoint(), pins or (SPEAKER,), currents=True)


def _sweeps(case: Case, sweep: NoiseSweep) -> tuple[Netlist, Netlist]:
    """The netlists of the noise and of the gain at the same frequencies."""
    gain = FrequencySweep(sweep.start, sweep.stop, sweep.per_decade)
    return write(case.wired, case.setting, sweep, ()), write(case.wired, case.setting, gain, (sweep.output,))


def _contributors(wired: Circuit) -> dict[str, tuple[str, str, tuple[str, ...]]]:
    """Contributor to its kind, its stage and how the names of its noisy elements begin."""
    found: dict[str, tuple[str, str, tuple[str, ...]]] = {}
    for element in wired.elements:
        name = element.designator.lower()
        if element.kind == "valve":
            kinds = {"valve": noise_element(name, "plate"), "partition": noise_element(name, "partition")}
            if _has_diode(wired, element.designator):
                kinds["grid current"] = f"d.x{name}.dg"
            for kind, own in kinds.items():
                label = element.designator if kind == "valve" else f"{element.designator} {kind}"
                found[label] = (kind, element.stage, (own,))
        elif element.kind == "resistor":
            found[element.designator] = (element.kind, element.stage, (element_name(element.designator),))
        elif element.kind in ("pot", "transformer", "loudspeaker", "reverb tank"):
            found[element.designator] = (element.kind, element.stage, (f"r{name}_",))
        elif isinstance(part := wired.parts.get(element.designator), Device):
            device = wired.amp.semiconductor_by_type[part.type]
            if element.kind == "transistor":
                own = noise_element(name, "plate")
                found[f"{element.designator} channel"] = ("channel", element.stage, (own,))
            own_names = (each for one in package(part) for each in noisy_elements(one, device))
            found[element.designator] = (element.kind, element.stage, tuple(own_names))
    return found


def _has_diode(wired: Circuit, designator: str) -> bool:
    socket = wired.parts[designator]
    return isinstance(socket, Socket) and LAWS[wired.amp.valve_by_type[socket.type].law].grid is None


def _dataset(
    cases: Sequence[Case],
    shape: tuple[int, int],
    sweep: NoiseSweep,
    spectra: Sequence[Arrays],
    gains: Sequence[Arrays],
) -> xr.Dataset:
    tables = [_contributors(case.wired) for case in cases]
    known = {label: facts for table in tables for label, facts in table.items()}
    shares = np.zeros((len(cases), len(known), sweep.points))
    for row, table, outcome in zip(shares, tables, spectra, strict=True):
        for place, label in enumerate(known):
            if label in table:
                row[place] = _element_noise(table[label][2], outcome)
    # A contributor that brings nothing anywhere, such as the partition of a triode, is none.
    kept = np.flatnonzero(shares.any(axis=(0, 2)))
    total = np.array([outcome.vectors["onoise_spectrum"] for outcome in spectra])
    _check(cases, total, shares)
    gain = np.abs([next(iter(outcome.vectors.values())) for outcome in gains])
    dims, density = ("variant", "position", "frequency"), {"units": "V/sqrt(Hz)"}
    labels = list(known)
    return xr.Dataset(
        {
            "noise": (dims, total.reshape(*shape, -1), density),
            "contribution": ((*dims[:2], "contributor", dims[2]), shares[:, kept].reshape(*shape, len(kept), -1),
                             density),
            "transfer": (dims, gain.reshape(*shape, -1), {"units": "1"}),
        },
        {
            "contributor": [labels[place] for place in kept],
            "kind": ("contributor", [known[labels[place]][0] for place in kept]),
            "stage": ("contributor", [known[labels[place]][1] for place in kept]),
            "frequency": ("frequency", sweep.grid(), {"units": "Hz"}),
        },
    )  # fmt: skip


def _element_noise(names: tuple[str, ...], outcome: Arrays) -> NDArray[np.float64]:
    """Noise of the elements of these names (of one that ends in "_": of all that begin so), added in power."""
    rows = [outcome.vectors[each] for each in _vectors_of(names, tuple(outcome.vectors))]
    return np.asarray(np.sqrt(np.sum(np.square(rows), axis=0)) if rows else np.zeros_like(outcome.scale))


@lru_cache(maxsize=1024)
def _vectors_of(names: tuple[str, ...], vectors: tuple[str, ...]) -> tuple[str, ...]:
    starts = [(noise_vector(name), name[-1] == "_") for name in names]
    return tuple(own for own in vectors
                 if any(own == start or (several and own.startswith(start)) for start, several in starts))  # fmt: skip


def _check(cases: Sequence[Case], total: NDArray[np.float64], shares: NDArray[np.float64]) -> None:
    """Refuse an answer whose contributions do not add up: some part would have been forgotten."""
    error = np.abs(np.sqrt((shares**2).sum(axis=1)) / total - 1.0).max(axis=1)
    worst = int(np.argmax(error))
    if not math.isfinite(error[worst]) or error[worst] > 1e-4:
        raise EngineError(f"{cases[worst].name}: the parts' noise does not add up")
