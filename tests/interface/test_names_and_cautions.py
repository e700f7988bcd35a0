"""Names too long or none at all end in short ones or messages; a caution stands once, in full where work begins."""

from __future__ import annotations

import itertools
import ntpath
import string
from collections.abc import Callable
from pathlib import Path, PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.caution import CAUTION, CAUTION_LINE
from ampsim.base.files import file_word, names_device
from ampsim.base.table_layout import WIDTH
from ampsim.circuit.amp import Amp, Mod
from ampsim.circuit.mods import apply_mods
from ampsim.interface.commands.main import main
from ampsim.library.loader import load_amp

names = st.text(min_size=1, max_size=60).filter(str.strip)


def many_mods(amp: Amp, given_names: list[str]) -> Amp:
    return apply_mods(amp, *(Mod(name, "reason", (), (), ()) for name in given_names))


@given(st.lists(names, min_size=1, max_size=9, unique=True))
def test_a_variant_of_many_mods_stays_short_and_its_legend_says_all(given_names: list[str]) -> None:
    amp = many_mods(load_amp("lesson-stage"), given_names)
    assert len(amp.variant) <= 60
    if amp.variant != " + ".join(mod.name for mod in amp.mods):
        assert all(mod.name in amp.variant_legend for mod in amp.mods)
        assert " more #" in amp.variant
    else:
        assert amp.variant_legend == ""


def test_sets_of_mods_that_begin_alike_have_variants_of_their_own() -> None:
    words = [f"a rather long name of a mod, number {number}, that goes on" for number in range(7)]
    stage = load_amp("lesson-stage")
    sets = [list(each) for count in (3, 4, 5) for each in itertools.combinations(words, count)]
    variants = {many_mods(stage, each).variant for each in sets}
    assert len(variants) == len(sets)


@given(st.text(max_size=400), st.text(max_size=400))
def test_a_title_in_a_file_s_name_is_short_and_its_own(one: str, two: str) -> None:
    assert 1 <= len(file_word(one)) <= 60
    if len(file_word(one)) == 60 and one != two:
        assert file_word(one) != file_word(two)


def is_reserved(name: str) -> bool:
    """What Python says of a name on Windows; from 3.13 on elsewhere, where an end that Windows drops counts too."""
    newer: Callable[[str], bool] | None = getattr(ntpath, "isreserved", None)
    return newer(name.rstrip(" .")) if newer else PureWindowsPath(name).is_reserved()


devices = st.sampled_from(["con", "Aux", " NUL ", "prn", "com1", "LPT9", "com10", "auxiliary", "con text"])


@given(st.text(max_size=30) | devices, st.sampled_from(["", ".toml", ".tar.gz"]))
def test_no_file_is_called_as_windows_calls_a_device(title: str, ending: str) -> None:
    assert not is_reserved(file_word(title) + ending)
    if set(title) <= set(string.ascii_letters + string.digits + " "):
        assert names_device(title + ending) == is_reserved(title + ending)


def mod_file(folder: Path, number: int) -> str:
    """A mod of a long name with a switch that brings a capacitor across the cathode resistor."""
    path = folder / f"mod-{number}.toml"
    path.write_text(
        f'name = "{number} of several mods with names as long as a name may be here"\nreason = "check"\n'
        f'[parts]\nC30{number} = "1u"\n[[switches]]\ndesignator = "S30{number}"\ncontrol = "switch by name {number}"\n'
        f'[switches.positions]\n"open" = []\n"closed, for once" = [{{ fit = "C30{number}", across = "R4" }}]\n',
        "utf-8",
    )
    return str(path)


def test_eight_mods_with_long_names_are_auditioned_in_tables_that_fit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mods = [word for number in range(8) for word in ("--mod", mod_file(tmp_path, number))]
    assert main(["audition", "--amp", "lesson-stage", *mods, "--to", str(tmp_path / "out")]) == 0
    told = capsys.readouterr().out
    tables = [block for block in told.split("\n\n") if "----" in block]
    assert len(tables) >= 10
    assert max(len(line) for table in tables for line in table.splitlines()) <= WIDTH
    assert all(f"{number} of several mods" in told for number in range(8))
    assert len(list((tmp_path / "out").glob("positions-*.png"))) == 8
    assert (told.count(CAUTION), told.count(CAUTION_LINE)) == (0, 1)


@pytest.mark.parametrize("folder", ["n" * 300, "", " ", "/", "a/" + "b" * 256])
def test_a_job_begins_in_no_folder_that_cannot_be(
    folder: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    status = _status(["job", "begin", folder, "--amp", "lesson-stage"])
    assert status in (1, 2)
    said = capsys.readouterr().err
    assert "name" in said
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("file", ["/", "", "..", "x" * 300 + ".wav", "tone\0.wav"])
def test_a_tone_goes_into_no_file_that_cannot_be(
    file: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert _status(["tone", file]) in (1, 2)
    said = capsys.readouterr().err
    assert said.strip()
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def _status(arguments: list[str]) -> int:
    try:
        return main(arguments)
    except SystemExit as end:
        return int(end.code or 0)


def test_a_caution_stands_in_full_where_work_begins_and_once_everywhere(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, mod = str(tmp_path / "job"), ["--mod", mod_file(tmp_path, 1)]
    commands = {
        "begin": (["job", "begin", folder, "--amp", "lesson-stage", *mod], True),
        "cautions": (["job", "cautions", folder], True),
        "wiring": (["job", "wiring", folder], True),
        "steps": (["job", "steps", folder], True),
        "tone": (["tone", str(tmp_path / "tone.wav")], False),
        "audition": (["job", "audition", folder], False),
        "consequences": (["job", "consequences", folder, "--topic", "noise"], False),
    }
    for name, (command, begins_work) in commands.items():
        assert main(command) == 0, name
        told = capsys.readouterr().out
        assert (told.count(CAUTION), told.count(CAUTION_LINE)) == ((1, 0) if begins_work else (0, 1)), name
        assert told.count("lethal") == 1, name
