"""Netlists in, arrays out, on every core: worker processes around the ngspice library."""
