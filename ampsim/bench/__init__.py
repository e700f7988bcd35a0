"""What was measured, and what does it say: voltages with the likeliest fault, sweeps beside the simulation, proof.

Imports base, circuit, simulation, measures, pictures, studies and library. Begin with `diagnosis.report`.
"""
