"""Netlists of other programs, SPICE's and KiCad's, read as an amp in free wiring.

A file is data: nothing in it is carried out, no file that it names is opened. What can be read in two ways is asked;
what is not understood is listed line by line. Begin with `importing`; `drawing` holds what the two readers find.
"""
