"""Each new switch read cold in each of its positions; a relay falls off without power, so it is pulled in for that."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from ...circuit.amp import Amp, Edit, Mod, Switch
from ...simulation.unpowered import dead_amp
from .checks import ground_checks, resistance_check
from .cold_readings import all_places, distinct_checks, edit_checks, knobs_down, still_there
from .cold_signs import contact_slips, slip_signs
from .step import Phase, Step
from .wired_names import wired_names, with_wired_names

_LIMIT = 1.5  # times a coil's own current [A]: enough to pull in, too little to harm


def switch_reading_steps(modded: Amp, switch: Switch) -> Iterator[Step]:
    """A switch of the amp in each of its positions, everything else at rest."""
    for label, edits in switch.positions:
        if switch.coil is None or label == switch.labels[0]:
            words = f"Set {switch.control} to {label} and read, cold."
            yield _reading(modded, switch, label, edits, words)
        else:
            yield from _pulled_in(modded, switch, label, edits)


def _pulled_in(modded: Amp, relay: Switch, label: str, edits: tuple[Edit, ...]) -> Iterator[Step]:
    """The coil where its switch feeds it, then the contacts with a supply that holds the relay."""
    assert relay.coil is not None
    name = relay.designator

    def feeds(edit: Edit) -> bool:
        return edit.part == name

    resting = _with_edits(modded, relay, feeds)
    coil = resistance_check(dead_amp(resting, knobs_down(resting) | {relay.control: label}), f"{name}.1", f"{name}.2")
    words = f"Set {relay.control} to {label}: without power {name} stays at rest. Read its coil, cold."
    yield Step(Phase.WIRE, words, [coil], "meter")
    held = _with_edits(modded, relay, lambda edit: not feeds(edit))
    words = (
        f"Set {relay.control} to {relay.labels[0]} again, pull {name} in with {relay.coil.volts:g} V from a supply of "
        "its own across the coil, and read, cold."
    )
    amps = _LIMIT * relay.coil.volts / relay.coil.ohms
    how = (
        f"The supply earthed nowhere, its current limited to {1e3 * amps:.2g} mA; where a diode lies across the coil, "
        "plus to the diode's cathode.",
    )
    step = _reading(held, relay, label, tuple(edit for edit in edits if not feeds(edit)), words)
    yield replace(step, tool=f"{step.tool}, bench supply with a current limit", how=how)


def _reading(amp: Amp, switch: Switch, label: str, edits: tuple[Edit, ...], words: str) -> Step:
    stands = knobs_down(amp) | {switch.control: label}
    dead = dead_amp(amp, stands)
    found = [check for edit in edits for check in edit_checks(amp, dead, edit)]
    named = wired_names(amp, stands)
    places = (still_there(dead.wired, place) for place in all_places(amp, switch))
    found = distinct_checks(found or ground_checks(dead, places))
    wrong = slip_signs(found, contact_slips(amp, stands, switch)) if not named else []
    return Step(Phase.WIRE, words, distinct_checks(with_wired_names(found, named)), "meter", wrong=wrong)


def _with_edits(amp: Amp, relay: Switch, keep: Callable[[Edit], bool]) -> Amp:
    """An amp in whose relay being pulled in does only some of what it does."""

    def bare(switch: Switch) -> Switch:
        if switch.designator != relay.designator:
            return switch
        label, edits = switch.positions[1]
        return replace(switch, positions=(switch.positions[0], (label, tuple(filter(keep, edits)))))

    def lighter(mod: Mod) -> Mod:
        return replace(mod, switches=tuple(map(bare, mod.switches)))

    return replace(amp, switches=tuple(map(bare, amp.switches)), mods=tuple(map(lighter, amp.mods)))
