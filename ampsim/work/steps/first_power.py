"""First power-up on a current limiter, the volts to expect, and the proof."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from ...base.wording import join_words
from ...circuit.amp import Amp
from ...circuit.build import build_circuit
from ...circuit.positions import Position, position_clause, setting_clause
from ...circuit.stages.template import GROUND
from ...circuit.values import at_supply
from ...simulation.analyses import OperatingPoint
from ...simulation.response import simulate
from ..new_parts import new_mods, new_parts
from .bias import bias_steps, knobs_of_bias
from .checks import VOLT_LIMIT, Check, voltage_check
from .limiter import Draw, limiter_words, mains_draw, shares_left
from .power_signs import fault_signs
from .step import Phase, Step

_MOVED = 0.05
_METER = "meter and leads for the volts there, one clip"
_PINS = ("plate", "screen", "cathode")
_READ = ("Meter clipped on while dead, common to chassis, one place at a time; power up, read, power down, discharge, "
         "verify, next place.")  # fmt: skip


def power_steps(stock: Amp, modded: Amp, position: Position, quiet_switches: bool = False) -> Iterator[Step]:
    """Steps from the limiter to the proof.

    Parameters
    ----------
    stock, modded : Amp
        Before the work and after it.
    position : mapping
    quiet_switches : bool
        Whether the owner wished that no switch pops.
    """
    places = _places(modded)
    rails = [rail.name for rail in modded.rails]
    after, cold = _volts(modded, position, places), _volts(modded, position, rails, cold=True)
    before = _volts(stock, position, [place for place in places if place in _places(stock)])
    most = max((abs(each) for each in cold.values()), default=0.0)
    draw = mains_draw(modded, position)
    on_lamp = list(_on_lamp(modded, position, rails, draw))
    yield Step(
        Phase.FIRST_POWER,
        f"Close up what can be closed. Load on the output, volume down,{_bias_back(modded, position)} nothing in the "
        "input, mains through a current limiter (a lamp of about the amp's own watts in series with the live wire, in "
        "an insulated holder).",
        how=limiter_words(draw),
    )
    yield from _bias_alone(stock, modded)
    yield Step(
        Phase.FIRST_POWER,
        "Switch on at arm's length and watch the lamp: bright, then dim as filters fill and valves warm. If it stays "
        f"bright, switch off at once and go back to the cold check. On the limiter all volts stay below those listed; "
        f"before the valves draw current, rails can rise to {most:.0f} V.",
        on_lamp,
        _METER if on_lamp else "",
        how=(_READ,) if on_lamp else (),
        wrong=("A lamp as bright as alone on the mains has nearly all of them across it: the amp draws far too much.",),
    )
    yield from _half_mains(modded, position, rails)
    yield Step(Phase.FIRST_POWER, "Smoke, hum, a red plate, a hot resistor: off. Else switch off, discharge, verify.")
    yield Step(
        Phase.FIRST_POWER,
        f"Without the limiter, {position_clause(position)}: the rails first. {_READ} What was clipped on is live.",
        _checks(after, rails),
        _METER,
    )
    moved = [place for place in places if place not in rails and _differs(before.get(place), after[place])]
    if moved:
        words = "Then the places that this work moves by more than 5 %."
        signs = fault_signs(modded, position, moved, {*new_parts(stock, modded), *_valves(moved)})
        yield Step(Phase.FIRST_POWER, words, _checks(after, moved), _METER, wrong=signs)
    rest = [place for place in places if place not in rails and place not in moved]
    words = "Then the valves that it should leave as they were."
    signs = fault_signs(modded, position, rest, new_parts(stock, modded))
    yield Step(Phase.FIRST_POWER, words, _checks(after, rest), _METER, wrong=signs)
    yield from _switch_power_steps(stock, modded, position, after)
    yield from bias_steps(modded, position)
    yield from _proof(modded, quiet_switches)


def _bias_alone(stock: Amp, modded: Amp) -> Iterator[Step]:
    """A negative rail that is now at other volts is measured before the valves that it holds back are in."""
    was = {rail.name: rail.volts for rail in stock.fitted_rails}
    new = {rail.name: rail.volts for rail in modded.fitted_rails if rail.volts is not None and rail.volts < 0.0}
    checks = [check for name, volts in new.items() if volts != was.get(name) and (check := voltage_check(name, volts))]
    if checks:
        words = "With the output valves out: up on the limiter, then at full mains. Off, discharge, verify; they go in"
        wrong = "No volts, or too few: what the valves would draw burns their plates and the transformer."
        words += " only when it passes, the limiter first again."
        yield Step(Phase.FIRST_POWER, words, checks, _METER, (_READ,), wrong=(wrong,))


def _bias_back(amp: Amp, position: Position) -> str:
    """Knobs that set the bias back from the cold readings to where the volts that follow are those they make."""
    stands = amp.setting(position)
    told = [setting_clause(name, stands[name]) for name in knobs_of_bias(amp, position)]
    return f" {join_words(told)} again (fully down the output valves may draw far too much)," if told else ""


def _half_mains(amp: Amp, position: Position, rails: Sequence[str]) -> Iterator[Step]:
    """What the rails read with half the mains on them: between no valve conducting and all as warm as ever."""
    checks = list(_between(amp, position, rails, 0.5, 0.5))
    yield Step(
        Phase.FIRST_POWER,
        "With a variable transformer: turn it up to half the mains within a minute, its ammeter in sight, and read the "
        "rails. Heaters are half warm there: they lie between those of an amp that draws nothing and of a warm one.",
        checks,
        f"variable transformer with a fuse and an ammeter, behind an isolating one; {_METER}",
        wrong=("Below these, or more current the longer it is on: something draws too much; off, and back to the cold "
               "check.",),
    )  # fmt: skip


def _on_lamp(amp: Amp, position: Position, rails: Sequence[str], draw: Draw) -> Iterator[Check]:
    """What the rails read behind the first of the lamps that are named, where the amp's draw is known."""
    for lamp in draw.lamps()[:1]:
        yield from _between(amp, position, rails, *shares_left(draw, lamp))


def _between(amp: Amp, position: Position, rails: Sequence[str], least: float, most: float) -> Iterator[Check]:
    """Rails between those of a warm amp at a share of the mains and of one that draws nothing at another [ratio]."""
    warm, cold = (
        _volts(at_supply(amp, least), position, rails),
        _volts(at_supply(amp, most), position, rails, cold=True),
    )
    for name in rails:
        low, high = sorted((warm[name], cold[name]), key=abs)
        found = voltage_check(name, cold[name])
        if found is not None:
            ends = sorted((low * (1.0 - VOLT_LIMIT), high * (1.0 + VOLT_LIMIT)))
            yield replace(found, value=high, low=ends[0], high=ends[1])


def _valves(places: Sequence[str]) -> set[str]:
    return {place.partition(".")[0] for place in places if "." in place}


def _switch_power_steps(
    stock: Amp, modded: Amp, position: Position, volts_drawn: Mapping[str, float]
) -> Iterator[Step]:
    """The volts that the new switches move, at each of their other positions."""
    for switch in (switch for mod in new_mods(stock, modded) for switch in mod.switches):
        for label in switch.labels:
            if label == switch.drawn:
                continue
            there = _volts(modded, {**position, switch.control: label}, list(volts_drawn))
            moved = [place for place, volts in volts_drawn.items() if _differs(volts, there[place])]
            if moved:
                words = f"Set {switch.control} to {label} while dead; these move."
                stands = {**position, switch.control: label}
                brought = {edit.part for edit in dict(switch.positions)[label] if edit.part}
                signs = fault_signs(modded, stands, moved, {*brought, *_valves(moved)})
                yield Step(Phase.FIRST_POWER, words, _checks(there, moved), _METER, wrong=signs)


def _proof(amp: Amp, quiet_switches: bool) -> Iterator[Step]:
    turned = "every switch and knob" if amp.all_switches else "every knob"
    pop = ". A switch that moves a bias may pop; how loud, the consequence sheet says" if amp.all_switches else ""
    if quiet_switches and amp.all_switches:
        pop = ", and no switch pops: the owner wished that"
    yield Step(
        Phase.PROOF,
        f"Load on, covered where a hand could reach in: try {turned}, first quiet, then with drive; no howl{pop}.",
    )
    yield Step(Phase.PROOF, "Play the sweep, record it, hold it against the simulation and against the sweep before.")
    yield Step(Phase.PROOF, "Write the readings into the job; an amp that fails one is not handed over.")
    yield Step(
        Phase.CLOSE,
        "Switch off, pull the plug, discharge, verify. Look once more for tools, cut leads and loose nuts; close the "
        "chassis with every screw, shield and retainer it came with, and play it for half an hour closed.",
        tool="screwdriver, lamp",
        wrong=("Hum or a howl that was not there open: a lead trapped, a shield left off, or one against the lid.",),
    )


def _places(amp: Amp) -> list[str]:
    """The rails, and the pins of valves that a volt chart has, but for those on a rail or on ground."""
    rails = [rail.name for rail in amp.rails]
    wired = build_circuit(amp)
    pins = [
        f"{each.designator}.{pin}" for each in wired.elements if each.kind == "valve" for pin, _ in each.pins
        if pin in _PINS
    ]  # fmt: skip
    nets = {wired.net(name) for name in rails}
    return rails + [place for place in pins if wired.net(place) not in nets | {GROUND}]


def _volts(amp: Amp, position: Position, places: Sequence[str], cold: bool = False) -> dict[str, float]:
    known = {name: each for name, each in position.items() if name in amp.controls}
    if not places:
        return {}
    found = simulate(amp, OperatingPoint(cold=cold), [known], nodes=places)["voltage"].values[0, 0]
    return {place: float(each) for place, each in zip(places, found, strict=True)}


def _differs(one: float | None, other: float) -> bool:
    return one is None or abs(other - one) > _MOVED * max(abs(one), 1.0)


def _checks(found: dict[str, float], places: Sequence[str]) -> list[Check]:
    return [check for place in places if (check := voltage_check(place, found[place])) is not None]
