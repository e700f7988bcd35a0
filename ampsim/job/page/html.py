"""The page as HTML, from a template that escapes every text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from importlib.resources import files
from typing import Any

import xarray as xr
from markupsafe import Markup

from ...audio.matching import SILENT_DB
from ...audio.player.embed import Embedded, json_text
from ...base.caution import CAUTION
from ...base.html import render, script_digests
from ...base.wording import TOGETHER, in_hertz
from ...circuit.build import SPEAKER
from ...circuit.positions import face, setting_words
from ...circuit.reverb_tank import ReverbTank
from ...circuit.signal_path import begins_at_guitar
from ...measures.law_bands import BANDS
from ...measures.loudness import NOTICED_ACUM, NOTICED_DB, Listening, listening_facts, loudness_script
from ...measures.noticed import EVERY
from ...simulation.port_tables import port_script
from ...studies.audition_request import Audition
from ...studies.brightness.sentences import limits_sentence
from . import answers, hearing
from .answer_facts import played_facts, script_facts
from .breaking_up import BreakingUp
from .choices import Range
from .content import change_sentence, knob_words, table_rows
from .drawing import OUTSIDE, draw
from .gauge import gauge
from .photos import MOST_BYTES, PagePhotos
from .played import Played
from .positions import shown_positions
from .scales import FACTORS
from .tables import PageTables
from .verdict import NO_DIFFERENCE, no_difference
from .wished import Wished, grant, wish_facts

_SMALL_SIGNALS = (
    "The picture of the gain shows both amps as they stand, not at equal loudness, and for signals too small to "
    "distort. All of it is computed from the drawing with nominal values; nothing was measured."
)
_DRIVEN = (
    "An amp breaks up where its first stage hands on 1 dB less than it would clean, with a tone of 400 Hz. That, "
    "evening out and tightness were played with the knobs as drawn and follow them from there: breaking up within "
    "about 1 dB, evening out within about 2 dB."
)

_ECHOES = (
    "The echoes of the reverb are counted as if they came at once: in the curves and in what is said of bass, middle "
    "and brightness they add to the dry sound or take from it. Heard, they come late and only add; sounds that can be "
    "played here have them so."
)

_BAND = (
    f"The gain of each valve stage is that of an average valve and may lie {100.0 * BANDS['gain']:.0f} % to either "
    f"side ({20.0 * math.log10(1.0 + BANDS['gain']):.1f} dB); what the mod changes is surer, since both amps have "
    "the same valves."
)


def page_html(
    audition: Audition,
    tables: PageTables,
    played: Played,
    response: xr.Dataset,
    words: str = "",
    wishes: Sequence[Wished] = (),
    advice: Sequence[str] = (),
    player: Embedded | None = None,
    breaking: BreakingUp | None = None,
    title: str = "",
    photos: PagePhotos | None = None,
) -> str:
    """The whole file; the same input gives the same text.

    Every text that comes from a person is escaped by the template.

    Parameters
    ----------
    audition : Audition
    tables : PageTables
        What the page computes from.
    played : Played
        How both amps play.
    response : xarray.Dataset
        Frequency sweep of both amps where the page opens.
    words : str
        What the owner asked for.
    wishes : sequence of Wished
        The same wish by wish.
    advice : sequence of str
        Sentences on how to use the controls together.
    player : Embedded
        What can be heard.
    breaking : BreakingUp
        When both amps break up, at the positions of the switches.
    title : str
        The heading; default what the audition is called.
    photos : PagePhotos
        Those of the job; as many and as large as there is room for.
    """
    offered, asked = tables.offered, audition.frequencies
    start, now = offered.start(), offered.start_words()
    samples = tables.gains_of(tables.samples())
    loudest = hearing.loudest_of(samples)
    rows = table_rows(tables.frequency, *tables.gains(start), asked)
    drawing = draw(response, audition.listen_at, samples, change_sentence(now, rows, asked))
    heard = hearing.hear(audition, tables, start, loudest)
    said = answers.say(tables, played, start, heard)
    half_at = knob_words(audition, start) if heard.state == "heard" and abs(heard.sharper) >= NOTICED_ACUM else ""
    scripts = [_file("hearing.js"), _file("page.js"), *([Markup(player.script)] if player else [])]
    said_by = [Markup(port_script()), Markup(loudness_script()), scripts[0], _file("answers.js")]
    scripts[0] = Markup("\n").join(said_by)
    facts = {
        **tables.packed(),
        "choices": [_choice_facts(each) for each in offered.choices],
        "fixed": offered.fixed,
        "frames": drawing.frames,
        "scales": {"gain": drawing.scales.gain, "change": drawing.scales.change, "factors": FACTORS},
        "outside": OUTSIDE,
        "place": audition.listen_at,
        "asked": [{"at": at, "words": in_hertz(at)} for at in asked],
        "sounds": _sounds(audition, offered, player),
        "rest": hearing.rest_words(audition, offered),
        "limits": _limits(loudest),
        "answers": script_facts(),
        "played": played_facts(played),
        "wishes": [wish_facts(each, tables) for each in wishes],
        "together": TOGETHER,
        "breaking": breaking.facts if breaking else None,
    }
    filled = partial(
        render,
        __package__,
        "page.html",
        audition=audition,
        title=title or audition.name,
        allowed=script_digests(scripts),
        style=_file("page.css") + Markup(player.style if player else ""),
        source="the guitar" if begins_at_guitar(audition.stock) else "the input",
        place="the speaker" if audition.listen_at == SPEAKER else audition.listen_at,
        words=words,
        choices=offered.choices,
        now=now,
        face=face,
        rows=[(in_hertz(at), cells) for at, cells in zip(asked, rows, strict=True)],
        wide=Markup(drawing.wide),
        narrow=Markup(drawing.narrow),
        headline=said.headline,
        rows_of_answers=[(name, answers.ENDS[name], _answer(said, name)) for name in answers.NAMES],
        gauge=gauge,
        full=answers.FULL,
        acum=hearing.ACUM,
        pops=played.pop_sentences(),
        no_difference=NO_DIFFERENCE if no_difference(tables, played, samples, loudest) else "",
        wishes=[grant(each, tables, start) for each in wishes],
        noticed=[each.words for each in EVERY],
        half_at=half_at,
        positions=shown_positions(tables, played, loudest),
        knobs=_knobs(offered),
        scope=_scope(offered),
        player=Markup(player.body if player else ""),
        breaking=breaking,
        advice=advice,
        left_out=" ".join(
            filter(
                None,
                [
                    limits_sentence(listening_facts(Listening())),
                    _SMALL_SIGNALS,
                    _echoes(audition),
                    _DRIVEN,
                    _missing(played),
                    _BAND,
                ],
            )
        ),
        caution=CAUTION,
        facts=Markup(json_text(facts)),
        scripts=scripts,
    )
    bare = filled(photos=[])
    if photos is None:
        return bare
    sounds = len(player.body) + len(player.script) + len(player.style) if player else 0
    return filled(photos=photos.fit(MOST_BYTES - len(bare.encode()) + sounds))


def _answer(said: answers.Said, name: str) -> answers.Answer | None:
    return next((each for each in said.answers if each.name == name), None)


def _echoes(audition: Audition) -> str:
    parts = [*audition.stock.part_by_designator.values(), *audition.modded.part_by_designator.values()]
    return _ECHOES if any(isinstance(each, ReverbTank) for each in parts) else ""


def _missing(played: Played) -> str:
    told = "; ".join(played.playing.missing)
    return f"Not worked out: {told}." if told else ""


def _file(name: str) -> Markup:
    return Markup((files(__package__) / name).read_text("utf-8"))


def _choice_facts(choice: Any) -> dict[str, Any]:
    names = ("name", "kind", "start", "drawn", "values", "texts", "added")
    return {name: getattr(choice, name) for name in names}


def _limits(loudest: float) -> dict[str, Any]:
    """What the sentences go by: levels [dB], sharpness [acum], spans [Hz]."""
    return {
        "loudest": loudest,
        "silent": SILENT_DB,
        "same": hearing.SAME_DB,
        "mostShared": hearing.MOST_SHARED,
        "noticedAcum": NOTICED_ACUM,
        "bass": hearing.BASS,
        "middle": hearing.MIDDLE,
        "heard": hearing.HEARD,
        "noticedDb": NOTICED_DB,
    }


def _knobs(offered: Range) -> str:
    """Where the page's knobs stand in the pictures of every position."""
    return ", ".join(setting_words(each.name, each.start) for each in offered.choices if each.kind == "knob")


def _scope(offered: Range) -> str:
    """Where the controls stand that are not on the page."""
    fixed = ", ".join(setting_words(name, value) for name, value in offered.fixed.items())
    if not fixed:
        return ""
    return f"{'Everything else stands' if offered.choices else 'The controls stand'} at {fixed}."


def _sounds(audition: Audition, offered: Range, player: Embedded | None) -> list[dict[str, float | str] | None]:
    """Where the controls of the page stand in each sound of the modded amp; None for those of the stock one."""
    start = offered.start()
    return [
        {each.name: clip.setting.get(each.name, start[each.name]) for each in offered.choices}
        if clip.variant == audition.modded.variant
        else None
        for clip in (player.clips if player else ())
    ]
