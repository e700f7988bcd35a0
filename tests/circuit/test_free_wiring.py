"""Free wiring: a net may be named or be the place of any pin on it; parts whose ends are on one wire are refused."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp
from ampsim.circuit.build import build_circuit
from ampsim.circuit.mods import apply_mods
from ampsim.library.loader import parse_amp, parse_mod
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.netlist import build

VALUES = {
    "R": "10k",
    "C": "10n",
    "L": "1",
    "P": {"track": "100k", "control": "level"},
    "LS": {"resistance": "6.4"},
}
NETS = ("in", "out", "x", "y", "ground")


def free(name: str, wires: dict[str, Any], **parts: Any) -> Amp:
    drawn = {each: VALUES[each.rstrip("0123456789")] for each in wires} | parts
    return parse_amp({
        "name": "free wiring", "parts": drawn | {"R90": "1k"},
        "stages": [
            {"name": "source", "template": "generator", "resistance": "R90"},
            {"name": name, "template": "free wiring", "wires": wires},
        ],
    })  # fmt: skip


@st.composite
def drawings(draw: st.DrawFn) -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    """A network with every net named, and the same with places of pins in place of names."""
    # Resistors from net to net that reach every one of them, and some more.
    pairs = list(pairwise(NETS))
    pairs += draw(st.lists(st.sampled_from([(a, b) for a in NETS for b in NETS if a != b]), max_size=4))
    named = {f"R{number}": list(pair) for number, pair in enumerate(pairs, 1)}
    written = {part: list(ends) for part, ends in named.items()}
    for net in NETS:
        pins = draw(st.permutations([(p, end) for p in named for end in (0, 1) if named[p][end] == net]))
        # Each pin goes to one before it, so all are one wire; those of a ring, where none is named, to one another.
        ring = net in "xy" and draw(st.booleans())
        for number, (part, end) in enumerate(pins):
            others = pins[:number] or pins[-1:]
            if ring or (number and draw(st.booleans())):
                other, far = draw(st.sampled_from(others))
                written[part][end] = f"{other}.{far + 1}"
    return named, written


def wires_of(amp: Amp) -> set[frozenset[str]]:
    return {frozenset(places) for places in build_circuit(amp).places_by_net.values()}


@settings(max_examples=150)
@given(drawings(), st.sampled_from(["mixer", "a", "stage 2 of many-many"]))
def test_a_net_named_by_a_place_is_the_same_net(
    drawing: tuple[dict[str, list[str]], dict[str, list[str]]], name: str
) -> None:
    named, written = drawing
    first, second = free(name, named), free(name, written)
    assert wires_of(first) == wires_of(second)
    assert "@" not in build(second, {}, OperatingPoint(), ("R1.1", "R2.2")).text


@pytest.mark.parametrize("letters", VALUES)
def test_a_part_across_itself_is_refused_wherever_it_stands(letters: str) -> None:
    part = f"{letters}1"
    pins = ("top", "wiper", "bottom") if letters == "P" else ("1", "2")
    for wire in ("out", "ground", "x", "R2.2"):
        wires: dict[str, Any] = {"R2": ["in", "out"], "R3": ["out", "x"], "R4": ["x", "ground"]}
        nets = [wire, "in", wire] if letters == "P" else [wire, wire]
        with pytest.raises(DescriptionError) as refused:
            free("mixer", {**wires, part: nets})
        message = str(refused.value)
        assert f"{part}.{pins[0]} and {part}.{pins[-1]} are on one wire" in message
        assert "stage 'mixer'" in message
        assert ("wiper" if letters == "P" else "probably") in message


def amp_to_change() -> Amp:
    return free("mixer", {"R2": ["in", "x"], "R3": ["x", "out"], "R4": ["out", "ground"]})


@pytest.mark.parametrize(
    "edit",
    [
        {"fit": "R9", "between": ["R2.2", "R3.1"]},
        {"fit": "C9", "between": ["R4.2", "ground"]},
        {"fit": "P9", "between": ["R2.2", "R3.1"]},
        {"fit": "P9", "pins": {"top": "R3.2", "wiper": "R2.2", "bottom": "R4.1"}},
        {"fit": "P9", "pins": {"top": "R3.2", "wiper": "R3.2", "bottom": "R4.1"}},
        {"bridge": ["R2.2", "R3.1"]},
    ],
)
def test_a_mod_that_does_nothing_is_refused(edit: dict[str, Any]) -> None:
    parts = {edit["fit"]: VALUES[edit["fit"][0]]} if "fit" in edit else {}
    for tables in (
        {"edits": [edit]},
        {"switches": [{"designator": "S9", "control": "s", "positions": {"a": [edit], "b": []}}]},
    ):
        mod = parse_mod({"name": "nothing", "reason": "a slip", "parts": parts, **tables}, "nothing.toml")
        with pytest.raises(DescriptionError, match=r"nothing\.toml: .*one wire"):
            build_circuit(apply_mods(amp_to_change(), mod))


def test_a_part_beside_a_bridge_is_none_that_does_nothing() -> None:
    edits = [{"bridge": ["R3.1", "R3.2"]}, {"fit": "R9", "across": "R3"}]
    mod = parse_mod({"name": "short", "reason": "short", "parts": {"R9": "1k"}, "edits": edits})
    wired = build_circuit(apply_mods(amp_to_change(), mod))
    assert wired.net("R9.1") == wired.net("R9.2") == wired.net("R4.1")


@pytest.mark.parametrize(
    ("stage", "net"),
    [
        ("rail", "b1"),
        ("R1", "x_2"),
        ("LS1", "a_1"),
        ("jack", "in_x"),
        ("plain", "x"),
        ("a" * 60, "x" * 30),
        ("__", "x"),
    ],
)
def test_a_net_of_ones_own_is_nobody_elses_whatever_its_name_and_the_stages(stage: str, net: str) -> None:
    stage = stage if stage[0] != "_" else f"s{stage}"
    wires = {"R1": ["in", net], "R2": [net, "ground"], "R3": [net, "out"]}
    parts = {"R1": "10k", "R2": "10k", "R3": "1k", "R4": "1M", "R5": "1M", "LS1": {"resistance": "6"}, "R50": "1k"}
    rail = {"name": "B1", "volts": 300, "through": "R50"}
    twin = {"name": f"{stage[:50]}-b", "template": "free wiring", "wires": {"R4": ["in", net], "R5": [net, "ground"]}}
    after = {"name": f"{stage[:50]} b", "template": "free wiring", "wires": {"LS1": ["in", "ground"]}}
    stages = [{"name": stage, "template": "free wiring", "wires": wires}, after]
    plain = parse_amp({"name": "x", "parts": {k: v for k, v in parts.items() if k not in ("R4", "R5")}, "rails": [rail],
                       "stages": stages})  # fmt: skip
    assert build_circuit(plain).places_by_net[build_circuit(plain).net("R1.2")] == ("R1.2", "R2.1", "R3.1")
    both = parse_amp({"name": "x", "parts": parts, "rails": [rail], "stages": [*stages, twin]})
    assert set(build_circuit(both).places_by_net[build_circuit(both).net("R4.2")]) == {"R4.2", "R5.1"}
    written = build(plain, {}, OperatingPoint(), ("speaker",)).text
    nodes = [word for line in written.splitlines() if line.startswith(("r1 ", "r2 ")) for word in line.split()[1:3]]
    assert sum(word not in ("input", "0") for word in nodes) == 2
