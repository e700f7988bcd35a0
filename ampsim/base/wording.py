"""Numbers in words: frequencies, levels, voltages, columns; and texts without what does not print."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

_UNITS = r"(?:[mkun]?[VAWs]|[kM]?Hz|[kM]?ohm|dB|degrees|acum|%)(?!\w)"
_NUMBER_AND_UNIT = re.compile(rf"(?<=\d) (?={_UNITS})")
TOGETHER = rf"(\d) (?={_UNITS}|to [+\u2212-]?\d)|(\bto) (?=[+\u2212-]?\d)"
"""The blanks at which `keep_together` ends no line, for Python and JavaScript alike."""

_MINUS = re.compile(r"(?<![\w.])-(?=[\d.\u221e])")
_SENTENCE = re.compile(r"(?:^|(?<=[A-Za-z0-9)%][.!?] ))[a-z](?=\w)(?![a-z]?\d)")


def plain(text: str, lines: bool = False) -> str:
    """A text without what does not print: blanks of every kind become one, other control characters go.

    Parameters
    ----------
    text : str
        Anything, surrogates included.
    lines : bool
        Keep the lines apart, and blanks within them; else everything becomes one line.
    """
    pieces = ["".join(_printed(sign) for sign in line) for line in text.splitlines()]
    if lines:
        return "\n".join(piece.rstrip() for piece in pieces).strip("\n")
    return " ".join(" ".join(pieces).split())


def one_line(text: str) -> str:
    """A text from a file on one line, every sign that does not print a blank."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def with_capitals(text: str) -> str:
    """A text whose sentences begin with a capital, also those that begin with the name of a mod or a control."""
    return _SENTENCE.sub(lambda found: found[0].upper(), text)


def keep_units(text: str) -> str:
    """A text in which no line ends between a number and its unit: a blank that does not break stands there."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)


def keep_together(text: str) -> str:
    """As `keep_units`, and no line ends within "80 to 200" either: for pages whose lines the reader's screen breaks."""
    return re.sub(TOGETHER, "\\1\\2\u00a0", text)


def join_words(items: Sequence[str]) -> str:
    """A list in words: "a", "a and b", "a, b and c"."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def plain_frequency(frequency: float) -> str:
    """A frequency [Hz] as a tick: "50", "2k", "1M"."""
    if frequency >= 1e6:
        return f"{frequency / 1e6:g}M"
    return f"{frequency / 1000:g}k" if frequency >= 1000 else f"{frequency:g}"


def in_hertz(frequency: float) -> str:
    """A frequency [Hz] in words, three figures: "82 Hz", "1.32 kHz", "5.39 MHz"."""
    if frequency >= 999.5e3:
        return f"{frequency / 1e6:.3g} MHz"
    return f"{frequency / 1000:.3g} kHz" if frequency >= 999.5 else f"{frequency:.3g} Hz"


def in_decibels(level: float, sign: bool = False) -> str:
    """A level [dB] in words: "63.1 dB"; with `sign` "+5.3 dB"."""
    if math.isnan(level):
        return "not known"
    if math.isinf(level):
        return "no signal" if level < 0 else "without limit"
    return f"{signed(level, 1)} dB" if sign else minus(f"{round(level, 1) + 0.0:.1f} dB")


def signed(size: float, decimals: int) -> str:
    """A number with its sign [in any unit]: "+5.3"; nothing is "+0.0", from whichever side it was rounded."""
    return minus(f"{round(size, decimals) + 0.0:+.{decimals}f}")


def in_volts(volts: float) -> str:
    """A voltage [V] in words, three figures: "8.12 V", "−162 V", "35 mV"."""
    if 0.0 < abs(volts) < 0.1:
        return minus(f"{1e3 * volts:.3g} mV")
    return minus(f"{volts:.3g} V" if abs(volts) < 999.5 else f"{volts:.0f} V")


def in_watts(watts: float) -> str:
    """A power in words [W], three figures: "21.6 W", "84 mW"."""
    return f"{watts:.3g} W" if watts >= 0.0995 else f"{1e3 * watts:.3g} mW"


def minus(text: str) -> str:
    """Write minus signs as such; a hyphen in a name stays one."""
    return _MINUS.sub("\u2212", text)


def round_column(values: Sequence[object]) -> list[str]:
    """Write a column: numbers with one number of decimals, three figures for the smaller ones, at most three decimals.

    No more decimals than the numbers have: nominal values (0.5 and 0.25 W, 63 V) are written as they are. NaN becomes
    a dash; texts stay as they are.
    """
    numbers = [abs(each) for each in values if isinstance(each, (int, float)) and math.isfinite(each)]
    decimals = 0 if all(isinstance(each, int) for each in values) else _decimals(numbers)
    return [_written(each, decimals) for each in values]


def _printed(sign: str) -> str:
    return sign if sign.isprintable() else " " if sign.isspace() else ""


def _decimals(numbers: Iterable[float]) -> int:
    sizes = [each for each in numbers if each > 0.0]
    telling = [each for each in sizes if each >= 1e-3 * max(sizes)]
    if not telling:
        return 0
    most = 3 if max(telling) < 1.0 else 2
    decimals = min(max(2 - math.floor(math.log10(min(telling))), 0), most)
    return next((fewer for fewer in range(decimals) if all(_exact(each, fewer) for each in sizes)), decimals)


def _exact(number: float, decimals: int) -> bool:
    return math.isclose(round(number, decimals), number, rel_tol=1e-9)


def _written(value: object, decimals: int) -> str:
    if not isinstance(value, (int, float)):
        return str(value)
    if math.isnan(value):
        return "\u2013"
    if math.isinf(value):
        return minus("-\u221e") if value < 0 else "\u221e"
    return minus(f"{round(value, decimals) + 0.0:.{decimals}f}")
