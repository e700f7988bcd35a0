"""What every part speaks: errors, values in words, tables as text, files read within bounds and written whole, progress.

Imports nothing of ampsim. Begin with `quantities`.
"""
