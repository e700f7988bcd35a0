"""The consequence sheet: what a mod does besides tone, a section to each topic."""

from .section import Examined, Section

__all__ = ["Examined", "Section"]
