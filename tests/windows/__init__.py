"""What runs in Windows' Python under wine: `python -m tests.windows`."""
