"""A kind of file that is added from outside: a reader and a row in the table."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from ampsim.base.entries import Entry
from ampsim.base.errors import DescriptionError
from ampsim.interface.commands.check import explain
from ampsim.library import files
from ampsim.library.finders import from_frozen
from ampsim.library.kinds import KINDS, FileKind, OpenFile, listing
from ampsim.library.loader import Loader

ROWS = 'name = "my hookup wire"\ncolours = ["red", "black"]\nvalve = "12AX7"\n'


@dataclass(frozen=True)
class Spool:
    """Wire on a spool, and the law of the valve it is for."""

    name: str
    colours: tuple[str, ...]
    law: str


def read_spool(source: OpenFile) -> Spool:
    """Read a toy file, which names a file of another kind."""
    top = Entry(source.tables, source.file)
    name, colours = top.label("name"), tuple(str(each) for each in top.elements("colours", 9))
    law = source.load("valve", top.type_name("valve"), top.where("valve")).law
    top.finish()
    return Spool(name, colours, law)


@pytest.fixture
def folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Models with one file of the new kind among them."""
    models = tmp_path / "models"
    shutil.copytree(files.models(), models)
    (models / "spools").mkdir()
    (models / "spools" / "mine.toml").write_text(ROWS, "utf-8")
    monkeypatch.setattr(files, "models", lambda: models)
    kind = FileKind("spools", "a spool (colours = ...)", ("colours",), read_spool, lambda spool: f"spool {spool.name}")
    monkeypatch.setitem(KINDS, "spool", kind)
    return models


def test_a_new_kind_is_listed(folder: Path) -> None:
    assert listing()["spools"] == ["mine"]


def test_a_new_kind_is_loaded_with_what_it_names(folder: Path) -> None:
    assert Loader().load("spool", "mine") == Spool("my hookup wire", ("red", "black"), "space-charge triode")
    with pytest.raises(DescriptionError, match="nearest: mine"):
        Loader().load("spool", "mime")
    taken = Loader(job="job.toml")
    found = taken.load("spool", str(folder / "spools" / "mine.toml"))
    assert set(taken.files) == {"mine.toml", "12AX7.toml"}
    assert Loader(from_frozen(taken.files), "job.toml").load("spool", "mine") == found


def test_a_new_kind_is_understood(folder: Path, tmp_path: Path) -> None:
    assert explain(folder / "spools" / "mine.toml") == "spool my hookup wire"
    (tmp_path / "strange.toml").write_text("strange = 1\n", "utf-8")
    with pytest.raises(DescriptionError, match=r"neither an amp .* nor a spool \(colours = \.\.\.\)"):
        explain(tmp_path / "strange.toml")
    (tmp_path / "wrong.toml").write_text(ROWS + "clour = 1\n", "utf-8")
    with pytest.raises(DescriptionError, match=r"wrong\.toml: clour: this entry is not known; nearest: colours"):
        explain(tmp_path / "wrong.toml")


def test_every_model_is_of_exactly_one_kind() -> None:
    for name, kind in KINDS.items():
        for path in (files.models() / kind.folder).rglob("*.toml"):
            assert [other for other, each in KINDS.items() if each.fits(files.read_toml(path))] == [name]
            assert explain(path)


def test_a_valve_edited_meanwhile_is_another_valve(tmp_path: Path) -> None:
    shutil.copy(files.models() / "amps" / "workshop-b.toml", tmp_path)
    own = tmp_path / "12AX7.toml"
    text = files.models_in("valves")["12AX7"].read_text("utf-8")
    own.write_text(text, "utf-8")
    before = Loader().amp(str(tmp_path / "workshop-b.toml"))
    own.write_text(text.replace("grid_plate = 1.7e-12", "grid_plate = 1.6e-12"), "utf-8")
    after = Loader().amp(str(tmp_path / "workshop-b.toml"))
    assert before.valve_by_type["12AX7"].capacitances.grid_plate == 1.7e-12
    assert after.valve_by_type["12AX7"].capacitances.grid_plate == 1.6e-12
