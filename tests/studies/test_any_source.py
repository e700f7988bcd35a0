"""Every topic of the sheet answers from any source: what is plugged in is no part of the amp."""

from __future__ import annotations

import pytest

from ampsim.circuit.mods import apply_mods
from ampsim.circuit.plugging import plug_in
from ampsim.library.loader import load_amp, load_mod
from ampsim.studies.sheet.sheet import examine
from ampsim.studies.topics import topic_section


@pytest.mark.parametrize("topic", ["ratings", "stability", "noise", "pop"])
def test_a_topic_answers_from_a_generator(topic: str) -> None:
    amp = load_amp("workshop-b")
    modded = apply_mods(amp, load_mod("bright-switch"))
    drawn = topic_section(topic, examine(amp, modded))
    source = "generator 600 at V1A.grid through 100n"
    section = topic_section(topic, examine(plug_in(amp, source), plug_in(modded, source)))
    assert not any("generator" in each.subject for each in section.findings)
    assert bool(section.findings) == bool(drawn.findings)
