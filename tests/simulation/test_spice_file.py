"""An amp written as a netlist file: ngspice alone gives the same answer, names tell, no text of a file gets in."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim.base.errors import DescriptionError, EngineError
from ampsim.circuit.amp import Amp
from ampsim.circuit.mods import apply_mods
from ampsim.library.files import models_in
from ampsim.library.loader import load_amp, load_mod, parse_amp
from ampsim.simulation.analyses import FrequencySweep, LoopSweep, OperatingPoint, Sine, Transient
from ampsim.simulation.netlist import build
from ampsim.simulation.ngspice import engine
from ampsim.simulation.response import simulate
from ampsim.simulation.spice_file import remark, spice_file
from tests.tools.any_amps import made_amp
from tests.tools.bare_ngspice import Plots, answers_of

COARSE = FrequencySweep(per_decade=5)
HOSTILE = 'a".include /etc/passwd "\u2028{}$(ls) ;*#quit'


def cases() -> list[tuple[Amp, dict[str, Any]]]:
    bright = apply_mods(load_amp("workshop-a"), load_mod("bright-switch"), load_mod("depth"))
    found: list[tuple[Amp, dict[str, Any]]] = [(bright, {"bright": "120p", "gain": 0.3, "depth": 1.0})]
    found += [(load_amp(name), {}) for name in ("workshop-b",)]
    found += [(load_amp(path), {}) for path in sorted(models_in("stages").values())[::4]]
    return found + [(made_amp(16, number).amp, {}) for number in range(3)]


def check(amp: Amp, position: dict[str, Any], plots: Plots, text: str) -> None:
    """Every net of the amp: the same volts at rest and the same gain, wherever it goes by a name of the file."""
    places = dict(re.findall(r"^\* net (\w+(?<!_mains)): ([^\n,]+)", text, re.MULTILINE))  # a mean source is no place
    rest = simulate(amp, OperatingPoint(), [position], nodes=list(places.values())).voltage
    swept = simulate(amp, COARSE, [position], nodes=list(places.values())).voltage
    gains, volts = plots
    np.testing.assert_allclose(gains["frequency"].real, swept.frequency.values, rtol=2e-7)
    for net, place in places.items():
        given = rest.sel(node=place).values.ravel(), swept.sel(node=place).values.ravel()
        for found, expected in zip((volts[f"v({net})"], gains[f"v({net})"]), given, strict=True):
            np.testing.assert_allclose(
                found, expected, rtol=1e-6, atol=1e-6 * max(1e-3, abs(expected).max()), err_msg=net
            )


def test_ngspice_alone_gives_the_same_answer(tmp_path: Path) -> None:
    asked = cases()
    texts = [spice_file(amp, position, (OperatingPoint(), COARSE)) for amp, position in asked]
    for (amp, position), plots, text in zip(asked, answers_of(texts, tmp_path), texts, strict=True):
        check(amp, position, plots, text)


@pytest.mark.parametrize(
    ("name", "settle"),
    [("workshop-b", 0.005), (str(models_in("stages")["reverb"]), 0.04)],  # with the first echo
)
def test_a_transient_is_the_same(tmp_path: Path, name: str, settle: float) -> None:
    amp, tone = load_amp(name), Transient(Sine(400.0, 0.2, settle))
    text = spice_file(amp, {}, (tone,))
    ((plot,),) = answers_of([text], tmp_path)
    (expected,) = engine.run([build(amp, {}, tone, ("speaker",))])
    assert not isinstance(expected, EngineError)
    volts = next(iter(expected.vectors.values()))
    np.testing.assert_allclose(plot["time"].real, expected.scale, rtol=1e-9)
    (heard,) = re.findall(r"^\.print tran (v\(\w+\))$", text, re.MULTILINE)
    assert np.abs(plot[heard].real - volts).max() < 1e-6 * np.abs(volts).max()


def test_names_tell_what_they_are_and_no_text_of_a_file_gets_in() -> None:
    text = spice_file(load_amp("workshop-b"))
    for line in (
        "r3 b3 v1a_plate 100000.0",
        "xv1a v1a_plate v1a_grid v1a_cathode valve_12ax7",
        "c5 v1b_plate v2a_grid 2.2e-08",
        "c3 tone_foot 0 4.7e-09",
        "vbias_rail bias 0 dc -20.0",
        ".print ac v(t1_tap8)",
    ):
        assert f"\n{line}\n" in text
    parts = {"R1": "1k", "R2": "1k", "P1": {"track": "1M", "control": HOSTILE.replace("\u2028", "")}}
    wires = {"R1": ["in", "out"], "P1": ["out", "x", "ground"], "R2": ["x", "ground"]}
    amp = parse_amp({"name": HOSTILE.replace("\u2028", ""), "parts": parts,
                     "stages": [{"name": "include quit", "template": "free wiring", "wires": wires}]})  # fmt: skip
    text = spice_file(amp, nodes=("R2.1",))
    told = [line for line in text.splitlines() if re.search("include|quit|passwd", line)]
    assert told
    assert all(re.fullmatch(r"\* [A-Za-z0-9 .,:()+=_/%\"{}\[\]-]*|\.print ac v\(include_quit_x\)|"
                                     r"r\w+( \w+){2} [0-9.e-]+", line) for line in told)  # fmt: skip
    assert remark("#a\nb\x00") == "* _a_b_"


@pytest.mark.parametrize("asked", [(), (LoopSweep(),), (OperatingPoint(), Transient()), (OperatingPoint(cold=True),)])
def test_what_does_not_go_into_one_file(asked: Any) -> None:
    with pytest.raises(DescriptionError, match="netlist file"):
        spice_file(load_amp("lesson-stage"), analyses=asked)
