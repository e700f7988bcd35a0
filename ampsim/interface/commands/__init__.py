"""The command line: a module to each command, found by its function `add`; `job` holds the steps of a job.

A command's module imports what is heavy (numpy, pictures) inside its functions, so that `ampsim --help` is quick.
"""
