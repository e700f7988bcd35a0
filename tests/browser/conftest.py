"""What the browser tests share: one Chromium to a file of tests."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.page_figures import browser


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with browser() as running:
        yield running
