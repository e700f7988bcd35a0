"""`ampsim.job` offers what a job is worked through with; the names are strings there, so each is asked for here."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from ampsim import job

NAMES = [name for names in job._HOME.values() for name in names]
NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "8-a-job-from-start-to-finish.ipynb"


@pytest.mark.parametrize("name", NAMES)
def test_every_name_is_there(name: str) -> None:
    assert getattr(job, name) is not None


def test_a_name_that_is_not_there_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'begin_jobs'"):
        job.begin_jobs  # noqa: B018
    assert len(set(NAMES)) == len(NAMES)


def test_the_notebook_of_a_job_asks_for_nothing_else() -> None:
    cells = json.loads(NOTEBOOK.read_text("utf-8"))["cells"]
    code = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
    asked = set(re.findall(r"\bjob\.(\w+)", code.replace("ampsim.job", "")))
    assert len(asked) > 15
    assert asked <= set(NAMES)


def test_asking_for_the_record_loads_no_pictures() -> None:
    ask = (
        "import sys\nfrom ampsim import job\njob.Phase\nprint([n for n in ('numpy', 'matplotlib') if n in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, encoding="utf-8", check=True)
    assert done.stdout.strip() == "[]"
