"""The measurements of the demo job are what its script makes, and say that they are invented."""

from pathlib import Path

from tests.tools.invent_job import FOLDER, write_all


def test_the_script_makes_the_shipped_files_again_to_the_byte(tmp_path: Path) -> None:
    made = write_all(tmp_path)
    assert {path.name for path in made} == {path.name for path in FOLDER.iterdir()}
    for path in made:
        assert path.read_bytes() == (FOLDER / path.name).read_bytes(), path.name


def test_every_text_says_that_nothing_was_measured() -> None:
    texts = [path.read_text("utf-8") for path in FOLDER.glob("*.csv")]
    assert len(texts) == 3
    assert all("invented" in text and "nothing was measured" in text for text in texts)
