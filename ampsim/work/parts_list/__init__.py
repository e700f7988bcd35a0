"""The parts list: what to get for a mod, rated for what it carries."""

from .parts_list import parts_list

__all__ = ["parts_list"]
