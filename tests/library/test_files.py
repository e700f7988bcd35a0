"""Mistakes that people make in files: each is refused with file, entry, what was written and what would do."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from ampsim import simulate
from ampsim.base.errors import AmpsimError, DescriptionError
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.library.files import models
from ampsim.library.loader import load_amp, load_audition, load_mod, load_valve, parse_amp, parse_mod
from ampsim.simulation.analyses import OperatingPoint

# What was written, what a slip makes of it, and what the message must hold. Empty `old`: the slip stands at the end.
AMP_A = [
    ("a slip for a megohm", 'R1 = "1M"', 'R1 = "1m"', ["parts.R1", "'1m'", "1M"]),
    ("two multipliers", 'R3 = "100k"', 'R3 = "100kk"', ["parts.R3", "'100kk'", "4k7"]),
    ("a capital microfarad", 'C1 = "1u"', 'C1 = "1M"', ["parts.C1", "'1M'", "1u"]),
    ("a capacitor in ohms", 'C2 = "22n"', 'C2 = "22k"', ["parts.C2", "'22k'", "22n"]),
    ("a bare number of farads", 'C2 = "22n"', "C2 = 22", ["parts.C2", "22p", "22u", "without a unit"]),
    ("a resistor in volts", 'R4 = "1k5"', 'R4 = "15V"', ["parts.R4", "'15V'"]),
    ("no ohms at all", 'R4 = "1k5"', 'R4 = "0"', ["parts.R4", "'0'", "outside"]),
    ("a negative resistor", 'R4 = "1k5"', 'R4 = "-1k5"', ["parts.R4", "'-1k5'", "4k7"]),
    ("no value", 'R4 = "1k5"', 'R4 = ""', ["parts.R4", "''"]),
    ("an endless number", 'R4 = "1k5"', "R4 = inf", ["parts.R4", "inf"]),
    ("a designator without kind", 'R4 = "1k5"', 'F4 = "1k5"', ["parts.F4", "R resistor"]),
    ("a lower-case designator", 'R4 = "1k5"', 'r4 = "1k5"', ["parts.r4", "R4"]),
    (
        "a part in no stage",
        'R4 = "1k5"',
        'R4 = "1k5"\nR99 = "1k"',
        ["parts", "R99", "no stage", "in a role of a stage", "or take it out"],
    ),
    ("a part that is not there", 'R4 = "1k5"\n', "", ["stages[2].cathode_resistor", "'R4'", "nearest: R"]),
    ("a part twice", 'R4 = "1k5"', 'R4 = "1k5"\nR4 = "2k"', ["not TOML", "line"]),
    ("an unknown valve", 'V1A = "12AX7"', 'V1A = "12AX77"', ["parts.V1A", "'12AX77'", "12AX7"]),
    ("a pentode for a triode", 'V1A = "12AX7"', 'V1A = "EL84"', ["'first stage'", "V1A", "triode", "EL84"]),
    ("a triode for a pentode", 'V4 = "EL84"', 'V4 = "12AX7"', ["'output stage'", "V4", "pentode", "12AX7"]),
    ("a pot without a track", 'P5 = { track = "1M",', "P5 = {", ["parts.P5.track", "missing"]),
    (
        "an unknown taper",
        'taper = "audio 15 %", control = "gain"',
        'taper = "audoi", control = "gain"',
        ["parts.P1.taper", "'audoi'", "audio"],
    ),
    (
        "a rotation of five",
        'control = "gain", rotation = 0.5',
        'control = "gain", rotation = 5',
        ["parts.P1.rotation", "5", "0 to 1"],
    ),
    ("a slip in a pot's entry", "P1 = { track", "P1 = { trak", ["parts.P1", "trak", "track"]),
    ("taps in falling order", 'taps = ["4", "8", "16"]', 'taps = ["16", "8", "4"]', ["parts.T1.taps", "rising"]),
    ("an unknown transformer entry", 'leakage = "15m"', 'leakege = "15m"', ["parts.T1", "leakege", "leakage"]),
    ("a slip in a role", 'grid_leak = "R1"', 'gridleak = "R1"', ["stages[2].gridleak", "triode stage", "grid_leak"]),
    (
        "a resistor where a capacitor belongs",
        'cathode_bypass = "C1"',
        'cathode_bypass = "R1"',
        ["stages[2].cathode_bypass", "R1 is a resistor", "capacitor"],
    ),
    (
        "an unknown template",
        'template = "tone stack"',
        'template = "tonestack"',
        ["stages[8].template", "'tonestack'", "tone stack"],
    ),
    ("quotes left out", 'R4 = "1k5"', "R4 = 1k5", ["not TOML", "line", "'R4 = 1k5'", 'in quotes: R4 = "1k5"']),
    (
        "a role that is misspelt",
        'plate_load = "R10"',
        'plateload = "R10"',
        ["stages[6].plate_load", "triode stage needs", "not known there: 'plateload'"],
    ),
    ("a stage without its valve", 'valve = "V2A"\n', "", ["stages[6].valve", "triode stage needs", "triode (valve)"]),
    (
        "a rail that is not there",
        'supply = "B3"\nplate_load = "R10"',
        'supply = "B5"\nplate_load = "R10"',
        ["stages[6].supply", "'B5'", "B4"],
    ),
    (
        "a loudspeaker that is only a number",
        "LS1 = {",
        'LS2 = "8"\nLS1 = {',
        ["parts.LS2", "'8' is not enough", "a loudspeaker is a table, such as LS2 = { resistance"],
    ),
    ("two stages of one name", 'name = "master"', 'name = "gain"', ["stages", "'gain'", "twice"]),
    (
        "a part wired twice",
        'plate_load = "R10"',
        'plate_load = "R3"',
        ["R3", "twice", "'first stage'", "'third stage'"],
    ),
    ("no grid leak", 'grid_leak_a = "R22"\n', "", ["no DC path", "C12.2", "grid leak"]),
    ("a coupling capacitor and nothing behind it", 'shunt_resistor = "R9"\n', "", ["no DC path", "C3.2", "R8.1"]),
    (
        "feedback into nothing",
        'into = "phase inverter"',
        'into = "phase invertor"',
        ["'feedback'", "'phase invertor'", "phase inverter"],
    ),
    (
        "feedback without its input",
        'feedback_input = "yes"\n',
        "",
        ["'feedback'", "'phase inverter'", "feedback_input"],
    ),
    ("feedback from no tap", 'from = "T1.tap8"', 'from = "T1.tap9"', ["'T1.tap9'", "T1.tap8"]),
    ("a load on no tap", 'tap = "tap8"', 'tap = "8"', ["'output stage'", "'8'", "tap8"]),
    (
        "a rail with neither volts nor a feed",
        'name = "B1"\nvolts =',
        'name = "B1"\nvolt =',
        ["rails[1].volts", "'from'"],
    ),
    ("a rail fed from nowhere", 'from = "B2"', 'from = "B9"', ["B3", "'B9'", "nearest: B"]),
    ("a rail named as a part", 'name = "B4"', 'name = "R4"', ["rails[4].name", "'R4'", "B1"]),
    ("a voltage with a slip", 'volts = "3', 'volts = "E3', ["rails[1].volts", "'E3", "voltage"]),
    ("volts drawn where nothing is", '"V1A.plate" =', '"V1A.anode" =', ["'V1A.anode'", "nearest: V1A."]),
    ("an unknown table", "[drawn_volts]", "[drawn_volt]", ["drawn_volt", "drawn_volts"]),
    ("a quote left open", 'R4 = "1k5"', 'R4 = "1k5', ["not TOML", "line"]),
    ("words left unquoted", 'R4 = "1k5"', "R4 = 1k5", ["not TOML", "line"]),
]
AMP_B = [
    (
        "an output stage without inverter",
        'template = "split-load inverter"',
        'template = "triode stage"',
        ["stages[6]", "triode stage"],
    ),
    ("a wire without an end", 'C3 = ["foot", "ground"]', 'C3 = ["foot"]', ["stages[4].wires.C3", "'foot'", "1, 2"]),
    (
        "a pin that a pot lacks",
        'P2 = { top = "in"',
        'P2 = { upper = "in"',
        ["stages[4].wires.P2.upper", "pot", "wiper"],
    ),
    (
        "a wire to a part that is not there",
        'C3 = ["foot", "ground"]',
        'C33 = ["foot", "ground"]',
        ["stages[4].wires", "'C33'", "C3"],
    ),
    ("a positive plate supply only", 'bias = "bias"', 'bias = "bais"', ["stages[7].bias", "'bais'", "bias"]),
    ("a net of one end", 'C3 = ["foot", "ground"]', 'C3 = ["food", "ground"]', ["C3.1", "DC path"]),
]
MODS = [
    (
        "bright-switch",
        "a way to fit that is misspelt",
        "between = ",
        "betwen = ",
        ["fit", "exactly one way", "given: 'betwen'"],
    ),
    ("bright-switch", "a part not brought", 'C101 = "120p"\n', "", ["fit", "'C101'", "C102"]),
    (
        "bright-switch",
        "a switch in no position",
        'drawn = "open"',
        'drawn = "opne"',
        ["switches[1].drawn", "'opne'", "open"],
    ),
    (
        "bright-switch",
        "a place that is none",
        '"P1.wiper"] }]\n"390p"',
        '"P1 wiper"] }]\n"390p"',
        ["'P1 wiper'", "R4.1"],
    ),
    (
        "bright-switch",
        "a pin that is none",
        '"P1.wiper"] }]\n"390p"',
        '"P1.viper"] }]\n"390p"',
        ["'P1.viper'", "P1.wiper"],
    ),
    ("feedback-resistor", "a part the amp lacks", 'replace = "R20"', 'replace = "R200"', ["'R200'", "R20"]),
    ("feedback-resistor", "no new value", 'with = "150k"\n', "", ["edits[1].with", "missing"]),
    (
        "feedback-resistor",
        "a value of another kind",
        'with = "150k"',
        'with = "150n"',
        ["edits[1].with", "'150n'", "68k"],
    ),
    ("feedback-resistor", "no reason", 'reason = "A larger', 'why = "A larger', ["reason", "missing", "why"]),
    (
        "feedback-resistor",
        "two things at once",
        'replace = "R20"',
        'replace = "R20"\nlift = "R20"',
        ["edits[1]", "exactly one", "lift"],
    ),
    (
        "feedback-resistor",
        "an unknown action",
        'replace = "R20"',
        'remove = "R20"',
        ["edits[1]", "exactly one", "replace"],
    ),
    (
        "depth",
        "a place without an end",
        'in_series_at = "R20.1"',
        'in_series_at = "R20"',
        ["edits[1].in_series_at", "'R20'", "R30.1"],
    ),
    ("depth", "an end the part lacks", 'in_series_at = "R20.1"', 'in_series_at = "R20.3"', ["'R20.3'", "R20.1"]),
    ("depth", "a pot that turns no way", 'wired = "rising"', 'wired = "up"', ["edits[1].wired", "'up'", "rising"]),
    (
        "partial-bypass",
        "a part fitted nowhere",
        'R108 = "470"',
        'R108 = "470"\nR109 = "1k"',
        ["parts", "R109", "nowhere"],
    ),
]
VALVES = [
    (
        "12AX7",
        "a law that is none",
        'law = "space-charge triode"',
        'law = "space charge triode"',
        ["law", "'space charge triode'", "space-charge triode"],
    ),
    ("12AX7", "a parameter too many", "[parameters]\n", "[parameters]\nmy = 100\n", ["parameters.my", "nearest: mu"]),
    (
        "12AX7",
        "a parameter out of bounds",
        "exponent = 1.",
        "exponent = 11.",
        ["parameters", "exponent", "11.", "1 to 3"],
    ),
    (
        "12AX7",
        "a limit as text",
        "plate_watts = 1.0",
        'plate_watts = "1 W"',
        ["limits", "plate_watts", "'1 W'", "number"],
    ),
    ("EL84", "no limits", "[limits]", "[limit]", ["limits: this entry is missing", "nearest: limit"]),
]
JOBS = [
    ("no such amp", 'amp = "workshop-a"', 'amp = "workshop-c"', ["'workshop-c'", "workshop-a"]),
    ("no such mod", '"cathode-switch"', '"cathode-swich"', ["'cathode-swich'", "cathode-switch"]),
    ("no such control", 'vary = ["bright"]', 'vary = ["brigth"]', ["'brigth'", "bright"]),
    ("no such position", 'bright = "', 'bright = "x', ["compare.at.bright", "'x1", "120p"]),
    (
        "a file far away",
        'amp = "workshop-a"',
        'amp = "../amps/workshop-a.toml"',
        ["amp", "'../amps/workshop-a.toml'", "beside"],
    ),
]


def slipped(folder: Path, kind: str, name: str, old: str, new: str) -> Path:
    """A file that comes with ampsim, with one slip in it."""
    text = (models() / kind / f"{name}.toml").read_text("utf-8")
    assert old in text, "the file has changed: this slip is no longer one"
    path = folder / f"{name}.toml"
    path.write_text(text.replace(old, new, 1), "utf-8")
    return path


def check(message: str, path: Path, fragments: list[str]) -> None:
    assert path.name in message, message
    missing = [fragment for fragment in fragments if fragment not in message]
    assert not missing, f"{missing} not in: {message}"
    assert "\n" not in message
    assert len(message) < 400, message


AMPS = [*(("workshop-a", *row) for row in AMP_A), *(("workshop-b", *row) for row in AMP_B)]


@pytest.mark.parametrize(("name", "title", "old", "new", "fragments"), AMPS)
def test_mistakes_in_amps(tmp_path: Path, name: str, title: str, old: str, new: str, fragments: list[str]) -> None:
    path = slipped(tmp_path, "amps", name, old, new)
    with pytest.raises(DescriptionError) as refusal:
        load_amp(path)
    check(str(refusal.value), path, fragments)


def fit_in_every_position(path: Path) -> None:
    amp = apply_mods(load_amp("workshop-a"), load_mod(path))
    build_circuit(amp)
    for switch in amp.all_switches:
        for label in switch.labels:
            build_circuit(amp, ((switch.control, label),))


@pytest.mark.parametrize(("name", "title", "old", "new", "fragments"), MODS)
def test_mistakes_in_mods(tmp_path: Path, name: str, title: str, old: str, new: str, fragments: list[str]) -> None:
    path = slipped(tmp_path, "mods", name, old, new)
    with pytest.raises(DescriptionError) as refusal:
        fit_in_every_position(path)
    check(str(refusal.value), path, fragments)


@pytest.mark.parametrize(("name", "title", "old", "new", "fragments"), VALVES)
def test_mistakes_in_valves(tmp_path: Path, name: str, title: str, old: str, new: str, fragments: list[str]) -> None:
    path = slipped(tmp_path, "valves", name, old, new)
    with pytest.raises(DescriptionError) as refusal:
        load_valve(path)
    check(str(refusal.value), path, fragments)


@pytest.mark.parametrize(("title", "old", "new", "fragments"), JOBS)
def test_mistakes_in_jobs(tmp_path: Path, title: str, old: str, new: str, fragments: list[str]) -> None:
    path = slipped(tmp_path, "jobs", "bright-cathode-depth", old, new)
    with pytest.raises(AmpsimError) as refusal:
        load_audition(path)
    check(str(refusal.value), path, fragments)


@pytest.mark.parametrize("load", [load_amp, load_mod, load_valve, load_audition])
def test_files_that_cannot_be_read(tmp_path: Path, load: object, monkeypatch: pytest.MonkeyPatch) -> None:
    assert callable(load)
    for name, fragments in {
        str(tmp_path / "nowhere.toml"): ["nowhere.toml", "no such file"],
        "workshop-z": ["'workshop-z'", "is not a file"],
        str(tmp_path): ["not a file"],
    }.items():
        with pytest.raises(DescriptionError) as refusal:
            load(name)
        assert all(fragment in str(refusal.value) for fragment in fragments), str(refusal.value)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "workshop-z.toml").touch()
    for name in ("workshop-z", "workshop-z.tml"):
        with pytest.raises(DescriptionError, match=r"there is a file 'workshop-z\.toml'"):
            load(name)
    (tmp_path / "latin.toml").write_bytes('name = "café"'.encode("latin-1"))
    with pytest.raises(DescriptionError, match=r"latin.toml: not UTF-8"):
        load(tmp_path / "latin.toml")
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(DescriptionError, match=r"folder.toml: "):
        load(tmp_path / "folder.toml")


def test_a_file_that_changed_is_another_valve(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = (models() / "valves" / "12AX7.toml").read_text("utf-8")
    stage = (models() / "amps" / "lesson-stage.toml").read_text("utf-8")
    volts = []
    for folder in ("first", "second"):
        (tmp_path / folder).mkdir()
        monkeypatch.chdir(tmp_path / folder)
        Path("amp.toml").write_text(stage.replace('"12AX7"', '"own"'), "utf-8")
        for factor in (0.5, 0.8):
            share = factor * (1.0 if folder == "first" else 0.5)
            own = text.replace('type = "12AX7"', 'type = "own"')
            perveance = tomllib.loads(own)["parameters"]["perveance"]
            weaker = own.replace(f"perveance = {perveance}", f"perveance = {perveance * share}")
            Path("own.toml").write_text(weaker, "utf-8")
            # By the same relative names, in the same session: edited, and in another folder.
            found = simulate(load_amp("amp.toml"), OperatingPoint())
            volts.append(float(found["voltage"].sel(node="V1A.plate").squeeze()))
    # Less emission, less current, a higher plate.
    assert sorted(volts) == [volts[1], volts[0], volts[3], volts[2]]
    assert len({round(each, 1) for each in volts}) == 4


def test_a_valve_file_of_another_type_is_named(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_bytes((models() / "valves" / "12AX7.toml").read_bytes())
    stage = (models() / "amps" / "lesson-stage.toml").read_text("utf-8")
    (tmp_path / "amp.toml").write_text(stage.replace('"12AX7"', '"own"'), "utf-8")
    with pytest.raises(DescriptionError, match=r"^amp\.toml: parts\.V1A: the file 'own' describes .* type '12AX7'"):
        load_amp(tmp_path / "amp.toml")


def test_tables_may_use_valves_of_ones_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = (models() / "valves" / "12AX7.toml").read_text(encoding="utf-8").replace('"12AX7"', '"OWN1"', 1)
    (tmp_path / "OWN1.toml").write_text(text, encoding="utf-8")
    tables = tomllib.loads((models() / "amps" / "workshop-b.toml").read_text(encoding="utf-8"))
    tables["parts"]["V1A"] = "OWN1"
    edit = {"name": "other", "reason": "try", "edits": [{"replace": "V1B", "with": "OWN1"}]}
    for own in ({"beside": tmp_path}, {"valves": [load_valve(tmp_path / "OWN1.toml")]}):
        assert "OWN1" in parse_amp(tables, **own).valve_by_type  # type: ignore[arg-type]
        assert parse_mod(edit, **own).valves[0].type == "OWN1"  # type: ignore[arg-type]
    with pytest.raises(DescriptionError, match="OWN1"):
        parse_amp(tables)
    monkeypatch.chdir(tmp_path)
    assert "OWN1" in parse_amp(tables).valve_by_type
