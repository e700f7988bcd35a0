"""One amp as places are looked for in it: its stages, pots and networks, each with the parts at their jobs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

from ...base.errors import DescriptionError
from ...base.wording import join_words, plain
from ..amp import Amp
from ..build import build_circuit
from ..output_stage import output_transformers
from ..source import DRAWN_SOURCE
from ..stages.template import Element
from .jobs import JOBS, PINS, SIDE_PLATES, drive
from .networks import feedback_lines, lugs_of, stacks
from .order import FOLLOWER, GAIN, INVERTER, OUTPUT, Stage
from .signal import Signal
from .spots import Spot
from .ways import RESISTIVE, Ways
from .words import LINE, ORDINALS, POT, RAIL, STACK, TRANSFORMER, Phrase


class NoPlace(DescriptionError):
    """An amp has no such place; the message says why and what there is."""


@dataclass(frozen=True, eq=False)
class Thing:
    """What places are known by in an amp: a stage, a pot, a network; `label` says which one it is."""

    label: str
    kind: str
    jobs: Mapping[str, tuple[Spot, ...]]
    stage: Stage | None = None

    @property
    def designators(self) -> frozenset[str]:
        """Designators of all parts that do something for it."""
        return frozenset(part for spots in self.jobs.values() for each in spots for part in each.parts)

    def parts_in_words(self) -> str:
        """Its parts at their jobs, in words."""
        found = [f"{job or 'itself'} {join_words([each.designator for each in spots])}"
                 for job, spots in self.jobs.items() if spots and job not in (*PINS, *SIDE_PLATES, "foot")]  # fmt: skip
        return ", ".join(found) or "nothing that is known"


@dataclass(frozen=True, eq=False)
class Site:
    """An amp as drawn, with its own source plugged in; mods fitted to it do not move its places."""

    amp: Amp

    @cached_property
    def signal(self) -> Signal:
        """Its stages and the ways between them."""
        return Signal(Ways(build_circuit(self.amp)))

    @cached_property
    def things(self) -> tuple[Thing, ...]:
        """Everything that places are known by, in signal order."""
        return (*self._stages(), *self._pots(), *self._networks(), *self._supply())

    def of(self, kind: str) -> tuple[Thing, ...]:
        """The things of a kind."""
        return tuple(each for each in self.things if each.kind == kind)

    def _stages(self) -> list[Thing]:
        order = self.signal.order
        depths = {kind: sorted({each.depth for each in order.stages if each.kind == kind}) for kind in (GAIN, FOLLOWER)}
        found = []
        for stage in order.stages:
            label = {INVERTER: "inverter", OUTPUT: f"output valve{f', side {stage.side}' if stage.side else ''}"}.get(
                stage.kind
            )
            if label is None:
                ordinal = ORDINALS[min(depths[stage.kind].index(stage.depth), len(ORDINALS) - 1)]
                label = f"{ordinal} {'stage' if stage.kind == GAIN else 'follower'}"
            found.append(Thing(f"{label} ({stage.names})", stage.kind, self._jobs_of(stage), stage))
        return found

    def _jobs_of(self, stage: Stage) -> dict[str, tuple[Spot, ...]]:
        first, last = stage.valves[0], stage.valves[-1]
        lugs = {"grid": first, "cathode": first, "plate": last, "screen": last}
        if stage.kind == INVERTER:
            sides = {f"plate {self.signal.order.side_of(each)}": each for each in stage.valves}
            lugs = {
                "grid": first,
                "cathode": first,
                **{name: each for name, each in sides.items() if name in SIDE_PLATES},
            }
        named = ((lug, lug.partition(" ")[0], valve) for lug, valve in lugs.items())
        found = {lug: (Spot(f"{valve.designator}.{pin}"),) for lug, pin, valve in named if pin in dict(valve.pins)}
        return found | {
            name: tuple(job.spots(self.signal, stage)) for name, job in JOBS.items() if stage.kind in job.owners
        }

    def _pots(self) -> list[Thing]:
        levels = {
            each.designator: f"{ORDINALS[min(number, 8)]} level pot"
            for number, each in enumerate(self.signal.level_pots)
        }
        pots = [each for each in self.signal.ways.parts if each.kind == "pot"]
        pots.sort(
            key=lambda each: ([*levels].index(each.designator) if each.designator in levels else 99, each.designator)
        )
        return [Thing(f"{self._words(each, levels)} ({each.designator})", POT, {"": (lugs_of(each),)}) for each in pots]

    def _words(self, pot: Element, levels: Mapping[str, str]) -> str:
        words = f"{self.control(pot.designator)} pot"
        return f"{words}, the {levels[pot.designator]}" if pot.designator in levels else words

    def control(self, designator: str) -> str:
        """The name of the control that a pot belongs to."""
        return next((each.name for each in self.amp.controls.values() if designator in each.designators), "")

    def _networks(self) -> list[Thing]:
        found = [
            Thing("stack", STACK, {name: tuple(spots) for name, spots in each.items()}) for each in stacks(self.signal)
        ]
        return found + [
            Thing("feedback line", LINE, {name: tuple(spots) for name, spots in each.items()})
            for each in feedback_lines(self.signal)
        ]

    def _supply(self) -> list[Thing]:
        ways, found = self.signal.ways, dict[str, str]()
        for stage in (each for each in self.signal.order.stages if each.kind == OUTPUT):
            net = drive(self.signal, stage)
            nets = ways.hops([net], RESISTIVE)
            ends = {other for one in nets for part in ways.at(one, *RESISTIVE) for _, other in part.pins}
            found |= {ways.rails[each]: each for each in sorted(ends) if each in ways.rails}
        rails = [Thing(f"bias rail ({name})", RAIL, {"": (Spot(name),)}) for name in found]
        coils = output_transformers(ways.wired)
        return rails + [
            Thing(f"output transformer ({each.designator})", TRANSFORMER, {"": (lugs_of(each),)}) for each in coils
        ]

    def candidates(self, phrase: Phrase) -> tuple[tuple[Thing, ...], ...]:
        """What the head of a phrase may mean, each time all of it ("each output valve": as many as there are).

        Raises
        ------
        NoPlace
            When there is none.
        """
        if phrase.thing == "level pot":
            pots = [each.designator for each in self.signal.level_pots]
            every = [each for each in self.of(POT) if each.jobs[""][0].designator in pots]
        elif phrase.thing == POT:
            every = [each for each in self.of(POT) if self.control(each.jobs[""][0].designator) == phrase.control]
        else:
            every = list(self.of(phrase.thing))
        chosen: Sequence[tuple[Thing, ...]]
        if phrase.which == "each":
            chosen = [tuple(every)] if every else []
        elif phrase.which.startswith("side"):
            chosen = [(each,) for each in every if each.stage and each.stage.side == phrase.which[-1]][:1]
        else:
            chosen = [(each,) for each in _numbered(every, phrase.which)]
        if not chosen:
            head = plain(phrase.head.removeprefix("each "))
            raise NoPlace(f"{self.amp.name} has no {head}; {self._what_there_is(phrase)}")
        return tuple(chosen)

    def _what_there_is(self, phrase: Phrase) -> str:
        kind = POT if phrase.thing == "level pot" else phrase.thing
        others = (each.label.partition(" (")[0].partition(",")[0] for each in self.things if each.kind != POT)
        labels = [each.label for each in self.of(kind)] or [*dict.fromkeys(others)]
        return f"it has {join_words(labels)}" if labels else "nothing of it is known by what it does"

    def spots(self, phrase: Phrase, thing: Thing) -> tuple[Spot, ...]:
        """The parts that a phrase means of a thing.

        Raises
        ------
        NoPlace
            When it has none, with what it has.
        """
        if phrase.thing == TRANSFORMER:
            return self._of_transformer(phrase, thing)
        found = thing.jobs.get(phrase.job, ())
        if not found:
            job = JOBS[phrase.job].words if phrase.job in JOBS else phrase.job
            raise NoPlace(f"the {thing.label} of {self.amp.name} has no {job}; it has {thing.parts_in_words()}")
        return found

    def nets_of(self, spot: Spot) -> set[str]:
        """The nets that a part is on."""
        parts = (*self.signal.ways.parts, *self.signal.ways.wired.elements)
        return {net for each in parts if each.designator == spot.designator for _, net in each.pins}

    def _of_transformer(self, phrase: Phrase, thing: Thing) -> tuple[Spot, ...]:
        (whole,) = thing.jobs[""]
        if phrase.job and phrase.job not in dict(whole.ends):
            raise NoPlace(
                f"the {thing.label} of {self.amp.name} has no {phrase.job}; it has {join_words([*dict(whole.ends)])}"
            )
        return (Spot(whole.place(phrase.job)),) if phrase.job else (whole,)


def _numbered(things: list[Thing], which: str) -> list[Thing]:
    """The things of one number in signal order; those that stand side by side have the same."""
    if which in ("", "any"):
        return things
    ranks = [each.stage.depth if each.stage else number for number, each in enumerate(things)]
    order = sorted(set(ranks))
    wanted = len(order) - 1 if which == "last" else ORDINALS.index(which)
    return [
        each for each, rank in zip(things, ranks, strict=True) if 0 <= wanted < len(order) and rank == order[wanted]
    ]


@lru_cache(maxsize=64)
def site_of(amp: Amp) -> Site:
    """An amp as places are looked for in it."""
    return Site(replace(amp, mods=(), source=DRAWN_SOURCE, unplugged=()))
