"""Which signal lines reach each stage of a drawing: those of the stage before, or those it names."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from ..base.errors import DescriptionError, nearest, shown
from .amp import Amp, Stage
from .nets import INPUT
from .source import FIRST_JACK
from .stages import TEMPLATES, Kind, stages_of
from .stages.template import net_word

_SECOND = re.compile(r"(?P<stage>.+) \((?P<number>[1-9])\)")


@dataclass
class Lines:
    """The lines of a drawing under way.

    `handed` is what each stage so far hands on, `reaching` what has reached it; `at_jacks` has, for every jack that
    lies in a line or begins one, the net behind it and the one before it ("" where it begins the line).
    """

    amp: Amp
    handed: dict[str, tuple[str, ...]] = field(default_factory=dict)
    reaching: dict[str, tuple[str, ...]] = field(default_factory=dict)
    at_jacks: dict[str, tuple[str, str]] = field(default_factory=dict)

    def reach(self, stage: Stage) -> tuple[str, ...]:
        """Lead the lines to a stage and return their nets.

        Raises
        ------
        DescriptionError
            When it needs more lines than there are, or names what is no stage, jack or place before it.
        """
        template = TEMPLATES[stage.template]
        before = next(reversed(self.handed.values()), ())
        if stage.inputs:
            before = tuple(net for name in stage.inputs for net in self._named(stage, name))
        elif template.inputs and not before:
            before = (INPUT,)
        lines = self._through_jacks(stage, before)
        if template.inputs > len(lines):
            raise self._fault(
                stage,
                f"({template.name}) needs {template.inputs} signal lines and has {len(lines)}; a phase inverter hands "
                'on two, and several are named as input = ["first channel", "second channel"]',
            )
        self.reaching[stage.name] = lines
        return lines

    def _named(self, stage: Stage, name: str) -> tuple[str, ...]:
        jacks = {each.name for each in self.amp.jacks if not each.tip and not each.before}
        if name in jacks and name in self.handed:
            raise self._fault(stage, f"input: {shown(name)} is a stage and a jack; give one of them another name")
        if name in jacks:
            return (self.at_jacks.setdefault(name, (f"_jack_{net_word(name)}", ""))[0],)
        if name in self.handed:
            return self.handed[name]
        one = _SECOND.fullmatch(name)
        if one and len(self.handed.get(one["stage"], ())) >= int(one["number"]):
            return (self.handed[one["stage"]][int(one["number"]) - 1],)
        if name == FIRST_JACK:
            plugged = [each for each in stages_of(self.amp, Kind.INSTRUMENT, Kind.SOURCE) if each in self.handed]
            return self.handed[plugged[-1]][:1] if plugged else (INPUT,)
        if "." in name:
            return (f"@{name}",)
        later = " comes later; a stage takes its signal from one before it" if name in self._stages() else ""
        known = (*self.handed, *jacks, FIRST_JACK)
        text = later or f" is no stage before it, no jack and no place{nearest(name, known)}"
        raise self._fault(stage, f"input: {shown(name)}{text}")

    def _stages(self) -> Iterator[str]:
        return (each.name for each in self.amp.stages)

    def _through_jacks(self, stage: Stage, lines: tuple[str, ...]) -> tuple[str, ...]:
        """The lines behind the jacks that lie before a stage."""
        for jack in self.amp.jacks:
            if jack.before == stage.name:
                if not lines:
                    raise DescriptionError(f"{self.amp.file}: jacks: {jack.name}: no signal reaches '{stage.name}'")
                behind = f"_jack_{net_word(jack.name)}"
                self.at_jacks[jack.name] = (behind, lines[0])
                lines = (behind, *lines[1:])
        return lines

    def _fault(self, stage: Stage, text: str) -> DescriptionError:
        return DescriptionError(f"{self.amp.file}: stage '{stage.name}' {text}")


def named_outputs(handed: Mapping[str, tuple[str, ...]]) -> dict[str, str]:
    """The net of every line that is handed on, the further ones of a stage as "stage (2)"."""
    return {
        name if number == 1 else f"{name} ({number})": net
        for name, nets in handed.items()
        for number, net in enumerate(nets, 1)
    }
