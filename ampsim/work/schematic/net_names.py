"""What nets are called on a drawing, where no wire says it."""

from __future__ import annotations

from dataclasses import dataclass

from ...circuit.build import SPEAKER
from ...circuit.nets import INPUT
from .fragment import Fragment
from .geometry import Point, Sheet, Text, Word
from .labels import WIDTHS, break_label

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
        return self._known(net) or f"wire {self.numbers.setdefault(net, len(self.numbers) + 1)}"

    def _known(self, net: str) -> str:
        """What the description calls a net; "" where it only goes on to another piece of the drawing."""
        return ({self.fragment.ground: "ground"} | self.fragment.rails | self.fragment.flags).get(net, "")

    def text(self, net: str, at: Point = (0.0, 0.0), side: str = "up") -> Text:
        """Its word as it is written at a point [units]: a rail, the number of a wire, or where it goes on to."""
        rail = net in self.fragment.rails
        plain = rail or self._known(net) in ("", INPUT, SPEAKER)
        word = self.word(net) if plain else f"to {self.word(net)}"
        return Text(at, break_label(word, WIDTHS[1]), side, "strong" if rail else "quiet")

    def width(self, net: str) -> float:
        """What its word takes beside a terminal [units]."""
        return _GROUND if net == self.fragment.ground else self.text(net).width + 0.2

    def room(self, net: str) -> tuple[float, float]:
        """What its word takes left and right of a terminal that it stands over or under [units]."""
        half = _GROUND if net == self.fragment.ground else self.text(net).width / 2 + 0.1
        return half, half

    def put(self, sheet: Sheet, at: Point, net: str, side: str) -> None:
        """Write a net's name at a point.

        Parameters
        ----------
        sheet : Sheet
            What it is written on.
        at : tuple of float
            [units]
        net : str
        side : {"up", "down", "left", "right"}
            Where the name stands from the point.
        """
        ground, rail = net == self.fragment.ground, net in self.fragment.rails
        sheet.words.append(Word(at, self.word(net), "ground" if ground else "rail" if rail else "flag", side))
        if not ground:
            sheet.texts.append(self.text(net, at, side))
