"""Before a tool touches the amp: plug out, capacitors empty, every place in a photograph."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from ...base.quantities import OHM, format_value
from ...base.wording import join_words
from ...circuit.amp import Amp
from ...circuit.mounting import mounting_of
from ..cautions.sentences import seconds_words
from ..cautions.sheet import CautionSheet
from ..cautions.stored_charges import SAFE_VOLTS, TOOL_OHMS, StoredCharge
from .checks import SAFE_TO_TOUCH, Check
from .step import Phase, Step

_DAY = 86_400.0  # s


def safety_steps(amp: Amp, sheet: CautionSheet) -> Iterator[Step]:
    """Plug out, open, discharge and verify, with the amp's own charges and times."""
    yield Step(
        Phase.MAKE_SAFE, "Read the caution sheet. Note how the amp came in, what was fitted or missing, every mark."
    )
    yield Step(
        Phase.MAKE_SAFE, "Switch off, pull the mains plug and keep it in sight; take the guitar out, leave the load on."
    )
    yield Step(
        Phase.OPEN, "Let the valves cool, then open the chassis without touching anything inside.", tool="screwdriver"
    )
    most = max(sheet.charges, key=lambda each: max(each.joules), default=None)  # where the lead stays
    held = [each.part for each in sorted(sheet.charges, key=lambda each: each is not most)]
    bare = [rail.name for rail in amp.rails if rail.volts is not None and not rail.reservoir]
    slow = max((each.tool_s for each in sheet.charges), default=0.0)
    ohms = format_value(TOOL_OHMS, OHM)
    yield Step(
        Phase.OPEN,
        f"Discharge {', '.join([*held, *(f'rail {name}' for name in bare)]) or 'the supply'} through {ohms} on an "
        f"insulated lead, one hand only, at least {max(5.0 * slow, 10.0):.0f} s each; leave the lead on the first.",
        tool=f"{ohms} of 5 W and 500 V or more on an insulated lead with clips",
        how=list(_left_alone(sheet.charges)),
    )
    empty = [_discharge_check(f"across {part}") for part in held] + [
        _discharge_check(f"rail {name} to chassis") for name in bare
    ]
    yield Step(
        Phase.OPEN,
        "Verify with a meter proved before and after on a known voltage. Touch nothing until all pass.",
        empty,
        "meter for the volts there, its leads too",
        wrong=(
            f"More than {SAFE_TO_TOUCH:g} V: that capacitor was not reached, or it recovers; discharge again, and read "
            "again after a minute.",
        ),
    )


def photograph_steps(stock: Amp, parts: Iterable[str]) -> Iterator[Step]:
    """Every part that the work touches in a photograph before it is touched, those mounted alike together."""
    groups: dict[str, list[str]] = {}
    for part in dict.fromkeys(parts):
        mounted = mounting_of(stock, part)
        groups.setdefault(mounted.words if mounted else "", []).append(part)
    told = [f"{join_words(names)}{f' ({words})' if words else ''}" for words, names in groups.items()]
    yield Step(
        Phase.PHOTOGRAPH,
        f"Photograph the whole inside, then {'; '.join(told) or 'every place'}: before anything there is touched.",
        tool="camera, lamp from the side",
        how=("Colours of wires, which lug each is on, which way round electrolytics and diodes stand, how leads are "
             "dressed, every connector.",),
    )  # fmt: skip


def _left_alone(charges: Sequence[StoredCharge]) -> Iterator[str]:
    """What each capacitor holds, and when it is safe by itself, those that are so at the same time together."""
    groups: dict[str, list[StoredCharge]] = {}
    for each in charges:
        later = f"below {SAFE_VOLTS:g} V only {seconds_words(each.falls_s)} after"
        words = "never safe by themselves" if each.falls_s >= _DAY else later
        if each.falls_s >= 1.0:
            groups.setdefault(words, []).append(each)
    for words, held in groups.items():
        yield f"{join_words([each.part for each in held])}: up to {max(each.volts for each in held):.0f} V, {words}."


def _discharge_check(what: str) -> Check:
    return Check(what, 0.0, -SAFE_TO_TOUCH, SAFE_TO_TOUCH, "V")
