"""The steps at the iron carried out one by one, from their words: what a meter reads on the amp as it then is.

Which lugs there are, and what was soldered before, comes from the wiring; what is done when, from the words alone.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from ampsim.circuit.amp import Amp
from ampsim.circuit.build import SPEAKER, Circuit
from ampsim.circuit.dc_paths import ohms_between, unpowered_amp
from ampsim.circuit.nets import Nets
from ampsim.circuit.plugging import plug_in
from ampsim.circuit.positions import every_setting
from ampsim.circuit.source import Source, SourceKind
from ampsim.circuit.stages.template import GROUND, Element
from ampsim.simulation.analyses import OperatingPoint
from ampsim.simulation.netlist import write
from ampsim.work.steps.checks import Check
from ampsim.work.steps.cold_readings import knobs_down
from ampsim.work.steps.soldering import iron_steps
from ampsim.work.steps.step import Step
from ampsim.work.wiring.from_to import Wire, Wiring
from ampsim.work.wiring.readback import read_back, wiring


@dataclass(frozen=True)
class Reading:
    """A check of a step, and what a meter reads at its lugs on the amp as it is by then [ohm]."""

    step: Step
    check: Check
    ohms: float


class _Bench:
    """The amp on the bench: what is out, off and soldered so far."""

    def __init__(self, modded: Amp) -> None:
        self.amp = plug_in(modded, Source(SourceKind.NOTHING)) if modded.jacks else modded
        self.wired: Wiring = wiring(self.amp)
        self.values = self._values()
        self.gone = set(self.wired.taken_out)
        self.out: set[str] = set()
        self.off: set[str] = set()
        self.done: list[Wire] = []

    def _values(self) -> dict[str, float]:
        """The ohms of every part, by its name in the list, in whatever position it is in use."""
        found: dict[str, float] = {}
        for switches in every_setting(self.amp):
            stands = {**knobs_down(self.amp), **dict(switches)}
            circuit = read_back(self.wired, switches)
            found |= write(circuit, self.amp.setting(stands), OperatingPoint(), (SPEAKER,)).value_by_part
        return found

    def work(self, step: Step, loose: set[str]) -> None:
        """Do what the words of a step say; of `loose` lugs a step of their own says that they come off."""
        self.out |= set(re.findall(r"Take out (\w+) \(", step.do))
        self.out -= {name for pair in re.findall(r"(?:Fit|and) (\w+) \(|Wire (\w+):", step.do) for name in pair}
        self.off |= {lug for lug, _ in self.wired.unsoldered if lug not in loose or f"Take {lug} off" in step.do}
        self.done += [wire for wire in self.wired.wires if wire not in self.done and _told(step.do, wire)]

    def ohms(self, what: str, stands: Mapping[str, float | str]) -> float:
        """What a meter reads between the lugs of "R7.1 to ground" [ohm]."""
        nets = Nets()
        for places in self.wired.before:
            kept = [each for each in places if each not in self.off and each.partition(".")[0] not in self.gone]
            for place in kept[1:]:
                nets.join(kept[0], place)
        for wire in self.done:
            nets.join(wire.start, wire.end)
        for switch in self.wired.switches:
            for pair in switch.closed(str(self.amp.setting(stands)[switch.control])):
                nets.join(*(f"{switch.designator}.{terminal}" for terminal in pair))
        ground = nets.find("ground")

        def net(place: str) -> str:
            return GROUND if nets.find(place) == ground else nets.find(place)

        elements = tuple(
            Element(part, kind, tuple((pin, net(f"{part}.{pin}")) for pin in pins), stage)
            for part, (kind, pins, stage) in self.wired.kinds.items() if part not in self.out
        )  # fmt: skip
        branches = unpowered_amp(Circuit(self.amp, elements, (), self.wired.parts, {}), self.values)
        place, _, against = what.partition(" to ")
        return ohms_between([branch for _, branch in branches if branch[0] != branch[1]], net(place), net(against))


def _told(words: str, wire: Wire) -> bool:
    """Whether a step says a joint: lug by lug, as a strap, or by a switch's terminals alone in its own step."""
    for start, end in ((wire.start, wire.end), (wire.end, wire.start)):
        if re.search(rf"{re.escape(start)} to {re.escape(end)}(?!\w|\.\w)", words) or f"{start} and {end} " in words:
            return True
        part, _, lug = start.partition(".")
        if f"{start} and {end.partition('.')[2]} strapped" in words and end.startswith(f"{part}."):
            return True
        own = re.search(rf"Wire {part}: (.*?)(?=\. |$)", words)
        short = end.removeprefix(f"{part}.")
        if own and re.search(rf"\b{lug} to (?:[^,;]* and )?(?:rail )?{re.escape(short)}(?=,|;| and|$)", own[1]):
            return True
    return False


def readings(stock: Amp, modded: Amp) -> Iterator[Reading]:
    """Every check in circuit of the steps at the iron, each read when it is asked for."""
    steps = list(iron_steps(stock, modded))
    bench = _Bench(modded)
    loose = {lug for lug, _ in bench.wired.unsoldered if any(f"Take {lug} off {at}" in step.do for step in steps
                                                             for _, at in bench.wired.unsoldered)}  # fmt: skip
    for step in steps:
        bench.work(step, loose)
        found = re.match(r"Set (.*) to (.*) and read, cold", step.do)
        stands = knobs_down(bench.amp) | ({found[1]: found[2]} if found else {})
        for check in step.checks:
            if check.place and check.place != SPEAKER:
                yield Reading(step, check, bench.ohms(check.what, stands))
