"""Measures: pure functions from a response to labelled numbers; nothing here draws or simulates."""

from .bias import bias_table
from .labels import common_settings, expect, index_of, select, short_labels
from .margins import Crossing, Margins, crossing_table, margin_table, margin_verdict, margins
from .sweep import (
    corner_hz,
    difference_db,
    gain_at,
    gain_db,
    group_delay_s,
    notch,
    peak,
    phase_deg,
    shelf_db,
    slope_db_per_octave,
)
from .waveforms import FLOOR_DB, extremes_v, harmonics, power_w, rms_v, settled, source_v, stimulus

__all__ = [
    "FLOOR_DB",
    "Crossing",
    "Margins",
    "bias_table",
    "common_settings",
    "corner_hz",
    "crossing_table",
    "difference_db",
    "expect",
    "extremes_v",
    "gain_at",
    "gain_db",
    "group_delay_s",
    "harmonics",
    "index_of",
    "margin_table",
    "margin_verdict",
    "margins",
    "notch",
    "peak",
    "phase_deg",
    "power_w",
    "rms_v",
    "select",
    "settled",
    "shelf_db",
    "short_labels",
    "slope_db_per_octave",
    "source_v",
    "stimulus",
]
