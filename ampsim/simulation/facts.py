"""Facts that travel with a response: typed here, JSON text in its attributes, so that a file keeps them."""

from __future__ import annotations

import dataclasses
import json
import math
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Generic, TypeVar

import xarray as xr

from ..base.errors import DescriptionError
from ..circuit.signal_path import ValveStage

T = TypeVar("T")


@dataclass(frozen=True)
class Fact(Generic[T]):
    """Name of an attribute, and what it holds: dataclasses, dict, list, tuple, plain values and None."""

    name: str
    kind: type[T]


@dataclass(frozen=True)
class ValveFacts:
    """A valve of an amp: its type, the law it was simulated with, and its limits by name, as far as known.

    `basis` says what kind of limits they are, `source` where they are from. Units as in `Limits`.
    """

    type: str
    family: str
    law: str
    model_source: str
    basis: str
    source: str
    limits: dict[str, float]


@dataclass(frozen=True)
class StimulusFacts:
    """What drove a transient; NaN where its shape has no such figure.

    `duration`, `settle`, `start` and `stop` in s, `frequency` in Hz, `level` and `around` in V peak, `rate` in samples
    a second.
    """

    shape: str
    duration: float = math.nan
    frequency: float = math.nan
    level: float = math.nan
    settle: float = math.nan
    cycles: float = math.nan
    start: float = math.nan
    stop: float = math.nan
    around: float = math.nan
    rate: float = math.nan


VALVES = Fact("valves", dict[str, dict[str, ValveFacts]])
"""To each variant its valves by designator."""
SWITCHED_VALVES = Fact("switched_valves", dict[str, dict[str, dict[str, ValveFacts]]])
"""To each variant and position the valves by designator that are of another type there."""
STIMULUS = Fact("stimulus", StimulusFacts)
"""What drove a transient."""
DRAWN = Fact("drawn", dict[str, Any])
"""Where each control of the variants stands as drawn."""
CONTROLS = Fact("controls", dict[str, list[str]])
"""To each variant the controls that it has."""
STAGES = Fact("stages", dict[str, tuple[ValveStage, ...]])
"""To each variant its valve stages, in the order of the signal."""


def put(fact: Fact[T], value: T) -> dict[str, str]:
    """An attribute that holds a fact."""
    return {fact.name: json.dumps(_plain(value))}


def get(response: xr.Dataset, fact: Fact[T]) -> T:
    """A fact of a response, read once and not to be altered.

    Raises
    ------
    DescriptionError
        When the response does not hold it.
    """
    try:
        found: T = _read(fact, response.attrs[fact.name])
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise DescriptionError(f"this response does not say its {fact.name.replace('_', ' ')}") from problem
    return found


@lru_cache(maxsize=64)
def _read(fact: Fact[Any], text: str) -> Any:
    return _restore(fact.kind, json.loads(text))


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value):
        named = ((each.name, getattr(value, each.name)) for each in dataclasses.fields(value))
        return {name: _plain(each) for name, each in named if not (isinstance(each, float) and math.isnan(each))}
    if isinstance(value, Mapping):
        return {name: _plain(each) for name, each in value.items()}
    return [_plain(each) for each in value] if isinstance(value, (list, tuple)) else value


def _restore(kind: Any, data: Any) -> Any:
    if isinstance(kind, type) and dataclasses.is_dataclass(kind):
        hints = _hints(kind)
        return kind(**{name: _restore(hints[name], each) for name, each in data.items()})
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin is dict:
        return {name: _restore(inner[1], each) for name, each in data.items()}
    if origin in (list, tuple):
        return origin(_restore(inner[0], each) for each in data)
    if origin in (types.UnionType, typing.Union):
        (present,) = (each for each in inner if each is not types.NoneType)
        return None if data is None else _restore(present, data)
    return data


@lru_cache(maxsize=64)
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)
