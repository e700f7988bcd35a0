"""A hundred amps at their tolerances: does the mod stand out, and which parts matter?"""
