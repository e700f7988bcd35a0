"""How to use the controls together, in sentences: which knob makes a mod stronger, and how two of them add up."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from ...audio.clips import Clips
from ...base.progress import Progress
from ...base.wording import in_decibels, in_hertz
from ...circuit.nets import INPUT
from ...circuit.positions import setting_clause
from ...measures.sweep import gain_at
from ...simulation.analyses import FrequencySweep
from ...simulation.response import simulate
from ...studies.audition_request import Audition, Setting
from ..page.photos import PagePhotos
from ..page.wished import Wished
from ..page.write import write_page
from ..record.data import Record
from .html import job_title

AT = (100.0, 3000.0)  # Hz that sentences speak of
_LOW, _HIGH = 0.2, 0.8
_TELLING = 1.0  # dB that a knob must move an effect by to be told
_ADDS = 0.5  # dB within which two effects add up
_SILENT = -200.0


def owner_page(
    audition: Audition,
    record: Record | None = None,
    path: str | Path | None = None,
    controls: Sequence[str] | None = None,
    progress: Progress | None = None,
    clips: Clips | None = None,
    photos: PagePhotos | None = None,
    wishes: Sequence[Wished] = (),
) -> Path:
    """Write the page for the owner: `page.write_page` with the owner's own words and how to use the controls together.

    Without a record it is the plain page, with the advice alone.

    Parameters
    ----------
    audition : Audition
    record : Record
        Of the job, for the owner's words.
    path, controls, progress, clips, photos, wishes
        As in `write_page`.

    Raises
    ------
    DescriptionError, EngineError
        As `write_page`.
    """
    words = record.words if record else ""
    advice, title = control_advice(audition), job_title(audition, record)
    return write_page(
        audition,
        path,
        controls,
        progress,
        words=words,
        wishes=wishes,
        advice=advice,
        clips=clips,
        title=title,
        photos=photos,
    )


def control_advice(audition: Audition) -> list[str]:
    """Sentences on the mods' controls and the amp's own knobs; none when the mods add no control.

    Everything else stands as drawn. An effect is what a control changes against where it is drawn.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    modded = audition.modded
    added = _far(audition)
    if not added:
        return []
    knobs = [name for name, each in audition.stock.controls.items() if each.kind == "knob"]
    asked: list[Setting] = [{}]
    asked += [{name: value} for name, value in added.items()]
    pairs = list(itertools.combinations(added, 2))
    asked += [{one: added[one], other: added[other]} for one, other in pairs]
    for name, knob, turn in itertools.product(added, knobs, (_LOW, _HIGH)):
        asked += [{knob: turn}, {knob: turn, name: added[name]}]
    distinct = [each for place, each in enumerate(asked) if each not in asked[:place]]
    response = simulate(modded, FrequencySweep(), distinct, [audition.listen_at, INPUT])
    levels = gain_at(response, AT, audition.listen_at).isel(variant=0).transpose("position", "frequency").values
    found = {_key(each): np.maximum(row, _SILENT) for each, row in zip(distinct, levels, strict=True)}
    return [*_by_knob(added, knobs, found), *_in_pairs(added, pairs, found)]


def _far(audition: Audition) -> Setting:
    """Each control that the mods add, where it does what it is for: as the audition compares, else its far end."""
    found: Setting = {}
    for name, control in audition.modded.controls.items():
        if name in audition.stock.controls:
            continue
        other = [each for each in control.positions if each != control.drawn]
        far: float | str = other[-1] if control.kind == "switch" else 1.0 if float(control.drawn) < 0.5 else 0.0
        wanted = audition.compare_at.get(name, far)
        found[name] = far if wanted == control.drawn else wanted
    return found


def _key(setting: Setting) -> tuple[tuple[str, float | str], ...]:
    return tuple(sorted(setting.items()))


Levels = dict[tuple[tuple[str, float | str], ...], "np.ndarray[tuple[int, ...], np.dtype[np.float64]]"]


def _by_knob(added: Setting, knobs: Sequence[str], found: Levels) -> Iterator[str]:
    alike = []
    for name, value in added.items():
        best, most = "", _TELLING
        for knob in knobs:
            effects = [found[_key({knob: t, name: value})] - found[_key({knob: t})] for t in (_LOW, _HIGH)]
            moved = np.abs(effects[1] - effects[0])
            place = int(np.argmax(moved))
            if moved[place] > most:
                most = float(moved[place])
                low, high = (in_decibels(float(each[place]), sign=True) for each in effects)
                best = (
                    f"What {setting_clause(name, value)} does hangs on the {knob} knob: "
                    f"at {in_hertz(AT[place])} it brings "
                    f"{low} with {setting_clause(knob, _LOW)} and {high} with {setting_clause(knob, _HIGH)}."
                )
        if best:
            yield best
        else:
            alike.append(setting_clause(name, value))
    if alike:
        verb = "does" if len(alike) == 1 else "do"
        yield f"{' and '.join(alike)} {verb} much the same wherever the amp's own knobs stand."


def _in_pairs(added: Setting, pairs: Sequence[tuple[str, str]], found: Levels) -> Iterator[str]:
    bare = found[()]
    for one, other in pairs:
        singly = [found[_key({name: added[name]})] - bare for name in (one, other)]
        both = found[_key({one: added[one], other: added[other]})] - bare
        both_say = " and ".join(
            f"{in_decibels(float(level), sign=True)} at {in_hertz(at)}" for level, at in zip(both, AT, strict=True)
        )
        away = both - singly[0] - singly[1]
        place = int(np.argmax(np.abs(away)))
        how = "what each brings alone, added up"
        if abs(away[place]) > _ADDS:
            much = in_decibels(abs(float(away[place])))
            side = "more" if away[place] > 0.0 else "less"
            how = f"at {in_hertz(AT[place])} that is {much} {side} than the two alone would add up to"
        pair = " together with ".join(setting_clause(name, added[name]) for name in (one, other))
        yield f"{pair}: {both_say}; {how}."
