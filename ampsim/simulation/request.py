"""What is asked: amps at positions of their controls, the axes of the answer, and whose answer is whose."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from ..base.errors import DescriptionError, EngineError, nearest, shown
from ..base.progress import Progress
from ..base.quantities import HENRY, with_unit
from ..circuit.amp import Amp
from ..circuit.build import Circuit, circuit_at
from ..circuit.positions import Position, control_coords, position_label
from ..circuit.transformer import Transformer
from .netlist import Netlist
from .ngspice import engine

# A share of the usual leakage from which on a clipped stage takes no more than some steps to each of the analysis.
_LEAST_LEAKAGE = 0.02


@dataclass(frozen=True)
class Case:
    """One amp at one position of its controls."""

    amp: Amp
    position: Position

    @property
    def name(self) -> str:
        """Amp, variant and position, as messages say them."""
        return f"{self.amp.name}, {self.amp.variant}, {position_label(self.position)}"

    @cached_property
    def setting(self) -> dict[str, float | str]:
        """Where every control stands; those that the position does not name stand as drawn."""
        return self.amp.setting(self.position)

    @property
    def wired(self) -> Circuit:
        """The circuit with its switches as the position says."""
        return circuit_at(self.amp, self.position)

    def arrays(self, outcome: engine.Outcome, analysis: str = "") -> engine.Arrays:
        """The numbers of an outcome of this case.

        Raises
        ------
        EngineError
            When ngspice gave none; the message names the case, and the analysis where one is named.
        """
        if isinstance(outcome, EngineError):
            where = f"{self.name}, {analysis}" if analysis else self.name
            raise EngineError(f"{where}: {outcome}{why_hard(self.wired)}") from outcome
        return outcome


def why_hard(wired: Circuit) -> str:
    """What makes a circuit hard to solve in time, to be said when there is no answer; "" where nothing is known.

    With next to no leakage a transformer's windings and the capacitances on them ring so fast, once a valve cuts off,
    that a simulator takes hundreds of steps to each of its own: found by trial, with and without a bypassed cathode.
    """
    found = []
    for part in wired.parts.values():
        if isinstance(part, Transformer):
            usual = part.primary / (2.0 * math.pi * 80e3)
            if part.leakage < _LEAST_LEAKAGE * usual:
                leakages = f"{with_unit(part.leakage, HENRY)}; a usual one has about {with_unit(usual, HENRY)}"
                found.append(
                    f"\n  {part.designator} has next to no leakage ({leakages}): what rings on it when a valve cuts "
                    "off may be too fast to follow"
                )
    return "".join(found)


@dataclass(frozen=True)
class Request:
    """Variants of an amp, each at every one of the positions."""

    variants: list[Amp]
    positions: list[dict[str, float | str]]

    @property
    def cases(self) -> list[Case]:
        """Every variant at every position, in the order of an array with dims (variant, position)."""
        return [Case(amp, position) for amp in self.variants for position in self.positions]

    @property
    def shape(self) -> tuple[int, int]:
        """How many variants and positions."""
        return len(self.variants), len(self.positions)

    @property
    def labels(self) -> list[str]:
        """The positions in words."""
        return [position_label(position) for position in self.positions]

    def coords(self) -> dict[str, Any]:
        """Coordinates `variant` and `position`, and along position one for every control that was set."""
        return {
            "variant": [amp.variant for amp in self.variants],
            "position": self.labels,
            **control_coords(self.positions),
        }


def request(amps: Amp | Iterable[Amp], positions: Iterable[Position] = ({},)) -> Request:
    """One or more variants of an amp, and positions of their controls.

    Raises
    ------
    DescriptionError
        Without amps or positions, with two equal variants, or with a control that no amp has.
    """
    variants = [amps] if isinstance(amps, Amp) else list(amps)
    settings = [dict(position) for position in positions]
    if not variants or not settings:
        raise DescriptionError("nothing to simulate: give at least one amp and one position")
    names = [amp.variant for amp in variants]
    for name in names:
        if names.count(name) > 1:
            raise DescriptionError(f"two of the amps are both '{name}'; compare amps with different mods")
    known = {name for amp in variants for name in amp.controls}
    for name in (name for setting in settings for name in setting):
        if name not in known:
            raise DescriptionError(f"no amp here has a control {shown(name)}{nearest(name, known)}")
    return Request(variants, settings)


def answers(
    cases: Sequence[Case],
    netlists: Sequence[Netlist],
    analysis: str = "",
    workers: int | None = None,
    progress: Progress | None = None,
    kept: bool = False,
) -> list[engine.Arrays]:
    """Simulate netlists, of which some may be equal, and insist on an answer to each.

    Parameters
    ----------
    cases : sequence of Case
        Whose each netlist is.
    netlists : sequence of Netlist
    analysis : str
        What is being simulated, where a message should say so.
    workers, progress
        As `engine.run`.
    kept : bool
        Whether the answers to the whole call are kept, and fetched when it comes again (`kept_sweeps`).

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer to one of them; the message names the case.
    """
    if kept:
        from .kept_sweeps import run_kept

        outcomes = run_kept(netlists, progress)
    else:
        outcomes = engine.run_distinct(netlists, workers=workers, progress=progress)
    return [case.arrays(outcome, analysis) for case, outcome in zip(cases, outcomes, strict=True)]
