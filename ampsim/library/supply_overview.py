"""What `ampsim check` says of a supply from mains to rails."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from ..base.tables import text_of_rows
from ..base.wording import join_words
from ..circuit.amp import Amp
from ..circuit.supply.rectifier_valve import RectifierValve
from ..simulation.supplies import RectifierDuty, SupplyAtRest, supplies_at_rest

_TELLING = 0.002
_RIPPLE = ("rail or place", "mean [V]", "ripple [V p-p]", "ripple [V rms]")
_DUTIES = ("rectifier", "before each [ohm]", "mean [mA]", "rms [mA]", "peak [mA]", "reverse [V]", "hot start [A]")


def describe_supplies(amp: Amp) -> str:
    """The supplies of an amp at rest over a period of the mains; "" where rails are given."""
    found = supplies_at_rest(amp)
    if not found:
        return ""
    ripple = [
        (rail, f"{each.volts(rail):.1f}", _figures(each.swing(rail)), _figures(each.ripple(rail)))
        for each in found
        for rail in each.net_by_rail
    ]
    reservoirs = [
        f"{join_words(each.reservoirs)}: a ripple current of {1e3 * each.reservoir_amps:.3g} mA (rms)."
        for each in found if each.reservoirs
    ]  # fmt: skip
    duties = [row for each in found for row in _duty_rows(each)]
    return "\n".join([
        "Supply at rest, over a period of the mains", text_of_rows(_RIPPLE, ripple), "",
        text_of_rows(_DUTIES, duties),
        "The last column is the most that flows when a hot rectifier meets empty reservoirs at the mains' peak, as",
        "with a standby switch behind it.",
        "Sweeps and what is heard have these rails sag with the load, without their ripple; hum has it (topic noise).",
        *reservoirs, *_shared(found),
        *dict.fromkeys(line for each in found for line in _warm_up(each)),
    ])  # fmt: skip


def _shared(supplies: Sequence[SupplyAtRest]) -> Iterator[str]:
    """What one supply loses by the others of its transformer, which are worked out as if each were alone."""
    for name in dict.fromkeys(each.source.transformer for each in supplies):
        own = [each for each in supplies if each.source.transformer == name]
        for supply in own if len(own) > 1 else ():
            lost = sum(other.lost_by(supply) for other in own if other is not supply)
            if lost > _TELLING * supply.source.peak:
                rail = next(iter(supply.net_by_rail))
                yield (
                    f"{rail} would stand up to {lost:.2g} V nearer to ground: {name} feeds other rectifiers too, and "
                    "each is worked out as if it alone loaded the primary."
                )


def _duty_rows(supply: SupplyAtRest) -> Iterator[tuple[str, ...]]:
    for number, duty in enumerate(supply.duties):
        ways = supply.source.ways if len(supply.duties) == 1 else supply.source.ways[number : number + 1]
        names = " and ".join(dict.fromkeys(name for way in ways for name in way.rectifiers))
        kind = duty.way.types[0].type
        milliamps = (_figures(1e3 * amps) for amps in (duty.mean_amps, duty.rms_amps, duty.peak_amps))
        yield (f"{names} ({kind})", _figures(duty.source_ohms), *milliamps, f"{duty.reverse_volts:.0f}", _surge(duty))


def _figures(value: float) -> str:
    """Three figures, down to thousandths, never as a power of ten."""
    if 0.0 < value < 0.0005:
        return "< 0.001"
    return f"{value:.0f}" if value >= 999.5 else f"{value:.3g}" if value >= 0.1 else f"{round(value, 3):g}"


def _surge(duty: RectifierDuty) -> str:
    return "behind a choke" if math.isnan(duty.surge_amps) else f"{duty.surge_amps:.2g}"


def _warm_up(supply: SupplyAtRest) -> Iterator[str]:
    for duty in supply.duties if supply.source.sign > 0.0 else ():
        for name, device in zip(duty.way.rectifiers, duty.way.types, strict=True):
            heater = device.heater if isinstance(device, RectifierValve) else None
            peak = f"{next(iter(supply.net_by_rail))} stands at up to {supply.source.peak:.0f} V"
            if heater is None:
                yield f"{name} conducts at once: until the valves are warm {peak}."
            elif heater.direct:
                yield (
                    f"{name} is directly heated and conducts after about {heater.warm_up_seconds:g} s: until the other "
                    f"valves are warm {peak}."
                )
            else:
                yield (
                    f"{name} is indirectly heated and conducts after about {heater.warm_up_seconds:g} s, as other "
                    f"valves do: without them {peak}."
                )
