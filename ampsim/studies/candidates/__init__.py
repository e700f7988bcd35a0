"""Candidates for one question side by side: values, tapers, valves, mods; what each does to the tone and what it costs.

Begin reading with `comparison`.
"""
