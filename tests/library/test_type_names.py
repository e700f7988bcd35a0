"""Names of valves: every name of a type means its file, in any case; what is another valve is said or refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.mods import apply_mods
from ampsim.interface.commands.main import main
from ampsim.job.record.frozen import open_job
from ampsim.job.record.reading import read_record
from ampsim.library.files import models_in
from ampsim.library.loader import load_amp, load_mod, load_rectifier, load_valve
from ampsim.library.type_names import meant_type, other_names, what_differs, why_not

AMP = """
name = "one"
parts = {{ V1A = "{}", R1 = "1M", R3 = "100k", R4 = "1k5" }}
rails = [{{ name = "B1", volts = 300 }}]
[[stages]]
name = "first"
template = "triode stage"
valve = "V1A"
supply = "B1"
grid_leak = "R1"
plate_load = "R3"
cathode_resistor = "R4"
"""
MOD = 'name = "swap"\nreason = "less gain"\nedits = [{{ replace = "V1A", with = "{}" }}]\n'
TYPES = {name: folder for folder in ("valves", "rectifiers") for name in models_in(folder)}


def written(folder: Path, valve: str, put_in: str = "") -> tuple[Path, Path]:
    amp, mod = folder / "one.toml", folder / "swap.toml"
    amp.write_text(AMP.format(valve), "utf-8")
    mod.write_text(MOD.format(put_in or valve), "utf-8")
    return amp, mod


def test_every_name_of_every_type_means_one_file_in_any_case() -> None:
    others = [(each.name, each.type) for kind in TYPES for each in other_names(kind)]
    assert len(others) >= 50
    assert len({name.lower() for name, _ in others}) == len(others)
    for name, kind in [*others, *((kind, kind) for kind in TYPES)]:
        load = load_valve if TYPES[kind] == "valves" else load_rectifier
        for word in (name, name.lower(), name.replace("A", "a")):
            assert load(word).type == kind
        # A name is a type's own, or another name of one, or refused: never two of these.
        assert not why_not(name)
        assert name == kind or name not in TYPES


@pytest.mark.parametrize(
    ("word", "kind"),
    [("ECC83", "12AX7"), ("7025", "12AX7"), ("ecc81", "12AT7"), ("ECC82", "12AU7"), ("Ecc88", "6DJ8"),
     ("6BQ5", "EL84"), ("6ca7", "EL34"), ("6V6", "6V6GT"), ("5AR4", "GZ34"), ("6CA4", "EZ81"), ("5y3", "5Y3GT"),
     ("6v4", "EZ80"), ("6267", "EF86"), ("E88CC", "6DJ8"), ("6aq5a", "6AQ5"), ("5751", "5751"),
     ("6GW8-P", "ECL86-P"), ("6550-A", "6550")],
)  # fmt: skip
def test_names_that_people_write(word: str, kind: str) -> None:
    assert meant_type(word, TYPES) == kind


@pytest.mark.parametrize(
    "word", ["", " ", "12AX7\n", "12AX7;", "12/AX7", "12AX\u0037\u200b", "\uff11\uff12AX7", "x" * 90]
)
def test_what_is_no_name_means_nothing(word: str) -> None:
    assert not meant_type(word, [*TYPES, "r\u00f6hre"])


def test_an_amp_and_a_mod_are_the_same_by_every_name(tmp_path: Path) -> None:
    same = []
    for word, put_in in (("12AX7", "12AU7"), ("ECC83", "ECC82"), ("12ax7", "ecc82")):
        amp, mod = written(tmp_path, word, put_in)
        stock = load_amp(amp)
        same.append((stock.parts, stock.valves, apply_mods(stock, load_mod(mod)).valves))
    assert same[0] == same[1] == same[2]


def test_what_differs_is_said_and_what_is_the_same_is_not_excused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for word, said in (("ECC83", "V1A: ECC83 is read as 12AX7\n"), ("7025", "little noise"), ("E83CC", "special")):
        amp, mod = written(tmp_path, word)
        for file in (amp, mod):
            assert main(["check", str(file)]) == 0
            assert said in capsys.readouterr().out + "\n"
    assert not what_differs("ECC83", "12AX7")
    assert "is read as" not in (main(["check", str(written(tmp_path, "12AX7")[0])]) or capsys.readouterr().out)


@pytest.mark.parametrize(
    ("word", "said"),
    [("6L6", "19 W"), ("6l6g", "write 6L6GC"), ("6N2P", "heater pins"), ("ecl86", "ECL86-T"), ("7247", "12DW7-1")],
)
def test_a_valve_of_lower_ratings_or_other_curves_is_refused_with_the_reason(
    tmp_path: Path, word: str, said: str
) -> None:
    amp, _ = written(tmp_path, word)
    with pytest.raises(DescriptionError, match=said):
        load_amp(amp)
    with pytest.raises(DescriptionError, match=said):
        load_valve(word)


def test_a_file_of_ones_own_wins_over_a_name(tmp_path: Path) -> None:
    amp, _ = written(tmp_path, "ECC83")
    text = models_in("valves")["12AX7"].read_text("utf-8")
    (tmp_path / "ECC83.toml").write_text(
        text.replace('type = "12AX7"', 'type = "ECC83"').replace("mu = 1", "mu = 2", 1),
        "utf-8",
    )
    assert load_amp(amp).valves[0].type == "ECC83"
    assert load_amp(amp).valves[0].parameters[0][1] > 200.0
    (tmp_path / "ECC83.toml").write_text(text, "utf-8")
    with pytest.raises(DescriptionError, match="the same name"):
        load_amp(amp)


def test_a_job_opens_by_the_name_that_was_written(tmp_path: Path) -> None:
    amp, mod = written(tmp_path, "ECC83", "ecc82")
    home = tmp_path / "job"
    assert main(["job", "begin", str(home), "--amp", str(amp), "--mod", str(mod)]) == 0
    opened = open_job(read_record(home), home)
    assert opened.modded.valves == apply_mods(load_amp(amp), load_mod(mod)).valves
    assert {"12AX7.toml", "12AU7.toml"} <= {each.name for each in home.rglob("*.toml")}
