"""Places said by what they are ("second stage.cathode resistor"), found in the wires of any amp.

`words` knows the phrases, `order` the valves in signal order, `jobs` what a part does for a stage, `site` puts them
together for one amp, `conditions` what must hold there. Names of stages and templates mean nothing here: equal circuits
have equal landings.
"""
