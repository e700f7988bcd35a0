"""A sweep to play, what came back, laid over the simulation, and which part values explain it."""
