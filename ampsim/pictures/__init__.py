"""Pictures: a response in, a matplotlib figure with a text alternative out; nothing here simulates.

Every picture comes as three functions: `overlay` draws, `overlay_curves` gives the points of everything in it that
moves when a control moves (by the `gid` the artist carries), `describe_overlay` says the same in words. So a live view
can draw once and from then on only replace points: `move`.
"""

from .bias import bias, describe_bias
from .canvas import Curves, Picture, move, png, save, svg
from .compared import compared, compared_curves, describe_compared
from .families import describe_family, family, family_curves
from .harmonics import describe_harmonics, harmonics
from .loops import describe_loops, loops, loops_curves
from .margins import describe_loop_margins, describe_travel, loop_margins, loop_margins_curves, travel, travel_curves
from .noise import describe_noise, hum_bars, noise_bars, noise_curves, noise_overlay
from .overlays import describe_overlay, overlay, overlay_curves
from .pop import describe_pop, pop, pop_curves
from .ratings import describe_ratings, ratings
from .sensitivity import describe_sensitivity, sensitivity
from .spread import describe_spread, spread, spread_curves
from .trade import corridor, corridor_curves, describe_corridor, describe_trade, trade, trade_curves
from .volts import describe_volts, volts
from .waveforms import describe_waveform, waveform, waveform_curves

__all__ = [
    "Curves",
    "Picture",
    "bias",
    "compared",
    "compared_curves",
    "corridor",
    "corridor_curves",
    "describe_bias",
    "describe_compared",
    "describe_corridor",
    "describe_family",
    "describe_harmonics",
    "describe_loop_margins",
    "describe_loops",
    "describe_noise",
    "describe_overlay",
    "describe_pop",
    "describe_ratings",
    "describe_sensitivity",
    "describe_spread",
    "describe_trade",
    "describe_travel",
    "describe_volts",
    "describe_waveform",
    "family",
    "family_curves",
    "harmonics",
    "hum_bars",
    "loop_margins",
    "loop_margins_curves",
    "loops",
    "loops_curves",
    "move",
    "noise_bars",
    "noise_curves",
    "noise_overlay",
    "overlay",
    "overlay_curves",
    "png",
    "pop",
    "pop_curves",
    "ratings",
    "save",
    "sensitivity",
    "spread",
    "spread_curves",
    "svg",
    "trade",
    "trade_curves",
    "travel",
    "travel_curves",
    "volts",
    "waveform",
    "waveform_curves",
]
