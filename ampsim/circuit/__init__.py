"""What is an amp, a mod, a position; which pin is on which net; what current does a valve draw.

It imports base. Begin reading with `amp`, then `build`.
"""
