"""Doing the work: what to buy, how it is wired, in which order."""

from __future__ import annotations

import argparse
from pathlib import Path

from ....base.caution import CAUTION
from .common import PICTURES, Steps, open_record, output_path, to_option


def add(steps: Steps) -> None:
    """Add the steps of doing."""
    steps.group("doing")
    parts = steps.step("parts", "what to buy, rated for what it carries", _parts)
    parts.add_argument("--to", type=Path, help="also write the list as CSV to this file")
    wiring = steps.step(
        "wiring", "from-to list, contacts of every switch, and the schematic of what is touched", _wiring
    )
    to_option(wiring, "folder for the schematic", "pictures")
    wiring.add_argument("--whole", action="store_true", help="draw the whole amp, not only what the mods touch")
    steps.step("steps", "the work in a safe order, with what to measure after each step", _steps)


def _parts(options: argparse.Namespace) -> None:
    from ....work.parts_list.parts_list import parts_list

    found = open_record(options)[1]
    listed = parts_list(found.stock, found.modded, drawer=found.drawer)
    print(listed.text())
    if options.to:
        print(f"\nThe list is in {listed.write(options.to)}")


def _wiring(options: argparse.Namespace) -> None:
    from ....job.papers.wiring import wiring_text
    from ....pictures.export import save_picture
    from ....work.schematic.draw import schematic
    from ....work.wiring.readback import wiring

    amp = open_record(options)[1].modded
    told = wiring_text(wiring(amp))
    drawn = save_picture(schematic(amp, options.whole), output_path(options, PICTURES) / "schematic")
    print(f"{told}\n\nThe schematic is {' and '.join(map(str, drawn))}\n\n{CAUTION}")


def _steps(options: argparse.Namespace) -> None:
    from ....job.record.quiet_switches import wishes_quiet_switches
    from ....work.steps.work_plan import work_steps

    record, found = open_record(options)
    plan = work_steps(found.stock, found.modded, quiet_switches=wishes_quiet_switches(record))
    print(plan.text())
