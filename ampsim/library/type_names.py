"""Names that people write for types of valves, and which file each means: the European, the American, the special ones.

A name of another quality is taken for the type whose curves it has, and what differs is said. One whose ratings are
lower, or whose curves are others, is none of them: it is refused with the reason, for what is judged by the wrong
ratings burns. From the equivalence lists of valve manuals (EIA and Pro Electron names; quoted from memory).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class OtherName:
    """A name, the type whose file it means, and what differs; "" where nothing does."""

    name: str
    type: str
    differs: str = ""


_SPECIAL = "special quality: the same curves, held closer, and ratings of its own that are not on file"
_QUIET = "selected for little noise and hum, otherwise the same"
_OTHER_NAMES = (
    *(OtherName(name, "12AX7") for name in ("ECC83", "B339")),
    OtherName("12AX7A", "12AX7", "later rating 330 V, 1.2 W; judged by the earlier 300 V, 1.0 W"),
    *(OtherName(name, "12AX7", _QUIET) for name in ("7025", "7025A")),
    *(OtherName(name, "12AX7", _SPECIAL) for name in ("E83CC", "ECC803S", "12AX7WA", "6681", "7729", "CV4004")),
    *(OtherName(name, "12AU7") for name in ("ECC82", "12AU7A", "B329")),
    OtherName("5814", "12AU7", "special quality, its heater takes 0.35 A; ratings of its own are not on file"),
    OtherName("5814A", "12AU7", "special quality, its heater takes 0.35 A; ratings of its own are not on file"),
    *(OtherName(name, "12AU7", _SPECIAL) for name in ("6189", "E82CC", "ECC802S", "7730", "CV4003")),
    *(OtherName(name, "12AT7") for name in ("ECC81", "B309")),
    *(OtherName(name, "12AT7", _SPECIAL) for name in ("6201", "E81CC", "ECC801S", "6679", "CV4024")),
    *(OtherName(name, "12AY7", _SPECIAL) for name in ("6072", "6072A")),
    OtherName("ECC88", "6DJ8"),
    *(OtherName(name, "6DJ8", "special quality: the same curves; its own sheet allows more volts and other watts, "
                "and it is judged by those of the 6DJ8") for name in ("6922", "E88CC", "CCA", "CV2493")),
    *(OtherName(name, "EF86") for name in ("6267", "Z729")),
    *(OtherName(name, "EF86", _SPECIAL) for name in ("EF806S", "CV2901")),
    *(OtherName(name, "EL84") for name in ("6BQ5", "N709")),
    *(OtherName(name, "EL84", "its own sheet allows more volts; judged by the 300 V of the EL84")
      for name in ("7189", "7189A")),
    OtherName("6CA7", "EL34", "some of this name are beam valves, with a sharper knee and about the same ratings"),
    OtherName("KT77", "EL34", "a beam valve of about these ratings; its knee is sharper than what is shown"),
    *(OtherName(name, "6V6GT") for name in ("6V6", "6V6G", "6V6GTA")),
    OtherName("7408", "6V6GT", _SPECIAL),
    OtherName("7581A", "6L6GC", "its own sheet allows 35 W; judged by the 30 W of the 6L6GC"),
    OtherName("6SN7GTA", "6SN7GTB"),
    OtherName("6SL7", "6SL7GT"), OtherName("6N9S", "6SL7GT", "the Soviet make of it"),
    OtherName("12BH7", "12BH7A"),
    OtherName("6AK8", "EABC80"),
    *(OtherName(f"6BM8-{each}", f"ECL82-{each}") for each in "TP"),
    *(OtherName(f"6GW8-{each}", f"ECL86-{each}") for each in "TP"),
    *(OtherName(name, "6AQ5") for name in ("EL90", "6AQ5A", "N727")),
    OtherName("6005", "6AQ5", _SPECIAL),
    *(OtherName(name, "6K6GT") for name in ("6K6", "6K6G")),
    OtherName("7591", "7591A"),
    OtherName("6L6WGB", "5881", _SPECIAL),
    OtherName("6550A", "6550", "a later make, rated 42 W (design maximum); judged by 35 W"),
    OtherName("CV5220", "KT88"),
    OtherName("1625", "807", "its heater takes 12.6 V and its base has seven pins; otherwise the same"),
    OtherName("5AR4", "GZ34"), OtherName("U77", "GZ34"),
    *(OtherName(name, "EZ81") for name in ("6CA4", "U709")),
    OtherName("6V4", "EZ80"),
    OtherName("5Y3", "5Y3GT"), OtherName("5Y3G", "5Y3GT", "a larger bulb; the same drop and ratings"),
    OtherName("5U4", "5U4GB", "the name does not say the edition; an older 5U4G is rated for less current"),
)  # fmt: skip
_REFUSED = {
    "6L6": "an old 6L6 is rated 360 V, 19 W and a 6L6GC 500 V, 30 W; write 6L6GC if that is what is in the socket",
    "6L6G": "it is rated 360 V, 19 W and a 6L6GC 500 V, 30 W; write 6L6GC if that is what is in the socket",
    "6L6GA": "it is rated 360 V, 19 W and a 6L6GC 500 V, 30 W; write 6L6GC if that is what is in the socket",
    "6L6GB": "it is rated 360 V, 19 W and a 6L6GC 500 V, 30 W; write 6L6GC if that is what is in the socket",
    **dict.fromkeys(("6SN7", "6SN7GT", "6N8S"), "an early 6SN7GT is rated 300 V, 2.5 W and a 6SN7GTB 450 V, 5 W; write "
                    "6SN7GTB if that is what is in the socket"),
    **dict.fromkeys(("6CG7", "6FQ7"), "it is the system of the 6SN7GTB on another base, with lower ratings"),
    **dict.fromkeys(("12DW7", "7247", "ECC832"), "its halves are unlike: write 12DW7-1 (mu 100) and 12DW7-2 (mu 17)"),
    **dict.fromkeys(("ECL82", "6BM8"), "its systems are unlike: write ECL82-T (triode) and ECL82-P (pentode)"),
    **dict.fromkeys(("ECL86", "6GW8"), "its systems are unlike: write ECL86-T (triode) and ECL86-P (pentode)"),
    "7027": "it is rated 25 W and a 7027A 35 W; write 7027A if that is what is in the socket",
    "5U4G": "it is rated for less current than a 5U4GB, and drops more",
    "6N1P": "it is near a 6DJ8, with other curves and a heater of 0.6 A",
    "6N2P": "its curves are near those of a 12AX7, its heater pins are others",
}  # fmt: skip
"""Names that are near a type on file but are not it, and why."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 -]{0,39}")


def _plain(word: str) -> str:
    """A name without case, blanks and hyphens; "" for what is none."""
    return re.sub(r"[ -]", "", word).lower() if _NAME.fullmatch(word) else ""


_MEANT = {_plain(each.name): each for each in _OTHER_NAMES}


def meant_type(word: str, known: Iterable[str]) -> str:
    """The type among those known that a word means, in any case and by any of its names; "" for none."""
    names = list(known)
    if word in names:
        return word
    wanted = _plain(word)
    if not wanted:
        return ""
    other = _MEANT.get(wanted)
    same = next((name for name in names if _plain(name) == wanted), "")
    return same or (other.type if other and other.type in names else "")


def what_differs(word: str, meant: str) -> str:
    """What differs between a valve of this name and the type it is taken for; "" where nothing does."""
    other = _MEANT.get(_plain(word))
    return other.differs if other and other.type == meant else ""


def why_not(word: str) -> str:
    """Why a name near a type on file is not taken for it; "" where nothing is known of it."""
    found = {_plain(name): reason for name, reason in _REFUSED.items()}
    return found.get(_plain(word), "")


def other_names(meant: str) -> tuple[OtherName, ...]:
    """Every other name of a type, with what differs."""
    return tuple(each for each in _MEANT.values() if each.type == meant)
