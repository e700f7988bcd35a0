"""What the owner wishes of switches is read from the owner's words alone."""

from __future__ import annotations

import pytest

from ampsim.job.record.data import OwnersWish, Record
from ampsim.job.record.quiet_switches import wishes_quiet_switches


@pytest.mark.parametrize(
    ("words", "quiet"),
    [
        ("The switch must not pop.", True),
        ("no clicks when I switch, please", True),
        ("Thump when switching drives me mad", True),
        ("more bite with the gain low", False),
        ("it mustn't pop when I switch", True),
        ("I play pop music", False),
        ("popular at weddings", False),
        ("", False),
    ],
)
def test_only_the_owner_asks_for_silence(words: str, quiet: bool) -> None:
    record = Record("job", "amp")
    assert not wishes_quiet_switches(record)
    assert wishes_quiet_switches(Record("job", "amp", words=words)) == quiet
    assert wishes_quiet_switches(Record("job", "amp", wishes=(OwnersWish(words or "-"),))) == quiet
