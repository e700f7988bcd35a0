"""ampsim: audition a change to a valve guitar amplifier before touching it."""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# Loaded on first use: `import ampsim` and `ampsim --help` stay quick, and a reader of files needs no plotting.
_HOME = {
    "AmpsimError": "errors",
    "DescriptionError": "errors",
    "EngineError": "errors",
    "load_valve": "library",
    "load_amp": "library",
    "load_mod": "library",
    "load_job": "library",
    "parse_amp": "library",
    "parse_mod": "library",
    "apply": "mods",
    "diff": "mods",
    "OperatingPoint": "analyses",
    "FrequencySweep": "analyses",
    "Transient": "analyses",
    "LoopSweep": "analyses",
    "Sine": "analyses",
    "Burst": "analyses",
    "Waveform": "analyses",
    "simulate": "response",
    "every_position": "positions",
    "listening_points": "response",
    "loop_gain": "loop",
    "save": "storage",
    "load": "storage",
    "gain_at": "measures",
    "gain_db": "measures",
    "difference_db": "measures",
    "corner_hz": "measures",
    "harmonics": "measures",
    "bias_table": "measures",
    "margin_table": "measures",
    "attribute": "attribution",
    "Listening": "hearing",
    "listen": "listening",
    "phrase": "listening",
    "dry_phrase": "listening",
    "render": "listening",
    "write_clips": "listening",
    "why": "reasons",
    "say_why": "sentences:sentences",
    "bypass_exercise": "lessons",
    "formula_beside": "lessons",
    "lesson_stage": "lessons",
    "describe_amp": "overview",
    "describe_mod": "overview",
    "explore": "panel",
    "open_panel": "panel",
    "loops": "pictures",
    "overlay": "pictures",
    "family": "pictures",
    "waveform": "pictures",
    "save_picture": "pictures:save",
    "text_table": "tables",
    "gain_table": "job",
    "audition": "job",
    "write_page": "page",
    "examine": "sheet",
    "consequences": "sheet",
    "write_sheet": "sheet",
    "load_wishes": "library",
    "load_drawer": "library",
    "parse_wishes": "library",
    "find": "finder",
    "find_text": "finder",
    "trade": "pictures",
    "corridor": "pictures",
    "worst_corners": "stability",
    "side_by_side": "player",
    "diagnose": "diagnosis",
    "draw_schematic": "schematic:schematic",
    "read_readings": "diagnosis",
}

__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'ampsim' has no attribute {name!r}")
    module, _, other_name = _HOME[name].partition(":")
    return getattr(import_module(f".{module}", __name__), other_name or name)


def __dir__() -> list[str]:
    return __all__
