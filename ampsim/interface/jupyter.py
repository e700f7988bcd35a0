"""Open JupyterLab on the notebooks, with a connection that does not hold small messages back."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from importlib.util import find_spec
from pathlib import Path

from ..base.errors import AmpsimError
from ..base.files import shipped_folder

_NEEDED = ("jupyterlab", "ipywidgets", "anywidget")


def command(folder: Path, more: Sequence[str] = ()) -> list[str]:
    """The command that opens JupyterLab on a folder; settings of the user's own server are left alone.

    The page is served to this machine only. Looking for newer versions and for news is switched off: nothing is
    asked of the network.
    """
    return [
        sys.executable, "-m", "jupyterlab", str(folder),
        "--ServerApp.ip=127.0.0.1",
        "--ServerApp.kernel_websocket_connection_class=ampsim.interface.panel.server.PromptConnection",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.news_url=None",
        *more,
    ]  # fmt: skip


def environment() -> dict[str, str]:
    """The environment of JupyterLab: of its settings only the answer to whether it may look for news is given, no.

    The user's own settings come first.
    """
    own = os.environ.get("JUPYTER_CONFIG_PATH")
    ours = str(Path(__file__).with_name("jupyter_settings"))
    return {**os.environ, "JUPYTER_CONFIG_PATH": os.pathsep.join([own, ours] if own else [ours])}


def start(folder: Path | None = None, more: Sequence[str] = ()) -> int:
    """Open JupyterLab and wait until it is closed; return its exit status.

    Parameters
    ----------
    folder : Path
        Default: the notebooks that come with ampsim.
    more : sequence of str
        Further options for JupyterLab.

    Raises
    ------
    AmpsimError
        When the folder or JupyterLab is missing.
    """
    target = folder or shipped_folder("notebooks")
    if not target.is_dir():
        raise AmpsimError(f"{target}: no such folder")
    missing = [name for name in _NEEDED if find_spec(name) is None]
    if missing:
        raise AmpsimError(f"{', '.join(missing)} not installed; the notebooks need: pip install 'ampsim[notebooks]'")
    try:
        return subprocess.call(command(target, more), env=environment())
    except KeyboardInterrupt:
        return 0
