"""What the iron does to a wire, a rail and a part's place: equal works are equal circuits, and read back as such."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods, diff
from ampsim.circuit.switches.same_circuit import compare_circuits
from ampsim.library.loader import load_amp, parse_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.response import simulate
from ampsim.work.wiring import wiring
from ampsim.work.wiring.readback import mismatches
from tests.tools.any_amps import MadeAmp, any_amp
from tests.tools.any_mods import KINDS, mods_for

AMP = load_amp("workshop-a")
COMMON = ("ground", "input", "speaker")


def modded(amp: Amp, *edits: dict[str, Any], name: str = "m", **more: Any) -> Amp:
    return apply_mods(amp, parse_mod({"name": name, "reason": "r", "edits": list(edits), **more}, f"{name}.toml"))


def unlike(one: Amp, other: Amp) -> str:
    return compare_circuits({}, build_circuit(one), build_circuit(other))


@st.composite
def lugs(draw: st.DrawFn) -> tuple[MadeAmp, str, list[str], str]:
    """An amp by lot, a lug of it, the others on its wire, and what everything else on that wire is called if it is."""
    made = draw(any_amp())
    rails = {rail.name for rail in made.amp.rails}
    wires = [
        [each for each in places if each in (*COMMON, *rails) or ("." in each and each.partition(".")[0] not in rails)]
        for places in build_circuit(made.amp).places_by_net.values()
    ]
    known = {part.designator for part in made.amp.parts if part.kind in ("resistor", "capacitor")}
    wires = [each for each in wires if len(each) > 1 and {place.partition(".")[0] for place in each} & known]
    places = sorted(draw(st.sampled_from(sorted(wires))))
    common = next((each for each in places if "." not in each), "")
    lug = draw(st.sampled_from([each for each in places if each.partition(".")[0] in known]))
    return made, lug, [each for each in places if "." in each and each != lug], common


@settings(max_examples=15)
@given(lugs())
def test_a_wire_cut_and_mended_opened_and_moved_is_the_same_circuit(found: tuple[MadeAmp, str, list[str], str]) -> None:
    made, lug, others, common = found
    far = [common] if common else others
    cut = {"cut": [lug, far if len(far) > 1 else far[0]]}
    mended = modded(made.amp, cut, {"bridge": [lug, far[0]]})
    assert not unlike(mended, made.amp)
    moved = modded(made.amp, {"move": lug, "to": far[0]})
    assert not unlike(moved, made.amp)
    parts = {"R990": "10k"}
    series = modded(made.amp, {"fit": "R990", "in_series_at": lug}, parts=parts)
    between = modded(made.amp, cut, {"fit": "R990", "between": [lug, far[0]]}, parts=parts)
    assert not unlike(series, between)
    for amp in (mended, moved, between):
        assert mismatches(wiring(amp)) == []


@settings(max_examples=10)
@given(lugs())
def test_lugs_that_could_go_either_way_are_asked_for(found: tuple[MadeAmp, str, list[str], str]) -> None:
    made, lug, others, common = found
    if len(others) < 2:
        return
    with pytest.raises(DescriptionError, match="say to which side") as refused:
        build_circuit(modded(made.amp, {"cut": [lug, others[0]]}))
    assert all(other in str(refused.value) for other in others[1:])
    assert not common or "as a side" in str(refused.value)


@settings(max_examples=4)
@given(any_amp())
def test_works_on_wires_commute_with_other_mods(made: MadeAmp) -> None:
    fresh = {name for name, make in KINDS.items() if make.__module__.endswith("_wires")}
    found = list(mods_for(made))
    assert fresh & {each.kind for each in found}
    for one in (each for each in found if each.kind in fresh):
        for other in found[:: max(1, len(found) // 4)]:
            try:
                stands = build_circuit(apply_mods(made.amp, one.mod, other.mod))
            except DescriptionError:
                with pytest.raises(DescriptionError):
                    build_circuit(apply_mods(made.amp, other.mod, one.mod))
                continue
            assert not compare_circuits({}, stands, build_circuit(apply_mods(made.amp, other.mod, one.mod)))


def test_a_rail_is_put_at_other_volts() -> None:
    amp = modded(AMP, {"rail": "B1", "volts": "290 V"})
    assert [(each.place, each.before, each.after) for each in diff(AMP, amp)] == [("B1", "318 V", "290 V")]
    drawn, now = (
        float(simulate(each, OperatingPoint(), nodes=["V1A.plate"])["voltage"].squeeze()) for each in (AMP, amp)
    )
    assert 0.85 < now / drawn < 0.97
    assert unlike(amp, AMP) == ""
    with pytest.raises(DescriptionError, match="B2 is no rail with volts of its own"):
        build_circuit(modded(AMP, {"rail": "B2", "volts": 300}))
    positions = {"a": [], "b": [{"rail": "B1", "volts": 300}]}
    with pytest.raises(DescriptionError, match="a rail has one voltage"):
        modded(AMP, switches=[{"designator": "S9", "control": "c", "positions": positions}])


def test_two_mods_that_move_one_lug_or_set_one_rail_are_refused() -> None:
    for edit in ({"move": "R20.1", "to": "T1.tap4"}, {"rail": "B1", "volts": 300}):
        first = modded(AMP, edit, name="one")
        with pytest.raises(DescriptionError, match="both change"):
            modded(first, edit, name="two")
    cut = modded(AMP, {"cut": ["C8.1", "P5.wiper"]}, name="one")
    with pytest.raises(DescriptionError, match=r"both change P5\.wiper"):
        modded(cut, {"move": "P5.wiper", "to": "ground"}, name="two")


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        ({"cut": ["R4.2", "V1A.cathode"]}, "not on one wire"),
        ({"cut": ["R4.2", "R99.1"]}, r"R99\.1' is not a place"),
        ({"cut": ["R4.2", "ground", "R5.1"]}, "is not a pair"),
        ({"cut": [["R4.2", "R4.2"], "ground"]}, "places of its own"),
        ({"move": "R4.2", "to": "R4.1"}, r"R4\.1 and R4\.2 are on one wire"),
        ({"move": "ground", "to": "R4.1"}, "not a part's end"),
        ({"move": "R4.1", "to": "T1.tap5"}, r"T1\.tap5' is not a place"),
        ({"replace": "R4", "with": "A1M"}, r"edits\[1\]\.with"),
        ({"replace": "X1", "with": "3"}, "another voltage is rail"),
        ({"fit": "R990", "across": "R990"}, "would lie at itself"),
        ({"fit": "R990", "between": ["ground", "R990.1"]}, "would lie at itself"),
        ({"fit": "R990", "in_series_at": "R990.2"}, "would lie at itself"),
        ({"fit": "R990", "across": "V1A"}, "more than two ends"),
        ({"bridge": "T1"}, "more than two ends"),
        ({"lift": "B1"}, "B1 is a rail, no part"),
        ({"fit": "R990", "between": ["C1.1", "R4.1"]}, "R990 does nothing"),
        ({"fit": "P990", "pins": {"top": "ground", "wiper": "V1A.plate", "bottom": "R4.2"}}, "P990 does nothing"),
        ({"fit": "V990", "pins": {"plate": "V1A.plate", "grid": "V1A.grid", "cathode": "R3.2"}}, "V990 does nothing"),
        (
            {"fit": "V991", "pins": {"plate": "V4.plate", "grid": "V4.grid", "cathode": "V4.cathode"}},
            "has a screen too",
        ),
    ],
)
def test_what_cannot_be_done_is_refused(edit: dict[str, Any], words: str) -> None:
    known = {"R990": "10k", "P990": "1M", "V990": "12AX7", "V991": "EL84"}
    parts = {edit["fit"]: known[edit["fit"]]} if "fit" in edit else {}
    with pytest.raises(DescriptionError, match=words):
        build_circuit(modded(AMP, edit, parts=parts))


def test_a_pentode_is_fitted_by_its_pins() -> None:
    pins = {pin: f"V4.{pin}" for pin in ("plate", "grid", "screen", "cathode")}
    both = modded(AMP, {"fit": "V991", "pins": pins}, parts={"V991": "EL84"})
    assert mismatches(wiring(both)) == []


def test_parts_meet_at_a_wire_of_the_mods_own() -> None:
    fits = [{"fit": "C900", "between": ["V1A.plate", "node"]}, {"fit": "R900", "between": ["node", "ground"]}]
    parts = {"C900": "1n", "R900": "100k"}
    amp = modded(AMP, *fits, parts=parts, nets=["node"])
    plain = modded(AMP, {"fit": "C900", "between": ["V1A.plate", "ground"]},
                   {"fit": "R900", "in_series_at": "C900.2"}, parts=parts)  # fmt: skip
    assert not unlike(amp, plain)
    assert mismatches(wiring(amp)) == []
    with pytest.raises(DescriptionError, match="C900 alone is on 'node'"):
        modded(AMP, fits[0], parts={"C900": "1n"}, nets=["node"])
    again = [{"fit": "C991", "between": ["V1B.plate", "node"]}, {"fit": "R991", "between": ["node", "ground"]}]
    with pytest.raises(DescriptionError, match="both have the net node"):
        modded(amp, *again, parts={"C991": "1n", "R991": "100k"}, nets=["node"], name="other")


def test_another_pot_keeps_its_knob_and_another_part_its_place() -> None:
    amp = modded(AMP, {"replace": "P1", "with": "C500k"}, {"replace": "LS1", "with": {"resistance": "5.5"}})
    assert amp.controls == AMP.controls
    assert [each.after for each in diff(AMP, amp)] == ["500k reverse audio 10 %", "coil of 5.5 ohm"]
    parts = build_circuit(amp).parts
    assert (parts["P1"].taper, parts["P1"].control) == ("reverse audio 10 %", AMP.part_by_designator["P1"].control)
    assert mismatches(wiring(amp)) == []
