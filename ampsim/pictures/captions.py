"""What the texts of several pictures share: gains in words, names of what is compared."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from ..base.errors import DescriptionError
from ..base.wording import in_decibels, in_hertz, in_volts
from ..measures.labels import common_settings, expect, select
from ..measures.waveforms import steady_voltage, stimulus
from . import style

ANCHORS = (82.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)  # Hz, named in texts


def path_of(response: xr.Dataset, node: str | None, reference: str | None) -> str:
    """From where to where: "from the source to speaker"."""
    return f"from {reference or 'the source'} to {node or response.attrs['output']}"


def gain_subtitle(response: xr.Dataset, node: str | None, reference: str | None) -> str:
    """What is drawn, and the settings that all positions share."""
    shared = common_settings(response)
    single = str(response["position"].values[0]) if response.sizes["position"] == 1 else ""
    where = f"at {shared}" if shared else single
    return ", ".join(each for each in (f"gain {path_of(response, node, reference)}", where) if each)


def amp_name(response: xr.Dataset) -> str:
    """The amp the response belongs to."""
    return str(response.attrs.get("amp", "amp"))


def variant_names(response: xr.Dataset) -> list[str]:
    """Names of the variants."""
    return [str(each) for each in response["variant"].values]


def select_pair(
    response: xr.Dataset, base: str | None = None, modded: str | None = None, positions: Sequence[str] | None = None
) -> xr.Dataset:
    """The stock and the modded variant at some positions.

    Parameters
    ----------
    response : xarray.Dataset
    base, modded : str
        Variants; default the only two. Of more the first is the base where none is named.
    positions : sequence of str
        Default all.

    Raises
    ------
    DescriptionError
        For unknown names, a single variant, or several of which none is named as the modded one.
    """
    names = variant_names(response)
    if modded is None:
        refuse_unnamed(names)
    pair = (names[0] if base is None else base, names[-1] if modded is None else modded)
    if pair[0] == pair[1]:
        raise DescriptionError(f"nothing to compare '{pair[0]}' with; simulate two variants, such as stock and modded")
    return select(response, pair, positions)


def refuse_unnamed(names: Sequence[str]) -> None:
    """Refuse to choose two of several variants: none is left out of a picture unsaid.

    Raises
    ------
    DescriptionError
        For more than two.
    """
    if len(names) > 2:
        raise DescriptionError(
            f"{len(names)} variants ({', '.join(names)}), and this picture shows two: name them, or draw all of them "
            "over frequency with candidates_picture"
        )


def position_of(response: xr.Dataset, position: str | None = None) -> str:
    """A position that was named, or the first."""
    return str(response["position"].values[0]) if position is None else position


def select_one_or_two(
    response: xr.Dataset, position: str | None = None, variants: Sequence[str] | None = None
) -> xr.Dataset:
    """A transient at one position and of one or two variants: default the first position, all variants.

    Raises
    ------
    DescriptionError
        For unknown names, more than two variants, or another kind of response.
    """
    expect(response, "transient")
    names = variant_names(response)
    if variants is None:
        refuse_unnamed(names)
    chosen = names if variants is None else list(variants)
    if not 1 <= len(chosen) <= 2:
        raise DescriptionError(f"{len(chosen)} variants in one picture; this one shows one or two")
    return select(response, chosen, [position_of(response, position)])


def one_or_two_looks(
    response: xr.Dataset, position: str | None, title: str | None, topic: str
) -> tuple[xr.Dataset, str, list[tuple[str, style.Look]]]:
    """What a picture of one or two variants begins with: as `select_one_or_two`, its heading, each name with its look.

    Parameters
    ----------
    response : xarray.Dataset
    position : str, optional
        Default the first.
    title : str, optional
        The heading; default the amp and the `topic`.
    topic : str

    Raises
    ------
    DescriptionError
        As `select_one_or_two`.
    """
    chosen = select_one_or_two(response, position)
    looks = style.stock_and_modded(chosen.sizes["variant"])
    return chosen, title or f"{amp_name(chosen)}: {topic}", list(zip(variant_names(chosen), looks, strict=True))


def tone(response: xr.Dataset) -> str:
    """The sine in words."""
    facts = stimulus(response)
    start = 1e3 * float(steady_voltage(response, str(response["node"].values[0]))["time"].values[0])
    return f"sine of {in_hertz(facts.frequency)}, {in_volts(facts.level)} peak, {start:.0f} ms after it starts"


def distortion(percent: float) -> str:
    """Total harmonic distortion [%] in words, two figures."""
    if np.isnan(percent):
        return "no signal"
    return f"THD {percent:.2g} %" if percent < 10.0 else f"THD {percent:.0f} %"


def anchors(response: xr.Dataset, wanted: Sequence[float] = ANCHORS) -> list[float]:
    """The frequencies [Hz] among those wanted that lie inside the sweep."""
    grid = response["frequency"].values
    return [each for each in wanted if grid[0] <= each <= grid[-1]]


def levels(gains: xr.DataArray, sign: bool = False) -> str:
    """Gains [dB] at frequencies in words: "63.1 dB at 82 Hz, 70.2 dB at 1 kHz"."""
    pairs = zip(gains["frequency"].values, gains.values, strict=True)
    return ", ".join(f"{in_decibels(float(gain), sign)} at {in_hertz(float(at))}" for at, gain in pairs)


def span(response: xr.Dataset) -> str:
    """The range of a sweep: "20 Hz to 20 kHz"."""
    grid = response["frequency"].values
    return f"{in_hertz(float(grid[0]))} to {in_hertz(float(grid[-1]))}"


def greatest(change: xr.DataArray) -> str:
    """The greatest change [dB] in words: "+5.3 dB at 4.2 kHz"."""
    size = np.nan_to_num(np.abs(change.values), nan=-1.0, posinf=-1.0)
    place = int(np.argmax(size))
    if size[place] < 0.05:
        return "less than 0.05 dB anywhere"
    at = in_hertz(float(change["frequency"].values[place]))
    return f"{in_decibels(float(change.values[place]), sign=True)} at {at}"


def refuse_more(count: int, most: int, kind: str = "positions") -> None:
    """Refuse more lines than stay readable in one picture.

    Raises
    ------
    DescriptionError
        For more lines than that, or none.
    """
    if not 1 <= count <= most:
        raise DescriptionError(f"{count} lines in one picture; {most} stay readable: name some {kind}")
