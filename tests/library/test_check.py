"""`ampsim check` of an amp: it is always simulated, every rail and pin has its volts, and values are few digits."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.base.quantities import FARAD, HENRY, OHM, format_value
from ampsim.circuit.build import Circuit, build_circuit
from ampsim.library.explaining import describe_file
from ampsim.library.files import models
from ampsim.library.loader import load_amp, parse_mod
from ampsim.library.overview import describe_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from tests.tools.any_amps import made_amp

SHIPPED = sorted((models() / "amps").glob("*.toml"))


def volts_told(text: str) -> dict[str, float]:
    """Place to the simulated voltage that the table has."""
    table = text.split("Volts at rest")[1].split("\n\n")[0]
    rows = [line.replace("\u2212", "-").split() for line in table.splitlines()[3:]]
    column = 2 if "drawing [V]" in table else 1
    return {row[0]: float(row[column]) for row in rows}


def alternating(wired: Circuit) -> set[str]:
    """Nets of windings, and what resistors lead to from there before any capacitor."""
    found = {net for each in wired.elements if each.kind == "mains transformer" for _, net in each.pins} - {"0"}
    held = {net for each in wired.elements if each.kind == "capacitor" for _, net in each.pins}
    for each in (one for _ in range(3) for one in wired.elements if one.kind == "resistor"):
        nets = {net for _, net in each.pins}
        found |= nets - held - {"0"} if nets & found else set()
    return found


@pytest.mark.parametrize("number", [*range(len(SHIPPED)), -1, -2, -3])
def test_every_rail_and_pin_has_its_volts_with_and_without_drawn_ones(number: int, tmp_path: Path) -> None:
    path = SHIPPED[number] if number >= 0 else tmp_path / "amp.toml"
    if number < 0:
        path.write_text(made_amp(16, -number).text, encoding="utf-8")
    amp, told = load_amp(path), volts_told(describe_file(path))
    wired = build_circuit(amp)
    typed = [each for each in wired.elements if hasattr(wired.parts.get(each.designator), "type")]
    places = {f"{each.designator}.{pin}" for each in typed for pin, net in each.pins if net not in alternating(wired)}
    assert set(told) == places | {rail.name for rail in amp.rails} | {place for place, _ in amp.drawn_volts}
    simulated = simulate(amp, OperatingPoint(), nodes=tuple(told))["voltage"].isel(variant=0, position=0)
    for place, volts in told.items():
        assert float(simulated.sel(node=place)) == pytest.approx(volts, abs=0.006, rel=0.006)


def test_values_that_are_worked_out_are_few_digits(tmp_path: Path) -> None:
    text = (models() / "amps" / "workshop-b.toml").read_text(encoding="utf-8")
    text = re.sub(r"^T1 = .*$", 'T1 = { primary = "5k2", taps = ["3.7", "8.1"] }', text, flags=re.M)
    text = re.sub(r"^LS1 = .*$", 'LS1 = { resistance = "6.43" }', text, flags=re.M)
    path = tmp_path / "amp.toml"
    path.write_text(text, encoding="utf-8")
    said = describe_file(path)
    assert not re.findall(r"\d\.?\d\.?\d\.?\d\.?\d\.?\d", said.replace(path.name, ""))
    for filled_in in ("inductance 20.7 H", "leakage 10.3 mH", "resonance 85 Hz", "peak 51.4 ohm"):
        assert filled_in in said


@pytest.mark.parametrize(("part", "value", "quantity"), [("CH1", 10.0, HENRY), ("C1", 1e-8, FARAD), ("RK1", 1e3, OHM)])
def test_a_replacement_is_said_in_the_unit_of_its_part(part: str, value: float, quantity: object) -> None:
    written = format_value(value, quantity)  # type: ignore[arg-type]
    edits = [{"replace": part, "with": written}]
    assert f"replace {part} with {written}" in describe_mod(parse_mod({"name": "n", "reason": "r", "edits": edits}))


def test_check_refuses_what_no_switch_can_do_and_says_what_a_switch_does(tmp_path: Path) -> None:
    switch = '[[switches]]\ndesignator = "S1"\ncontrol = "power"\n[switches.positions]\n"full" = []\n"half" = [{}]\n'
    text, path = (models() / "amps" / "boathouse.toml").read_text("utf-8"), tmp_path / "amp.toml"
    valve = "V4"
    path.write_text(text + switch.format(f'{{ lift = "{valve}" }}'), "utf-8")
    with pytest.raises(DescriptionError, match="no switch does that to a valve") as refusal:
        describe_file(path)
    (instead,) = re.findall(r"\{ cut = .* \}", str(refusal.value))
    path.write_text(text + switch.format(instead), "utf-8")
    assert "power (S1): full | half" in describe_file(path)


@pytest.mark.parametrize(("volts", "told"), [("260-0-260", True), ("260", False)])
def test_a_bridge_on_both_halves_of_a_winding_is_said(tmp_path: Path, volts: str, told: bool) -> None:
    drawn = (models() / "stages" / "bias-supply.toml").read_text("utf-8").replace('volts = "300"', f'volts = "{volts}"')
    amp = tmp_path / "amp.toml"
    amp.write_text(drawn, "utf-8")
    found = "BR1: rectifies all of PT1's winding ht, 520 V from end to end" in describe_file(amp)
    assert found is told
