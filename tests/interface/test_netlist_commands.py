"""`ampsim export` from the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from ampsim.interface.commands.main import main
from ampsim.library.loader import load_amp
from ampsim.simulation.analyses import Sine, Transient
from ampsim.simulation.spice_file import spice_file


def test_export_writes_what_python_gives(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    amp, file = load_amp("workshop-b"), tmp_path / "b.cir"
    assert main(["export", "workshop-b", "--at", "volume=0.7", "--print", "V1A.plate", "--to", str(file)]) == 0
    assert "ngspice -b b.cir" in capsys.readouterr().out
    assert file.read_text("utf-8") == spice_file(amp, {"volume": 0.7}, nodes=["V1A.plate"])
    assert main(["export", "workshop-b", "--tone", "400", "50m", "--to", str(file)]) == 0
    assert file.read_text("utf-8") == spice_file(amp, {}, (Transient(Sine(400.0, 0.05)),))
    assert main(["export", "workshop-b", "--at", "gain=0.3"]) == 1
    assert "no control 'gain'" in capsys.readouterr().err
