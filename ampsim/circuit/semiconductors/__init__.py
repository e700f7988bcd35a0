"""Semiconductors: what a type's file may say, the pieces a part is made of, and their laws and ngspice text.

A part is a small circuit of pieces (`pieces`): resistors, capacitors, and places where current follows a law
(`port_laws`). ngspice gets those pieces as text, the compiled loop gets the same pieces as numbers.
"""
