"""Semiconductors among the parts of amps and mods: what is read, what is refused, what edits do."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim import OperatingPoint, apply_mods, load_semiconductor, parse_amp, parse_mod, simulate
from ampsim.base.errors import DescriptionError
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import diff
from ampsim.circuit.semiconductors.measuring import at_point, diode_volts
from ampsim.circuit.semiconductors.parsing import parse_semiconductor
from ampsim.library.files import models, read_toml
from ampsim.library.kinds import KINDS, listing
from ampsim.library.loader import load_amp

TYPES = listing()["semiconductors"]


def clipper(**more: Any) -> dict[str, Any]:
    wires = {"R1": ["in", "out"], "R2": ["out", "ground"], "D1": ["out", "ground"]}
    return {"name": "clipper", "parts": {"R1": "10k", "R2": "1M", "D1": "1N4148"},
            "stages": [{"name": "clip", "template": "free wiring", "wires": wires}]} | more  # fmt: skip


@pytest.mark.parametrize("name", TYPES)
def test_every_type_meets_its_published_points(name: str) -> None:
    device = load_semiconductor(name)
    for point in device.points:
        assert at_point(device, point) == pytest.approx(point.value, rel=point.tolerance), point.id
    assert device.type == name
    assert device.limits


def test_pins_are_places_and_letters_tell_the_kind() -> None:
    tables = clipper(parts={"R1": "10k", "R2": "1M", "D1": "1N4148", "BR1": "1N4007", "LED2": "LED-red"})
    tables["stages"][0]["wires"] |= {
        "BR1": {"ac1": "in", "ac2": "ground", "plus": "hot", "minus": "ground"}, "LED2": ["hot", "ground"],
    }  # fmt: skip
    circuit = build_circuit(parse_amp(tables))
    assert circuit.net("D1.anode") == circuit.net("R1.2")
    assert circuit.net("D1.cathode") == "0"
    assert circuit.net("BR1.plus") == circuit.net("LED2.anode")


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        ({"D1": "12AX7"}, "12AX7"),
        ({"D1": "1N4184"}, "1N4148"),
        ({"D1": "4k7"}, "is not a semiconductor"),
        ({"D1": 5}, "D1"),
    ],
)
def test_what_is_no_type_is_refused(parts: dict[str, Any], told: str) -> None:
    with pytest.raises(DescriptionError, match=told):
        parse_amp(clipper(parts={"R1": "10k", "R2": "1M"} | parts))


def test_a_file_of_its_own_beside_the_amp_wins(tmp_path: Path) -> None:
    text = (models() / "semiconductors" / "1N4148.toml").read_text("utf-8")
    (tmp_path / "1N4148.toml").write_text(text.replace("emission = 1.752", "emission = 1.9"), "utf-8")
    lines = [
        'name = "clipper"',
        "[parts]",
        'R1 = "10k"',
        'R2 = "1M"',
        'D1 = "1N4148"',
        "[[stages]]",
        'name = "clip"',
        'template = "free wiring"',
        'wires = { R1 = ["in", "out"], R2 = ["out", "ground"], D1 = ["out", "ground"] }',
    ]
    (tmp_path / "own.toml").write_text("\n".join(lines), "utf-8")
    amp = load_amp(tmp_path / "own.toml")
    assert dict(amp.semiconductor_by_type["1N4148"].parameters)["emission"] == 1.9


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"law": "square"}, "square"),
        ({"semiconductor": "valve"}, "valve"),
        ({"parameters": {"saturation_amps": 1.0}}, "saturation_amps"),
        ({"colour": "red"}, "colour"),
        ({"type": "1N .end"}, "type"),
        ({"limits": {"basis": "b", "source": "s", "plate_volts": 3.0}}, "plate_volts"),
    ],
)
def test_a_bad_file_is_refused_with_its_name_and_place(change: dict[str, Any], told: str) -> None:
    table = read_toml(models() / "semiconductors" / "1N4148.toml")
    with pytest.raises(DescriptionError, match=f"bad.toml.*{told}"):
        parse_semiconductor(table | change, "bad.toml")


def test_each_kind_of_file_is_known_from_the_others() -> None:
    for folder in ("semiconductors", "valves", "amps", "mods"):
        table = read_toml(next(path for path in sorted((models() / folder).rglob("*.toml"))))
        assert [kind.folder for kind in KINDS.values() if kind.fits(table)] == [folder]


def test_edits_fit_exchange_lift_and_turn_a_diode() -> None:
    amp = parse_amp(clipper(rails=[{"name": "B1", "volts": 9.0}]) | {"stages": [
        {"name": "clip", "template": "free wiring",
         "wires": {"R1": ["B1", "out"], "R2": ["out", "ground"], "D1": ["out", "ground"]}}]})  # fmt: skip

    def out(*edits: dict[str, Any], **parts: str) -> float:
        mod = parse_mod({"name": "m", "reason": "r", "parts": parts, "edits": list(edits)})
        return float(simulate(apply_mods(amp, mod), OperatingPoint(), nodes=["speaker"])["voltage"].squeeze())

    amps = (9.0 - 0.58) / 10e3
    assert float(simulate(amp, OperatingPoint(), nodes=["speaker"])["voltage"].squeeze()) == pytest.approx(
        diode_volts(load_semiconductor("1N4148"), amps), rel=2e-3
    )
    assert out({"replace": "D1", "with": "LED-red"}) == pytest.approx(
        diode_volts(load_semiconductor("LED-red"), (9.0 - 1.5) / 10e3), rel=5e-3
    )
    assert out({"lift": "D1"}) == pytest.approx(9.0 * 1e6 / 1.01e6, rel=1e-6)
    across = out({"lift": "D1"}, {"fit": "D9", "across": "R2"}, D9="1N4148")
    turned = out({"lift": "D1"}, {"fit": "D9", "between": ["ground", "R2.1"]}, D9="1N4148")
    assert across == pytest.approx(0.58, abs=0.02)
    assert turned == pytest.approx(9.0 * 1e6 / 1.01e6, rel=1e-3)
    mod = parse_mod({"name": "m", "reason": "r", "edits": [{"replace": "D1", "with": "1N34A"}]})
    (change,) = diff(amp, apply_mods(amp, mod))
    assert (change.before, change.after) == ("1N4148", "1N34A")


def test_a_transistor_is_fitted_by_its_pins() -> None:
    amp = parse_amp(clipper(rails=[{"name": "B1", "volts": 9.0}]))
    parts = {"name": "m", "reason": "r", "parts": {"Q9": "2N7000"}}
    with pytest.raises(DescriptionError, match="drain, gate, source"):
        parse_mod(parts | {"edits": [{"fit": "Q9", "between": ["R1.2", "ground"]}]})
    pins = {"drain": "B1", "gate": "R1.2", "source": "ground"}
    wired = build_circuit(apply_mods(amp, parse_mod(parts | {"edits": [{"fit": "Q9", "pins": pins}]})))
    assert wired.net("Q9.gate") == wired.net("D1.anode")
    with pytest.raises(DescriptionError, match="a transistor is a jfet or mosfet"):
        parse_mod({"name": "m", "reason": "r", "parts": {"Q9": "1N4148"}, "edits": [{"fit": "Q9", "pins": pins}]})


def test_a_bridge_is_its_four_diodes() -> None:
    tables = clipper(parts={"R1": "1k", "R2": "10k", "BR1": "1N4007"}, rails=[{"name": "B1", "volts": 12.0}])
    tables["stages"][0]["wires"] = {
        "R1": ["in", "ground"],
        "R2": ["plus", "out"],
        "BR1": {"ac1": "B1", "ac2": "ground", "plus": "plus", "minus": "out"},
    }
    bridge = parse_amp(tables)
    tables["parts"] = {"R1": "1k", "R2": "10k"} | {f"D{n}": "1N4007" for n in (1, 2, 3, 4)}
    tables["stages"][0]["wires"] = {
        "R1": ["in", "ground"],
        "R2": ["plus", "out"],
        "D1": ["B1", "plus"],
        "D2": ["ground", "plus"],
        "D3": ["out", "B1"],
        "D4": ["out", "ground"],
    }
    found = [
        simulate(amp, OperatingPoint(), nodes=["R2.1", "R2.2"])["voltage"].values for amp in (bridge, parse_amp(tables))
    ]
    np.testing.assert_allclose(*found, rtol=1e-6)
    assert found[0].ravel()[0] - found[0].ravel()[1] == pytest.approx(12.0 - 2 * 0.55, abs=0.1)
