"""Tables of a mod whose places are said by what they are: which there are, and the same with designators."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from ..base.e_series import preferred_values
from ..base.errors import DescriptionError, shown
from ..base.quantities import FARAD, OHM, format_value
from ..circuit.amp import Amp, Part, Pot
from ..circuit.designators import body_of, kind_of
from ..circuit.landing.choosing import Landing
from ..circuit.landing.words import is_phrase, letter_of, parse_phrase

Tables = dict[str, Any]

# Keys of an edit whose values are places; where the part itself is meant, and not only its lugs.
_PLACES = ("replace", "lift", "bridge", "across", "between", "in_series_at", "pins", "cut", "move", "to", "rail")
_PART_ITSELF = ("replace", "lift", "bridge", "rail")
_TIMES = re.compile(r"times ([0-9]+(?:\.[0-9]+)?)(?: of (.+))?")
_SECTION = re.compile(r"([A-Z]+)([0-9]+)([A-Z]?)")


def edits_of(tables: Tables) -> Iterator[list[Tables]]:
    """The lists of edits of a mod's tables: those done always, and those of each switch position."""
    if isinstance(tables.get("edits"), list):
        yield tables["edits"]
    for switch in tables.get("switches", ()) if isinstance(tables.get("switches"), list) else ():
        positions = switch.get("positions") if isinstance(switch, dict) else None
        for edits in positions.values() if isinstance(positions, dict) else ():
            if isinstance(edits, list):
                yield edits


def places_wanted(tables: Tables) -> dict[str, bool]:
    """The places that a mod says by what they are, each with whether a part as such is meant."""
    own = {*_texts(tables.get("nets", ()))}
    found: dict[str, bool] = {}
    for edits in edits_of(tables):
        for edit in (each for each in edits if isinstance(each, dict)):
            for key in (key for key in _PLACES if key in edit):
                for text in _texts(edit[key]):
                    if is_phrase(text) and text not in own:
                        found[text] = found.get(text, False) or key in _PART_ITSELF
    shafts = [switch.get("shaft", "") for switch in _switches(tables)]
    for text in _texts([tables.get("parts", {}), shafts]):
        times = _TIMES.fullmatch(text)
        if is_phrase(text) or (times and times[2]):
            found[times[2] if times else text] = True
    return found


def _switches(tables: Tables) -> list[Tables]:
    given = tables.get("switches", ())
    return [each for each in given if isinstance(each, dict)] if isinstance(given, list) else []


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        yield from (text for each in value.values() for text in _texts(each))
    elif isinstance(value, list):
        yield from (text for each in value for text in _texts(each))


def trial_landing(places: Mapping[str, bool], file: str) -> Landing:
    """A landing in no amp, by which a mod's tables can be read before there is one."""
    found: Landing = {}
    parts: dict[tuple[str, str], str] = {}
    for text in places:
        phrase = parse_phrase(text, file)
        letter = letter_of(phrase)
        if phrase.thing == "bias rail":
            found[text] = ("bias",)
            continue
        part = parts.setdefault((phrase.head, phrase.job if letter else ""), f"{letter or 'V'}{9001 + len(parts)}")
        lug = phrase.end or (phrase.job if not letter else "")
        lug = phrase.job if letter == "T" else lug
        plain = {"top": "top", "wiper": "wiper", "bottom": "bottom"}.get(lug, lug if letter in ("", "T", "V") else "1")
        found[text] = (f"{part}.{plain}" if lug else part,)
    return found


def in_its_words(message: str, landing: Landing) -> str:
    """A message about a trial landing with the places as the mod says them."""
    for text, (place,) in sorted(landing.items(), key=lambda each: -len(each[1][0])):
        message = message.replace(place, text) if place != "bias" else message
    return message


def with_landing(
    tables: Tables, landing: Landing, taken: frozenset[str], value_of: Callable[[str], float], file: str
) -> Tables:
    """A mod's tables with designators in the place of what its places are.

    Parameters
    ----------
    tables : dict
        As the mod's file has them.
    landing : dict
        To each place as it is said the places of the amp.
    taken : frozenset of str
        Designators that are no longer free; parts of the mod called so get other numbers.
    value_of : callable
        The value of a part of the amp, or the volts of a rail [ohm, F, V].
    file : str
        For messages.

    Raises
    ------
    DescriptionError
        For a part that would be fitted in several places and is named besides.
    """
    done = copy.deepcopy({key: each for key, each in tables.items() if key != "expects"})
    done = dict(_renamed(_scaled(done, landing, value_of, file), _Brought(done, taken).names()))
    brought = _Brought(done, taken)
    for edits in edits_of(done):
        edits[:] = [new for edit in edits for new in _landed(edit, landing, brought, file)]
    for switch in _switches(done):
        if is_phrase(switch.get("shaft")):
            (switch["shaft"],) = landing[switch["shaft"]]
    done["landing"] = {text: [*places] if len(places) > 1 else places[0] for text, places in landing.items()}
    return done


def _landed(edit: object, landing: Landing, brought: _Brought, file: str) -> Iterator[Tables]:
    """One edit with its places found; several where one of them means several."""
    if not isinstance(edit, dict):
        yield edit  # type: ignore[misc]
        return
    count = max(
        (len(landing[text]) for key in _PLACES if key in edit for text in _texts(edit[key]) if text in landing),
        default=1,
    )
    seen: list[object] = []
    for number in range(count):
        one = {key: _at(each, landing, number) if key in _PLACES else each for key, each in edit.items()}
        where = {key: each for key, each in one.items() if key != "fit"}
        if where in seen:
            continue
        if seen and "fit" in one:
            one["fit"] = brought.copy_of(one["fit"], file)
        seen.append(where)
        yield one


def _at(value: Any, landing: Landing, number: int) -> Any:
    if isinstance(value, str):
        places = landing.get(value)
        return places[number if len(places) > 1 else 0] if places else value
    if isinstance(value, dict):
        return {key: _at(each, landing, number) for key, each in value.items()}
    return [_at(each, landing, number) for each in value] if isinstance(value, list) else value


class _Brought:
    """The parts that a mod brings, with copies where one edit means several places, and free designators for all."""

    def __init__(self, tables: Tables, taken: frozenset[str]) -> None:
        self.parts = tables.get("parts", {})
        self.own = [*self.parts, *(str(each.get("designator")) for each in _switches(tables))]
        self.taken = set(taken) | {body_of(each) for each in taken}
        edits = [edit for edits in edits_of(tables) for edit in edits if isinstance(edit, dict)]
        named = (text for edit in edits for key in _PLACES if key in edit for text in _texts(edit[key]))
        self.mentioned = [text.partition(".")[0] for text in named]

    def copy_of(self, part: object, file: str) -> str:
        """A designator for one more part of the same value."""
        if not isinstance(part, str) or part not in self.parts:
            raise DescriptionError(f"{file}: {shown(part)} is not in this file's [parts]")
        if part in self.mentioned or kind_of(part) == "pot":
            raise DescriptionError(f"{file}: {part} is fitted in several places, so nothing else can be tied to it")
        name = self._free(part, {*self.taken, *self.own})
        self.parts[name] = copy.deepcopy(self.parts[part])
        self.own.append(name)
        return name

    def names(self) -> dict[str, str]:
        """To each designator that is taken a free one; sections of one body stay together."""
        found: dict[str, str] = {}
        used = {*self.taken, *self.own}
        for name in self.own:
            if name in self.taken or body_of(name) in self.taken:
                body = next((new for old, new in found.items() if body_of(old) == body_of(name)), "")
                letters = _SECTION.fullmatch(name)
                section = letters[3] if letters else ""
                found[name] = f"{body_of(body)}{section}" if body else f"{self._free(name, used)}{section}"
                used |= {found[name], body_of(found[name])}
        return found

    @staticmethod
    def _free(name: str, used: set[str]) -> str:
        letters = _SECTION.fullmatch(name)
        start, own = (letters[1], int(letters[2])) if letters else ("R", 0)
        bodies = used | {body_of(each) for each in used}
        return next(
            f"{start}{number}" for number in range(max(own, 100) + 1, 99_999) if f"{start}{number}" not in bodies
        )


def _renamed(value: Any, names: Mapping[str, str]) -> Any:
    """Tables with other designators, as keys and as texts, with or without a lug."""
    if isinstance(value, dict):
        return {_renamed(key, names): _renamed(each, names) for key, each in value.items()}
    if isinstance(value, list):
        return [_renamed(each, names) for each in value]
    if isinstance(value, str):
        part, dot, lug = value.partition(".")
        return f"{names.get(part, part)}{dot}{lug}"
    return value


def _scaled(tables: Tables, landing: Landing, value_of: Callable[[str], float], file: str) -> Tables:
    """Values said as a multiple of what stands there ("times 1.5") worked out, to the nearest of the E24 series."""
    for edits in edits_of(tables):
        for edit in (each for each in edits if isinstance(each, dict)):
            for key, place in (("with", "replace"), ("volts", "rail")):
                times = _TIMES.fullmatch(edit[key]) if isinstance(edit.get(key), str) else None
                if times and isinstance(edit.get(place), str):
                    given = landing.get(edit[place], (edit[place],))
                    if len({value_of(each) for each in given}) > 1:
                        raise DescriptionError(
                            f"{file}: {' and '.join(given)} differ, so {shown(edit[key])} says no one value"
                        )
                    edit[key] = _written(given[0], _factor(times, file) * value_of(given[0]))
    parts = tables.get("parts", {})
    for name, given in parts.items() if isinstance(parts, dict) else ():
        times = _TIMES.fullmatch(given) if isinstance(given, str) else None
        if times and times[2]:
            parts[name] = _written(name, _factor(times, file) * value_of(landing[times[2]][0]))
    return tables


def _factor(times: re.Match[str], file: str) -> float:
    factor = float(times[1])
    if not 0.01 <= factor <= 100.0:
        raise DescriptionError(f"{file}: {shown(times[0])} is no multiple from 0.01 to 100")
    return factor


def _written(part: str, value: float) -> Any:
    if kind_of(part) not in ("resistor", "capacitor", "pot"):
        return f"{round(value, 1):g}"
    near = preferred_values("E24", value / 1.1, value * 1.1)
    best = min(near, key=lambda each: abs(each / value - 1.0))
    return format_value(best, FARAD if kind_of(part) == "capacitor" else OHM)


def value_in(amp: Amp) -> Callable[[str], float]:
    """What a part of an amp has as its value [ohm or F], or a rail as its volts [V]."""

    def value(name: str) -> float:
        part = amp.part_by_designator.get(name)
        if isinstance(part, (Part, Pot)):
            return part.value
        volts = next((each.volts for each in amp.rails if each.name == name), None)
        if volts is None:
            fed = next((f"rail {name} is fed from {each.fed_from}" for each in amp.rails if each.name == name), "")
            raise DescriptionError(
                f"{amp.name}: {fed or f'{name} has no value'}, so there is nothing to take a multiple of"
            )
        return volts

    return value


def trial_value(name: str) -> float:
    """A usual value of a part, for tables that are read without an amp [ohm, F or V]."""
    return {"capacitor": 1e-9, "pot": 1e6, "resistor": 1e4}.get(kind_of(name), -30.0)
