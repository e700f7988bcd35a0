"""The page as HTML: everything that comes from a file is escaped here, and nowhere else."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from html import escape
from importlib.resources import files
from string import Template
from typing import Any

from ...audio.player.embed import Embedded, json_text
from ...base.caution import CAUTION
from ...base.wording import in_hertz
from ...circuit.build import SPEAKER
from ...circuit.positions import face
from ...circuit.signal_path import begins_at_guitar
from ...studies.audition_request import Audition
from .choices import Choice, Range, position_text
from .content import Reading, Reason
from .drawing import Drawing

_SMALL_SIGNALS = (
    "The picture shows both amps as they stand, not at equal loudness, and for signals too small to distort: how an "
    "amp overdrives is not in it. All of it is computed from the drawing with nominal values; nothing was measured."
)


def page_html(
    job: Audition,
    offered: Range,
    drawing: Drawing,
    readings: Sequence[Reading],
    reasons: Sequence[Reason],
    words: str = "",
    together: Sequence[str] = (),
    heard: Embedded | None = None,
) -> str:
    """The whole file, from what was drawn and said; the same input gives the same text."""
    start, script = readings[offered.start()], _file("page.js")
    return Template(_file("page.html")).substitute(
        policy=escape(_policy([script, *([heard.script] if heard else [])])),
        title=escape(job.name),
        style=_file("page.css") + (heard.style if heard else ""),
        amp=escape(job.stock.name),
        about=f"<p>{escape(job.about)}</p>\n" if job.about else "",
        start="the guitar" if begins_at_guitar(job.stock) else "the input",
        node="the speaker" if job.listen_at == SPEAKER else escape(job.listen_at),
        variant=escape(job.modded.variant),
        now=escape(start.name),
        now_hidden="" if offered.choices else " hidden",
        wide=drawing.wide,
        narrow=drawing.narrow,
        controls=_controls(offered.choices),
        rows="\n".join(_row(at, cells) for at, cells in zip(job.frequencies, start.rows, strict=True)),
        reasons="\n".join(_reason(number, each, offered) for number, each in enumerate(reasons)),
        scope=escape(_scope(offered)),
        mods="\n".join(f"<dt>{escape(mod.name)}</dt><dd>{escape(mod.reason)}</dd>" for mod in job.modded.mods),
        wished=_wished(words),
        together=_together(together),
        heard=f'<section class="hear">\n<h2>Hear the difference</h2>\n{heard.body}</section>\n' if heard else "",
        left_out=escape(_left_out(reasons)),
        caution=escape(CAUTION),
        facts=_facts(offered, drawing, readings),
        scripts="".join(f"<script>{each}</script>\n" for each in (script, *([heard.script] if heard else []))),
    )


def _wished(words: str) -> str:
    lines = "<br>".join(escape(_line(line)) for line in words.splitlines())
    return f'<p class="wished"><span class="quiet">You asked for:</span> <q>{lines}</q></p>\n' if words.strip() else ""


def _together(sentences: Sequence[str]) -> str:
    items = "\n".join(f"<li>{escape(_line(each))}</li>" for each in sentences)
    return f"<section>\n<h2>How to use the controls together</h2>\n<ul>\n{items}\n</ul>\n</section>\n" if items else ""


def _line(text: str) -> str:
    return "".join(sign if sign.isprintable() else " " for sign in text)


def _file(name: str) -> str:
    return (files(__package__) / name).read_text("utf-8")


def _policy(scripts: Sequence[str]) -> str:
    """Nothing may be fetched or sent, and no other script may run than those of this page."""
    digests = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts]
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _controls(choices: Sequence[Choice]) -> str:
    if not choices:
        return ""
    drawn = [(_switch if each.kind == "switch" else _knob)(number, each) for number, each in enumerate(choices)]
    note = '<noscript><p class="quiet">Without JavaScript this page shows one position only.</p></noscript>'
    return "\n".join(['<form autocomplete="off" aria-label="Positions to try">', *drawn, note, "</form>\n"])


def _switch(number: int, choice: Choice) -> str:
    buttons = [_button(number, choice, place) for place in range(len(choice.values))]
    return (
        f'<fieldset class="switch">\n<legend>{escape(choice.name)}</legend>\n<div class="buttons">\n'
        + "\n".join(buttons)
        + "\n</div>\n</fieldset>"
    )


def _button(number: int, choice: Choice, place: int) -> str:
    text = choice.texts[place]
    checked = " checked" if place == choice.start else ""
    mark = " <small>as drawn</small>" if place == choice.drawn and text != "as drawn" else ""
    return (
        f'<label><input type="radio" name="choice{number}" value="{place}"{checked}>'
        f"<span>{escape(text)}{mark}</span></label>"
    )


def _knob(number: int, choice: Choice) -> str:
    text, last = choice.texts[choice.start], len(choice.values) - 1
    marks = "".join(f"<li>{escape(each)}</li>" for each in choice.texts)
    return (
        f'<div class="knob">\n<div class="knob-name"><label for="slider{number}">{escape(choice.name)}</label>'
        f'<span id="stands{number}" aria-hidden="true">{escape(text)}</span></div>\n'
        f'<input type="range" id="slider{number}" name="choice{number}" min="0" max="{last}" step="1" '
        f'value="{choice.start}" aria-valuetext="{escape(text)} of 10">\n'
        f'<ol class="marks" aria-hidden="true">{marks}</ol>\n</div>'
    )


def _row(at: float, cells: Sequence[str]) -> str:
    numbers = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
    return f'<tr><th scope="row">{escape(in_hertz(at))}</th>{numbers}</tr>'


def _reason(number: int, reason: Reason, offered: Range) -> str:
    hidden = "" if number == offered.start_switches() else " hidden"
    heading = f"<h3>{escape(reason.name)}</h3>\n" if reason.name else ""
    said = "\n".join(f"<p>{escape(each)}</p>" for each in reason.said)
    return f'<div data-reason="{number}"{hidden}>\n{heading}{said}\n</div>'


def _scope(offered: Range) -> str:
    """Where the controls stand that the sentences do not follow."""
    fixed = ", ".join(
        f"{name} {value if isinstance(value, str) else face(value)}" for name, value in offered.fixed.items()
    )
    knobs = offered.knobs
    said = []
    if knobs:
        start = position_text(knobs, [each.start for each in knobs])
        sliders = "sliders" if len(knobs) > 1 else "slider"
        said.append(f"These sentences hold with {start}; picture and table follow the {sliders} as well.")
    if fixed:
        said.append(f"Everything else stands at {fixed}." if offered.choices else f"The controls stand at {fixed}.")
    return " ".join(said)


def _left_out(reasons: Sequence[Reason]) -> str:
    told = dict.fromkeys(each.left_out for each in reasons if each.left_out)
    return " ".join([*told, _SMALL_SIGNALS])


def _facts(offered: Range, drawing: Drawing, readings: Sequence[Reading]) -> str:
    """What the script needs, as JSON that cannot end the element it stands in."""
    facts: dict[str, Any] = {
        "choices": [{"kind": each.kind, "texts": each.texts} for each in offered.choices],
        "fits": drawing.fits,
        "zeros": drawing.zeros,
        "lines": drawing.lines,
        "places": drawing.places,
        "readings": [{"name": each.name, "rows": each.rows, "sentence": each.sentence} for each in readings],
    }
    return json_text(facts)
