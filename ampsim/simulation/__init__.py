"""A circuit and a question in, labelled arrays out: by ngspice, or by the time-step solver.

Imports base and circuit. Begin with `response`.
"""
