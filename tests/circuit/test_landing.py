"""Places said by what they are: equal circuits have equal places, and they are those of the templates' roles."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator

import pytest

from ampsim.circuit.amp import Amp
from ampsim.circuit.landing.jobs import PINS
from ampsim.circuit.landing.merged import members
from ampsim.circuit.landing.site import Site, site_of
from ampsim.circuit.landing.words import FOLLOWER, GAIN, INVERTER, LINE, OUTPUT, STACK, is_phrase, parse_phrase
from ampsim.interface.commands.main import main
from ampsim.library.files import models
from tests.tools.any_amps import MadeAmp, amps
from tests.tools.equal_forms import EqualAmp, equal_amps

MADE = list(amps(24, seed=5))
EXAMPLES = [
    MadeAmp(0, number, path.stem, tomllib.loads(path.read_text("utf-8")))
    for number, path in enumerate(sorted((models() / "stages").glob("*.toml")))
    if path.stem != "mixer"  # its second channel is not plugged in
]
# Role of a template to the job that the wires must show it in; side "a" and "b" of an output stage are its valves.
CATHODE = {"cathode_resistor": "cathode resistor", "cathode_bypass": "cathode bypass"}
PLATE = {
    "plate_load": "plate load",
    "plate_load_capacitor": "plate load capacitor",
    "plate_grid_capacitor": "plate to grid capacitor",
}
PAIR = {"plate_load_a": "plate load a", "plate_load_b": "plate load b", "tail_resistor": "tail resistor"}
GRID = {"grid_leak": "grid leak", "grid_stopper": "grid stopper"}
ROLES = {
    "triode stage": CATHODE | PLATE | GRID,
    "pentode stage": CATHODE | PLATE | GRID | {"screen_resistor": "screen resistor"},
    "cascode": CATHODE | PLATE | GRID,
    "parallel triodes": CATHODE | PLATE | {"grid_stopper_a": "grid stopper", "grid_stopper_b": "grid stopper"},
    "grid-leak stage": PLATE | GRID | {"coupling": "coupling before"},
    "baxandall tone": CATHODE | PLATE,
    "self-biased follower": {
        "cathode_resistor": "cathode load",
        "coupling": "coupling before",
        "bias_resistor": "bias resistor",
        "grid_leak": "grid leak",
    },
    "direct-coupled long-tailed pair": PAIR,
    "fixed-bias split-load inverter": {
        "coupling": "coupling before",
        "plate_load": "plate load a",
        "cathode_load": "cathode load",
        "grid_leak": "grid leak",
    },
    "paraphase inverter": PAIR | {"coupling": "coupling before"},
    "floating paraphase inverter": PAIR | {"coupling": "coupling before"},
    "cathode follower": {"cathode_resistor": "cathode load"},
    "long-tailed pair": PAIR
    | {
        "coupling": "coupling before",
        "plate_to_plate_capacitor": "plate to plate capacitor",
    },
    "split-load inverter": {
        "coupling": "coupling before",
        "plate_load": "plate load a",
        "cathode_load": "cathode load",
        "bias_resistor": "bias resistor",
        "grid_leak": "grid leak",
    },
    "push-pull output": {
        **{f"{role}_{side}": job for side in "ab" for role, job in {
            "coupling": "coupling before", "grid_leak": "grid leak", "grid_stopper": "grid stopper",
            "screen_resistor": "screen resistor", "cathode_resistor": "cathode resistor",
            "cathode_bypass": "cathode bypass"}.items()},
        "cathode_resistor": "cathode resistor",
        "cathode_bypass": "cathode bypass",
    },
    "single-ended output": {
        "coupling": "coupling before", "grid_leak": "grid leak", "grid_stopper": "grid stopper",
        "screen_resistor": "screen resistor", "cathode_resistor": "cathode resistor",
        "cathode_bypass": "cathode bypass",
    },
    "tone stack": {
        "slope_resistor": "slope resistor", "treble_capacitor": "treble capacitor", "bass_capacitor": "bass capacitor",
        "middle_capacitor": "middle capacitor", "treble": "treble pot", "bass": "bass pot",
    },
    "feedback": {"resistor": "resistor", "shunt_resistor": "shunt resistor", "presence": "presence pot",
                 "presence_track": "presence pot", "presence_capacitor": "presence capacitor"},
}  # fmt: skip
KINDS = {
    **dict.fromkeys(("triode stage", "pentode stage", "cascode", "parallel triodes", "grid-leak stage"), GAIN),
    "baxandall tone": GAIN,
    **dict.fromkeys(("cathode follower", "self-biased follower"), FOLLOWER),
    **dict.fromkeys((name for name in ROLES if name.endswith(("inverter", "pair"))), INVERTER),
    "push-pull output": OUTPUT,
    "single-ended output": OUTPUT,
    "tone stack": STACK,
    "feedback": LINE,
}


def names(given: object) -> tuple[str, ...]:
    return (given,) if isinstance(given, str) else tuple(given)  # type: ignore[arg-type]


def where_roles_stand(made: MadeAmp) -> Iterator[tuple[str, str, str, set[str]]]:
    """Template, role and designators of a drawing, and the job that they must be found in."""
    for stage in made.tables["stages"]:
        for role, job in ROLES.get(stage["template"], {}).items():
            if role in stage:
                yield stage["template"], role, job, set(names(stage[role]))


@pytest.mark.parametrize("made", MADE + EXAMPLES, ids=lambda made: f"{made.kind} {made.number}")
def test_what_a_template_calls_a_role_the_wires_show_as_that_job(made: MadeAmp) -> None:
    site = site_of(made.amp)
    for template, role, job, parts in where_roles_stand(made):
        found = {part for thing in site.of(KINDS[template]) for spot in thing.jobs.get(job, ()) for part in spot.parts}
        assert parts <= found, (template, role, job, parts, found)


@pytest.mark.parametrize("made", MADE + EXAMPLES, ids=lambda made: f"{made.kind} {made.number}")
def test_the_stage_end_of_a_coupling_is_the_one_towards_the_stage(made: MadeAmp) -> None:
    """Templates wire couplings from "1", at what comes before, to "2"; a level pot may stand between."""
    site = site_of(made.amp)
    for kind in (GAIN, FOLLOWER, INVERTER, OUTPUT):
        for thing in site.of(kind):
            for job, lug in (("coupling before", "2"), ("coupling after", "1")):
                ends = [(spot.designator, dict(spot.ends)["stage end"]) for spot in thing.jobs.get(job, ())]
                assert ends == [(part, lug) for part, _ in ends]


def test_the_drawings_have_every_role_that_is_compared() -> None:
    seen = {(template, role) for made in MADE + EXAMPLES for template, role, _, _ in where_roles_stand(made)}
    assert len(seen) > 50
    assert {template for template, _ in seen} == set(ROLES)


def places(amp: Amp) -> dict[tuple[str, int, str], tuple[tuple[str, tuple[str, ...]], ...]]:
    """Every job of every thing, counted within its kind: the parts, and the nets that the names of their ends mean."""
    site = site_of(amp)
    return {
        (thing.kind, number, job): tuple(
            (spot.designator, lugs(site, spot.designator, dict(spot.ends))) for spot in spots)
        for kind in (GAIN, FOLLOWER, INVERTER, OUTPUT, STACK, LINE)
        for number, thing in enumerate(site.of(kind))
        for job, spots in thing.jobs.items()
        if spots
    }  # fmt: skip


def lugs(site: Site, part: str, ends: dict[str, str]) -> tuple[str, ...]:
    """What stands at the lugs that names of ends mean, but for the part itself: valve pins and rails, which keep."""
    wired = site.signal.ways.wired
    pins = {
        f"{each.designator}.{pin}": net for each in wired.elements for pin, net in each.pins if each.kind == "valve"
    }
    return tuple(
        ",".join(
            sorted(place for place, net in pins.items() if net == wired.net(pin if "." in pin else f"{part}.{pin}"))
        )
        or end
        for end, pin in sorted(ends.items())
    )


def in_other_names(found: dict, other: EqualAmp) -> dict:
    """Places of the one amp, with what its parts are called in the other; parts that are split there left out."""

    def place(text: str) -> str:
        part, dot, lug = text.partition(".")
        return f"{other.names.get(part, part)}{dot}{lug}"

    def several(text: str) -> str:
        return ",".join(sorted(map(place, text.split(",")))) if "." in text else text

    return {
        key: sorted((place(part), tuple(map(several, ends))) for part, ends in spots)
        for key, spots in found.items()
        if not {name for part, _ in spots for name in members(part.partition(".")[0])} & other.split
    }


@pytest.mark.parametrize("made", MADE[:7], ids=lambda made: f"{made.kind} {made.number}")
def test_equal_circuits_have_equal_places(made: MadeAmp) -> None:
    ours = places(made.amp)
    for other in equal_amps(made, 1):
        theirs = {key: sorted(spots) for key, spots in places(other.made.amp).items()}
        for key, spots in in_other_names(ours, other).items():
            assert theirs.get(key) == spots, (other.form, key)
        if not other.split:
            assert theirs.keys() == ours.keys(), other.form


def test_a_phrase_is_read_as_it_is_written() -> None:
    for text in (
        "second stage.cathode resistor",
        "gain pot.top",
        "coupling after first stage",
        "feedback resistor.foot",
    ):
        assert is_phrase(text)
        assert parse_phrase(text, "x").text == text
    assert parse_phrase("feedback resistor", "x").head == "feedback line"
    assert not any(map(is_phrase, ("R4.1", "V1A.plate", "ground", "B2", "node", 3, "P1.wiper")))
    assert set(PINS) == {"grid", "cathode", "plate", "screen"}


def test_a_resistor_that_brings_another_channel_is_no_grid_leak(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fits", "--amp", str(models() / "stages" / "mixer.toml")]) == 0
    second = capsys.readouterr().out.split("second stage")[1].split("\n\n")[0]
    assert "grid V2A.grid" in second
    assert "grid leak" not in second


SELF_SPLIT = """
name = "self-split"
[parts]
R201 = "10k"
V9 = "12AX7"
R91 = "1M"
R92 = "100k"
R93 = "1k5"
C41 = "100n"
R41 = "470k"
V5 = "EL84"
V6 = "EL84"
R43 = "100"
T3 = { primary = "8k", taps = ["8"], inductance = "20" }
LS2 = { resistance = "6.4" }
[[rails]]
name = "A"
volts = 300
[[stages]]
name = "generator"
template = "generator"
resistance = "R201"
[[stages]]
name = "driver"
template = "triode stage"
valve = "V9"
supply = "A"
grid_leak = "R91"
plate_load = "R92"
cathode_resistor = "R93"
[[stages]]
name = "output"
template = "free wiring"
[stages.wires]
C41 = ["in", "one"]
R41 = ["one", "ground"]
V5 = { plate = "left", screen = "A", cathode = "both", grid = "one" }
V6 = { plate = "right", screen = "A", cathode = "both", grid = "ground" }
R43 = ["both", "ground"]
T3 = { primary_a = "left", centre = "A", primary_b = "right", common = "ground", tap8 = "out" }
[[stages]]
name = "loudspeaker"
template = "load"
load = "LS2"
"""


def test_output_valves_that_split_the_phase_themselves_have_no_inverter_before_them() -> None:
    made = MadeAmp(0, 0, "self-split", tomllib.loads(SELF_SPLIT))
    site = site_of(made.amp)
    assert site.of(INVERTER) == ()
    (driver,) = site.of(GAIN)
    assert [spot.designator for spot in driver.jobs["cathode resistor"]] == ["R93"]
    assert {side.jobs["valve"][0].designator for side in site.of(OUTPUT)} == {"V5", "V6"}
