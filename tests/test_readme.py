"""The README: its examples run, its lists of parts, templates, commands and steps are whole; DEVELOPERS: its files."""

from __future__ import annotations

import argparse
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from ampsim.base.errors import DescriptionError
from ampsim.circuit.build import build_circuit
from ampsim.circuit.designators import KINDS
from ampsim.circuit.stages import TEMPLATES
from ampsim.interface.commands.main import main, make_parser
from ampsim.library.landing import apply_mods
from ampsim.library.loader import load_amp, parse_amp, parse_mod

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")
BLOCKS = [(text, tomllib.loads(text)) for text in re.findall(r"```toml\n(.*?)```", README, re.S)]
FIRST_SCREEN = 60  # lines


def examples(key: str) -> list[tuple[str, dict[str, Any]]]:
    return [(text, tables) for text, tables in BLOCKS if "name" in tables and key in tables]


def test_the_first_screen_describes_an_amp_and_a_change() -> None:
    top = "\n".join(README.splitlines()[:FIRST_SCREEN])
    for text in (examples("stages")[0][0], examples("edits")[0][0]):
        assert text in top


def test_the_amp_and_the_change_at_the_top_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    amp, mod = tmp_path / "my-amp.toml", tmp_path / "brighter.toml"
    amp.write_text(examples("stages")[0][0], "utf-8")
    mod.write_text(examples("edits")[0][0], "utf-8")
    ran = {
        "check": ["check", str(amp)],
        "audition": ["audition", "--amp", str(amp), "--mod", str(mod), "--to", str(tmp_path / "out")],
    }
    for command, words in ran.items():
        assert f"ampsim {command} " in README
        assert main(words) in (0, None)
    said = capsys.readouterr().out
    assert "V1A.plate" in said
    assert "volume with brighter" in said
    assert list((tmp_path / "out").glob("*.png"))


def test_every_mod_of_the_readme_fits_an_amp() -> None:
    amps = [parse_amp(tables, "README") for _, tables in examples("stages")] + [load_amp("workshop-a")]
    mods = [parse_mod(tables, "README") for key in ("edits", "switches") for _, tables in examples(key)
            if "stages" not in tables]  # fmt: skip
    assert len(mods) >= 2
    for mod in mods:
        fitting = []
        for amp in amps:
            try:
                build_circuit(apply_mods(amp, mod))
                fitting.append(amp.name)
            except DescriptionError:
                continue
        assert fitting, mod.name


def rows(head: str) -> list[list[str]]:
    """The cells of the table whose first row begins so."""
    table = re.search(rf"^\| {re.escape(head)} \|.*\n\|[-|]+\n((?:\|.*\n)+)", README, re.MULTILINE)
    assert table is not None, head
    return [[cell.strip() for cell in line.split("|")[1:-1]] for line in table[1].splitlines()]


def test_every_letter_that_means_a_part_is_listed() -> None:
    listed = [letters for first, *_ in rows("letters") for letters in first.split(", ")]
    assert sorted(listed) == sorted([*KINDS, "S"])


def test_every_template_is_listed() -> None:
    listed = [name for _, names in rows("where") for name in re.split("[,;] ", re.sub(r" \(.*?\)", "", names))]
    found = [max((each for each in TEMPLATES if name.startswith(each)), key=len, default=name) for name in listed]
    assert sorted(found) == sorted(TEMPLATES)


def test_every_command_and_step_of_a_job_is_listed() -> None:
    commands, steps = (choices(make_parser()), choices(choices(make_parser())["job"]))
    assert {name for name in commands if f"`ampsim {name}" not in README} == set()
    listed = re.findall(r"`([a-z]+)\b", " ".join(cell for _, cell in rows("when")))
    assert set(steps) - set(listed) == set()


def test_links_within_lead_somewhere() -> None:
    heads = {re.sub(r"[^\w -]", "", head).strip().lower().replace(" ", "-")
             for head in re.findall(r"^#+ (.*)$", README, re.MULTILINE)}  # fmt: skip
    assert set(re.findall(r"\]\(#([^)]*)\)", README)) <= heads


def test_files_that_developers_are_sent_to_exist() -> None:
    named = set(re.findall(r"`([\w./-]+)`", (ROOT / "DEVELOPERS.md").read_text("utf-8")))
    paths = {name for name in named if "/" in name and not name.startswith((".", "/"))}
    places = {
        name: [base / f"{name}{end}" for base in (ROOT, ROOT / "ampsim") for end in ("", ".py")] for name in paths
    }
    assert [name for name, found in places.items() if not any(each.exists() for each in found)] == []


def choices(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    """The parsers of what comes next in a command."""
    (found,) = [each for each in parser._actions if isinstance(each, argparse._SubParsersAction)]
    return dict(found.choices)
