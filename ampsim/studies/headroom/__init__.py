"""Which stage clips first and at which level; power and harmonics over level."""

TITLE = "headroom"
