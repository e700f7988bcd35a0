"""Facts come back from a response as they were put, through a file as well; a response without one says so."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from ampsim.base.errors import DescriptionError
from ampsim.circuit.signal_path import ValveStage
from ampsim.simulation.facts import STAGES, STIMULUS, VALVES, Fact, StimulusFacts, ValveFacts, get, put
from ampsim.simulation.storage import load_response, save_response
from ampsim.simulation.tolerances import Tolerances

OHMS = Fact("ohms", dict[str, float | None])
MADE = Fact("made", Tolerances)
VALVE = ValveFacts("12AX7", "triode", "koren", "a sheet", "design centre", "another", {"plate_volts": 300.0})
STAGE = ValveStage("pair", ("V1A", "V1B"), ("V1A.grid",), ("V1A.grid", "V1B.grid"), ("V1A.plate", "V1B.plate"))


@pytest.mark.parametrize(
    ("fact", "value"),
    [
        (VALVES, {"stock": {"V1A": VALVE}, "mod, 5 \u03a9": {}}),
        (STAGES, {"stock": (STAGE,), "mod": ()}),
        (OHMS, {"stock": 8.0, "mod": None}),
        (MADE, Tolerances(resistor=0.01, valves=0.0)),
    ],
)
def test_facts_come_back_as_they_were(fact: Fact[object], value: object, tmp_path: Path) -> None:
    response = xr.Dataset({"voltage": ("node", np.zeros(1))}, attrs={"analysis": "transient", **put(fact, value)})
    for each in (response, load_response(save_response(response, tmp_path / "a.nc"))):
        found = get(each, fact)
        assert found == value
        assert type(found) is type(value)


def test_a_figure_that_a_stimulus_lacks_is_nan() -> None:
    found = get(xr.Dataset(attrs=put(STIMULUS, StimulusFacts("throw", 0.31))), STIMULUS)
    assert (found.shape, found.duration) == ("throw", 0.31)
    assert math.isnan(found.frequency)


@pytest.mark.parametrize("text", [None, "", "[1]", '{"stock": {"V1A": {"type": "12AX7"}}}', '{"stock": 1}'])
def test_a_response_without_the_fact_says_so(text: str | None) -> None:
    response = xr.Dataset(attrs={} if text is None else {"valves": text})
    with pytest.raises(DescriptionError, match="does not say its valves"):
        get(response, VALVES)
