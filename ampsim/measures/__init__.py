"""A labelled array in, labelled numbers out: pure functions of a response; nothing here draws or simulates.

Imports base. Begin with `sweep`.
"""
