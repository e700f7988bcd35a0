"""What several views of one response are made of: each is worked out once."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, TypeVar

import xarray as xr

_MOST = 8
P = ParamSpec("P")
T = TypeVar("T")


def once(work: Callable[Concatenate[xr.Dataset, P], T]) -> Callable[Concatenate[xr.Dataset, P], T]:
    """A function of a response whose results are kept while the response is; nobody alters either."""
    known: dict[object, tuple[weakref.ref[xr.Dataset], T]] = {}

    @wraps(work)
    def kept(response: xr.Dataset, /, *args: P.args, **kwargs: P.kwargs) -> T:
        key = id(response), args, tuple(kwargs.items())
        before = known.get(key)
        if before is not None and before[0]() is response:
            return before[1]
        found = work(response, *args, **kwargs)
        for oldest in list(known)[: len(known) - _MOST + 1]:
            known.pop(oldest, None)  # another thread may have done it
        known[key] = weakref.ref(response), found
        return found

    return kept
