"""Measures: pure functions from a response to labelled numbers; nothing here draws or simulates."""

from .bias import bias_table
from .labels import common_settings, expect, index_of, select, short_labels
from .margins import Crossing, Margins, crossing_table, margin_table, margin_verdict, margins
from .part_ratings import part_ratings, standard_volts, standard_watts, with_fitted, worst_parts
from .ratings import discharge_s, moved_ratings, ratings_findings, stored_coulombs, stored_joules
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
from .valve_ratings import valve_ratings
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
    "discharge_s",
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
    "moved_ratings",
    "notch",
    "part_ratings",
    "peak",
    "phase_deg",
    "power_w",
    "ratings_findings",
    "rms_v",
    "select",
    "settled",
    "shelf_db",
    "short_labels",
    "slope_db_per_octave",
    "source_v",
    "standard_volts",
    "standard_watts",
    "stimulus",
    "stored_coulombs",
    "stored_joules",
    "valve_ratings",
    "with_fitted",
    "worst_parts",
]
