"""What does a mod do? One folder to a topic: simulate, measures, findings, picture, section; the sheet of all; the search.

Imports base, circuit, simulation, measures and pictures. Begin with `audition`, or `sheet.sheet`.
"""
