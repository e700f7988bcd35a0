"""What a mod does: one folder to a topic, the sheet of all topics, the audition, the search for values.

It imports base, circuit, simulation, measures and pictures. Begin reading with `audition`, then any
topic: simulate, measures, findings, picture, section.
"""
