"""Pictures show the numbers they were given, stay readable, and can be written."""

from __future__ import annotations

import io
import itertools
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.image import imread
from matplotlib.lines import Line2D
from matplotlib.text import Text
from scipy.optimize import isotonic_regression

from ampsim import DescriptionError
from ampsim.circuit.positions import coord_name, position_label
from ampsim.measures.labels import select
from ampsim.measures.sweep import difference_db, gain_db
from ampsim.measures.waveforms import harmonics
from ampsim.pictures import style
from ampsim.pictures.axes import rising_fit, spread_labels
from ampsim.pictures.bias import bias_picture, describe_bias
from ampsim.pictures.candidates import candidates_curves, candidates_picture
from ampsim.pictures.canvas import Curves, Picture, png
from ampsim.pictures.export import save_picture, svg
from ampsim.pictures.family import describe_family, family_curves, family_picture
from ampsim.pictures.harmonics import harmonics_picture
from ampsim.pictures.knob_travel import knob_travel_picture
from ampsim.pictures.moving import move
from ampsim.pictures.overlay import describe_overlay, overlay_curves, overlay_picture
from ampsim.pictures.waveform import describe_waveform, waveform_curves, waveform_picture
from tests.tools.datasets import clipped, high_pass, low_pass, operating_point, product, shelf, sines, sweep, transient

STOCK = product(high_pass(90.0, 2000.0), low_pass(6000.0))
MODDED = product(high_pass(60.0, 1800.0), low_pass(9000.0), shelf(1500.0, 4000.0))


def two_sweeps() -> xr.Dataset:
    return sweep({"stock": {"as drawn": {"speaker": STOCK}}, "bright switch": {"as drawn": {"speaker": MODDED}}})


def family_of(count: int, together: bool = False) -> xr.Dataset:
    """`count` positions of a control: apart at the upper end, or all together there."""
    values = [place / max(count - 1, 1) for place in range(count)]
    corners = [60.0 * 1.4**place for place in range(count)] if together else [90.0] * count
    # Together, but for a hair in the opposite order: labels must follow the order below, not the hair.
    gains = (
        [1.0 + 3e-4 * place for place in range(count)] if together else [1.0 - 0.02 * place for place in range(count)]
    )
    named = {
        position_label({"depth": value}): {"speaker": product(high_pass(corner, gain), low_pass(6000.0))}
        for value, corner, gain in zip(values, corners, gains, strict=True)
    }
    return sweep({"stock": {key: {"speaker": STOCK} for key in named}, "depth": named}, {"depth": values})


def candidates(count: int) -> xr.Dataset:
    """`count` shelves that rise higher and higher up, one of them twice, and one candidate that is stock."""
    shelves = [product(STOCK, shelf(200.0 * 1.4**place, 400.0 * 1.4**place)) for place in range(count - 2)]
    gains = {"stock": STOCK, **{f"{place}k3 across R11": gain for place, gain in enumerate(shelves)}}
    gains |= {"330k between P1.top and P1.bottom": shelves[1], "none across R11": STOCK}
    return sweep({name: {"as drawn": {"speaker": gain}} for name, gain in gains.items()})


def knob(tapers: int) -> xr.DataArray:
    """A volume's travel with several tapers at three frequencies, two of which are alike."""
    turns = np.linspace(0.0, 1.0, 33)
    levels = 20.0 * np.log10(np.maximum([turns ** (place + 1) for place in range(tapers)], 1e-5))
    gain = levels[..., np.newaxis] + np.array([60.0, 60.0, 71.0])
    coords = {"taper": ["linear", "audio 10 %", "reverse audio 20 %"][:tapers], "rotation": turns}
    names = {"amp": "test amp", "output": "speaker", "control": "volume", "where": "as drawn, stock"}
    axes = ("taper", "rotation", "frequency")
    return xr.DataArray(gain, coords | {"frequency": [100.0, 1000.0, 5000.0]}, axes, attrs=names)


def waves() -> xr.Dataset:
    return transient(
        {
            "stock": {"input": sines(220.0, 0.05), "speaker": clipped(220.0, 14.0, -9.0, 9.5)},
            "modded": {"input": sines(220.0, 0.05), "speaker": clipped(220.0, 18.0, -8.0, 11.0)},
        },
        220.0,
        0.05,
    )


def rest() -> xr.Dataset:
    triode = {"plate": 163.0, "cathode": 1.45, "grid": 0.0, "ia": 0.9e-3}
    pentode = {"plate": 310.0, "cathode": 10.7, "grid": 0.0, "screen": 298.0, "ia": 0.031, "ig2": 0.0045}
    hot = pentode | {"ia": 0.0451, "ig2": 0.0075}
    return operating_point({"stock": {"V1A": triode, "V4": pentode}, "hot bias": {"V1A": triode, "V4": hot}})


ALL: dict[str, Callable[[], Picture]] = {
    "overlay": lambda: overlay_picture(two_sweeps()),
    "overlay at positions": lambda: overlay_picture(family_of(4)),
    "12 candidates": lambda: candidates_picture(candidates(12)),
    "a knob's travel": lambda: knob_travel_picture(knob(3)),
    "family of 12": lambda: family_picture(family_of(12), base="stock"),
    "family of 12 together": lambda: family_picture(family_of(12, together=True), base="stock"),
    "waveform": lambda: waveform_picture(waves()),
    "harmonics": lambda: harmonics_picture(waves()),
    "harmonics in percent": lambda: harmonics_picture(waves(), percent=True),
    "bias": lambda: bias_picture(rest()),
}
every_picture = pytest.mark.parametrize("draw", ALL.values(), ids=ALL.keys())


def by_gid(picture: Picture) -> dict[str, Artist]:
    return {str(each.get_gid()): each for each in picture.findobj(lambda artist: artist.get_gid() is not None)}


def texts(picture: Picture) -> list[Text]:
    with_every_tick(picture)
    FigureCanvasAgg(picture).draw()  # type: ignore[no-untyped-call]
    found = [each for each in picture.findobj(Text) if isinstance(each, Text)]
    unseen = set(_labels_outside_their_axis(picture))
    return [each for each in found if each.get_visible() and each.get_text() and each not in unseen]


def with_every_tick(picture: Picture) -> None:
    """Labels that somebody asks for are artists of their own, as everywhere in matplotlib."""
    for axes in picture.axes:
        axes.get_xticklabels()
        axes.get_yticklabels()


def _labels_outside_their_axis(picture: Picture) -> Iterator[Text]:
    """matplotlib keeps ticks beyond the limits but does not draw them."""
    for axes in picture.axes:
        for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                if not min(limits) <= tick.get_loc() <= max(limits):
                    yield from (tick.label1, tick.label2)


# Nothing is left out unsaid -------------------------------------------------------------------------------------------


def test_an_overlay_of_several_variants_shows_every_one() -> None:
    response = candidates(5)
    drawn, said = by_gid(overlay_picture(response)), overlay_picture(response).alternative.lower()
    assert {f"change-{place}" for place in range(5)} - set(drawn) == {"change-3", "change-4"}
    assert "1k3 across r11 and 330k between p1.top and p1.bottom are the same" in said
    assert "stock and none across r11 are the same" in said
    curves = candidates_curves(response)
    for gid in ("stock", "line-2", "change-2"):
        line = drawn[gid]
        assert isinstance(line, Line2D)
        np.testing.assert_array_equal(line.get_ydata(), curves[gid][:, 1])
    assert len(by_gid(overlay_picture(response, modded="0k3 across R11")).keys() & {"modded-0", "line-0"}) == 1


@pytest.mark.parametrize("draw", [overlay_curves, describe_overlay, family_picture])
def test_a_picture_of_two_does_not_choose_them_of_more(draw: Callable[[xr.Dataset], object]) -> None:
    with pytest.raises(DescriptionError, match="name them"):
        draw(candidates(5))


def test_waves_of_more_than_two_are_not_left_out_unsaid() -> None:
    two = waves()
    with pytest.raises(DescriptionError, match="name them"):
        waveform_picture(xr.concat([two, two.isel(variant=[1]).assign_coords(variant=["hot"])], "variant"))


@pytest.mark.parametrize("together", [False, True])
def test_a_family_shows_what_each_position_changes_against_the_base_there(together: bool) -> None:
    response = family_of(5, together)
    drawn, change = by_gid(family_picture(response, base="stock")), difference_db(response).isel(variant=0)
    for place in range(5):
        line = drawn[f"change-{place}"]
        assert isinstance(line, Line2D)
        np.testing.assert_allclose(line.get_ydata(), change.isel(position=place).values)
    assert not [gid for gid in by_gid(family_picture(response, variant="depth")) if gid.startswith("change")]


def test_axes_of_a_change_suit_it_and_not_the_gain() -> None:
    # Five decibels on a gain that falls by eighty: the change has most of its axes for itself.
    steep = product(high_pass(2000.0, 300.0), low_pass(300.0))
    more = product(steep, shelf(200.0, 356.0))
    response = sweep({"stock": {"as drawn": {"speaker": steep}}, "mod": {"as drawn": {"speaker": more}}})
    gain, change = family_picture(response, base="stock").axes[:2]
    assert np.ptp(gain.get_ylim()) > 30.0
    assert 5.0 < np.ptp(change.get_ylim()) < 7.0


# Numbers --------------------------------------------------------------------------------------------------------------


def test_lines_of_an_overlay_are_the_measures() -> None:
    response = two_sweeps()
    artists = by_gid(overlay_picture(response))
    gains = gain_db(response).values[:, 0]
    for gid, truth in (("stock-0", gains[0]), ("modded-0", gains[1]), ("change-0", gains[1] - gains[0])):
        line = artists[gid]
        assert isinstance(line, Line2D)
        np.testing.assert_array_equal(line.get_xdata(), response["frequency"].values)
        np.testing.assert_allclose(np.asarray(line.get_ydata()), truth, atol=1e-12)


@pytest.mark.parametrize(
    ("draw", "curves", "response"),
    [
        (overlay_picture, overlay_curves, two_sweeps),
        (overlay_picture, overlay_curves, lambda: family_of(3)),
        (family_picture, lambda lines: family_curves(select(lines, ["depth"])), lambda: family_of(12)),
        (waveform_picture, waveform_curves, waves),
    ],
)
def test_every_curve_is_in_the_picture_under_its_gid_and_moves(
    draw: Callable[[xr.Dataset], Picture],
    curves: Callable[[xr.Dataset], Curves],
    response: Callable[[], xr.Dataset],
) -> None:
    picture, points = draw(response()), curves(response())
    assert set(points) == set(by_gid(picture))
    moved = {gid: each * 1.01 for gid, each in points.items()}
    move(picture, moved)
    for gid, artist in by_gid(picture).items():
        shown = artist.get_xydata() if isinstance(artist, Line2D) else artist.get_path().vertices  # type: ignore[attr-defined]
        np.testing.assert_array_equal(np.asarray(shown)[: len(moved[gid])], moved[gid])


def test_a_moved_picture_looks_like_a_fresh_one() -> None:
    other = sweep({"stock": {"as drawn": {"speaker": STOCK}}, "bright switch": {"as drawn": {"speaker": STOCK}}})
    moved, fresh = overlay_picture(two_sweeps()), overlay_picture(two_sweeps())
    move(moved, overlay_curves(other))
    assert png(moved, 60) != png(fresh, 60)
    move(moved, overlay_curves(two_sweeps()))
    assert png(moved, 60) == png(fresh, 60)


def test_moving_what_is_not_there_names_the_nearest() -> None:
    with pytest.raises(DescriptionError, match="no curve 'modded-7'; nearest: modded-0"):
        move(overlay_picture(two_sweeps()), {"modded-7": np.zeros((2, 2))})


def test_waveform_shows_the_settled_cycles_in_milliseconds() -> None:
    curves = waveform_curves(waves())
    assert curves["line-1"][-1, 0] == pytest.approx(4e3 / 220.0, rel=1e-9)
    assert curves["line-1"][:, 1].min() == -8.0
    assert curves["line-1"][:, 1].max() == 11.0
    assert np.abs(curves["source"][:, 1]).max() == pytest.approx(0.05, rel=1e-3)


def test_bars_are_the_harmonics() -> None:
    found = harmonics(waves()).isel(position=0)
    artists = by_gid(harmonics_picture(waves(), percent=True))
    for row, order in itertools.product(range(2), range(2, 11)):
        height = artists[f"bar-{row}-{order}"].get_height()  # type: ignore[attr-defined]
        share = found["amplitude"].values[row, order - 1] / found["amplitude"].values[row, 0]
        assert height == pytest.approx(100 * share, rel=1e-9)


def test_harmonics_below_the_floor_are_words_and_no_bars() -> None:
    pure = transient({"stock": {"speaker": sines(1000.0, 1.0, 0.1)}})
    picture = harmonics_picture(pure)
    assert [each.get_text() for each in texts(picture)].count("floor") == 8
    assert "H3 below \u221275.0 dB" in picture.alternative


def test_bias_says_in_words_what_is_over_and_merges_what_is_alike() -> None:
    words = [each.get_text() for each in texts(bias_picture(rest()))]
    assert "limit: 13.5 W of 12 W" in words
    assert words.count("12AX7") == 1
    assert "all variants" in words
    assert words.count("within limits") == 2


def test_texts_tell_the_numbers() -> None:
    text = describe_overlay(two_sweeps())
    change = difference_db(two_sweeps()).values[0, 0]
    assert f"greatest change +{change.max():.1f} dB at 20 kHz" in text
    assert "THD" in describe_waveform(waves())
    assert "V4 (EL84), hot bias, as drawn: plate 310 V" in describe_bias(rest())
    assert describe_family(select(family_of(3), ["depth"])).count("at 1 kHz") == 3


# Readability ----------------------------------------------------------------------------------------------------------


@every_picture
@pytest.mark.parametrize("dpi", [100, 200])
def test_no_text_is_cut_off_or_overlaps_another(draw: Callable[[], Picture], dpi: int) -> None:
    picture = draw()
    picture.set_dpi(dpi)
    boxes = [(each.get_text(), each.get_window_extent()) for each in texts(picture)]
    assert len(boxes) > 10
    for text, box in boxes:
        assert box.x0 >= 0, text
        assert box.y0 >= 0, text
        assert box.x1 <= picture.bbox.width, text
        assert box.y1 <= picture.bbox.height, text
    for (one, a), (two, b) in itertools.combinations(boxes, 2):
        wide, tall = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        # Boxes hold room for accents and tails: an overlap of a seventh of a line is none for the eye.
        assert wide <= 0 or tall <= 0.02 * dpi, (one, two)


def test_a_stock_line_says_only_what_moves_it() -> None:
    """Where a control of the mods changes nothing of stock there is one line, and it names no such control."""
    response, moves = family_of(3).drop_vars(coord_name("depth")), np.array([0.0, 0.0, 6.0])
    response["voltage"].values[0] = response["voltage"].values[0, :1]
    one = response.assign_coords(position=[f"gain 3, bright {size}" for size in ("120p", "390p", "1n")])
    said = [text.get_text() for text in overlay_picture(one).findobj(Text)]
    assert said.count("stock") == 2, "the key, and one line"
    labels = ["gain 3, bright 120p", "gain 3, bright 390p", "gain 7, bright 1n"]
    two = one.copy(deep=True).assign_coords(position=labels)
    two["voltage"].values[0] *= 10.0 ** (moves[:, None, None] / 20.0)
    said = [text.get_text() for text in overlay_picture(two).findobj(Text)]
    assert said.count("gain 3") == 1
    assert said.count("stock") == 1, "the key"


def test_end_labels_stand_in_the_order_of_the_lines() -> None:
    picture = family_picture(family_of(12))
    heights = {each.get_text(): each.get_window_extent().y0 for each in texts(picture) if "depth " in each.get_text()}
    assert len(heights) == 12
    assert list(heights) == sorted(heights, key=lambda label: -heights[label])
    together = family_picture(family_of(12, together=True))
    heights = {each.get_text(): each.get_window_extent().y0 for each in texts(together) if "depth " in each.get_text()}
    assert list(heights) == sorted(heights, key=lambda label: -heights[label])


def test_spread_moves_labels_only_as_far_as_it_must() -> None:
    heights = np.full(3, 1.0)
    np.testing.assert_allclose(spread_labels(np.array([1.0, 5.0, 9.0]), heights, 0.0, 10.0), [1.0, 5.0, 9.0])
    np.testing.assert_allclose(spread_labels(np.array([5.0, 5.0, 5.0]), heights, 0.0, 10.0, [0, 1, 2]), [4.0, 5.0, 6.0])
    np.testing.assert_allclose(spread_labels(np.array([9.9, 9.9, 1.0]), heights, 0.0, 10.0, [2, 1, 0]), [9.5, 8.5, 1.0])


@given(st.lists(st.floats(-10.0, 10.0), min_size=1, max_size=12))
def test_what_may_not_fall_is_fitted_as_a_library_does(wanted: list[float]) -> None:
    """Against `scipy.optimize.isotonic_regression`."""
    np.testing.assert_allclose(rising_fit(np.array(wanted)), isotonic_regression(wanted).x, atol=1e-12)


def lightness(colour: str) -> float:
    """CIE 1976 L* of an sRGB colour (IEC 61966-2-1)."""
    channels = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255.0
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return 116.0 * float(np.cbrt(linear @ [0.2126, 0.7152, 0.0722])) - 16.0


def contrast_on_white(colour: str) -> float:
    """Contrast ratio of WCAG 2.1."""
    y = ((lightness(colour) + 16.0) / 116.0) ** 3
    return 1.05 / (y + 0.05)


def test_stock_and_modded_differ_in_grey_print_by_more_than_lightness() -> None:
    assert lightness(style.STOCK) - lightness(style.MODDED) > 20.0
    assert style.STOCK_LOOK.dashes
    assert not style.MODDED_LOOK.dashes
    assert contrast_on_white(style.STOCK) > 4.5
    assert contrast_on_white(style.QUIET) > 4.5


def test_neighbours_in_a_family_differ_in_dashes_and_the_ramp_in_lightness() -> None:
    looks = style.family_looks(12)
    assert all(one.dashes != two.dashes for one, two in itertools.pairwise(looks))
    shades = [lightness(look.colour) for look in looks]
    assert all(two > one for one, two in itertools.pairwise(shades))
    alike = [(one, two) for one, two in itertools.combinations(range(12), 2) if looks[one].dashes == looks[two].dashes]
    assert min(shades[two] - shades[one] for one, two in alike) > 12.0
    assert contrast_on_white(looks[-1].colour) > 3.0  # WCAG 2.1, 1.4.11: graphical objects


def test_stock_and_modded_are_told_apart_in_a_grey_png() -> None:
    picture = overlay_picture(two_sweeps())
    image = imread(io.BytesIO(png(picture, 200)))[:, :, :3] @ [0.299, 0.587, 0.114]
    axes = picture.axes[0]
    darkest: dict[str, list[float]] = {"stock-0": [], "modded-0": []}
    for gid, values in darkest.items():
        line = by_gid(picture)[gid]
        assert isinstance(line, Line2D)
        points = axes.transData.transform(np.asarray(line.get_xydata()))[100:140] * 2.0  # 100 to 200 dots per inch
        for x, y in points:
            row, column = round(image.shape[0] - y), round(x)
            values.append(float(image[row - 3 : row + 4, column - 1 : column + 2].min()))
    # Modded is dark all along its line; stock is lighter where it is drawn, and has gaps.
    assert max(darkest["modded-0"]) < 0.3
    assert min(darkest["stock-0"]) > max(darkest["modded-0"]) + 0.1
    gaps = sum(value > 0.6 for value in darkest["stock-0"])
    assert gaps > 5


# Files ----------------------------------------------------------------------------------------------------------------


@every_picture
def test_png_and_svg_are_written(draw: Callable[[], Picture], tmp_path: Path) -> None:
    picture = draw()
    files = save_picture(picture, tmp_path / "job 1.overlay")
    assert [path.name for path in files] == ["job 1.overlay.png", "job 1.overlay.svg"]
    assert sorted(path.name for path in tmp_path.iterdir()) == [path.name for path in files]
    pixels = imread(files[0])
    assert pixels.shape[1] == round(200 * picture.width)
    root = ElementTree.fromstring(files[1].read_text("utf-8"))
    names = {"svg": "http://www.w3.org/2000/svg"}
    assert root.findtext("svg:title", namespaces=names) == picture.heading
    assert root.findtext("svg:desc", namespaces=names) == picture.alternative
    ids = [each.get("id") for each in root.iter() if each.get("id")]
    assert len(ids) == len(set(ids))
    assert set(by_gid(picture)) <= set(ids)
    assert root.get("aria-labelledby") in ids
    assert root.get("aria-describedby") in ids


def test_an_ending_asks_for_one_format(tmp_path: Path) -> None:
    assert save_picture(overlay_picture(two_sweeps()), tmp_path / "one.svg") == [tmp_path / "one.svg"]
    with pytest.raises(DescriptionError, match="written as png or svg, not 'pdf'"):
        save_picture(overlay_picture(two_sweeps()), tmp_path / "two", formats=["pdf"])
    with pytest.raises(DescriptionError, match="cannot be written"):
        save_picture(overlay_picture(two_sweeps()), tmp_path / "one.svg" / "two.png")


@every_picture
def test_one_tick_for_all_draws_what_matplotlib_draws(draw: Callable[[], Picture]) -> None:
    ours, theirs = svg(draw()), io.StringIO()
    whole = draw()
    with_every_tick(whole)
    with style.picture_settings():
        whole.savefig(theirs, format="svg", metadata={"Date": None, "Creator": None})
    numbers = re.compile(r"-?\d+\.?\d*(?=[^\w]|px)")
    drawn = [re.sub(r"[0-9a-z]{10,}", "", each.partition("</style>")[2]) for each in (ours, theirs.getvalue())]
    assert numbers.sub("", drawn[0]) == numbers.sub("", drawn[1])
    places = [np.array(numbers.findall(each), float) for each in drawn]
    assert len(places[0]) > 200
    np.testing.assert_allclose(*places, atol=0.01)  # points


def test_svg_keeps_text_and_style_to_itself_and_is_the_same_every_time() -> None:
    first, second = (svg(overlay_picture(two_sweeps())) for _ in range(2))
    assert first == second
    assert ">bright switch</text>" in first
    assert not re.search(r"<style[^>]*>\s*\*", first)
    assert "<dc:date>" not in first


def test_hostile_names_are_shown_and_do_no_harm() -> None:
    name = "$\\frac{a}$ <script>alert(1)</script>\n&amp; " + "x" * 200
    response = sweep({"stock": {"as drawn": {"speaker": STOCK}}, name: {"as drawn": {"speaker": MODDED}}})
    picture = overlay_picture(response)
    drawn = svg(picture)
    assert "<script" not in drawn
    ElementTree.fromstring(drawn)
    for each in texts(picture):
        assert each.get_window_extent().x1 <= picture.bbox.width


def test_silence_and_equal_variants_are_drawn() -> None:
    silent = sweep({"a": {"as drawn": {"speaker": lambda f: 0.0 * f}}, "b": {"as drawn": {"speaker": STOCK}}})
    for response in (silent, sweep({name: {"as drawn": {"speaker": STOCK}} for name in "ab"})):
        assert png(overlay_picture(response), 50)
    assert "no signal" in describe_overlay(silent)
    low, high = overlay_picture(sweep({n: {"as drawn": {"speaker": STOCK}} for n in "ab"})).axes[1].get_ylim()
    assert (low, high) == (-1.0, 1.0)


def test_refusals() -> None:
    with pytest.raises(DescriptionError, match="nothing to compare 'stock' with"):
        overlay_picture(sweep({"stock": {"as drawn": {"speaker": STOCK}}}))
    with pytest.raises(DescriptionError, match="5 positions in one comparison"):
        overlay_picture(family_of(5))
    with pytest.raises(DescriptionError, match="13 lines in one picture"):
        family_picture(family_of(13))
    with pytest.raises(DescriptionError, match="no position 'depth 20'"):
        family_picture(family_of(3), positions=["depth 20"])


def test_drawing_needs_no_global_state() -> None:
    code = (
        "import sys; from ampsim.pictures import overlay; "
        "print('matplotlib.pyplot' in sys.modules, 'PySpice' in sys.modules)"
    )
    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, "-c", code], cwd=root, capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.split() == ["False", "False"]
