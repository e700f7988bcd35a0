"""The faces: the live panel in a notebook, lessons, the command line; thin, for the same calls serve Python users.

Imports everything. Begin with `commands.main` or `panel.widget`.
"""
