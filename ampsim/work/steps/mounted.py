"""How the iron comes at a part, and how a new one is soldered to it: by the way it is mounted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from ...base.wording import join_words
from ...circuit.amp import Amp, Socket
from ...circuit.mount import Mount, Mounting
from ...circuit.mounting import mounting_of
from .step import Step

IRON = "soldering iron"
# Common practice, no source.
RELAY = (
    "In its base, or soldered to a piece of board that is screwed down: it has neither nut nor hole in the panel. Away "
    "from grids and their wires, as its contacts carry signal and its coil switches. Which pin is which, its data "
    "sheet says: buzz the contacts with the coil at rest."
)
_DESOLDER = "soldering iron, pump or braid"
_HOOK = "soldering iron, hook or fine pliers"

_OUT: dict[Mount, tuple[str, str]] = {
    Mount.BOARD: (
        _DESOLDER,
        "melt one joint at a time, draw each lead out without force, clear both holes; look at each pad: one that has "
        "come loose needs a wire to the next joint of its track",
    ),
    Mount.SURFACE: (
        "hot tweezers or two irons, braid",
        "melt both ends at once, slide it off without prising, clean the pads with braid",
    ),
    Mount.TURRET: (
        _HOOK,
        "melt and unhook its leads one by one; other leads on the same turrets stay, and are soldered again if they "
        "moved",
    ),
    Mount.EYELET: (
        _DESOLDER,
        "melt and draw each lead up out of its eyelet, clear the eyelet; wires from below that share it must not slip "
        "out: tug each one afterwards",
    ),
    Mount.TAGS: (_HOOK, "melt and unwind its leads from the tags; the other leads there stay"),
    Mount.POINT: (
        _HOOK,
        "melt and unwind its leads from the lugs they are on, without bending lugs of a valve socket: their contacts "
        "widen",
    ),
    Mount.PANEL: (
        f"{IRON}, spanner for the nut",
        "mark each wire with its lug and unsolder it, knob off, nut off, keep washers and the locating pin's position",
    ),
    Mount.PANEL_BOARD: (
        f"{_DESOLDER}, spanner for the nut",
        "knob and nut off before the board is lifted; clear every pin, pull none by force",
    ),
    Mount.SOCKET: ("none; a cloth while it is warm", "cold, pulled straight up without rocking it far"),
    Mount.SOCKET_BOARD: (
        "none; a cloth while it is warm",
        "cold, pulled straight up with the board held beside the socket: joints below it crack",
    ),
    Mount.CHASSIS: (
        f"{IRON}, spanner, cutter",
        "note the colour and place of every lead; where one cannot be unsoldered, cut it near its joint so that enough "
        "is left to splice under sleeve; washers that earth it go back as they were",
    ),
    Mount.CABINET: (IRON, "mark which lead is on its marked terminal, and take the leads off"),
}
_AT: dict[Mount, tuple[str, str]] = {
    Mount.BOARD: (
        IRON,
        "where the lead stands clear of the board, solder to it from above; otherwise to its pad from below",
    ),
    Mount.SURFACE: ("fine tip, flux", "the pad carries no pull: lead the wire down beside it and fix it there"),
    Mount.TURRET: (_HOOK, "hook round the turret below or above what is there, then solder all of it once"),
    Mount.EYELET: (IRON, "into the eyelet beside what is there; it must run through and wet all of them"),
    Mount.TAGS: (_HOOK, "hook through the tag, then solder"),
    Mount.POINT: (_HOOK, "hook onto the same lug, sleeve on leads that cross others"),
    Mount.PANEL: (IRON, "at the lug: hook through, do not heat it longer than it takes, the track burns"),
    Mount.PANEL_BOARD: (IRON, "at the pin, above the board where it can be reached, otherwise below it"),
    Mount.SOCKET: (IRON, "at the lug of the socket, a spare valve or plug in it so that the contacts keep their place"),
    Mount.SOCKET_BOARD: (IRON, "at the pin of the socket, on the side of the board where it can be reached"),
    Mount.CHASSIS: (
        "soldering iron, cutter, sleeve",
        "at the joint that its lead is on; if the lead does not reach, lengthen it with wire of the same cross-section "
        "and insulation for the volts there, splices staggered and each under heat-shrink sleeve",
    ),
    Mount.CABINET: (IRON, "at the terminals, or their plug"),
}
_NEARLY_ALL = "Nearly all valves are in a socket:"
_LOOK = "look first: pads and tracks below it (board), posts or rings of metal (turrets, eyelets), tags, or lug to lug"


def _connector(name: str) -> str:
    return (
        f"its leads end in the connector {name}: unplug by the body, never by the wires. The plug is used again: push "
        "its contact out and crimp or solder the new wire into it; where none comes free, cut the wire behind the plug "
        "and splice under sleeve"
    )


def out_words(amp: Amp, part: str) -> tuple[str, str]:
    """The tool that takes a part out, and how."""
    mounted = mounting_of(amp, part)
    if mounted is None and is_plugged(amp, part):
        tool, words = _OUT[Mount.SOCKET]
        return tool, f"How {part} is mounted is not said. {_NEARLY_ALL} {words}."
    if mounted is None:
        return _DESOLDER, f"How {part} is mounted is not said: {_LOOK}."
    tool, words = (_HOOK, _connector(mounted.connector)) if mounted.connector else _OUT[mounted.mount]
    return tool, f"{part} ({mounted.words}): {words}."


def in_words(amp: Amp, part: str) -> str:
    """How a valve goes into a socket where another came out."""
    mounted = mounting_of(amp, part)
    words = "pins or key lined up, pushed straight down until it sits, clamp or shield back on"
    if mounted is None:
        return f"How {part} is mounted is not said. {_NEARLY_ALL} {words}."
    return f"{part} ({mounted.words}): {words}."


def at_words(amp: Amp, places: Iterable[str]) -> tuple[str, list[str]]:
    """The tools that solder something to places of parts that are there, and how: a sentence for each way."""
    tools: dict[str, None] = {}
    told: list[str] = []
    for mounted, lugs in _by_mounting(amp, places):
        if mounted is None:
            told.append(f"How {join_words(lugs)} can be reached is not said: {_LOOK}.")
            continue
        tool, words = (IRON, _connector(mounted.connector)) if mounted.connector else _AT[mounted.mount]
        tools |= dict.fromkeys(tool.split(", "))
        told.append(f"{join_words(lugs)} ({mounted.words}): {words}.")
    return ", ".join(tools) or IRON, told


def _by_mounting(amp: Amp, places: Iterable[str]) -> Iterator[tuple[Mounting | None, list[str]]]:
    """Places of the amp's own parts, those mounted alike together."""
    own = {part.designator for part in amp.parts}
    groups: dict[Mounting | None, list[str]] = {}
    for place in dict.fromkeys(places):
        part = place.partition(".")[0]
        if part in own:
            groups.setdefault(mounting_of(amp, part), []).append(place)
    yield from groups.items()


def on_board(amp: Amp, part: str) -> bool:
    """Whether the joints of a part are said to be on a printed board."""
    mounted = mounting_of(amp, part)
    return mounted is not None and mounted.mount.on_board


def cut_words(amp: Amp, places: Iterable[str]) -> list[str]:
    """How a wire between places is cut, where parts at both ends of it are on a board, or a lead is cut."""
    mounted = [each for each, _ in _by_mounting(amp, places)]
    if mounted and all(each is not None and each.mount.on_board for each in mounted):
        return ["Between pads of one board the wire may be a track: cut it twice, 2 mm apart, lift the piece, and read "
                "that it is open."]  # fmt: skip
    return ["Leave both ends long enough to be spliced again, and put sleeve over each."]


def said_once(steps: Iterable[Step]) -> Iterator[Step]:
    """Steps in which the way to work on parts that are mounted alike is told in full once, then by the first."""
    first: dict[str, str] = {}
    said: set[str] = set()
    for step in steps:
        told = []
        for sentence in step.how:
            what, _, way = sentence.partition("): ")
            name = what.partition(" (")[0]
            known = first.setdefault(way or sentence, name)
            if way and known != name:
                told.append(f"{what}): as {known}.")
            elif way or sentence not in said:
                told.append(sentence)
            said.add(sentence)
        yield replace(step, how=tuple(told))


def is_plugged(amp: Amp, part: str) -> bool:
    """Whether a part comes out of its socket by hand."""
    return isinstance(amp.part_by_designator.get(part), Socket)
