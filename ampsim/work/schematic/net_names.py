"""What nets are called on a drawing, where no wire says it."""

from __future__ import annotations

from dataclasses import dataclass

from .fragment import Fragment
from .geometry import Point, Sheet, Text, Word
from .labels import net_text

_GROUND = 0.5  # half the width of its sign


@dataclass
class NetNames:
    """The names of a fragment's nets: ground, a rail, the place a wire goes on to, or a number.

    `numbers` is shared by all pieces of a drawing, and grows as nets without a word are drawn.
    """

    fragment: Fragment
    numbers: dict[str, int]

    def word(self, net: str) -> str:
        """What a net is called."""
        known = {self.fragment.ground: "ground"} | self.fragment.rails | self.fragment.flags
        return known.get(net) or f"wire {self.numbers.setdefault(net, len(self.numbers) + 1)}"

    def text(self, net: str, at: Point = (0.0, 0.0), side: str = "up") -> Text:
        """Its word as it is written."""
        return net_text(net, at, side, self.fragment, self.word(net))

    def width(self, net: str) -> float:
        """What its word takes beside a terminal."""
        return _GROUND if net == self.fragment.ground else self.text(net).width + 0.2

    def room(self, net: str) -> tuple[float, float]:
        """What its word takes left and right of a terminal that it stands over or under."""
        half = _GROUND if net == self.fragment.ground else self.text(net).width / 2 + 0.1
        return half, half

    def put(self, sheet: Sheet, at: Point, net: str, side: str) -> None:
        """Write its name at a point."""
        ground, rail = net == self.fragment.ground, net in self.fragment.rails
        sheet.words.append(Word(at, self.word(net), "ground" if ground else "rail" if rail else "flag", side))
        if not ground:
            sheet.texts.append(self.text(net, at, side))
