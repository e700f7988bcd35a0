"""A circuit and a question in, labelled arrays out: by ngspice, or by the time-step solver.

It imports base and circuit. Begin reading with `response`.
"""
