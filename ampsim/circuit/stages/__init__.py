"""Stage templates: how the parts of each kind of stage are wired."""

from __future__ import annotations

from . import networks, power, sources, triodes
from .template import Template

TEMPLATES: dict[str, Template] = {
    template.name: template
    for template in (*sources.TEMPLATES, *triodes.TEMPLATES, *networks.TEMPLATES, *power.TEMPLATES)
}

__all__ = ["TEMPLATES", "Template"]
