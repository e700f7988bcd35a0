"""What was measured, and what it says: voltages and the likeliest fault, sweeps, proof.

It imports base, circuit, simulation, measures, pictures, studies and library. Begin reading with `diagnosis.report`.
"""
