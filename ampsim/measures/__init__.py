"""A labelled array in, labelled numbers out; nothing here draws or simulates.

It imports base. Begin reading with `sweep`.
"""
