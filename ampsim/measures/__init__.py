"""Measures: pure functions from a response to labelled numbers; nothing here draws or simulates."""

from .bias import bias_table
from .blocking import bias_v, blocking_table, small_tone_db, tone_table
from .blocking_findings import blocking_findings
from .compared import compare, compared_findings, compared_table, tolerance_band
from .headroom import (
    clipping_table,
    compression_db,
    harmonics_over_level,
    harmonics_table,
    levels_between,
    power_table,
)
from .headroom_findings import headroom_findings
from .hum import hum_assumptions, hum_by_node, hum_findings, hum_table
from .labels import common_settings, expect, index_of, select, short_labels
from .margins import Crossing, Margins, crossing_table, margin_table, margin_verdict, margins
from .noise import contributor_table, noise_findings, noise_shares, noise_table, weighted_v
from .part_ratings import part_ratings, standard_volts, standard_watts, with_fitted, worst_parts
from .ratings import discharge_s, moved_ratings, ratings_findings, stored_coulombs, stored_joules
from .sensitivity import sensitivity_table
from .spread import band_levels, percentiles, rest_table, spread_table, stand_out
from .spread_findings import run_findings, stand_out_findings
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
from .weighting import a_weight, level_db

__all__ = [
    "FLOOR_DB",
    "Crossing",
    "Margins",
    "a_weight",
    "band_levels",
    "bias_table",
    "bias_v",
    "blocking_findings",
    "blocking_table",
    "clipping_table",
    "common_settings",
    "compare",
    "compared_findings",
    "compared_table",
    "compression_db",
    "contributor_table",
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
    "harmonics_over_level",
    "harmonics_table",
    "headroom_findings",
    "hum_assumptions",
    "hum_by_node",
    "hum_findings",
    "hum_table",
    "index_of",
    "level_db",
    "levels_between",
    "margin_table",
    "margin_verdict",
    "margins",
    "moved_ratings",
    "noise_findings",
    "noise_shares",
    "noise_table",
    "notch",
    "part_ratings",
    "peak",
    "percentiles",
    "phase_deg",
    "power_table",
    "power_w",
    "ratings_findings",
    "rest_table",
    "rms_v",
    "run_findings",
    "select",
    "sensitivity_table",
    "settled",
    "shelf_db",
    "short_labels",
    "slope_db_per_octave",
    "small_tone_db",
    "source_v",
    "spread_table",
    "stand_out",
    "stand_out_findings",
    "standard_volts",
    "standard_watts",
    "stimulus",
    "stored_coulombs",
    "stored_joules",
    "tolerance_band",
    "tone_table",
    "valve_ratings",
    "weighted_v",
    "with_fitted",
    "worst_parts",
]
