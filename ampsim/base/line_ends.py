"""Line ends of texts that people edit: a text comes back with those it had, and what differs in them alone is equal."""

from __future__ import annotations

_WINDOWS = "\r\n"


def decode_lines(data: bytes) -> tuple[str, str]:
    r"""A UTF-8 text with every line ended by "\n", and the end that most of its lines have, "\n" or "\r\n".

    Raises
    ------
    UnicodeDecodeError
        When it is not UTF-8.
    """
    text = data.decode("utf-8")
    most = 2 * text.count(_WINDOWS) > text.count("\n")
    return text.replace(_WINDOWS, "\n"), _WINDOWS if most else "\n"


def with_ends(text: str, end: str) -> str:
    r"""A text whose lines end with "\n", ended with `end` instead."""
    return text.replace("\n", end)


def plain_ends(data: bytes) -> bytes:
    """A text's bytes with plain line ends, to compare it with another or to take its checksum."""
    return data.replace(b"\r\n", b"\n")
