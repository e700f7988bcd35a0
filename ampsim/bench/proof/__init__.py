"""Simulated against measured after the work: limits, voltages, sweeps, pass or fail."""
