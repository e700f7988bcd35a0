"""A labelled array in, labelled numbers out; nothing here draws or simulates.

It imports base and simulation. Begin reading with `sweep`.
"""
