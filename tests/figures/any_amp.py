"""Amps and mods of any kind through every command, and what must hold for each: shares of those where it does not.

`python -m tests.figures.any_amp --count 20 --first 0` tries some and prints every fault. Each amp takes one mod, the
kinds in turn; quick commands run for all of them, the long ones take turns.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ampsim.circuit.stages import TEMPLATES
from ampsim.studies.topics import TOPICS
from tests.figures.figure import Figure, Scale
from tests.tools import any_invariants as invariants
from tests.tools.any_mods import MadeMod, single_mods
from tests.tools.every_command import GROUPS, Ran, consequences, run_group, write_files, write_measurements

SEED = 13
# Every how many amps a group of commands or a check has its turn; those that are not named run for all.
TURNS = {"auditioning": 5, "finding": 4, "listening": 12, "job": 6, "record": 24}
EQUAL = ("stability", "noise", "ratings", "stability", "pop", "stability", "blocking", "headroom")


@dataclass
class Count:
    """What was tried and what was wrong, by what must hold."""

    amps: int = 0
    kinds: set[str] = field(default_factory=set)
    templates: set[str] = field(default_factory=set)
    tried: Counter[str] = field(default_factory=Counter)
    wrong: dict[str, list[str]] = field(default_factory=dict)
    texts: list[Ran] = field(default_factory=list)
    _shown: set[str] = field(default_factory=set)

    def hold(self, what: str, mod: MadeMod, faults: Callable[[], Iterator[str]]) -> None:
        """Try one thing; whatever it gives is a fault, and so is an exception."""
        self.tried[what] += 1
        try:
            found = list(faults())
        except Exception:
            found = [traceback.format_exc(limit=-2)]
        self.wrong.setdefault(what, []).extend(f"{mod!r}: {each}" for each in found[:3])

    def news(self) -> list[str]:
        """Faults since the last call."""
        found = [f"{what}: {each}" for what, faults in self.wrong.items() for each in faults]
        new = [each for each in found if each not in self._shown]
        self._shown |= set(new)
        return new


def try_one(mod: MadeMod, turn: int, count: Count, folder: Path) -> None:
    """All that has its turn, for one amp with a mod."""
    count.amps += 1
    count.kinds.add(mod.kind)
    count.templates |= {stage.template for stage in mod.amp.amp.stages}
    files = write_files(mod, folder)
    groups = [name for name in GROUPS if name != "consequences" and turn % TURNS.get(name, 1) == 0]
    if "job" in groups:
        write_measurements(mod, files)
    for name in groups:
        for ran in run_group(name, files):
            _note(count, mod, ran)
    topic = TOPICS[turn % len(TOPICS)]
    for ran in consequences(files, [topic]):
        _note(count, mod, ran)
    _check(mod, turn, topic, count)


def _note(count: Count, mod: MadeMod, ran: Ran) -> None:
    count.texts.append(ran)
    count.hold("commands that end", mod, lambda: iter([f"{ran.command}: {ran.traceback}"] if ran.traceback else []))
    count.hold(
        "commands that do what is asked",
        mod,
        lambda: iter([f"{ran.command}: {ran.refusal}"] if ran.refusal and not _rightly_refused(mod, ran) else []),
    )


def _rightly_refused(mod: MadeMod, ran: Ran) -> bool:
    """Whether a command says that the amp oscillates, and it does."""
    return "oscillates by itself" in ran.refusal and any(map(invariants.swings_by_itself, (mod.amp.amp, mod.modded)))


def _check(mod: MadeMod, turn: int, topic: str, count: Count) -> None:
    count.hold("wiring read back is the circuit", mod, lambda: invariants.wiring_reads_back(mod))
    count.hold("healthy amps pass", mod, lambda: invariants.healthy_amps_pass(mod, turn))
    if turn % 3 == 0:
        count.hold("healthy sweeps pass at every source", mod, lambda: invariants.healthy_sweeps_pass(mod, turn))
    # How far an oscillation gets hangs on the last digits.
    steady = not any(map(invariants.swings_by_itself, (mod.amp.amp, mod.modded)))
    equal = EQUAL[turn % len(EQUAL)] if steady else "stability"
    count.hold("equal circuits, equal verdicts", mod, lambda: invariants.equal_circuits_agree(mod, equal, 2))
    count.hold("settings named matter", mod, lambda: invariants.settings_matter(mod, topic))
    for each in {"stability", topic}:
        count.hold("not known for a reason", mod, lambda each=each: invariants.unknown_has_a_reason(mod, each))


def run(amps: int, first: int = 0, progress: bool = False) -> Count:
    """Try so many amps with a mod each."""
    count = Count()
    for turn, mod in enumerate(single_mods(amps, SEED, first), first):
        with tempfile.TemporaryDirectory() as folder:
            try_one(mod, turn, count, Path(folder) / "bench")
        for line in count.news():
            print(f"\rfigures: any amp: {line}", file=sys.stderr, flush=True)
        if progress:
            print(f"\r{count.amps} of {amps} amps", end="", file=sys.stderr, flush=True)
    if progress:
        print(file=sys.stderr)
    return count


def any_amp(scale: Scale) -> Iterator[Figure]:
    """Amps and mods by lot through every command; equal circuits, equal verdicts."""
    wanted = scale.amps // 10
    count = run(wanted, progress=True)
    whole = count.templates == set(TEMPLATES) and len(count.kinds) >= min(20, wanted)
    value = f"{count.amps}, {len(count.kinds)} kinds of mod, {len(count.templates)} of {len(TEMPLATES)} templates"
    yield Figure("any amp: amps with a mod, over all templates", value, f">= {wanted}, 20, all", whole)
    for what, tried in count.tried.items():
        faults = count.wrong.get(what, [])
        wrong = len({each.partition(">>")[0] for each in faults})
        share = 100.0 * (1.0 - wrong / tried)
        yield Figure(f"any amp: {what}", f"{share:.1f} % of {tried}", "100 %", not faults)


SECTIONS = (any_amp,)


def main() -> int:
    """Try some amps and print every fault."""
    parser = argparse.ArgumentParser(description="any amp through every command")
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="number of the first amp")
    parser.add_argument("--texts", type=Path, help="file for all that the commands print, to be read as a user would")
    given = parser.parse_args()
    count = run(given.count, given.first, progress=True)
    if given.texts:
        given.texts.write_text(
            "\n".join(f"##### {each.command}\n{each.text}{each.refusal}" for each in count.texts), "utf-8"
        )
    for what, tried in count.tried.items():
        print(f"{what}: {tried} tried, {len(count.wrong.get(what, []))} faults")
    return 1 if any(count.wrong.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
