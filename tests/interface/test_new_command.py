"""A command is its module: one added from outside stands in the help and runs, and nothing else is touched."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from ampsim.interface import commands
from ampsim.interface.commands.main import command_modules, main

MODULE = """
import argparse

from ampsim.base.errors import DescriptionError


def add(commands):
    parser = commands.add_parser("weigh", help="say how heavy an amp is")
    parser.add_argument("amp")
    parser.set_defaults(command=_weigh)


def _weigh(options: argparse.Namespace) -> None:
    if options.amp == "feather":
        raise DescriptionError("feather: too light")
    print(f"{options.amp}: 23 kg")
"""


@pytest.fixture
def weigh(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "weigh.py").write_text(MODULE, "utf-8")
    monkeypatch.setattr(commands, "__path__", [*commands.__path__, str(tmp_path)])
    monkeypatch.delitem(sys.modules, f"{commands.__name__}.weigh", raising=False)


@pytest.mark.usefixtures("weigh")
def test_a_new_command_stands_in_the_help_and_runs(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["--help"])
    told = capsys.readouterr().out
    assert "say how heavy an amp is" in told
    assert told.index("list the amps") < told.index("say how heavy")
    assert main(["weigh", "workshop-a"]) == 0
    assert capsys.readouterr().out == "workshop-a: 23 kg\n"


@pytest.mark.usefixtures("weigh")
def test_a_new_command_is_refused_with_a_message_like_any_other(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["weigh", "feather"]) == 1
    assert capsys.readouterr().err == "ampsim: feather: too light\n"


def test_every_command_has_a_place_of_its_own() -> None:
    places = [module.PLACE for module in command_modules()]
    assert len(set(places)) == len(places) >= 13
