"""Which amp, mod, audition or wish a file means, and if none, what is wrong with it.

It imports base, circuit, simulation, pictures and studies. Begin reading with `files`.
"""
