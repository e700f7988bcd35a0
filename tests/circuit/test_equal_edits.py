"""An edit is what the drawing would be with it done: rails, exchanges, other taps, wires cut and joined again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from ampsim.circuit.amp import Amp, Edit, Mod
from ampsim.circuit.build import build_circuit
from ampsim.circuit.loudspeaker import Loudspeaker
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.transformer import Transformer, tap_pin
from ampsim.library.loader import load_amp, parse_mod
from ampsim.simulation.analyses import FrequencySweep, OperatingPoint
from ampsim.simulation.response import simulate
from tests.tools.any_amps import amps

AMPS = [*(each.amp for each in amps(5, seed=31)), load_amp("boathouse"), load_amp("kitchen"), load_amp("workshop-a")]
SWEEP = FrequencySweep(50, 20e3, 2)


def with_edits(amp: Amp, *edits: dict[str, object]) -> Amp:
    return apply_mods(amp, parse_mod({"name": "edits", "reason": "check", "edits": list(edits)}))


def rails(amp: Amp) -> Iterator[tuple[Amp, Amp]]:
    for rail in amp.rails:
        if rail.volts is not None:
            drawn = tuple(replace(each, volts=0.9 * rail.volts) if each is rail else each for each in amp.rails)
            yield replace(amp, rails=drawn), with_edits(amp, {"rail": rail.name, "volts": 0.9 * rail.volts})


def exchanges(amp: Amp) -> Iterator[tuple[Amp, Amp]]:
    for part in amp.parts:
        if isinstance(part, Loudspeaker):
            new: Loudspeaker | Transformer = part.times(2.0)
        elif isinstance(part, Transformer):
            new = replace(part, inductance=0.5 * part.inductance, leakage=2.0 * part.leakage)
        else:
            continue
        drawn = tuple(new if each is part else each for each in amp.parts)
        yield (
            replace(amp, parts=drawn),
            replace(amp, mods=(Mod("x", "", (), (Edit("replace", new.designator, new),), ()),)),
        )


def taps(amp: Amp) -> Iterator[tuple[Amp, Amp]]:
    """The load moved to another tap."""
    wired = build_circuit(amp)
    on = wired.places_by_net[wired.speaker]
    for part in amp.parts:
        if not isinstance(part, Transformer):
            continue
        now = [tap for tap in part.taps if f"{part.designator}.{tap_pin(tap)}" in on]
        lugs = [place for place in on if place.startswith("LS")]
        for other in part.taps if now and len(on) == len(lugs) + 2 else ():
            if other not in now:
                role = ("tap", tap_pin(other))
                stages = tuple(
                    replace(each, roles=(*(pair for pair in each.roles if pair[0] != "tap"), role))
                    if ("transformer", part.designator) in each.roles
                    else each
                    for each in amp.stages
                )
                moves = ({"move": lug, "to": f"{part.designator}.{tap_pin(other)}"} for lug in lugs)
                yield replace(amp, stages=stages), with_edits(amp, *moves)


def wires(amp: Amp) -> Iterator[tuple[Amp, Amp]]:
    """A wire that is cut and joined again a little further on."""
    on = build_circuit(amp).net_by_place
    for valve in list(dict.fromkeys(place.partition(".")[0] for place in on if place.endswith(".plate")))[:2]:
        place = f"{valve}.plate"
        others = [each for each in on if on[each] == on[place] and "." in each and each != place]
        yield amp, with_edits(amp, {"cut": [place, others]}, {"bridge": [place, others[-1]]})


@pytest.mark.parametrize("pairs", [rails, exchanges, taps, wires], ids=lambda each: each.__name__)
def test_an_edit_is_the_drawing_with_it_done(pairs: object) -> None:
    told = 0
    for amp in AMPS:
        plates = [place for place in build_circuit(amp).net_by_place if place.endswith((".plate", ".cathode"))]
        for drawn, edited in pairs(amp):  # type: ignore[operator]
            told += 1
            for analysis, nodes in ((OperatingPoint(), plates), (SWEEP, ["speaker"])):
                ours, theirs = (simulate(each, analysis, nodes=nodes)["voltage"].values for each in (edited, drawn))
                assert np.allclose(ours, theirs, rtol=1e-5, atol=1e-7 * abs(theirs).max()), (amp, edited.mods)
    assert told >= 3
