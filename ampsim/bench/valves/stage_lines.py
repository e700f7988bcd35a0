"""What a stage makes of its valve: where it rests, the line of its direct load, and that of what the signal meets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ...base.errors import DescriptionError, nearest, shown
from ...base.quantities import OHM, with_unit
from ...base.wording import join_words
from ...circuit.amp import Amp, Socket
from ...circuit.mods import apply_mods
from ...circuit.positions import Position, position_label
from ...circuit.valves.description import Valve
from ...circuit.valves.evaluation import currents, slopes
from ...library.loader import parse_mod
from ...simulation.analyses import FrequencySweep, OperatingPoint
from ...simulation.ports import PortCase, reduce
from ...simulation.response import simulate
from .curves import Family, Rest, stage_family

_SIGNAL_HERTZ = 1000.0
_HELD = ("I9001", "I9002")  # designators that no drawing has
_LESS = 0.9  # of the current, for the second point of the line of its direct load


@dataclass(frozen=True)
class StageLines:
    """Where a valve of an amp rests and what it works into.

    Attributes
    ----------
    place, valve
        Its designator and type.
    plate, grid, screen
        Volts against its cathode [V]; no screen for a triode and a pentode connected as one.
    amps, screen_amps
        Plate current (both, connected as a triode) and screen current [A].
    direct_ohms
        What a steady change of its current meets between plate and cathode [ohm].
    signal_ohms
        What a signal of 1 kHz meets there [ohm].
    gain
        By the slopes where it rests, into the signal's load [ratio].
    at
        Where the controls stand, in words.
    """

    place: str
    valve: Valve
    plate: float
    grid: float
    screen: float | None
    amps: float
    screen_amps: float
    direct_ohms: float
    signal_ohms: float
    gain: float
    at: str

    @property
    def supply(self) -> float:
        """Where the line of the direct load meets no current [V against the cathode]."""
        return self.plate + self.amps * self.direct_ohms

    @property
    def watts(self) -> float:
        """What the plate dissipates at rest [W]."""
        return self.plate * self.amps

    @property
    def family(self) -> Family:
        """The curves that the lines are drawn over."""
        most = self.amps + self.plate / max(self.signal_ohms, 1.0)
        return stage_family(self.valve, Rest(self.plate, self.grid, self.screen, self.amps, self.supply, most))

    def text(self) -> str:
        """All of it in words."""
        screen = "" if self.screen is None else f", screen {self.screen:.0f} V and {1e3 * self.screen_amps:.2g} mA"
        limit = self.valve.limits.plate_watts
        rated = f" of {limit:g} W" if limit else ""
        direct, signal = (with_unit(float(f"{ohms:.3g}"), OHM) for ohms in (self.direct_ohms, self.signal_ohms))
        return (
            f"{self.place} ({self.valve.type}){self.at} rests at {self.plate:.4g} V plate to cathode, "
            f"{self.grid:.3g} V on its grid, {1e3 * self.amps:.3g} mA{screen}: {self.watts:.3g} W{rated}. Steady "
            f"changes meet {direct}, a signal of 1 kHz {signal}; by its slopes there it amplifies "
            f"{self.gain:.3g} times from grid to plate, both against the cathode. {self._range_words()}"
        )

    def _range_words(self) -> str:
        reach = self.valve.fit_range
        beyond = [
            name
            for name, volts, span in (("plate", self.plate, reach.plate_volts), ("grid", self.grid, reach.grid_volts))
            if not span[0] - 1e-9 <= volts <= span[1] + 1e-9
        ]
        if beyond:
            return f"Its {join_words(beyond)} volts lie beyond what the valve's points reach: a guess of the law."
        return "It rests where the valve's points reach."


def stage_lines(amp: Amp, place: str, position: Position | None = None) -> StageLines:
    """Where a valve of an amp rests and what it works into.

    In its place currents that do not change are put, so that all else rests as it does with the valve.

    Parameters
    ----------
    amp : Amp
    place : str
        Designator of the valve, such as V1A.
    position : mapping
        Where controls stand; those not named as drawn.

    Raises
    ------
    DescriptionError
        When the amp has no such valve, or it draws no current.
    """
    sockets = {part.designator: part for part in amp.parts if isinstance(part, Socket)}
    if place not in sockets:
        raise DescriptionError(f"{amp.name} has no valve {shown(place)}{nearest(place, sockets)}")
    valve, at = amp.valve_by_type[sockets[place].type], position or {}
    pins = ("plate", "grid", "cathode", *(["screen"] if valve.family == "pentode" else []))
    rest = simulate(amp, OperatingPoint(), [at], [f"{place}.{pin}" for pin in pins]).squeeze()
    volts = {pin: float(rest["voltage"].sel(node=f"{place}.{pin}")) for pin in pins}
    plate, grid = volts["plate"] - volts["cathode"], volts["grid"] - volts["cathode"]
    joined = "screen" in volts and abs(volts["screen"] - volts["plate"]) < 0.01 * abs(plate)
    screen = None if joined or "screen" not in volts else volts["screen"] - volts["cathode"]
    flow = currents(valve, plate, grid, screen)
    amps, drawn = float(flow.plate), float(flow.screen)
    if amps <= 1e-7:
        raise DescriptionError(f"{place} of {amp.name} draws no current there: nothing to draw a load line through")
    direct, signal = _loads(amp, place, at, amps + (drawn if joined else 0.0), 0.0 if joined else drawn)
    local = slopes(valve, plate, grid, screen)
    rp = float(local.rp)
    return StageLines(
        place, valve, plate, grid, screen, amps + (drawn if joined else 0.0), 0.0 if joined else drawn, direct, signal,
        float(local.gm) * rp * signal / (rp + signal), f" at {position_label(at)}" if at else "",
    )  # fmt: skip


def _loads(amp: Amp, place: str, at: Position, amps: float, drawn: float) -> tuple[float, float]:
    """Ohms between plate and cathode for steady changes, and for a signal."""
    held, lower = (_held(amp, place, share * amps, drawn) for share in (1.0, _LESS))
    pins = (f"{place}.plate", f"{place}.cathode")
    rest = simulate([held, lower], OperatingPoint(), [at], list(pins))["voltage"].squeeze("position")
    across = [float(each.sel(node=pins[0]) - each.sel(node=pins[1])) for each in rest.transpose("variant", "node")]
    sweep = FrequencySweep(_SIGNAL_HERTZ, 10.0 * _SIGNAL_HERTZ, 1)
    model = reduce([PortCase(held, at, (pins,))], sweep)[0]
    return (across[1] - across[0]) / ((1.0 - _LESS) * amps), float(abs(model.Z[0, 0, 0]))


def _held(amp: Amp, place: str, amps: float, drawn: float) -> Amp:
    """The amp with steady currents in a valve's place."""
    ways = {"plate": amps, **({"screen": drawn} if drawn else {})}
    parts = {name: repr(current) for name, current in zip(_HELD, ways.values(), strict=False)}
    fits = [{"fit": name, "pins": {"from": f"{place}.{pin}", "to": f"{place}.cathode"}}
            for name, pin in zip(_HELD, ways, strict=False)]  # fmt: skip
    edits: list[Mapping[str, object]] = [{"lift": place}, *fits]
    name = f"{place} held at {amps!r} A"
    return apply_mods(amp, parse_mod({"name": name[:60], "reason": "to see its load", "parts": parts, "edits": edits}))
