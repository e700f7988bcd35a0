"""The amp on the bench against the drawing: measured voltages, and which single part is likeliest at fault."""

from .readings import Readings, parse_readings, read_readings
from .report import Diagnosis, Suspicion, diagnose, weigh_readings

__all__ = ["Diagnosis", "Readings", "Suspicion", "diagnose", "parse_readings", "read_readings", "weigh_readings"]
