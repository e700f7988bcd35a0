"""Nets that lie inside a part."""

from __future__ import annotations


def inner_net(designator: str, name: str) -> str:
    """A net inside a part: no net of a drawing begins with two such marks."""
    return f"__{designator.lower()}_{name}"
