"""`ampsim stages`: every template has an example that runs; `ampsim show`: one amp alone, with the numbers it has."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from ampsim.circuit.amp import Amp
from ampsim.circuit.stages import TEMPLATES
from ampsim.circuit.transformer import Transformer
from ampsim.circuit.valves_in_use import valves_in_use
from ampsim.interface.commands.main import main
from ampsim.job.papers.amp_page import amp_page
from ampsim.library.files import models
from ampsim.library.loader import load_amp
from ampsim.library.stage_guide import example_file, further_examples, stage_text
from ampsim.measures.sweep import gain_at
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate

FURTHER = [path for template in TEMPLATES.values() for path in further_examples(template)]


@pytest.mark.parametrize("name", TEMPLATES)
def test_every_template_has_an_example_that_runs(name: str) -> None:
    template = TEMPLATES[name]
    amp = load_amp(example_file(template))
    _biased(amp)
    used = [stage for stage in amp.stages if stage.template == name]
    assert used
    assert {role for role, rule in template.roles.items() if rule.required} <= dict(used[0].roles).keys()
    told = stage_text(template)
    for role, rule in template.roles.items():
        (line,) = (each for each in told.split("An example")[0].splitlines() if each.split(" ")[0] == role)
        assert ("needed" in line) == rule.required
    assert example_file(template).read_text(encoding="utf-8").rstrip() in told


@pytest.mark.parametrize("path", FURTHER, ids=lambda path: path.stem)
def test_every_further_example_runs(path: Path) -> None:
    amp = load_amp(path)
    _biased(amp)
    (name,) = (name for name, template in TEMPLATES.items() if path in further_examples(template))
    assert name in {stage.template for stage in amp.stages}
    assert path.name in stage_text(TEMPLATES[name])


def _biased(amp: Amp) -> None:
    """Every valve of an example is biased as one on the bench."""
    rest = simulate(amp, OperatingPoint()).isel(variant=0, position=0)
    for valve, (_, socket) in valves_in_use(amp).items():
        volts = {pin: float(rest["voltage"].sel(node=f"{valve}.{pin}")) for pin in ("plate", "grid", "cathode")}
        most = amp.valve_by_type[socket.type].limits.plate_volts
        assert most
        assert volts["cathode"] + 40.0 < volts["plate"] < most
        assert -0.15 * volts["plate"] < volts["grid"] - volts["cathode"] < -0.5


def test_no_example_is_left_of_a_template_that_is_gone() -> None:
    assert {path.name for path in (models() / "stages").iterdir()} == {
        path.name for template in TEMPLATES.values() for path in (example_file(template), *further_examples(template))
    }


def test_a_template_is_listed_explained_and_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["stages"]) == 0
    listed = capsys.readouterr().out
    assert all(name in listed and template.about in listed for name, template in TEMPLATES.items())
    assert main(["stages", "tone-stack", "--to", str(tmp_path / "tone.svg")]) == 0
    assert "slope_resistor" in capsys.readouterr().out
    drawn = (tmp_path / "tone.svg").read_text(encoding="utf-8")
    assert drawn.rstrip().endswith("</svg>")
    assert "treble" in drawn
    assert main(["stages", "tone-stak"]) == 1
    assert "nearest: tone stack" in capsys.readouterr().err


@pytest.fixture(scope="module")
def amp() -> Amp:
    return load_amp("lesson-stage")


def test_one_amp_alone_has_the_numbers_that_are_simulated(amp: Amp, tmp_path: Path) -> None:
    page = amp_page(amp)
    rest = simulate(amp, OperatingPoint())["voltage"].isel(variant=0, position=0)
    volts = page.tables["Volts and currents at rest"].set_index("place")["volts [V]"]
    assert set(volts.index) == set(rest["node"].values)
    for place, value in volts.items():
        assert value == pytest.approx(float(rest.sel(node=place)), rel=1e-9, abs=1e-9)
    gains = page.tables["Gain from the source to the output of every stage"].set_index("heard at")
    for place in gains.index:
        wanted = gain_at(simulate(amp, FrequencySweep(), nodes=[place]), [1000.0], place).values.item()
        assert gains.loc[place, "1000 Hz [dB]"] == pytest.approx(wanted, abs=1e-9)
    assert {"drawing", "bias", "headroom"} <= set(page.pictures)
    text = page.write(tmp_path / "amp.html").read_text(encoding="utf-8")
    assert text.count("<svg") == len(page.pictures)
    assert "Where stages clip" in text
    assert "lethal" in page.text


def test_an_amp_that_oscillates_says_so_first_and_which_way_round_it_would_not() -> None:
    amp = load_amp("workshop-a")
    turned = [
        replace(each, reversed=not each.reversed) if isinstance(each, Transformer) else each for each in amp.parts
    ]
    page = amp_page(replace(amp, parts=tuple(turned)))
    assert page.text.index("oscillates by itself") < page.text.index("Volts and currents")
    assert "the other way round it stays at rest" in page.text.replace("\n", " ")
    assert not {"Power", "Where stages clip"} & set(page.tables)
    assert "It does not stay at rest" in page.html()
