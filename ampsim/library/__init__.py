"""Which amp, mod, audition or wish does a file mean, and if none, what is wrong with it?

Imports base, circuit, simulation and studies. Begin with `files`.
"""
