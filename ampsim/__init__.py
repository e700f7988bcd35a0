"""ampsim: audition a change to a valve guitar amplifier before touching it."""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# Loaded on first use: `import ampsim` and `ampsim --help` stay quick, and a reader of files needs no plotting.
_HOME = {
    "AmpsimError": "base.errors",
    "DescriptionError": "base.errors",
    "EngineError": "base.errors",
    # files
    "load_amp": "library.loader",
    "load_mod": "library.loader",
    "load_valve": "library.loader",
    "load_rectifier": "library.loader",
    "load_semiconductor": "library.loader",
    "load_audition": "library.loader",
    "load_wishes": "library.loader",
    "parse_amp": "library.loader",
    "parse_mod": "library.loader",
    "import_netlist": "library.netlists.importing",
    # change an amp
    "apply_mods": "library.landing",
    "diff": "circuit.mods",
    "every_position": "circuit.positions",
    "describe_amp": "library.overview",
    "fits": "library.fits",
    "land": "library.landing",
    # ask
    "OperatingPoint": "simulation.analyses",
    "FrequencySweep": "simulation.analyses",
    "Transient": "simulation.analyses",
    "Sine": "simulation.stimuli",
    "Burst": "simulation.stimuli",
    "simulate": "simulation.response",
    "spice_file": "simulation.spice_file",
    "loop_gain": "simulation.loop_gain",
    "save_response": "simulation.storage",
    "load_response": "simulation.storage",
    # numbers
    "gain_table": "studies.audition",
    "bias_table": "measures.bias",
    "margin_table": "measures.margins",
    "text_table": "base.tables",
    "say": "base.notebook",
    # see
    "overlay_picture": "pictures.overlay",
    "candidates_picture": "pictures.candidates",
    "family_picture": "pictures.family",
    "save_picture": "pictures.export",
    # whole things
    "audition": "studies.audition",
    "compare": "studies.candidates.comparison",
    "compare_at": "studies.candidates.comparison",
    "comparison_text": "studies.candidates.comparison",
    "travel": "studies.travel",
    "read_candidates": "library.candidates",
    "consequences": "studies.sheet.sheet",
    "find_values": "studies.search.search",
    "explain_brightness": "studies.brightness.reasons",
    "diagnose": "bench.diagnosis.report",
    "listen": "audio.listen",
    "listen_to_candidates": "audio.candidates",
    "write_page": "job.page.write",
    "explore": "interface.panel",
    "open_panel": "interface.panel",
    "mark_photo": "interface.photo_marks",
}

__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'ampsim' has no attribute {name!r}")
    return getattr(import_module(f".{_HOME[name]}", __name__), name)


def __dir__() -> list[str]:
    return __all__
