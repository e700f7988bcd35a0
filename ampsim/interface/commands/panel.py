"""`ampsim panel`: the live panel and the player as a page on this computer, without Jupyter."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from .common import Commands, asked_audition, audition_options, report

if TYPE_CHECKING:
    from ..panel import Panel

PLACE = 15


def add(commands: Commands) -> None:
    """Add "panel"."""
    parser = commands.add_parser("panel", help="turn every control and hear it, live, on a page in the browser")
    audition_options(parser)
    parser.add_argument(
        "--try",
        dest="tried",
        action="append",
        default=[],
        nargs=4,
        metavar=("PART", "LEAST", "MOST", "SERIES"),
        help="a part of the modded amp to try other values in, such as C101 47p 22n E6; repeatable",
    )
    parser.add_argument("--no-browser", action="store_true", help="print the address and open no browser")
    parser.set_defaults(command=_panel)


def _panel(options: argparse.Namespace) -> None:
    import asyncio

    from ..panel import audition_panel

    audition = asked_audition(options)
    values = {part: (least, most, series) for part, least, most, series in options.tried}
    report(f"simulating {audition.name} as drawn")
    panel = audition_panel(audition, options.job, values)
    try:
        asyncio.run(_serve(panel, audition.name, opens=not options.no_browser))
    except KeyboardInterrupt:
        report("\nThe panel is closed; nothing is left running.")


async def _serve(panel: Panel, title: str, opens: bool) -> None:
    import asyncio
    import webbrowser
    from threading import Thread

    from ..panel.page.server import served

    async with served(panel, title) as address:
        print(f"The panel is at {address.url}\nKeep this terminal open; Ctrl-C ends the panel.", flush=True)
        if opens:
            # A browser of the terminal keeps the one who opened it waiting.
            Thread(target=webbrowser.open, args=(address.once,), daemon=True).start()
        await asyncio.Event().wait()
