"""A labelled array in, labelled numbers out; nothing here draws or simulates.

It imports base, circuit and simulation. Begin reading with `sweep`.
"""
