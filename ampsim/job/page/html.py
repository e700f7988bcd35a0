"""The page as HTML, from a template that escapes every text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from ...audio.player.embed import Embedded, json_text
from ...base.caution import CAUTION
from ...base.html import render, script_digests
from ...base.wording import in_hertz
from ...circuit.build import SPEAKER
from ...circuit.positions import setting_words
from ...circuit.signal_path import begins_at_guitar
from ...measures.law_bands import BANDS
from ...studies.audition_request import Audition
from .choices import Range, position_text
from .content import Reading, Reason
from .drawing import Drawing

_SMALL_SIGNALS = (
    "The picture shows both amps as they stand, not at equal loudness, and for signals too small to distort: how an "
    "amp overdrives is not in it. All of it is computed from the drawing with nominal values; nothing was measured."
)
_BAND = (
    f"The gain of each valve stage is that of an average valve and may lie {100.0 * BANDS['gain']:.0f} % to either "
    f"side ({20.0 * math.log10(1.0 + BANDS['gain']):.1f} dB); what the mod changes is surer, since both amps have "
    "the same valves."
)


def page_html(
    audition: Audition,
    offered: Range,
    drawing: Drawing,
    readings: Sequence[Reading],
    reasons: Sequence[Reason],
    words: str = "",
    advice: Sequence[str] = (),
    player: Embedded | None = None,
    title: str = "",
    left_out: str = "",
) -> str:
    """The whole file; the same input gives the same text.

    Every text that comes from a person is escaped by the template.

    Parameters
    ----------
    audition : Audition
    offered : Range
        What can be chosen.
    drawing : Drawing
        The overlay, wide and narrow, with the lines of every position.
    readings : sequence of Reading
        Of every position.
    reasons : sequence of Reason
        Of every position of the switches.
    words : str
        What the owner asked for.
    advice : sequence of str
        Sentences on how to use the controls together.
    player : Embedded
        What can be heard.
    title : str
        The heading; default what the audition is called.
    left_out : str
        Which positions are not offered, and why.
    """
    start = readings[offered.start()]
    scripts = [_file("page.js"), *([Markup(player.script)] if player else [])]
    return render(
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
        start=start,
        rows=[(in_hertz(at), cells) for at, cells in zip(audition.frequencies, start.rows, strict=True)],
        wide=Markup(drawing.wide),
        narrow=Markup(drawing.narrow),
        reasons=reasons,
        shown_reason=offered.start_switches(),
        scope=" ".join(filter(None, [_scope(offered), left_out])),
        player=Markup(player.body if player else ""),
        advice=advice,
        left_out=_left_out(reasons),
        caution=CAUTION,
        facts=_facts(audition, offered, drawing, readings, player),
        scripts=scripts,
    )


def _file(name: str) -> Markup:
    return Markup((files(__package__) / name).read_text("utf-8"))


def _scope(offered: Range) -> str:
    """Where the controls stand that the sentences do not follow."""
    fixed = ", ".join(setting_words(name, value) for name, value in offered.fixed.items())
    knobs = offered.knobs
    sentences = []
    if knobs:
        start = position_text(knobs, [each.start for each in knobs])
        sliders = "sliders" if len(knobs) > 1 else "slider"
        sentences.append(f"These sentences hold with {start}; picture and table follow the {sliders} as well.")
    if fixed:
        where = "Everything else stands" if offered.choices else "The controls stand"
        sentences.append(f"{where} at {fixed}.")
    return " ".join(sentences)


def _left_out(reasons: Sequence[Reason]) -> str:
    own = dict.fromkeys(each.left_out for each in reasons if each.left_out)
    return " ".join([*own, _SMALL_SIGNALS, _BAND])


def _facts(
    audition: Audition, offered: Range, drawing: Drawing, readings: Sequence[Reading], player: Embedded | None
) -> Markup:
    """What the script needs, as JSON that cannot end the element it stands in."""
    facts: dict[str, Any] = {
        "choices": [
            {"name": each.name, "kind": each.kind, "values": each.values, "texts": each.texts}
            for each in offered.choices
        ],
        "sounds": _sounds(audition, offered, player),
        "fits": drawing.fits,
        "zeros": drawing.zeros,
        "lines": drawing.lines,
        "places": drawing.places,
        "readings": [{"name": each.name, "rows": each.rows, "sentence": each.sentence} for each in readings],
    }
    return Markup(json_text(facts))


def _sounds(audition: Audition, offered: Range, player: Embedded | None) -> list[dict[str, float | str] | None]:
    """Where the controls of the page stand in each sound of the modded amp; None for those of the stock one."""
    names = [each.name for each in offered.choices]
    return [
        {name: clip.setting.get(name, offered.start_setting()[name]) for name in names}
        if clip.variant == audition.modded.variant
        else None
        for clip in (player.clips if player else ())
    ]
