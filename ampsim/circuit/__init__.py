"""What is an amp, a mod, a position; which pin is on which net; what current does a valve draw?

Imports base. Begin with `amp`, then `build`.
"""
