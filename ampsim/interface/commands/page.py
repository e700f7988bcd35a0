"""`ampsim page`: one HTML file for the amp's owner."""

from __future__ import annotations

import argparse
from pathlib import Path

from ...base.files import refuse_unwritable
from .common import Commands, find_audition, job_argument, page_clips, page_options, report_counted, to_option

PLACE = 50


def add(commands: Commands) -> None:
    """Add "page"."""
    parser = commands.add_parser("page", help="write one HTML file for the amp's owner, to open anywhere")
    job_argument(parser)
    to_option(parser, "the file", "NAME.html")
    page_options(parser)
    parser.set_defaults(command=_page)


def _page(options: argparse.Namespace) -> None:
    from ...job.page.wished import wishes_of
    from ...job.page.write import write_page
    from ...job.papers.owner_page import owner_page
    from ...job.record.reading import is_job, read_record

    refuse_unwritable((options.to or Path()).parent)
    audition = find_audition(options.job, None, [])
    clips = page_clips(options, audition)
    how = (options.to, options.control, report_counted)
    if options.job and is_job(options.job):
        record = read_record(options.job)
        path = owner_page(audition, record, *how, clips, wishes=wishes_of(record, options.job))
    else:
        path = write_page(audition, *how, clips=clips)
    print(f"The page is {path}")
