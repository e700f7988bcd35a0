"""Stage templates: how the parts of each kind of stage are wired.

A template is found by the registry when a module of this package lists it in its `TEMPLATES`. Nobody outside asks for
a template or a role by its name: what a stage is to the signal its `Kind` says, the rest is in the circuit's nets.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from importlib import import_module
from pkgutil import iter_modules

from ..amp import Amp, Stage
from .template import Kind, Template

__all__ = ["TEMPLATES", "Kind", "Template", "stages_of", "with_part"]


def _templates() -> Iterator[Template]:
    for module in iter_modules(__path__, f"{__name__}."):
        yield from getattr(import_module(module.name), "TEMPLATES", ())


TEMPLATES: dict[str, Template] = {template.name: template for template in _templates()}


def stages_of(amp: Amp, *kinds: Kind) -> tuple[str, ...]:
    """Names of an amp's stages of these kinds, in signal order."""
    return tuple(stage.name for stage in amp.stages if TEMPLATES[stage.template].kind in kinds)


def with_part(stage: Stage, old: str, new: str) -> Stage:
    """The stage with another part, by designator, in the place of one."""

    def swapped(given: object) -> object:
        return tuple(map(swapped, given)) if isinstance(given, tuple) else new if given == old else given

    roles = tuple((role, swapped(given)) for role, given in stage.roles)
    return dataclasses.replace(stage, roles=roles)
