"""What valves and parts carry where several controls meet: at rest everywhere, driven where it may tell."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace

import xarray as xr

from ...base.progress import Progress
from ...circuit.positions import position_label
from ...simulation.facts import get
from ..combinations import combined_labels, where_it_tells, with_loudest
from ..findings import Finding, worst
from ..section import Examination
from ..settings import COMBINED
from .findings import ratings_findings
from .simulate import HARD, Known, stress

_OF_PARTS = ("rating", "DC")


def stressed(
    examined: Examination, outside: Collection[str], progress: Progress | None = None
) -> tuple[xr.Dataset, list[Finding]]:
    """What parts and valves carry at the positions and at the combinations that tell, with what is found of it.

    At rest and cold every combination is looked at, which takes little time. Driven are those at which that finds
    something worse than with fewer settings, and the loudest; where it tells, with each of their settings left out too.
    A finding at a combination is told where its grade is worse than that of the same thing with fewer settings, and
    then in its place.

    Parameters
    ----------
    examined : Examination
    outside : collection of str
        Parts that are none of the amp.
    progress : callable
        Called with (done, total).

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    chosen, known = with_loudest(examined, *(tone.frequency for tone in HARD)), Known()
    if examined.combined:
        rest = stress(examined.variants, examined.every, (), known=known).assign_attrs(combined_labels(examined))
        told = {each.position for each in _worse(rest, outside, lambda: _plain(rest, outside))}
        more = [each for each in examined.combined if position_label(each) in told and each not in chosen.combined]
        chosen = replace(chosen, combined=(*chosen.combined, *more))
    response = _driven(chosen, known, progress)
    plain, worse = _judged(response, outside)
    if closer := where_it_tells(chosen, worse):
        response = _driven(closer, known, progress)
        plain, worse = _judged(response, outside)
    replaced = {_what(each) for each in worse}
    if any(each.subject.endswith(_OF_PARTS) for each in worse):
        replaced.add("parts")  # which says that none is in danger
    return response, [*(each for each in plain if _what(each) not in replaced), *worse]


def _driven(examined: Examination, known: Known, progress: Progress | None) -> xr.Dataset:
    found = stress(examined.variants, examined.every, progress=progress, known=known)
    return found.assign_attrs(combined_labels(examined))


def _judged(response: xr.Dataset, outside: Collection[str]) -> tuple[list[Finding], list[Finding]]:
    """What is found with few settings, and at a combination what is of a worse grade than that."""
    plain = _plain(response, outside)
    return plain, _worse(response, outside, lambda: plain)


def _plain(response: xr.Dataset, outside: Collection[str]) -> list[Finding]:
    combined = get(response, COMBINED)
    alone = [str(each) not in combined for each in response["position"].values]
    return ratings_findings(response.isel(position=alone), outside)


def _worse(response: xr.Dataset, outside: Collection[str], plain: Callable[[], list[Finding]]) -> list[Finding]:
    """What is found at a combination and is of a worse grade than with fewer settings: `plain`, asked where need be."""
    combined = get(response, COMBINED)
    every = ratings_findings(response, outside) if combined else []
    there = [each for each in every if each.position in combined and each.grade.worry]
    fewer = plain() if there else []
    known = {_what(each): worst(own for own in fewer if _what(own) == _what(each)) for each in there}
    return [each for each in there if each.grade.worry > known[_what(each)].worry]


def _what(finding: Finding) -> str:
    """What a finding is of: of a valve there is one, whatever its quantity; of a part one to each subject."""
    return finding.subject if finding.subject.endswith(_OF_PARTS) else finding.subject.split()[0]
