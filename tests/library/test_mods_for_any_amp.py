"""Mods that say places by what they are: every one of them on every amp, what is asked, and what a job keeps."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ampsim import FrequencySweep, apply_mods, diff, fits, land, load_amp, load_mod, parse_mod, simulate
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Mod
from ampsim.circuit.landing.conditions import asks_volts
from ampsim.circuit.mods import apply_mods as fit_landed
from ampsim.interface.commands.main import main
from ampsim.library.files import models, models_in
from ampsim.library.landing import land_mods
from ampsim.library.loader import load_drawer, load_wishes, parse_amp
from ampsim.library.mod_text import mod_text
from ampsim.simulation.drawn_volts import volts_at_rest
from tests.tools.any_amps import MadeAmp, amps
from tests.tools.equal_forms import equal_amps

AMPS = {name: load_amp(name) for name in sorted(models_in("amps"))}
DRAWN = {name: tomllib.loads((models() / "amps" / f"{name}.toml").read_text("utf-8")) for name in AMPS}
EQUAL = list(amps(7, seed=9))
MODS = sorted(path.stem for path in (models() / "mods" / "any-amp").glob("*.toml"))


def drawn(name: str, *templates: str) -> list[dict[str, Any]]:
    """The stages of a drawing by template."""
    return [each for each in DRAWN[name]["stages"] if each["template"] in templates]


def gains(name: str) -> list[dict[str, Any]]:
    return drawn(name, "triode stage", "pentode stage", "baxandall tone")


def output(name: str) -> dict[str, Any]:
    return (drawn(name, "push-pull output", "single-ended output") or [{}])[0]


def ohms(name: str, template: str, role: str) -> str:
    return next((DRAWN[name]["parts"][each[role]] for each in drawn(name, template) if role in each), "")


# What the drawing has, by template and role, where a mod fits; and what is said where it does not.
NEEDS = {
    "bright-capacitors": (lambda n: drawn(n, "volume"), "level pot"),
    "bypass-full-half-off": (lambda n: "cathode_bypass" in gains(n)[0], "cathode bypass"),
    "cold-stage-to-warm": (lambda n: n == "workshop-a", ""),
    "cooler-cathode-bias": (lambda n: "cathode_resistor" in output(n), "no "),
    "cooler-fixed-bias": (lambda n: "bias" in output(n) and not drawn(n, "bias supply"), "bias"),
    "darker-inverter": (lambda n: any("plate_to_plate_capacitor" in e for e in drawn(n, "long-tailed pair")), "no "),
    "depth-control": (lambda n: ohms(n, "feedback", "resistor").endswith("k"), ""),
    "feedback-off": (lambda n: drawn(n, "feedback"), "feedback line"),
    "fuller-slope": (lambda n: drawn(n, "tone stack"), "stack"),
    "grid-roll-off": (lambda n: len(gains(n)) > 1 and "grid_stopper" in gains(n)[1], "second stage"),
    "larger-first-plate-load": (lambda n: gains(n), ""),
    "less-feedback": (lambda n: drawn(n, "feedback"), "feedback line"),
    "master-after-the-inverter-any-amp": (lambda n: drawn(n, "push-pull output"), "output side a"),
    "more-feedback": (lambda n: drawn(n, "feedback"), "feedback line"),
    "output-grid-stoppers": (output, "output valve"),
    "plate-roll-off": (lambda n: gains(n), ""),
    "presence-control": (lambda n: n == "boathouse", ""),
    "quieter-input": (lambda n: n not in ("glasshouse", "lesson-stage"), ""),
    "screen-stoppers": (output, "output valve"),
    "second-grid-stopper": (lambda n: len(gains(n)) > 1, "second stage"),
    "some-bypass": (lambda n: "cathode_bypass" not in gains(n)[-1], "cathode bypassed by"),
    "stack-capacitors": (lambda n: drawn(n, "tone stack"), "stack"),
    "stack-lift": (lambda n: drawn(n, "tone stack"), "stack"),
    "steeper-slope": (lambda n: drawn(n, "tone stack"), "stack"),
    "tighter-coupling": (lambda n: n not in ("ballroom", "lesson-stage"), "coupling after"),
    "tighter-into-the-inverter": (lambda n: drawn(n, "push-pull output"), "no inverter"),
    "tighter-output-coupling": (output, "output valve"),
    "track-resistor-any-amp": (lambda n: drawn(n, "volume"), "level pot"),
    "triode-or-pentode": (output, "output valve"),
}


@pytest.mark.parametrize("mod", MODS)
def test_every_mod_of_the_trade_fits_where_the_drawing_has_what_it_needs(mod: str) -> None:
    has, reason = NEEDS[mod]
    found = dict(zip(AMPS, fits(mod, AMPS.values()), strict=True))
    assert {name for name, each in found.items() if each.modded} == {name for name in AMPS if has(name)}
    assert any(each.modded for each in found.values())
    assert all(reason in each.reason and each.reason for each in found.values() if not each.modded)
    assert load_mod(mod).source


@pytest.mark.parametrize("amp", AMPS)
def test_every_mod_that_fits_an_amp_can_be_swept_there(amp: str) -> None:
    modded = [each.modded for mod in MODS for each in fits(mod, [AMPS[amp]]) if each.modded]
    assert modded
    for each in modded:
        (mod,) = each.mods
        position = {switch.control: switch.labels[-1] for switch in mod.switches}
        gain = simulate(each, FrequencySweep(100.0, 4000.0, 2), [position], nodes=["speaker"])["voltage"].values
        assert np.isfinite(gain).all()
        assert abs(gain).max() > 1e-4
        assert diff(AMPS[amp], each)


def landing(amp: Amp, mod: Mod) -> tuple[tuple[str, str], ...] | None:
    """Where a mod lands; None where it does not, or asks."""
    try:
        return land(amp, mod).landing
    except DescriptionError:
        return None


@pytest.mark.parametrize("made", EQUAL, ids=lambda made: f"{made.kind} {made.number}")
def test_on_equal_circuits_every_mod_lands_at_equal_places(made: MadeAmp) -> None:
    mods = [mod for mod in map(load_mod, MODS) if not any(asks_volts(text) for _, text in mod.expects)]  # type: ignore[attr-defined]
    ours = {mod.name: landing(made.amp, mod) for mod in mods}
    assert sum(each is not None for each in ours.values()) > 3
    for other in equal_amps(made, 2):
        for mod in mods:
            theirs, places = landing(other.made.amp, mod), ours[mod.name] or ()
            if {place.partition(".")[0] for _, place in places} & other.split:
                continue
            moved = tuple(
                (said, ".".join([other.names.get((p := place.split("."))[0], p[0]), *p[1:]])) for said, place in places
            )
            # A part that is two there may be asked about besides.
            assert theirs == (moved or None) or (other.split and theirs is None), (other.form, mod.name)


WARM = {
    "name": "warm",
    "reason": "Warmer.",
    "parts": {"R4": "6k8"},
    "edits": [{"fit": "R4", "across": "any stage.cathode resistor"}],
    "expects": {"any stage": "a triode with an unbypassed cathode"},
}


def test_more_than_one_landing_is_asked_and_never_guessed(tmp_path: Path) -> None:
    with pytest.raises(
        DescriptionError, match=r"2 places.*second stage \(V1B\): R7.*third stage \(V2A\): R11.*warm at"
    ):
        apply_mods(AMPS["workshop-a"], parse_mod(WARM, "warm.toml"))
    assert land(AMPS["workshop-a"], parse_mod(WARM, "warm.toml"), "second stage").edits[0].across == "R7"
    path = tmp_path / "warm.toml"
    path.write_bytes(mod_text(WARM))
    landed = apply_mods(AMPS["workshop-a"], load_mod(f"{path} at third stage")).mods[0]
    assert landed.landing == (("any stage.cathode resistor", "R11"),)
    assert landed.edits[0].across == "R11"
    assert landed.parts[0].designator not in AMPS["workshop-a"].part_by_designator
    assert landed.name == "warm at third stage"


def test_a_mod_still_to_be_landed_is_refused_where_none_lands_it() -> None:
    with pytest.raises(DescriptionError, match="still to be found in an amp"):
        fit_landed(AMPS["workshop-a"], parse_mod(WARM, "warm.toml"))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"edits": [{"lift": "second stage.cathod resistor"}]}, "nearest: cathode resistor"),
        ({"edits": [{"fit": "R4", "across": "second stage.cathode resistor.top"}]}, "is no end of it"),
        ({"expects": {"any stage": "a triode that glows"}}, "'glows' is no condition; there are gain stage"),
        ({"expects": {"any stage": "biased colder than cold"}}, "is no condition"),
        ({"expects": {"nowhere": "a triode"}}, "not a designator"),
    ],
)
def test_words_that_mean_nothing_are_answered_with_those_that_do(change: dict[str, Any], words: str) -> None:
    with pytest.raises(DescriptionError, match=words):
        parse_mod(WARM | change, "warm.toml")


@pytest.mark.parametrize(
    ("part", "expected", "words"),
    [
        ("R28", "a cathode resistor of a gain stage", r"R28.*output valve.* is no gain stage"),
        ("R6", "a cathode resistor", r"R6.*is no cathode resistor, but the plate load of the second stage"),
        ("R6", "a capacitor", "is a resistor, no capacitor"),
        ("R7", "a cathode resistor of a triode biased warmer than -2 V", "not warmer than"),
        ("R7", "a cathode resistor of a gain stage, at least 10k", "is 8k2, not at least 10k"),
        ("R7", "a cathode resistor of a gain stage biased colder than -2 V, unbypassed", ""),
        ("R7", "a cathode resistor of a triode resting below 80 % of its supply", "rests at 8. % of its supply, not"),
        ("R7", "a cathode resistor of a gain stage resting above 80 % of its supply, unbypassed", ""),
    ],
)
def test_a_mod_by_designators_is_stopped_where_a_part_does_another_job(part: str, expected: str, words: str) -> None:
    mod = parse_mod(
        {"name": "m", "reason": "r", "edits": [{"replace": part, "with": "2k2"}], "expects": {part: expected}}
    )
    if words:
        with pytest.raises(DescriptionError, match=words):
            apply_mods(AMPS["workshop-a"], mod)
    else:
        assert apply_mods(AMPS["workshop-a"], mod).mods[0].edits[0].part == part


def test_a_stage_is_cold_by_where_its_plate_rests_and_not_by_volts_that_suit_one_type() -> None:
    """A 12AU7 wants several volts of bias in the middle of its swing, where a 12AX7 is cut off."""
    drawing = tomllib.loads((models() / "amps" / "lesson-stage.toml").read_text("utf-8"))
    drawing["parts"] |= {"V1A": "12AU7", "R3": "47k", "R4": "2k2"}
    stage, cold = parse_amp(drawing), load_mod("cold-stage-to-warm")
    assert {place: ours for place, _, ours, _ in volts_at_rest(stage)}["V1A.cathode"] > 4.0
    with pytest.raises(DescriptionError, match=r"rests at 5\d % of its supply, not above 80 %"):
        apply_mods(stage, cold)
    drawing["parts"]["R4"] = "22k"
    assert apply_mods(parse_amp(drawing), cold)


def test_a_multiple_is_taken_of_what_stands_there() -> None:
    (slope,) = apply_mods(AMPS["workshop-a"], load_mod("steeper-slope")).mods[0].edits
    assert slope.value == pytest.approx(39e3 * 1.8, rel=0.05)
    mod = parse_mod({"name": "m", "reason": "r", "edits": [{"rail": "bias rail", "volts": "times 1.1"}]}, "m.toml")
    assert apply_mods(AMPS["boathouse"], mod).mods[0].edits[0].value == pytest.approx(-39.6)


def test_each_valve_gets_a_part_of_its_own_and_shared_ones_are_changed_once() -> None:
    modded = apply_mods(AMPS["glasshouse"], load_mod("screen-stoppers"), load_mod("cooler-cathode-bias"))
    screens = next(each for each in modded.mods if each.name == "screen stoppers")
    assert sorted(each.in_series for each in screens.edits) == [f"V{number}.screen" for number in (3, 4, 5, 6)]
    assert len({each.part for each in screens.edits}) == 4
    assert len(next(each for each in modded.mods if each.name == "cooler cathode bias").edits) == 1


def test_mods_commute_whatever_their_parts_are_called() -> None:
    mods = [load_mod(each) for each in ("screen-stoppers", "bright-capacitors", "cathode-switch")]
    assert apply_mods(AMPS["workshop-a"], *mods) == apply_mods(AMPS["workshop-a"], *mods[::-1])


@pytest.mark.parametrize("mod", MODS)
def test_what_landed_is_a_mod_file_that_reads_back_the_same(mod: str) -> None:
    amp = next(each.amp for each in fits(mod, AMPS.values()) if each.modded)
    stock = next(each for each in AMPS.values() if each.name == amp)
    ((landed, tables),) = land_mods(stock, [load_mod(mod)])
    again = parse_mod(tomllib.loads(mod_text(tables).decode()), landed.file)
    assert again == landed
    assert not again.wants


def test_the_places_of_an_amp_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fits", "--amp", "workshop-a"]) in (0, None)
    said = capsys.readouterr().out
    assert "second stage (V1B)\n  grid V1B.grid, cathode V1B.cathode, plate V1B.plate\n" in said
    assert "  cathode resistor R7 (cathode end R7.1, foot R7.2)\n" in said
    assert "feedback line\n  resistor R20 (output end R20.1, foot R20.2)\n" in said
    assert "grid V3A.grid, cathode V3A.cathode, plate a V3A.plate, plate b V3B.plate" in said
    assert main(["fits"]) == 1


def test_the_shop_s_shelf_is_looked_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    for folder, name, text in (
        ("mods", "house-warmer", mod_text(WARM)),
        ("amps", "customers-amp", (models() / "amps" / "kitchen.toml").read_bytes().replace(b"12AX7", b"12AX7-OURS")),
        (
            "valves",
            "12AX7-OURS",
            (models() / "valves" / "12AX7.toml").read_bytes().replace(b'"12AX7"', b'"12AX7-OURS"'),
        ),
        ("drawers", "front", (models() / "drawers" / "workshop.toml").read_bytes()),
        ("wishes", "ours", (models() / "wishes" / "bright-when-low.toml").read_bytes()),
    ):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / f"{name}.toml").write_bytes(text)
    monkeypatch.setenv("AMPSIM_SHELF", str(tmp_path))
    assert main(["models"]) in (0, None)
    said = capsys.readouterr().out
    assert "workshop-a" in said
    assert f"on the shelf {tmp_path}, mods: house-warmer" in said
    assert load_drawer("front") == load_drawer("workshop")
    assert load_wishes("ours", "front").wishes
    assert main(["check", "12AX7-OURS"]) in (0, None)
    assert main(["fits", "house-warmer", "--amp", "customers-amp"]) in (0, None)
    assert "any stage.cathode resistor: R6, second stage (V1B)" in capsys.readouterr().out
    monkeypatch.setenv("AMPSIM_SHELF", str(tmp_path / "nowhere"))
    with pytest.raises(DescriptionError, match=r"AMPSIM_SHELF.*is no folder"):
        load_mod("house-warmer")


def test_a_job_keeps_the_mod_as_it_landed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    shelf, job = tmp_path / "shelf", tmp_path / "job"
    (shelf / "mods").mkdir(parents=True)
    (shelf / "mods" / "warmer.toml").write_bytes(mod_text(WARM))
    monkeypatch.setenv("AMPSIM_SHELF", str(shelf))
    begin = [
        "job",
        "begin",
        str(job),
        "--amp",
        "workshop-a",
        "--name",
        "A job",
        "--owner",
        "Somebody",
        "--words",
        "Warm",
    ]
    assert main([*begin, "--mod", "warmer at third stage"]) in (0, None)
    assert main(["job", "take", str(job), "stack-lift"]) in (0, None)
    monkeypatch.delenv("AMPSIM_SHELF")
    kept = tomllib.loads((job / "frozen" / "warmer at third stage.toml").read_text("utf-8"))
    assert kept["edits"] == [{"fit": "R101", "across": "R11"}]
    assert kept["landing"] == {"any stage.cathode resistor": "R11"}
    assert not (job / "frozen" / "warmer.toml").exists()
    assert main(["check", str(job)]) in (0, None)
    assert main(["job", "take", str(job), "workshop-b"]) == 1
    said = capsys.readouterr()
    assert "stack.foot was P4.bottom, and is not in workshop amp B; take the mod in again" in said.err
