"""What was understood of a file of any kind."""

from __future__ import annotations

from pathlib import Path

from ..base.errors import DescriptionError
from ..circuit.amp import Amp, Mod
from .assumptions import assumptions
from .files import read_toml
from .kinds import KINDS
from .loader import Loader


def describe_file(path: Path) -> str:
    """Say what was understood of a file of any kind.

    Raises
    ------
    DescriptionError
        For every mistake, naming file, entry, offending value and the nearest valid thing.
    """
    for name, kind in KINDS.items():
        if kind.fits(tables := read_toml(path)):
            read = Loader().load(name, str(path))
            said = assumptions(tables, read) if isinstance(read, (Amp, Mod)) else []
            head = ["", "Filled in or read by a convention"] if said else []
            return "\n".join([kind.describe(read), *head, *(f"  {line}" for line in said)])
    *looks, last = (kind.look for kind in KINDS.values())
    raise DescriptionError(f"{path}: neither {', '.join(looks)} nor {last}")
