"""How the work is done safely: cautions, parts list, wiring, schematic, steps.

It imports base, circuit, simulation, measures, pictures and studies. Begin reading with `steps.plan`.
"""
