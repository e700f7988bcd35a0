"""A pot with a switch on its shaft is one body: one thing to buy, to fit and to draw, and one way back."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ampsim import apply_mods, load_amp, parse_mod
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, Mod
from ampsim.circuit.mods import without_mods
from ampsim.library.mod_text import mod_text
from ampsim.work.parts_list.parts_list import parts_list
from ampsim.work.schematic.contents import contents
from ampsim.work.steps.soldering import iron_steps
from ampsim.work.steps.way_back import back_steps
from ampsim.work.wiring.readback import mismatches, wiring

STOCK = load_amp("workshop-a")
NEW_POT = {"track": "250k", "taper": "linear", "control": "less", "rotation": 1.0}


def tables(own: bool, action: str, doing: str, straddles: bool) -> dict[str, Any]:
    """A mod with a switch on the drawing's gain pot, or on a pot that it brings."""
    pot = "P1" if own else "P161"
    ends = [f"{pot}.{'top' if own else 'bottom'}", f"{pot}.wiper"] if not straddles else [f"{pot}.wiper", "ground"]
    positions = {"out": [], "in": [{"fit": "C161", "between": ends}]}
    if doing == "lift":
        positions = {"out": [{"lift": "C1"}], "in": [{"fit": "C161", "between": ends}]}
    parts = {"C161": "220p"} | ({} if own else {"P161": NEW_POT})
    edits = [] if own else [{"fit": "P161", "pins": {"top": "V2A.plate", "wiper": "V2A.plate", "bottom": "R8.1"}}]
    return {"name": "pull", "reason": "A trial.", "parts": parts, "edits": edits,
            "switches": [{"designator": "S161", "control": "bright", "type": action, "shaft": pot, "drawn": "out",
                          "positions": positions}]}  # fmt: skip


def parsed(given: dict[str, Any]) -> Mod:
    return parse_mod({key: value for key, value in given.items() if value != []}, "pull.toml")


@settings(max_examples=16)
@given(own=st.booleans(), action=st.sampled_from(["push-pull", "at the end of the track"]),
       doing=st.sampled_from(["nothing", "lift"]), straddles=st.booleans())  # fmt: skip
def test_pot_and_switch_are_one_body_everywhere(own: bool, action: str, doing: str, straddles: bool) -> None:
    given = {key: value for key, value in tables(own, action, doing, straddles).items() if value != []}
    mod = parsed(given)
    assert parse_mod(tomllib.loads(mod_text(given).decode()), "pull.toml") == mod
    amp = apply_mods(STOCK, mod)
    pot = "P1" if own else "P161"
    try:
        wired = wiring(amp)
    except DescriptionError:
        assert action == "at the end of the track"  # its contacts close in one position only
        return
    assert mismatches(wired) == []
    # fitted
    steps = [(step.phase, step.do) for step in iron_steps(STOCK, amp)]
    words = [f"{phase}: {do}" for phase, do in steps]
    first = {name: next((n for n, each in enumerate(words) if each.startswith(name)), -1)
             for name in (f"remove: Take out {pot}", f"prepare: Read {pot}", f"fit: Fit {pot}", f"wire: Wire {pot}",
                          "wire: Wire S161")}  # fmt: skip
    order = list(first.values())[0 if own else 1 :]
    assert -1 not in order
    assert order == sorted(order)
    assert not any(each.startswith("fit: Fit S161") for each in words)
    assert "Buzz S161 first" in words[first[f"prepare: Read {pot}"]]
    # drawn
    items = {item.name: item.words for item in contents(amp).items}
    assert "one body with S161" in items[pot]
    assert any(f"on {pot}" in each for name, each in items.items() if name.startswith("S161"))


def test_one_line_asks_for_track_taper_and_contacts() -> None:
    amp = apply_mods(STOCK, parsed(tables(True, "push-pull", "lift", True)))
    bought = parts_list(STOCK, amp, [{}]).to_buy
    (line,) = [str(row["what"]) for _, row in bought.iterrows() if "P1" in str(row["for"]).split(", ")]
    assert line.startswith("1M audio 15 % pot with push-pull switch on its shaft, on-on, ")
    assert "pole" in line
    assert not any("S161" in str(row["for"]).split(", ") for _, row in bought.iterrows())


def test_a_part_between_its_lugs_and_its_terminals_is_soldered_before_it_goes_in() -> None:
    amp = apply_mods(STOCK, parsed(tables(True, "push-pull", "nothing", False)))
    prepared = next(step.do for step in iron_steps(STOCK, amp) if step.phase == "prepare")
    assert "C161 (220p): C161.1 to S161.A" in prepared
    assert "C161.2 to P1.wiper" in prepared


def other_track(name: str = "track") -> Mod:
    return parse_mod({"name": name, "reason": "A trial.", "edits": [{"replace": "P1", "with": "500k"}]}, f"{name}.toml")


def said(stock: Amp, amp: Amp) -> str:
    return "\n".join(step.do for step in back_steps(stock, amp))


def test_the_pot_that_goes_back_has_what_the_other_mod_wants() -> None:
    """Another track from one mod and a switch from another are one pot: each way back asks for what stays."""
    pull, track = parsed(tables(True, "push-pull", "nothing", False)), other_track()
    both = apply_mods(STOCK, pull, track)
    assert "fit P1 (500k audio 15 %) again, the one that was kept" in said(without_mods(both, ["pull"]), both)
    without_track = said(without_mods(both, ["track"]), both)
    assert "fit P1 (1M audio 15 %) with S161 on its shaft: the one that was kept has no switch" in without_track
    assert "fit P1 (1M audio 15 %) again, the one that was kept" in said(STOCK, both)
    there = "\n".join(step.do for step in iron_steps(apply_mods(STOCK, track), both))
    assert "Take out P1" in there
    assert "Fit P1 (500k audio 15 %, with push-pull switch S161 on its shaft)" in there


def test_a_switch_on_a_pot_of_another_mod_keeps_that_mod_in() -> None:
    first = parse_mod({"name": "pot", "reason": "A trial.", "parts": {"P161": NEW_POT},
                       "edits": [{"fit": "P161", "in_series_at": "R20.1"}]})  # fmt: skip
    second = parsed(tables(False, "push-pull", "nothing", False) | {"parts": {"C161": "220p"}, "edits": []})
    both = apply_mods(STOCK, first, second)
    with pytest.raises(DescriptionError, match="mod 'pull' is built upon P161"):
        without_mods(both, ["pot"])
