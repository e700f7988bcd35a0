"""The supply from mains to rails: transformer, rectifier valves, and what they make of the mains' alternating volts.

The rectifiers of an amp stand in it with their pins on nets as every part does (`paths` finds the ways through them).
Their steady state over a period of the mains is worked out in time (`steady`); what the rest of the amp sees of it,
mean current over mean volts, becomes a law (`mean_law`) that takes their place at rest, swept and in time
(`averaged`).
"""
