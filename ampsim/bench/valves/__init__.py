"""Valves by their curves: fitted to a few points, and drawn over the published ones.

Begin reading with `fit`. `points_file` reads points and `points_table` those in columns, `rest` and `driven` say what a
law gives for them, `residuals` how far that is off, `usual` what holds a fit where they say nothing, `report` what came
out; `curves` and `picture` draw any valve, `overview` all of them, `stage_lines` what one works into.
"""
