"""The amp on the bench against the drawing: measured voltages, and which single part is likeliest at fault."""

from .readings import read_readings

__all__ = ["read_readings"]
