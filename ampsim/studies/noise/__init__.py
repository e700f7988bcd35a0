"""Hiss by the part that makes it, hum by supply node and heater."""

TITLE = "noise and hum"
