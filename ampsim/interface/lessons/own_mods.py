"""The mods of a lesson: those of the demo amp, or of the shop's own amp the ones by role that fit it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from ...base.e_series import preferred_values
from ...base.errors import DescriptionError
from ...base.notebook import say
from ...base.quantities import FARAD, OHM, format_value
from ...base.wording import join_words
from ...circuit.amp import Amp, Edit, Mod, Part, Pot
from ...circuit.designators import part_of
from ...circuit.landing.choosing import ManyPlaces
from ...circuit.landing.order import GAIN
from ...circuit.landing.site import site_of
from ...circuit.mods import touched_designators
from ...library.fits import check_wiring
from ...library.landing import apply_mods, land, narrowed
from ...library.loader import load_amp, load_mod
from ...studies.audition_request import Audition, default_audition
from .own_amp import gain_stage, shop_amp

BY_ROLE: Mapping[str, tuple[str, ...]] = {
    "bright-switch": (
        "bright-capacitors",
        "some-bypass",
        "bypass-full-half-off",
        "presence-control",
        "tighter-coupling",
    ),
    "cathode-switch": ("cold-stage-to-warm", "bypass-full-half-off", "some-bypass", "larger-first-plate-load"),
    "depth": ("depth-control", "feedback-off", "less-feedback"),
    "partial-bypass": ("some-bypass", "bypass-full-half-off", "tighter-coupling"),
}
"""To each mod of the demo amp the mods that show the same, or something like it, in any amp; nearest first."""

_LEVEL = 0.3  # a bright capacitor does most with the level turned down
_TURNED_UP = 0.7
_NEIGHBOURS = (0.39, 1.0, 1.8, 3.3, 8.2)
_SPAN = (0.39, 8.2)
_TRIED = ("fit", "replace")


@dataclass(frozen=True)
class Lesson:
    """What a lesson shows: an amp as drawn, and a mod to each of its subjects that has one there.

    Attributes
    ----------
    stock
        The amp as drawn.
    mods
        By subject, which is the name of the demo amp's mod; those that fit, landed in this amp.
    demo
        Name of the amp on which subjects are shown that have no mod here.
    subjects
        All that the lesson is about.
    """

    stock: Amp
    mods: Mapping[str, Mod]
    demo: str
    subjects: tuple[str, ...]

    @cached_property
    def modded(self) -> Amp:
        """The amp with all of its mods."""
        return apply_mods(self.stock, *self.mods.values())

    def on(self, subject: str) -> Lesson:
        """The lesson where a subject is shown: this one, or the demo amp's where nothing fits here, which it says."""
        if subject in self.mods:
            return self
        other = _of_demo(self.demo, self.subjects)
        say(f"Nothing like '{load_mod(subject).name}' fits {self.stock.name}: this is {other.stock.name}.")
        return other

    def controls(self, *subjects: str) -> list[str]:
        """The controls that mods bring, in their order; of all mods where no subject is named."""
        return [name for each in subjects or self.subjects if each in self.mods for name in _brought(self.mods[each])]

    def known(self, *controls: str) -> list[str]:
        """Of some controls those that the amp as drawn has."""
        return [name for name in controls if name in self.stock.controls]

    @cached_property
    def level(self) -> str | None:
        """The control of the first level pot; None where the amp has none."""
        site = site_of(self.stock)
        names = (site.control(each.designator) for each in site.signal.level_pots)
        return next((name for name in names if name in self.stock.controls), None)

    def level_at(self, rotation: float) -> dict[str, float | str]:
        """The first level pot at a rotation [0 to 1]; nothing where the amp has none."""
        return {self.level: rotation} if self.level else {}

    @property
    def middle(self) -> dict[str, float | str]:
        """The level turned down, each switch of the mods in the middle, each of their knobs at 0.7 [ratio]."""
        known = self.modded.controls
        return self.level_at(_LEVEL) | {
            name: known[name].positions[len(known[name].positions) // 2] if known[name].kind == "switch" else _TURNED_UP
            for name in self.controls()
        }

    @property
    def values(self) -> dict[str, tuple[str, str, str]]:
        """The first capacitor that the mods bring with the values to try, as `explore` takes them; or resistor."""
        brought = [part for mod in self.mods.values() for part in mod.parts if isinstance(part, Part)]
        for kind, quantity, series in (("capacitor", FARAD, "E6"), ("resistor", OHM, "E12")):
            for part in (each for each in brought if each.kind == kind):
                least, most = (format_value(_near(part.value * each, series), quantity) for each in _SPAN)
                return {part.designator: (least, most, series)}
        return {}

    def valve(self, subject: str) -> str:
        """Designator of the valve of the gain stage that a mod touches; of the first where it touches none."""
        touched = _touched(self.mods[subject]) if subject in self.mods else set[str]()
        for thing in site_of(self.stock).of(GAIN):
            if thing.stage and touched & thing.designators:
                return str(thing.stage.valves[0].designator)
        return gain_stage(self.stock)

    def neighbours(self, subject: str) -> str:
        """Values beside that of the capacitor of a mod, as `read_candidates` takes them; "" where it has none."""
        values = {part.designator: part.value for part in self.stock.parts if isinstance(part, Part)}
        mod = self.mods[subject]
        values |= {part.designator: part.value for part in mod.parts if isinstance(part, Part)}
        own = {part.designator for part in mod.parts}
        lifted = [each.part for each in mod.every_edit() if each.action == "lift" and each.part.startswith("C")]
        for edit in (each for each in mod.every_edit() if each.part.startswith("C") and each.action in _TRIED):
            if {part_of(place) for place in (edit.across, *edit.places)} & own:
                continue
            value = edit.value if isinstance(edit.value, float) else values[edit.part]
            listed = ", ".join(format_value(_near(value * each, "E12"), FARAD) for each in _NEIGHBOURS)
            if edit.action == "replace" or lifted:  # what is fitted takes the place of what is lifted
                return f"{(lifted or [edit.part])[0]} = {listed}"
            return f"{listed} or none {_where(edit, mod)}"
        return ""

    @property
    def audition(self) -> Audition:
        """All mods against the amp as drawn, compared in the middle."""
        return replace(default_audition(self.stock, self.modded), compare_at=self.middle)


def lesson_mods(demo: str, *subjects: str) -> Lesson:
    """The mods of a lesson on the shop's own amp, where AMPSIM_AMP names one; else those of the demo amp.

    What is taken in place of a subject's own mod is printed with the reason, and so is what nothing fits for.

    Parameters
    ----------
    demo : str
        Name of the amp that the lesson is written for.
    *subjects : str
        Names of its mods, as in `BY_ROLE`.

    Raises
    ------
    DescriptionError
        As `shop_amp`.
    """
    own = shop_amp()
    if own is None:
        return _of_demo(demo, subjects)
    found: dict[str, Mod] = {}
    for subject in subjects:
        mod, refused = _choose(own, BY_ROLE[subject], list(found.values()))
        name = f"'{load_mod(subject).name}'"
        say(f"{name}: for {own.name} this lesson shows '{mod.name}' at {_parts(mod)}." if mod
            else f"{name}: nothing like it fits {own.name}.")  # fmt: skip
        for reason in dict.fromkeys(refused.values()):
            names = [f"'{name}'" for name, each in refused.items() if each == reason]
            say(f"- {join_words(names)} {'does' if len(names) == 1 else 'do'} not fit: {reason}.")
        if mod:
            found[subject] = mod
    if found:
        return Lesson(own, found, demo, subjects)
    say(f"This lesson goes on with {load_amp(demo).name}.")
    return _of_demo(demo, subjects)


def fit_what_fits(amp: Amp, *mods: str) -> Amp:
    """The amp with those of some mods that fit it and bring no control that it has; the others are told.

    Parameters
    ----------
    amp : Amp
    *mods : str
        Names of mods that say their places by what they are.
    """
    for name in mods:
        mod = load_mod(name)
        if set(_brought(mod)) & set(amp.controls):
            continue
        try:
            amp = apply_mods(amp, mod)
        except DescriptionError as problem:
            print(f"{mod.name} is left out: {problem}.")
    return amp


def settings_of(amp: Amp, wanted: Mapping[str, float | str]) -> dict[str, float | str]:
    """Of some settings (rotations 0 to 1 [ratio]) those of controls that an amp has."""
    return {name: value for name, value in wanted.items() if name in amp.controls}


def _of_demo(demo: str, subjects: Sequence[str]) -> Lesson:
    return Lesson(load_amp(demo), {each: load_mod(each) for each in subjects}, demo, tuple(subjects))


def _choose(own: Amp, names: Sequence[str], before: Sequence[Mod]) -> tuple[Mod | None, dict[str, str]]:
    """The first of some mods that goes with an amp and the mods before, landed; why those ahead of it do not."""
    refused: dict[str, str] = {}
    for name in names:
        mod = load_mod(name)
        if mod.name in {each.name.partition(" at ")[0] for each in before}:
            continue
        try:
            landed = _landed(own, mod)
            for control in _brought(landed):
                if control in own.controls:
                    raise DescriptionError(f"{own.name} has a control '{control}' already")
            check_wiring(apply_mods(own, *before, landed))
        except DescriptionError as problem:
            refused[mod.name] = str(problem).removeprefix(f"{mod.file}: ")
        else:
            return landed, refused
    return None, refused


def _landed(own: Amp, mod: Mod) -> Mod:
    """A mod landed in an amp; at the first of the places where there are several."""
    try:
        return land(own, mod)
    except ManyPlaces as problem:
        return land(own, narrowed(mod, problem.at[0]))


def _brought(mod: Mod) -> list[str]:
    return [each.control for each in mod.switches] + [part.control for part in mod.parts if isinstance(part, Pot)]


def _touched(mod: Mod) -> set[str]:
    places = {place for edit in mod.every_edit() for place in (edit.across, *edit.places)}
    return {part_of(each) for each in (*touched_designators(mod), *places)} - {""}


def _where(edit: Edit, mod: Mod) -> str:
    """Where a mod fits a part, as candidates say it; past what it fits in a row with it."""
    if edit.across:
        return f"across {edit.across}"
    if not edit.between:
        return f"in series at {edit.in_series}"
    ends = []
    for place in edit.between:
        others = [each for each in mod.every_edit() if each is not edit and place in (each.between or ())]
        beyond = [end for each in others for end in each.between or () if end != place]
        ends.append(beyond[0] if place in mod.nets and beyond else place)
    return f"between {ends[0]} and {ends[1]}"


def _parts(mod: Mod) -> str:
    return join_words(list(dict.fromkeys(part_of(place) for _, place in mod.landing)))


def _near(value: float, series: str) -> float:
    """The value of an E series nearest to one, by ratio [SI unit]."""
    return min(preferred_values(series, value / 2, value * 2), key=lambda each: max(each / value, value / each))
