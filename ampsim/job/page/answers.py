"""What a player notices at one position, question by question, in plain words and as a mark on a scale.

`answers.js` says the same of what follows the knobs; hiss and soft notes after a hard stroke are told per position of
the switches, with the knobs as drawn.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...base.wording import join_words, signed
from ...measures.noticed import BACK, BREAKING_UP, EVENING_OUT, HISS, LEVEL, SHARPNESS, TIGHTNESS
from ...measures.weighting import UNHEARD_DB
from ...studies.audition_request import Setting
from ...studies.playing.drive import (
    Drive,
    breaks_up_at,
    evens_out,
    nearest_drive,
)
from ...studies.playing.figures import Hiss
from .hearing import BASS, MIDDLE, NO_SIGNAL, NOTHING, Heard, brightness_words
from .played import Played
from .tables import PageTables

NOT_AUDIBLE = "Makes no audible difference here: everything below changes by less than is noticed."
TONE_NOT_AUDIBLE = "Makes no audible difference in tone and loudness here; the rest could not be worked out."
AS_DRAWN = "with the knobs as drawn"
NAMES = ("Breaking up", "Evening out", "Tightness", "Bass", "Middle", "Brightness", "Loudness", "Hiss",
         "After a hard stroke")  # fmt: skip
ENDS = {
    "Breaking up": ("later", "earlier"), "Evening out": ("less", "more"), "Tightness": ("looser", "tighter"),
    "Bass": ("thinner", "fuller"), "Middle": ("less", "more"), "Brightness": ("duller", "brighter"),
    "Loudness": ("softer", "louder"), "Hiss": ("less", "more"), "After a hard stroke": ("sooner", "later"),
}  # fmt: skip
"""What a change is called to the left and to the right of stock."""
FULL = 12.0
"""What reaches the end of the scale, in changes that are just noticed."""
# In the sentence at the head: what it is, and what it does.
IS = {
    "Brightness": ("brighter", "duller"), "Bass": ("fuller in the bass", "thinner in the bass"),
    "Middle": ("stronger in the middle", "weaker in the middle"), "Loudness": ("louder", "softer"),
    "Tightness": ("tighter when pushed", "looser when pushed"),
}  # fmt: skip
DOES = {
    "Breaking up": ("breaks up earlier", "breaks up later"), "Evening out": ("evens out more", "evens out less"),
    "Hiss": ("hisses more", "hisses less"),
    "After a hard stroke": ("loses soft notes for longer", "loses soft notes for a shorter time"),
}  # fmt: skip


@dataclass(frozen=True)
class Answer:
    """One question answered: how far from stock in changes that are just noticed, None where that has no size.

    `brief` is the change as a number.
    """

    name: str
    size: float | None
    words: str
    brief: str = ""

    @property
    def noticed(self) -> bool:
        """Whether the change is noticed."""
        return self.size is not None and abs(self.size) >= 1.0


@dataclass(frozen=True)
class Said:
    """What is said of one position: a sentence in plain words, and the answers."""

    headline: str
    answers: tuple[Answer, ...] = ()


def say(tables: PageTables, played: Played, setting: Setting, heard: Heard) -> Said:
    """What a player notices at a position.

    Parameters
    ----------
    tables : PageTables
    played : Played
    setting : mapping
        Where the choices stand.
    heard : Heard
        What is heard there.
    """
    if heard.state == "silent":
        return Said(NO_SIGNAL)
    driven, known = driven_answers(tables, played, setting)
    found = {each.name: each for each in (*driven, *tone_answers(heard), *still_answers(played, setting))}
    answers = tuple(found[name] for name in NAMES if name in found)
    return Said(headline(heard, answers, known), answers)


def headline(heard: Heard, answers: Sequence[Answer], known: bool) -> str:
    """The change in one sentence; `known`: whether it could be worked out how the amp is driven."""
    sizes = {each.name: each.size for each in answers if each.noticed and each.size is not None}
    is_so = [words[sizes[name] < 0.0] for name, words in IS.items() if name in sizes]
    does = [words[sizes[name] < 0.0] for name, words in DOES.items() if name in sizes]
    if is_so:
        also = f"; it {join_words(does)}" if does else ""
        return f"{_capital(join_words(is_so))} than stock{also}."
    if does:
        return f"It {join_words(does)} than stock."
    if heard.state == "same":
        return NOTHING
    if heard.most >= LEVEL.least:
        return f"A little different in tone: at equal loudness by up to {heard.most:.1f} dB, at single frequencies."
    return NOT_AUDIBLE if known else TONE_NOT_AUDIBLE


def tone_answers(heard: Heard) -> list[Answer]:
    """Bass, middle, brightness and loudness; nothing where the amps do not differ."""
    if heard.state != "heard":
        return []
    return [
        _band("Bass", heard.bass, BASS),
        _band("Middle", heard.middle, MIDDLE),
        Answer(
            "Brightness",
            heard.sharper / SHARPNESS.least,
            brightness_words(heard),
            f"brightness {signed(heard.sharper, 2)} acum",
        ),
        Answer("Loudness", heard.louder / LEVEL.least, _loudness(heard.louder), f"loudness {_signed(heard.louder)} dB"),
    ]


def _band(name: str, size: float, span: tuple[float, float]) -> Answer:
    where = f"{name.lower()}, {span[0]:g} to {span[1]:g} Hz"
    if abs(size) < LEVEL.least:
        return Answer(name, size / LEVEL.least, f"About as much {where}, as stock ({_signed(size)} dB).")
    more = "more" if size > 0.0 else "less"
    words = f"{_capital(more)} {where}, at equal loudness: {abs(size):.1f} dB."
    return Answer(name, size / LEVEL.least, words, f"{name.lower()} {_signed(size)} dB")


def _loudness(louder: float) -> str:
    if abs(louder) < LEVEL.least:
        return f"About as loud as stock ({_signed(louder)} dB)."
    way, than = ("down", "louder") if louder > 0.0 else ("up", "softer")
    return (
        f"{_capital(than)} by {abs(louder):.1f} dB as it stands; ears take louder for better, so for the other answers "
        f"it was turned {way} by that."
    )


def driven_answers(tables: PageTables, played: Played, setting: Setting) -> tuple[list[Answer], bool]:
    """Breaking up, evening out and tightness at a position; and whether they could be worked out."""
    drives = played.drives_at(setting)
    if drives is None:
        return [breaking_up(None, None)] if played.playing.modded else [], False
    gains = tables.stage_gains(setting)
    levels = [
        breaks_up_at(drive, {name: tone for name, (_, tone) in own.items()})
        for drive, own in zip(drives, gains, strict=True)
    ]
    found = [breaking_up(levels[0], levels[1])]
    if levels[0] is None or levels[1] is None:
        return found, False
    evened = [
        evens_out(nearest_drive(every, level), level)
        for every, level in zip(played.every_drive, levels, strict=True) if level is not None
    ]  # fmt: skip
    found += evening_out(evened[0], evened[1])
    firsts = [_first(drive, own) for drive, own in zip(drives, gains, strict=True)]
    if math.isfinite(levels[0]) and math.isfinite(levels[1]):
        found.append(tightness(*(own[name][0] - own[name][1] for name, own in zip(firsts, gains, strict=True))))
    return found, True


def _first(drive: Drive, gains: Mapping[str, tuple[float, float]]) -> str:
    """The stage that clips first."""
    return min(drive.overload, key=lambda name: drive.overload[name] - gains[name][1], default="")


def breaking_up(stock: float | None, modded: float | None) -> Answer:
    """How much earlier the first stage clips, from the level of the pickup at which it does [dB against 1 V peak]."""
    name = "Breaking up"
    if stock is None or modded is None:
        return Answer(name, None, "How early it breaks up was not worked out this far from where the amp was played.")
    if math.isinf(stock) and math.isinf(modded):
        return Answer(name, 0.0, "Stays clean up to the hardest stroke, as stock does.")
    if math.isinf(modded):
        return Answer(name, -FULL, "Stays clean up to the hardest stroke, where stock has broken up before.")
    if math.isinf(stock):
        return Answer(name, FULL, "Breaks up with hard strokes, where stock stays clean.")
    earlier = stock - modded
    if abs(earlier) < BREAKING_UP.least:
        return Answer(name, earlier / BREAKING_UP.least, f"Breaks up where stock does ({_signed(earlier)} dB).")
    if earlier > 0.0:
        share = 100.0 * 10.0 ** (-earlier / 20.0)
        words = f"Breaks up earlier: at {share:.0f} % of the picking strength that stock takes ({earlier:.1f} dB)."
    else:
        words = (
            f"Breaks up later: it takes {10.0 ** (-earlier / 20.0):.1f} times the picking strength ({-earlier:.1f} dB)."
        )
    brief = f"breaks up {abs(earlier):.1f} dB {'earlier' if earlier > 0.0 else 'later'}"
    return Answer(name, earlier / BREAKING_UP.least, words, brief)


def evening_out(stock: float | None, modded: float | None) -> list[Answer]:
    """How much more soft and hard notes, 24 dB apart, come out alike [dB]; nothing where that is not known."""
    if stock is None or modded is None:
        return []
    more = modded - stock
    how = "about as stock does" if abs(more) < EVENING_OUT.least else (
        f"{'more' if more > 0.0 else 'less'} than stock, by about {abs(more):.0f} dB"
    )  # fmt: skip
    louder = f"a hard stroke, 24 dB above a soft one, comes out about {24.0 - modded:.0f} dB louder"
    words = f"Evens out playing {how}: {louder}."
    brief = f"evens out by {abs(more):.0f} dB {'more' if more > 0.0 else 'less'}"
    return [Answer("Evening out", more / EVENING_OUT.least, words, brief)]


def tightness(stock: float, modded: float) -> Answer:
    """How much less bass reaches the stage that breaks up first [dB]: at 100 Hz against 400 Hz."""
    less = stock - modded
    where = "reaches the stage that breaks up first, at 100 Hz against 400 Hz"
    if abs(less) < TIGHTNESS.least:
        words = f"As tight as stock when pushed: about as much bass {where} ({_signed(-less)} dB)."
    else:
        words = f"{'Less' if less > 0.0 else 'More'} bass {where}: {abs(less):.1f} dB."
    brief = f"bass to the first stage that breaks up {_signed(-less)} dB"
    return Answer("Tightness", less / TIGHTNESS.least, words, brief)


def still_answers(played: Played, setting: Setting) -> list[Answer]:
    """What does not follow the knobs: hiss, and soft notes after a hard stroke."""
    hiss, back = played.hiss_at(setting), played.back_at(setting)
    return [*([hiss_answer(hiss)] if hiss else []), *([back_answer(*back)] if back else [])]


def hiss_answer(hiss: Hiss) -> Answer:
    """What it hisses with nothing played."""
    if hiss.level < UNHEARD_DB and hiss.level - hiss.more < UNHEARD_DB:
        return Answer("Hiss", 0.0, f"Too faint to be heard, as stock, {AS_DRAWN}.")
    if math.isinf(hiss.more):
        return Answer(
            "Hiss", math.copysign(FULL, hiss.more), f"{'Now it hisses' if hiss.more > 0 else 'Silent'}, {AS_DRAWN}."
        )
    if abs(hiss.more) < HISS.least:
        words = f"With nothing played it hisses as stock does ({_signed(hiss.more)} dB(A)), {AS_DRAWN}."
    else:
        more = "more" if hiss.more > 0.0 else "less"
        words = f"With nothing played it hisses {more} than stock, by {abs(hiss.more):.1f} dB(A), {AS_DRAWN}."
    return Answer("Hiss", hiss.more / HISS.least, words, f"hiss {_signed(hiss.more)} dB(A)")


def back_answer(stock: float, modded: float) -> Answer:
    """How long soft notes are lost after a hard stroke [ms]."""
    name = "After a hard stroke"
    later = min(modded, 1e3) - min(stock, 1e3)
    told = [f"{ms:.0f} ms" if math.isfinite(ms) else "more than 0.2 s" for ms in (modded, stock)]
    words = f"Soft notes are back after {told[0]} (stock {told[1]}), {AS_DRAWN}."
    return Answer(name, later / BACK.least, words)


def _signed(size: float) -> str:
    return signed(size, 1)


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"
