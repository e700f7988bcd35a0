"""A loudspeaker from its measured impedance: what made the curve is found again, other files are refused."""

from __future__ import annotations

import cmath
import math
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ampsim import DescriptionError
from ampsim.base.entries import Entry
from ampsim.bench.loudspeaker_fit import fit_loudspeaker
from ampsim.circuit.loudspeaker import Loudspeaker, loudspeaker_ohms
from ampsim.interface.commands.main import main
from ampsim.library.output_parts import read_loudspeaker

GRID = np.geomspace(15.0, 20e3, 200)
TYPICAL = Loudspeaker("LS1", 6.4, 85.0, 45.0, 6.0, 5.0, 0.7)


def table(part: Loudspeaker, phase: bool = True, noise: float = 0.0, header: str = "Hz,ohm,deg") -> bytes:
    rng = np.random.default_rng(1)
    lines = [header]
    for hertz in GRID:
        ohms = loudspeaker_ohms(part, float(hertz)) * (1.0 + noise * rng.standard_normal())
        turn = [f"{math.degrees(cmath.phase(ohms)):.3f}"] if phase else []
        lines.append(",".join([f"{hertz:.5g}", f"{abs(ohms):.5g}", *turn]))
    return "\n".join(lines).encode()


def any_speaker(seed: int) -> Loudspeaker:
    """Any loudspeaker, in a vented box or not."""
    rng = np.random.default_rng(seed)
    ohms, hertz, peak = rng.uniform(2.0, 16.0), rng.uniform(50.0, 130.0), rng.uniform(3.0, 12.0)
    vent = ((hertz * rng.uniform(0.3, 0.5), ohms * peak * rng.uniform(0.5, 0.9), rng.uniform(3.0, 8.0)),)
    return Loudspeaker("LS1", ohms, hertz, ohms * peak, rng.uniform(3.0, 10.0), ohms * rng.uniform(0.3, 1.2),
                       rng.uniform(0.55, 0.9), vent if seed % 2 else ())  # fmt: skip


@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize("seed", range(4))
def test_what_made_a_curve_is_found_again(seed: int, phase: bool) -> None:
    part = any_speaker(seed)
    found = fit_loudspeaker(table(part, phase, header="Hz,ohm,deg" if phase else "frequency,|Z|"), "cab.csv")
    ours = np.array([loudspeaker_ohms(found.part, float(hertz)) for hertz in GRID])
    due = np.array([loudspeaker_ohms(part, float(hertz)) for hertz in GRID])
    off = np.abs(np.abs(ours) / np.abs(due) - 1.0)
    assert off.max() < 0.03
    assert found.worst == pytest.approx(off.max(), abs=2e-3)


def test_the_deviation_that_is_said_is_that_of_the_network() -> None:
    found = fit_loudspeaker(table(TYPICAL, noise=0.05), "cab.csv")
    assert 0.02 < found.typical < 0.07 < found.worst < 0.3
    rounded = replace(found.part, exponent=float(f"{found.part.exponent:.4g}"))
    assert rounded == found.part


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"frequency,level dB\n" + b"".join(b"%d,3\n" % n for n in range(20, 400, 20)), "is in dB"),
        (b"f,volts rms\n" + b"".join(b"%d,3\n" % n for n in range(20, 400, 20)), "volts"),
        (b"f,ohm\n" + b"".join(b"%d,-3\n" % n for n in range(20, 400, 20)), "expected 0.001"),
        (b"f,ohm\n" + b"".join(b"%d,8\n" % n for n in range(1000, 1100, 10)), "two octaves"),
        (b"f,ohm\n" + b"20,nan\n" * 9, "not a row"),
        (b"\x00" * 100, "zero byte"),
        (b"__import__('os').system('true')\n" * 20, "begin with a number"),
    ],
)
def test_what_is_no_impedance_is_refused_with_its_reason(data: bytes, said: str) -> None:
    with pytest.raises(DescriptionError, match=said):
        fit_loudspeaker(data, "cab.csv")


def test_the_command_prints_an_entry_that_reads_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    vented = replace(TYPICAL, more_peaks=((38.0, 30.0, 4.0),))
    file = tmp_path / "cab.csv"
    file.write_bytes(table(vented))
    assert main(["loudspeaker", str(file), "--as", "LS7"]) == 0
    told = capsys.readouterr().out
    (line,) = (each for each in told.splitlines() if each.startswith("LS7 = "))
    part = read_loudspeaker("LS7", Entry(tomllib.loads(line)["LS7"], "entry.toml"))
    assert abs(loudspeaker_ohms(part, 38.0)) == pytest.approx(abs(loudspeaker_ohms(vented, 38.0)), rel=0.02)
    assert "% of the measured ohms" in told
    assert main(["loudspeaker", str(file), "--as", "R7"]) == 1
