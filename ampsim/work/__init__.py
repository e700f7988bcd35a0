"""How the work is done safely: cautions, parts list, wiring, schematic, steps.

It imports base, circuit, simulation, measures, pictures, studies and bench. Begin reading with `steps.work_plan`.
"""
