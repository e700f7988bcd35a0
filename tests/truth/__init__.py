"""Every outside check of ampsim: published numbers against ours. `python -m tests.truth` prints them all."""
