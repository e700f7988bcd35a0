"""A hundred amps at their tolerances: whether the mod stands out, and which parts matter."""

TITLE = "spread and sensitivity"
