"""How is it done safely: cautions, parts list, wiring, schematic, steps?

Imports base, circuit, simulation, measures, pictures and studies. Begin with `steps.plan`.
"""
