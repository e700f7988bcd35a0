"""What stands in a part's place after it was exchanged: one of another value, of another type, or another part."""

from __future__ import annotations

from dataclasses import replace

from .amp import AnyPart, Edit, Part, Pot, Socket
from .semiconductors.device import Device


def put_in_place(part: AnyPart, edit: Edit) -> AnyPart | None:
    """The part that a replacement puts in a part's place; None where there is no such part.

    Another pot belongs to the same control and stands where the old one stood; a tap that was there is there still.
    """
    value = edit.value
    if isinstance(value, Pot) and isinstance(part, Pot):
        tap = part.tap if value.tap is None else value.tap
        return replace(value, control=part.control, rotation=part.rotation, tap=tap)
    if isinstance(part, (Socket, Device)) and isinstance(value, str):
        return replace(part, type=value)
    if isinstance(part, (Part, Pot)) and isinstance(value, float):
        return replace(part, value=value)
    return value if isinstance(value, type(part)) and not isinstance(value, (str, float)) else None
