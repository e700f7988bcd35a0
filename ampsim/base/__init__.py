"""What every part speaks: errors, values in words, tables as text, files, progress.

It imports nothing of ampsim. Begin reading with `quantities`.
"""
