"""A part that a mod exchanges is changed as if it had been drawn: at other loads and mains, with springs at rest."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import pytest

from ampsim.audio import loads as dummy
from ampsim.base.errors import DescriptionError
from ampsim.circuit.amp import Amp, AnyPart, Edit, Mod, Switch
from ampsim.circuit.build import build_circuit
from ampsim.circuit.loudspeaker import Loudspeaker
from ampsim.circuit.reverb_tank import ReverbTank
from ampsim.circuit.supply.transformer import MainsTransformer
from ampsim.circuit.transformer import Transformer
from ampsim.circuit.values import at_supply
from ampsim.library.files import models
from ampsim.library.loader import load_amp
from ampsim.studies.headroom.still_springs import with_still_springs
from ampsim.studies.spread.sensitivity import _refit
from ampsim.studies.stability import loads
from tests.tools.any_amps import amps

SHIPPED = [load_amp(path) for path in sorted((models() / "amps").glob("*.toml"))]
WAYS: Mapping[str, Callable[[Amp], Amp]] = {
    "springs at rest": with_still_springs,
    "half the load": lambda amp: loads.with_load(amp, 0.5),
    "other mains": lambda amp: at_supply(amp, 0.9),
    "a resistor as load": lambda amp: dummy.with_load(amp, "resistor"),
}


def other(part: AnyPart) -> AnyPart | None:
    match part:
        case Loudspeaker():
            return part.times(2.0)
        case Transformer():
            return replace(part, primary_resistance=2.0 * part.primary_resistance + 1.0)
        case ReverbTank():
            return replace(part, coupling=2.0 * part.coupling)
        case MainsTransformer():
            return replace(part, mains=1.05 * part.mains)
    return None


def exchanged() -> Iterator[tuple[Amp, Amp, Amp, AnyPart]]:
    """Amps with a part drawn otherwise, with it exchanged always, and with it exchanged in a position of a switch."""
    for amp in (*SHIPPED, *amps(6, seed=21)):
        amp = amp if isinstance(amp, Amp) else amp.amp
        for part in amp.parts:
            new = other(part)
            if new is not None:
                edit = Edit("replace", part.designator, new)
                drawn = replace(amp, parts=tuple(new if each == part else each for each in amp.parts))
                switch = Switch("S90", "exchange", (("no", ()), ("yes", (edit,))), "no")
                yield (
                    drawn,
                    replace(amp, mods=(Mod("exchange", "", (), (edit,), ()),)),
                    replace(amp, mods=(Mod("exchange", "", (), (), (switch,)),)),
                    new,
                )


def parts(amp: Amp, **at: str) -> dict[str, AnyPart]:
    wired = build_circuit(amp, tuple(at.items()))
    return {each.designator: wired.parts[each.designator] for each in wired.elements if each.designator in wired.parts}


@pytest.mark.parametrize("way", WAYS.values(), ids=WAYS)
def test_what_is_done_to_drawn_parts_is_done_to_exchanged_ones(way: Callable[[Amp], Amp]) -> None:
    told = 0
    for drawn, always, switched, _ in exchanged():
        try:
            wanted = parts(way(drawn))
        except DescriptionError:
            continue
        told += 1
        assert parts(way(always)) == wanted
        assert parts(way(switched), exchange="yes") == wanted
    assert told > 10


def test_a_load_that_a_switch_adds_is_part_of_the_load() -> None:
    drawn = load_amp("workshop-a")
    one = next(each for each in drawn.parts if isinstance(each, Loudspeaker))
    second = replace(one, designator="LS90")
    fit = Edit("fit", "LS90", across=one.designator)
    switch = Switch("S90", "second", (("off", ()), ("on", (fit,))), "off")
    amp = replace(drawn, mods=(Mod("second loudspeaker", "", (second,), (), (switch,)),))
    assert parts(loads.with_load(amp, 0.5), second="on")["LS90"] == second.times(0.5)
    assert parts(loads.with_load(amp, 0.5), second="off")[one.designator] == one.times(0.5)


def test_a_part_is_varied_wherever_it_comes_from() -> None:
    for drawn, always, _, new in exchanged():
        if isinstance(new, (Loudspeaker, Transformer)):
            field = "resistance" if isinstance(new, Loudspeaker) else "leakage"
            varied = replace(new, **{field: 1.5 * getattr(new, field)})
            assert parts(_refit(always, new, varied)) == parts(_refit(drawn, new, varied)) != parts(drawn)
