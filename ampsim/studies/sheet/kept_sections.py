"""What was found of a mod before is told again, pictures and all: sheet, record and page examine nothing twice.

A section is kept under a hash of all that it depends on (`simulation/kept_work`): both amps to the last word, and the
positions. A topic that comes from elsewhere may change without that, so its sections are not kept.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial
from pathlib import Path

from ...base.kept_files import fetch_kept, keep_within, kept_folder
from ...base.progress import Progress
from ...pictures.export import drawn_picture
from ...simulation.kept_work import FAULTS, HOME, work_path
from ..section import Examination, Section
from ..topics import topic_file, topic_section
from .packed_section import packed_section, unpacked_section

MOST_BYTES, _MOST_OF_ONE = 100_000_000, 5_000_000
_FOLDER, _ENDING = "sections", ".json"


def kept_section(topic: str, examined: Examination, progress: Progress | None = None) -> Section:
    """As `topics.topic_section`, or what was kept where the same was examined before; its pictures are drawn.

    Raises
    ------
    EngineError
        When ngspice gives no trustworthy answer.
    """
    path = _path(topic, examined)
    kept = path and fetch_kept(path, _MOST_OF_ONE)
    if kept:
        try:
            return unpacked_section(json.loads(bytes(kept)), partial(topic_section, topic, examined))
        except FAULTS:
            pass
    found = topic_section(topic, examined, progress)
    found = replace(found, pictures={name: drawn_picture(picture) for name, picture in found.pictures.items()})
    packed = packed_section(found) if path else None
    if path and packed is not None:
        keep_within(path, json.dumps(packed).encode(), MOST_BYTES)
    return found


def _path(topic: str, examined: Examination) -> Path | None:
    """Where a topic is kept; None without a simulator, and for what comes from elsewhere."""
    if not topic_file(topic).is_relative_to(HOME):
        return None
    found = work_path((topic, repr(examined)))
    return found and kept_folder() / _FOLDER / f"{found.stem}{_ENDING}"
