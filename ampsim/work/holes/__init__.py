"""Holes in a panel: which a job needs, where new parts take the hole of old ones, and how much room each asks for."""
