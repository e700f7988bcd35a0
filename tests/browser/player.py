"""The player without a loudspeaker: what it would send there, sample by sample, beside the closed form."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ampsim.audio.player.content import player_script
from tests.audio.test_player import sines

Array = NDArray[np.float64]
RATE, HZ = 32_000, 440.0
LEAD, FADE, TAIL = 1600, 480, 320  # samples: ahead of the device, of a cross-fade, of the fade at a clip's end
LEVELS = (0.1, 0.4, 0.2)

# Plays into a buffer; at given times [s] the clock stands still and something is done.
_OFFLINE = """async ([code, seconds, rows, moves, complete]) => {
  const floats = (text) => new Float32Array(Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer);
  const offline = new OfflineAudioContext(1, seconds * 32000, 32000);
  const make = new Function('AudioContext', `${code}; return soundsOnOneClock(() => {});`);
  const clock = make(function () { return offline; });
  const sounds = rows.map((row) => row.map(floats));
  const states = [];
  for (const [at, doing, ...how] of moves) {
    offline.suspend(at).then(() => {
      states.push(clock.state);
      doing === 'load' ? clock.load(sounds[how[0]], 32000, how[1] ?? true) : clock[doing](...how);
      offline.resume();
    });
  }
  clock.listening(0);
  clock.load(sounds[0], 32000, complete);
  clock.play().catch(() => {});
  const made = await offline.startRendering();
  const bytes = new Uint8Array(made.getChannelData(0).buffer);
  let text = '';
  for (let at = 0; at < bytes.length; at += 8192) text += String.fromCharCode(...bytes.subarray(at, at + 8192));
  return [btoa(text), states];
}"""


def offline(chromium: Any, seconds: float, rows: Any, moves: Any, complete: bool = True) -> tuple[Array, list[Any]]:
    """What comes out, and how the player stood before each move."""
    page = chromium.new_page()
    texts = [[base64.b64encode(np.asarray(row, "<f4").tobytes()).decode() for row in each] for each in rows]
    text, states = page.evaluate(_OFFLINE, [player_script(), seconds, texts, moves, complete])
    page.close()
    return np.frombuffer(base64.b64decode(text), "<f4").astype(float), states


def clip(seconds: float) -> Array:
    """A sine of level 1 with the end of a clip."""
    wave = np.asarray(sines([1.0], seconds, RATE, HZ)[0])
    wave[-TAIL:] *= np.arange(TAIL)[::-1] / TAIL
    return wave


def ramp(count: int, at: float, start: float, end: float) -> Array:
    """From one level to another in the time of a fade, beginning a lead after `at` [s]."""
    first = round(at * RATE) + LEAD
    return np.interp(np.arange(count), [first, first + FADE], [start, end])


def switched(chromium: Any) -> tuple[Array, Array, list[Any]]:
    """Four switches, one of them in the middle of another's fade: heard, expected, and how it stood before each."""
    moves = [[0.256, "choose", 1], [0.512, "choose", 2], [0.516, "choose", 0], [1.024, "choose", 1]]
    heard, states = offline(chromium, 1.5, [sines(LEVELS, 1.2)], moves)
    count = heard.size
    # The third comes in the middle of the second's fade and waits for its end.
    level = LEVELS[0] + ramp(count, 0.256, 0.0, 0.3) - ramp(count, 0.512, 0.0, 0.2)
    level += ramp(count, 0.512 + 0.015, 0.0, -0.1) + ramp(count, 1.024, 0.0, 0.3)
    return heard, np.concatenate([np.zeros(LEAD), np.tile(clip(1.2), 2)])[:count] * level, states
