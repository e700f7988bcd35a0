"""The figures of listening: what stands around the solver, and what is kept between runs."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ampsim.audio.cache import RenderedVolts, fetch_stored, store
from ampsim.audio.matching import match_loudness
from ampsim.audio.phrases import phrase
from ampsim.audio.render import render
from ampsim.circuit.mods import apply_mods
from ampsim.circuit.positions import every_position
from ampsim.library.loader import load_amp, load_mod
from tests.figures.figure import Figure, Scale

_KEY = "0" * 64


def around_the_solver(_: Scale) -> Iterator[Figure]:
    """A phrase at three positions: computed, then from what is kept, and made into clips."""
    modded = apply_mods(load_amp("workshop-a"), load_mod("bright-switch"))
    places, played, times = every_position(modded, "bright"), phrase(), []
    # Compiled code, and libraries that load late.
    match_loudness(render(modded, places[1:], phrase("chords"), cache=False, oversampling=1))
    with tempfile.TemporaryDirectory() as folder:
        for _turn in range(2):
            begin = time.perf_counter()
            found = render(modded, places, played, cache=Path(folder))
            times.append(time.perf_counter() - begin)
    begin = time.perf_counter()
    matched = match_loudness(found)
    matching = time.perf_counter() - begin
    computing, again = times
    share = f"{again / computing:.3f} ({1e3 * again:.0f} ms against {computing:.1f} s)"
    yield Figure("three positions from what is kept, over computing them", share, "<= 0.1", again <= 0.1 * computing)
    share = f"{matching / played.seconds:.3f} ({1e3 * matching:.0f} ms)"
    fine = matching <= 0.2 * played.seconds
    yield Figure("matching them in loudness by all standards, over the phrase's length", share, "<= 0.2", fine)
    spread = float(np.ptp([clip.loudness for clip in matched]))
    yield Figure("loudness they differ by afterwards", f"{spread:.3f} dB", "<= 0.05 dB", spread <= 0.05)


def damaged(scale: Scale) -> Iterator[Figure]:
    """Files of kept sounds with bits turned, cut, or with something put in: taken for sound."""
    draw, taken, one = np.random.default_rng(7), 0, RenderedVolts(np.linspace(-1.0, 1.0, 500, dtype=np.float32), 3, 500)
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        store(home, _KEY, one)
        (path,) = home.iterdir()
        sound = path.read_bytes()
        for turn in range(scale.moves):
            path.write_bytes(_damaged(sound, turn, draw))
            found = fetch_stored(home, _KEY)
            taken += found is not None and (
                found.repaired != one.repaired or not np.array_equal(found.volts, one.volts)
            )
    yield Figure(f"damaged files of kept sounds taken for sound, of {scale.moves:,}", str(taken), "0", not taken)


def _damaged(sound: bytes, turn: int, draw: np.random.Generator) -> bytes:
    at = int(draw.integers(len(sound)))
    if turn % 3 == 0:
        return sound[:at] + bytes([sound[at] ^ (1 << int(draw.integers(8)))]) + sound[at + 1 :]
    return sound[:at] if turn % 3 == 1 else sound[:at] + draw.bytes(4) + sound[at:]


SECTIONS = (around_the_solver, damaged)
