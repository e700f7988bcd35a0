"""Keeping a job: the whole folder in one file, and out of it again."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..common import to_option
from .common import Steps


def add(steps: Steps) -> None:
    """Add the steps of keeping."""
    steps.group("keeping")
    packing = steps.step("pack", "the whole job in one zip, with the sha256 of every file", _pack)
    to_option(packing, "the zip", "the folder's name, beside the folder")
    unpacking = steps.step("unpack", "open a packed job into a new folder, once every file was checked", _unpack)
    unpacking.add_argument("file", type=Path, help="the zip")


def _pack(options: argparse.Namespace) -> None:
    from ....job.shop.packing import pack

    print(f"The job is packed in {pack(options.folder, options.to)}")


def _unpack(options: argparse.Namespace) -> None:
    from ....job.shop.packing import unpack

    record = unpack(options.file, options.folder)
    print(f"Job '{record.name}' is in {options.folder}; every file is as it was packed")
