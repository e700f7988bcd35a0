"""What is on each pin of a valve's base, and what must be wired anew when another type goes into its socket."""

from __future__ import annotations

from dataclasses import dataclass

from ...base.wording import join_words

# Behind what is no pin of the socket.
TOP_CAP = " (top cap)"
# A pin that leads nowhere inside the valve.
_FREE = "none"


@dataclass(frozen=True)
class Pinout:
    """The base of a valve type: its name in the trade, and what is on each pin, pin 1 first."""

    base: str
    pins: tuple[str, ...]
    source: str


def rewiring(old: str, before: Pinout | None, new: str, after: Pinout | None, back: bool = False) -> str:
    """Say what another type of valve in a socket needs besides the valve: a sentence.

    Parameters
    ----------
    old, new : str
        The types.
    before, after : Pinout or None
        Their bases; None where the valve file has none.
    back : bool
        Whether the socket was wired for `new` before `old`: what was left as it was then needs nothing now.
    """
    if before is None or after is None:
        lacking = join_words([name for name, each in ((old, before), (new, after)) if each is None])
        return f"No pins are on file for {lacking}: compare the two data sheets pin by pin first"
    caps = [{pin for pin in each.pins if pin.endswith(TOP_CAP)} for each in (before, after)]
    moved = [f"{pin} {'now' if pin in caps[1] else 'no more'}" for pin in sorted(caps[0] ^ caps[1])]
    if len(_in_socket(before)) != len(_in_socket(after)):
        sockets = f"{len(_in_socket(before))} pins ({before.base}) to {len(_in_socket(after))} ({after.base})"
        anew = join_words(["every pin is wired anew", *moved])
        return f"Another socket is needed, {sockets}, and {anew}{_heaters(after)}"
    pairs = [*enumerate(zip(_in_socket(before), _in_socket(after), strict=True), 1)]
    left = [number for number, (was, now) in pairs if was != now and _stays(*((now, was) if back else (was, now)),
                                                                            before if back else after)]  # fmt: skip
    other = [f"pin {each} from {was} to {now}" for each, (was, now) in pairs if was != now and each not in left] + moved
    if not other and not left:
        return f"The pins are the same ({after.base})"
    bases = f"({before.base} to {after.base})"
    stay = [f"what is on pin {join_words([str(number) for number in left])} may stay"] if left else []
    if not other:
        return f"The socket needs nothing {bases}: {stay[0]}, the {old if back else new} has nothing there"
    return f"The socket is wired anew: {join_words([*other, *stay])} {bases}{_heaters(after)}"


def _stays(was: str, now: str, after: Pinout) -> bool:
    """Whether a pin may stay as it is wired: the other type has nothing on it, nor elsewhere what was on it."""
    return now == _FREE and was not in after.pins


def _in_socket(base: Pinout) -> list[str]:
    return [pin for pin in base.pins if not pin.endswith(TOP_CAP)]


def _heaters(after: Pinout) -> str:
    """Which pins its heater is on, and what else belongs together."""
    heaters = [str(number) for number, what in enumerate(after.pins, 1) if what.startswith("heater")]
    tied = [str(number) for number, what in enumerate(after.pins, 1) if what == "suppressor"]
    cathode = next((number for number, what in enumerate(after.pins, 1) if what == "cathode"), 0)
    heater = f"; its heater is on {join_words(heaters)}"
    return heater + (f"; pin {tied[0]} (suppressor) goes to its cathode, pin {cathode}" if tied and cathode else "")
