"""The main job from the command line: tables that hold the simulated numbers, pictures, and refusals in one line."""

import json
import subprocess
import sys

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_position, position_label
from ampsim.interface.commands import main
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_audition, load_mod
from ampsim.measures.bias import bias_table
from ampsim.measures.sweep import gain_at
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.studies import audition


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("audition")
    return audition.audition(load_audition("bright-cathode-depth"), folder / "pictures"), folder / "pictures"


def test_the_demo_job_leaves_tables_and_pictures(done):
    outcome, folder = done
    assert len(outcome.pictures) == 14
    assert all(path.parent == folder and path.stat().st_size > 5000 for path in outcome.pictures)
    for title in outcome.tables:
        assert title in outcome.text
    assert str(folder) in outcome.text
    assert "lethal" in outcome.text


def test_a_table_holds_what_python_gets(done):
    demo = load_audition("bright-cathode-depth")
    response = simulate([demo.stock, demo.modded], FrequencySweep(), [demo.compare_at], ["speaker"])
    table = done[0].tables[f"{demo.compare_title} (gain to speaker)"]
    expected = gain_at(response, demo.frequencies).values[:, 0]
    assert table.iloc[:, 2:8].to_numpy() == pytest.approx(expected, rel=1e-9)


def test_the_bias_table_shows_what_a_position_moves(done):
    bias = done[0].tables["Bias: as drawn, and where a mod moves it"]
    drawn = bias[(bias["variant"] == "stock") & (bias["position"] == "as drawn")]
    assert drawn["valve"].tolist() == ["V1A", "V1B", "V2A", "V2B", "V3A", "V3B", "V4", "V5"]
    warm = bias[(bias["position"] == "cathode 6k8") & (bias["valve"] == "V1B")]
    assert float(warm["plate [mA]"].iloc[0]) > 1.3 * float(drawn["plate [mA]"].iloc[1])
    assert not bias["position"].str.contains("bright").any()


def test_a_gain_table_has_a_row_for_each_setting_that_a_variant_has():
    """Over every combination of knobs and switches: no row repeats another, and none is left out."""
    stock = load_amp("workshop-a")
    mods = [load_mod("bright-switch"), load_mod("cathode-switch")]
    variants = [stock, apply_mods(stock, mods[0]), apply_mods(stock, *mods)]
    positions = every_position(variants[-1], "gain", "bright", "cathode", rotations=(0.3, 1.0))
    response = simulate(variants, FrequencySweep(), positions, ["speaker"])
    table = audition.gain_table(response, (82.0, 3000.0))
    for variant, amp in zip(response["variant"].values, variants, strict=True):
        rows = table[table["variant"] == variant]
        own = {position_label({n: v for n, v in each.items() if n in amp.controls}) for each in positions}
        assert set(rows["position"]) == own
        assert len(rows) == len(own)
        numbers = {round(float(each), 6) for each in gain_at(response, (82.0,)).sel(variant=variant).values.ravel()}
        assert {round(each, 6) for each in rows["82 Hz [dB]"]} == numbers


def test_both_demo_amps_stay_within_their_ratings():
    for name, mods in (("workshop-a", ["cathode-switch", "depth"]), ("workshop-b", ["feedback-with-presence"])):
        amp = load_amp(name)
        rest = simulate([amp, apply_mods(amp, *map(load_mod, mods))], OperatingPoint())
        assert set(bias_table(rest)["verdict"]) == {"within limits"}


def run(*arguments, cwd=None):
    return subprocess.run(
        [sys.executable, "-m", "ampsim", *arguments],
        capture_output=True,
        encoding="utf-8",
        cwd=cwd,
        timeout=600,
        check=False,
    )


def test_the_command_line_does_the_same_without_a_job_file(tmp_path):
    shown = run("audition", "--amp", "workshop-b", "--mod", "feedback-with-presence", "--to", "out", cwd=tmp_path)
    assert shown.returncode == 0, shown.stderr
    assert "presence" in shown.stdout
    assert (tmp_path / "out" / "overlay.svg").is_file()


@pytest.mark.parametrize("kind", ["amps", "mods", "jobs", "valves"])
def test_check_explains_every_shipped_file(kind, capsys):
    for path in (models() / kind).rglob("*.toml"):
        assert main.main(["check", str(path)]) == 0
        assert len(capsys.readouterr().out) > 60


def test_models_lists_what_comes_along(capsys):
    assert main.main(["models"]) == 0
    assert "workshop-a" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('name = "x"\namp = "workshop-c"\nmods = ["depth"]', "nearest: workshop-b, workshop-a"),
        ('name = "x"\namp = "../../etc/passwd"\nmods = ["depth"]', "not the name of a model"),
        ('name = "x"\namp = "workshop-a"\nmods = "depth"', "list of mods"),
        ('name = "x"\namp = "workshop-a"\nmods = ["depth"]\n[compare]\nat = { dept = 0.5 }', "nearest: depth"),
        ('name = "x"\namp = "workshop-a"\nmods = ["depth"]\n[compare]\nat = { depth = 5 }', "from 0 to 1"),
        ('name = "x"\namp = "workshop-a"\nmods = ["bright-switch"]\n[compare]\nat = { bright = "1n" }', "known: 120p"),
        ('name = "x"\namp = "workshop-a"\nmods = ["depth"]\nlisten_at = "V9.plate"', "nearest"),
        ('name = "x"\namp = "workshop-a"\nmods = ["depth"]\nfrequencies = ["1 furlong"]', "not a frequency"),
        ('name = "x"\namp = "workshop-a"\nmods = ["depth"]\ntitel = "y"', "not known"),
        ("name = ", "not TOML"),
        ('colour = "red"', "neither an amp"),
    ],
)
def test_a_mistake_in_a_job_is_answered_in_one_line(tmp_path, capsys, text, said):
    path = tmp_path / "job.toml"
    path.write_text(text, "utf-8")
    command = "audition" if "listen_at" in text else "check"
    assert main.main([command, str(path), *(["--to", str(tmp_path / "out")] if command == "audition" else [])]) == 1
    message = capsys.readouterr().err
    assert said in message
    assert message.startswith("ampsim: ")
    assert message.count("\n") == 1


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("", "utf-8")
    with pytest.raises(DescriptionError, match="file is a file, not a folder"):
        audition.audition(load_audition("bright-cathode-depth"), tmp_path / "file" / "folder")


def test_what_was_computed_is_shown_when_a_picture_cannot_be_written(done, tmp_path, monkeypatch, capsys):
    saved = []

    def save(_, path):
        if saved:
            raise DescriptionError(f"{path}: cannot be written: No space left on device")
        saved.append(path)
        return [path.with_suffix(".png")]

    monkeypatch.setattr(audition, "save_picture", save)
    assert main.main(["audition", "--to", str(tmp_path / "pictures")]) == 1
    shown = capsys.readouterr()
    for title, table in done[0].tables.items():
        assert title in shown.out
        assert len(table)
    assert "overlay" in shown.out.split("Pictures (PNG and SVG)")[1]
    assert "No space left" in shown.err


def test_import_loads_nothing_heavy():
    code = "import sys, json, ampsim; print(json.dumps(sorted({name.split('.')[0] for name in sys.modules})))"
    loaded = json.loads(
        subprocess.run([sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True).stdout
    )
    assert not {"numpy", "matplotlib", "xarray", "pandas", "scipy", "PySpice"} & set(loaded)
