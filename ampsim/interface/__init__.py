"""The faces, thin ones: the live panel in a notebook, lessons, the command line.

It imports everything. Begin reading with `commands.main` or `panel.widget`.
"""
