"""The figures that issues ask for, measured in one run: `python -m tests.figures`."""
