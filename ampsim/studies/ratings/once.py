"""Tables that several views of one response are made of: each is worked out once."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

import pandas as pd
import xarray as xr

_MOST = 8
P = ParamSpec("P")


def once(
    table: Callable[Concatenate[xr.Dataset, P], pd.DataFrame],
) -> Callable[Concatenate[xr.Dataset, P], pd.DataFrame]:
    """A function of a response whose tables are kept while the response is; nobody alters either."""
    known: dict[object, tuple[weakref.ref[xr.Dataset], pd.DataFrame]] = {}

    @wraps(table)
    def kept(response: xr.Dataset, /, *args: P.args, **kwargs: P.kwargs) -> pd.DataFrame:
        key = id(response), args, tuple(kwargs.items())
        if key not in known or known[key][0]() is not response:
            found = table(response, *args, **kwargs)
            while len(known) >= _MOST:
                known.pop(next(iter(known)))
            known[key] = weakref.ref(response), found
        return known[key][1]

    return kept
