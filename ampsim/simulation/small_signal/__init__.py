"""Sweeps and operating points of many variants of one circuit at once, without a simulator; begin at `circuit`."""
