"""Values that no such part has at its place are asked for; what a file leaves open is said."""

from __future__ import annotations

import copy
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.base.quantities import format_value
from ampsim.circuit.amp import Part, Pot
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.values import quantity_of
from ampsim.interface.commands.check import explain
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_mod, parse_amp, parse_mod, parse_wishes

AMPS = ("workshop-a", "workshop-b", "rehearsal-room")
COUPLINGS = ("C2", "C3", "C8", "C12", "C13")  # of workshop-a


def tables(name: str) -> dict[str, Any]:
    return tomllib.loads((models() / "amps" / f"{name}.toml").read_text("utf-8"))


def values(name: str) -> dict[str, str]:
    """Resistors and capacitors of an amp that comes along, by designator, that stand in a role of a template."""
    amp = load_amp(name)
    in_roles = {given for stage in amp.stages for _, given in stage.roles if isinstance(given, str)}
    return {
        part.designator: format_value(part.value, quantity_of(amp, part.designator))
        for part in amp.parts
        if isinstance(part, Part) and part.kind != "inductor" and part.designator in in_roles
    }


def with_part(name: str, designator: str, value: object, **more: object) -> dict[str, Any]:
    changed = tables(name) | more
    changed["parts"] = changed["parts"] | {designator: value}
    return changed


@pytest.mark.parametrize("name", AMPS)
def test_every_part_a_billion_times_off_is_asked_for_and_its_own_value_is_what_was_probably_meant(name: str) -> None:
    amp = load_amp(name)
    for designator in values(name):
        part = amp.part_by_designator[designator]
        assert isinstance(part, Part)
        for factor in (1e9, 1e-9):
            slip = format_value(part.value * factor, quantity_of(amp, designator))
            with pytest.raises(DescriptionError) as refusal:
                parse_amp(with_part(name, designator, slip), "own.toml")
            assert str(refusal.value).startswith(f"own.toml: parts.{designator}: ")


@pytest.mark.parametrize("designator", COUPLINGS)
@pytest.mark.parametrize("slip", ["22m", "22u"])
def test_a_coupling_capacitor_a_thousand_times_too_large_is_named_with_what_was_meant(
    designator: str, slip: str
) -> None:
    with pytest.raises(DescriptionError, match="probably 22n was meant") as refusal:
        parse_amp(with_part("workshop-a", designator, slip), "own.toml")
    insisted = re.search(r'sure = \["(.+?)"\]', str(refusal.value))
    assert insisted is not None
    assert insisted[1] == designator
    sure = parse_amp(with_part("workshop-a", designator, slip, sure=[designator]), "own.toml")
    assert sure.part_by_designator[designator].value == pytest.approx(22e-3 if slip == "22m" else 22e-6)  # type: ignore[union-attr]


def test_a_mod_is_asked_as_an_amp_is() -> None:
    amp = load_amp("workshop-a")
    edits = [{"replace": "C2", "with": "22u"}]
    for mod, words in (
        ({"edits": edits}, "mod: replace C2 with: 22u F.*coupling of 'gain'.*probably 22n"),
        ({"parts": {"C201": "22m"}, "edits": [{"fit": "C201", "across": "R7"}]}, "parts.C201: 22000u F.*a capacitor"),
        ({"edits": [{"replace": "P1", "with": "1"}]}, "replace P1 with: 1 ohm.*a pot.*probably"),
        (
            {"switches": [{"designator": "S1", "control": "x", "positions": {"a": [], "b": edits}}]},
            "replace C2 with: 22u",
        ),
    ):
        data = {"name": "slip", "reason": "r"} | mod
        with pytest.raises(DescriptionError, match=words):
            apply_mods(amp, parse_mod(data))
        apply_mods(amp, parse_mod(data | {"sure": ["C2", "C201", "P1"]}))


def test_transformers_and_loudspeakers_are_asked_for_too() -> None:
    for designator, entry, slip, meant in (("T1", "primary", "8", "8k"), ("LS1", "resistance", "6k4", "6.4")):
        part = tables("workshop-a")["parts"][designator] | {entry: slip}
        with pytest.raises(DescriptionError, match=f"parts.{designator}.{entry}: .*probably {meant} was meant"):
            parse_amp(with_part("workshop-a", designator, part), "own.toml")


@given(st.sampled_from(sorted(values("workshop-a"))), st.floats(0.4, 2.5))
def test_values_near_a_drawing_s_own_are_never_asked_for(designator: str, factor: float) -> None:
    amp = load_amp("workshop-a")
    part = amp.part_by_designator[designator]
    assert isinstance(part, Part)
    parse_amp(with_part("workshop-a", designator, part.value * factor), "own.toml")


@pytest.mark.parametrize("mod", sorted(path.stem for path in (models() / "mods").glob("*.toml")))
def test_no_mod_that_comes_along_is_asked_for(mod: str) -> None:
    refusals = [_refusal(amp, mod) for amp in AMPS]
    assert "" in refusals
    assert not [words for words in refusals if "sure" in words]


def _refusal(amp: str, mod: str) -> str:
    try:
        apply_mods(load_amp(amp), load_mod(mod))
    except DescriptionError as refusal:
        return str(refusal)
    return ""


def test_units_of_the_usa_hold_for_every_file_that_brings_values() -> None:
    old = {"C2": ".022", "C3": ".02", "C10": ".00005", "C4": 250, "C14": "200 MFD"}
    data = tables("workshop-a") | {"units": "US"}
    data["parts"] = data["parts"] | old
    read = {name: parse_amp(data).part_by_designator[name].value for name in old}  # type: ignore[union-attr]
    assert read == {"C2": 22e-9, "C3": 20e-9, "C10": 50e-12, "C4": 250e-12, "C14": 200e-6}
    mod = {"name": "old", "reason": "r", "units": "US", "edits": [{"replace": "C2", "with": ".01"}]}
    assert parse_mod(mod).edits[0].value == 10e-9
    wish = {"change": "at most 3 dB"}
    for given_values in ([".01", ".022"], "E12 from .01 to .022"):
        wanted = {"name": "w", "units": "US", "wishes": [wish], "parts": [{"replace": "C2", "values": given_values}]}
        found = parse_wishes(wanted, load_amp("workshop-a")).choices[0].values
        assert (found[0], found[-1]) == (10e-9, 22e-9)
    with pytest.raises(DescriptionError, match=r"units.*nearest: US"):
        parse_amp(data | {"units": "USA"})


@pytest.mark.parametrize(
    ("written", "ohms", "taper"),
    [
        ("A1M", 1e6, "audio 15 %"),
        ("1M A", 1e6, "audio 15 %"),
        ("1M-A", 1e6, "audio 15 %"),
        ("500kB", 500e3, "linear"),
        ("B 250K", 250e3, "linear"),
        ("C100k", 100e3, "reverse audio 10 %"),
        ("1 meg log", 1e6, "audio 15 %"),
        ("25k lin", 25e3, "linear"),
        ("250k -log", 250e3, "reverse audio 10 %"),
        ("10A 1M", 1e6, "audio 10 %"),
        ("1M", 1e6, "linear"),
    ],
)
def test_a_pot_is_read_as_it_is_marked(written: str, ohms: float, taper: str) -> None:
    for given_pot in (written, {"track": written}):
        pot = parse_amp(with_part("workshop-a", "P1", given_pot)).part_by_designator["P1"]
        assert isinstance(pot, Pot)
        assert (pot.value, pot.taper) == (ohms, taper)


@pytest.mark.parametrize(
    ("pot", "words"),
    [
        ({"track": "A1M", "taper": "linear"}, "P1.taper: linear beside a track marked 'A1M', which is audio 15 %"),
        ("A152k", "P1.track: 'A152k' can be read as 2k audio 15 % or as 152k audio 15 %"),
        ("1M W", "P1.track: '1M W' is not a resistance"),
        ({"track": "1M", "taper": "W"}, "P1.taper: 'W' is not a taper.*audio 10 %"),
        ({"track": "1,500k"}, "P1.track: '1,500k' can be read as 1M5 or as 1k5"),
    ],
)
def test_a_pot_that_cannot_be_read_is_named(pot: object, words: str) -> None:
    with pytest.raises(DescriptionError, match=f"own.toml: parts.{words}"):
        parse_amp(with_part("workshop-a", "P1", pot), "own.toml")


LEFT_OPEN = [
    ('C2 = "22n"', 'C2 = ".022"', "C2: .022 is in microfarads, 22n"),
    ('taper = "audio 15 %", control = "gain"', 'control = "gain"', "P1: no taper is given; linear"),
    ('taper = "audio 15 %", control = "gain"', 'taper = "log", control = "gain"', "P1: 'log' is audio 15 %"),
    ('track = "1M", taper = "audio 15 %", control = "gain"', 'track = "A1M", control = "gain"', "older European"),
    ('control = "gain", rotation = 0.5', 'control = "gain"', "P1: no rotation is given; it stands at 5 of 10"),
    (', leakage = "15m"', "", "T1: leakage 15.9 mH (usual ones; none are given)"),
    ('resonance = "82", peak = "45", q = 5.0', 'peak = "45"', "LS1: resonance 85 Hz, q 6"),
    ('tap = "tap8"', "", "output stage: no tap is given; the largest"),
    ('units = "US"', 'units = "US"\nsure = ["R1"]', "R1: kept as it is written"),
]


@pytest.mark.parametrize(("old", "new", "said"), LEFT_OPEN)
def test_check_says_what_a_file_leaves_open(old: str, new: str, said: str, tmp_path: Path) -> None:
    text = 'units = "US"\n' + (models() / "amps" / "workshop-a.toml").read_text("utf-8")
    assert old in text
    before, after = tmp_path / "before.toml", tmp_path / "after.toml"
    before.write_text(text, "utf-8")
    after.write_text(text.replace(old, new, 1), "utf-8")
    assert said in explain(after)
    assert said not in explain(before)


@pytest.mark.parametrize("example", sorted((models() / "stages").glob("*.toml")), ids=lambda path: path.stem)
def test_a_role_with_an_empty_list_is_refused_by_name(example: Path) -> None:
    data = tomllib.loads(example.read_text("utf-8"))
    own = example.name.partition(".")[0].replace("-", " ")
    for number, stage in enumerate(data["stages"]):
        for role in set(stage) - {"name", "template", "wires", "input"} if stage["template"] == own else ():
            wrong = copy.deepcopy(data)
            wrong["stages"][number][role] = []
            with pytest.raises(DescriptionError, match=re.escape(role)):
                parse_amp(wrong, example.name)
