"""An opto tremolo alone: at rest its cell divides the signal as its light says."""

from __future__ import annotations

import pytest

from ampsim import FrequencySweep, OperatingPoint, load_semiconductor, simulate
from ampsim.circuit.semiconductors.opto_couplers import coupler_figure
from tests.tools.stage_alone import alone, stage

PARTS = {
    "V1": "12AX7", "V2": "12AT7", "R1": "220k", "R2": "2k2", "C1": "25u", "C2": "10n", "C3": "10n", "C4": "10n",
    "R3": "1M", "R4": "1M", "R5": "1M", "C5": "100n", "R6": "1M", "R8": "22k", "OC1": "NSL-32SR3", "R9": "100k",
    "P1": {"track": "100k", "control": "intensity"}, "R10": "1M",
}  # fmt: skip
ROLES = {
    "valve": "V1", "supply": "B1", "plate_load": "R1", "cathode_resistor": "R2", "cathode_bypass": "C1",
    "shift_capacitor_a": "C2", "shift_resistor_a": "R3", "shift_capacitor_b": "C3", "shift_resistor_b": "R4",
    "shift_capacitor_c": "C4", "grid_leak": "R5", "coupling": "C5", "driver": "V2", "driver_grid_leak": "R6",
    "driver_cathode_resistor": "R7", "lamp_resistor": "R8", "coupler": "OC1", "series_resistor": "R9",
    "intensity": "P1",
}  # fmt: skip


@pytest.mark.parametrize("cathode", ["470", "4k7", "100k"])
@pytest.mark.parametrize("turned", [0.0, 0.7, 1.0])
def test_the_cell_divides_the_signal_as_the_drivers_current_lights_it(cathode, turned):
    amp = alone(PARTS | {"R7": cathode}, stage("opto tremolo", **ROLES), stage("load", load="R10"))
    position = {"intensity": turned}
    flows = float(simulate(amp, OperatingPoint(), [position])["current"].sel(branch="OC1.anode").squeeze())
    cell = coupler_figure(load_semiconductor("NSL-32SR3"), "cell ohms", {"forward_amps": flows})
    shunt = 1.0 / (1.0 / (cell + max((1.0 - turned) * 100e3, 1.0)) + 1e-6)
    sweep = simulate(amp, FrequencySweep(1000.0, 2000.0, 4), [position], ["speaker"])
    assert abs(sweep["voltage"].values.ravel()[0]) == pytest.approx(shunt / (100e3 + shunt), rel=2e-3)
