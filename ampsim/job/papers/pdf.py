"""A page as PDF, printed by a browser without a window."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
from pathlib import Path

from ...base.errors import DescriptionError
from ...base.files import write_whole
from .html import PAPERS

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
_FLAGS = (
    "--headless", "--disable-gpu", "--no-first-run", "--disable-extensions", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--no-default-browser-check",
    # Whatever it would ask for, there is no such host.
    "--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer",
)  # fmt: skip
_SIZE = "@page {{ size: {0}; }} @page sideways {{ size: {0} landscape; }}"


def browser_path() -> str | None:
    """The first browser on the PATH that can print, or None."""
    return next((found for name in BROWSERS if (found := shutil.which(name))), None)


def write_pdf(
    page: str | Path,
    path: str | Path | None = None,
    paper: str = "",
    seconds: float = 60.0,
    appendix: bool = False,
) -> Path:
    """Print an HTML file to PDF.

    Parameters
    ----------
    page : str or Path
        A page of ampsim; its own paper counts unless `paper` names another.
    path : str or Path
        Default: the page's name with the ending "pdf".
    paper : str
        "A4" or "Letter"; default as the page says, A4 where it says nothing.
    seconds : float
        After so long the browser is stopped [s].
    appendix : bool
        Print the page's appendix as well; on the page it is folded.

    Raises
    ------
    DescriptionError
        When there is no browser, no such page, or no PDF comes of it.
    """
    source = Path(page)
    try:
        text = source.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        raise DescriptionError(f"{source}: cannot be read: {problem}") from None
    browser = browser_path()
    if browser is None:
        raise DescriptionError(
            f"no Chromium or Chrome on the PATH to make a PDF; open {source} in any browser and print it: it is made "
            "for paper and comes out the same"
        )
    if paper and paper not in PAPERS:
        raise DescriptionError(f"{paper[:30]!r} is no paper known here; there are {', '.join(PAPERS)}")
    if paper or "@page { size:" not in text:
        paper = paper or "A4"
        text = text.replace("</style>\n</head>", f"{_SIZE.format(PAPERS[paper])}\n</style>\n</head>", 1)
    if appendix:
        text = text.replace('<details class="appendix">', '<details class="appendix" open>')
    target = Path(path) if path is not None else source.with_suffix(".pdf")
    with tempfile.TemporaryDirectory(prefix="ampsim-print-", ignore_cleanup_errors=True) as folder:
        copy, made = Path(folder, "page.html"), Path(folder, "page.pdf")
        copy.write_text(text, "utf-8")
        said = _print(browser, copy, made, Path(folder, "profile"), seconds)
        data = made.read_bytes() if made.is_file() else b""
    if not data.startswith(b"%PDF") or b"%%EOF" not in data[-64:]:
        raise DescriptionError(f"{browser} made no PDF of {source}{said}; open the page in a browser and print it")
    return write_whole(target, data)


def _print(browser: str, page: Path, made: Path, profile: Path, seconds: float) -> str:
    """Run the browser; return what went wrong in words, if anything."""
    command = [browser, *_FLAGS, f"--user-data-dir={profile}", f"--print-to-pdf={made}"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--no-sandbox")  # as root it does not start otherwise
    # A group of its own: its helpers end with it.
    running = subprocess.Popen(
        [*command, page.as_uri()],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        code = running.wait(seconds)
    except subprocess.TimeoutExpired:
        return f" within {seconds:g} s"
    finally:
        _stop(running)
    return f" (it ended with {code})" if code else ""


def _stop(running: subprocess.Popen[bytes]) -> None:
    if running.poll() is None:
        if hasattr(os, "killpg"):
            os.killpg(running.pid, signal.SIGKILL)
        else:
            running.kill()
        running.wait()
