"""The ways to mount a part."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mount(StrEnum):
    """How a part is held and where its leads are soldered; the words stand in amp and job files."""

    BOARD = "board, through hole"
    SURFACE = "board, surface mount"
    TURRET = "board, turret"
    EYELET = "board, eyelet"
    TAGS = "tag strip"
    POINT = "point to point"
    PANEL = "panel"
    PANEL_BOARD = "panel, on board"
    SOCKET = "socket"
    SOCKET_BOARD = "socket, on board"
    CHASSIS = "chassis"
    CABINET = "cabinet"
    CONNECTOR = "connector"

    @property
    def on_board(self) -> bool:
        """Whether the part's own joints are on a printed board."""
        return self in (Mount.BOARD, Mount.SURFACE, Mount.PANEL_BOARD, Mount.SOCKET_BOARD)


@dataclass(frozen=True)
class Mounting:
    """How one part is mounted; `connector` is the plug on its leads, "" for none."""

    mount: Mount
    connector: str = ""

    @property
    def words(self) -> str:
        """As files say it."""
        return f"{self.mount} {self.connector}".strip()
