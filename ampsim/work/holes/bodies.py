"""Common bodies of what goes through a panel: their holes, and the room they take behind it."""

from __future__ import annotations

from dataclasses import dataclass

_OUTLINES = "KiCad footprint library 6.0.11, outlines after makers' drawings (read)"
_BUSHES = "thread after IEC 60915 (from memory)"
_MEMORY = "from memory, no source"


@dataclass(frozen=True)
class Body:
    """One kind of body; all lengths in [mm].

    Attributes
    ----------
    name : str
        What the trade calls it.
    hole : float
        Diameter of the hole [mm]; 0 where it is not known.
    thread : str
        Of its bushing, in words.
    wide, high : float
        The room that it takes behind the panel along and across the row, its centre at the hole; lugs, the swing of
        contacts and the bend of wires included.
    deep : float
        The room behind the panel, with terminals and the bend of wires.
    front : float
        Width of what stands in front: a nut, or a knob with its scale, fingers and names of positions.
    source : str
        Where hole and sizes are from.
    slot : tuple of float
        Width and height of a slot where the hole is none that is drilled, else ().
    screws : float
        Distance of two screw holes of 3.2 mm from one another, the body between them; 0 for none.
    key : float
        From the centre to the small hole that a tab against turning takes, where it has one; 0 for none.
    """

    name: str
    hole: float
    thread: str
    wide: float
    high: float
    deep: float
    front: float
    source: str
    slot: tuple[float, ...] = ()
    screws: float = 0.0
    key: float = 0.0

    @property
    def pitch(self) -> float:
        """The least room along a row, behind the panel or in front [mm]."""
        return max(self.wide, self.front)

    @property
    def hole_words(self) -> str:
        """The hole in words: "hole of 10 mm"."""
        if self.slot:
            words = f"slot of {self.slot[0]:g} by {self.slot[1]:g} mm"
        else:
            words = f"hole of {self.hole:g} mm" if self.hole else "hole as its own drawing says"
        return words + (f", two holes of {SCREW:g} mm {self.screws:g} mm apart" if self.screws else "")

    @property
    def room_words(self) -> str:
        """The room in words: "30 by 40 mm behind the panel and 15 mm deep"."""
        if not self.deep:
            return "room that its own drawing says"
        return f"{self.wide:g} by {self.high:g} mm behind the panel, {self.deep:g} mm deep"


SCREW, KEY = 3.2, 3.0
"""Diameters [mm] of the holes for two screws and for a tab against turning: common practice, no source."""

POT_24 = Body("pot, 24 mm", 10.0, "3/8 inch 32 turns, or M10 x 0.75", 26.0, 42.0, 16.0, 36.0,
              f"{_BUSHES}; body and lugs {_MEMORY}", key=12.7)  # fmt: skip
POT_24_DUAL = Body("pot, 24 mm, two tracks", 10.0, POT_24.thread, 26.0, 42.0, 28.0, 36.0, POT_24.source, key=12.7)
POT_16 = Body("pot, 16 mm", 7.5, "M7 x 0.75 (some have M10 x 0.75: 10 mm)", 18.0, 28.0, 14.0, 36.0,
              f"body 17.9 by 10.5 mm and bushings of 7 and 10 mm: {_OUTLINES}; lugs {_MEMORY}", key=7.8)  # fmt: skip
POT_16_DUAL = Body("pot, 16 mm, two tracks", 7.5, POT_16.thread, 18.0, 28.0, 20.0, 36.0,
                   f"body 17.9 by 12.1 mm, others 16 by 16 mm: {_OUTLINES}; lugs {_MEMORY}", key=7.8)  # fmt: skip
POT_PULL = Body("pot with push-pull switch", 10.0, "3/8 inch 32 turns (some have M7 x 0.75 or M8 x 0.75)", 26.0, 42.0,
                34.0, 36.0, f"{_BUSHES}; body {_MEMORY}")  # fmt: skip
POT_END = Body("pot with switch at the end of the track", 10.0, POT_24.thread, 26.0, 42.0, 28.0, 36.0,
               f"{_BUSHES}; body {_MEMORY}", key=12.7)  # fmt: skip
TOGGLE_SMALL = Body("toggle switch, 1/4 inch bushing", 6.5, "1/4 inch 40 turns", 15.0, 14.0, 24.0, 26.0, _MEMORY)
TOGGLE_SMALL_WIDE = Body("toggle switch, 1/4 inch bushing, 3 or 4 poles", 6.5, "1/4 inch 40 turns", 25.0, 14.0, 24.0,
                         28.0, _MEMORY)  # fmt: skip
TOGGLE = Body("toggle switch, 15/32 inch bushing", 12.2, "15/32 inch 32 turns", 22.0, 34.0, 36.0, 28.0, _MEMORY)
ROTARY = Body("rotary switch", 10.0, "3/8 inch 32 turns, or M10 x 0.75", 32.0, 32.0, 32.0, 60.0,
              f"{_BUSHES}; body {_MEMORY}", key=12.7)  # fmt: skip
ROTARY_WAFERS = Body("rotary switch, open wafers", 10.0, ROTARY.thread, 44.0, 44.0, 58.0, 60.0, ROTARY.source, key=12.7)
LEVER = Body("lever switch", 0.0, "two screws", 48.0, 20.0, 40.0, 48.0, _MEMORY, slot=(28.0, 3.0), screws=41.3)
SLIDE = Body("slide switch", 0.0, "two screws", 36.0, 16.0, 18.0, 36.0, _MEMORY, slot=(13.0, 6.0), screws=28.6)
JACK_OPEN = Body("jack 1/4 inch, open", 10.0, "3/8 inch 32 turns", 26.0, 34.0, 40.0, 25.0,
                 f"plug IEC 60603-11 (from memory); room with the plug in {_MEMORY}")  # fmt: skip
JACK_CLOSED = Body("jack 1/4 inch, closed", 11.5, "nose of 11 to 11.4 mm", 20.0, 20.0, 32.0, 20.0,
                   f"body 24.3 by 15.8 or 23.5 by 18.2 mm: {_OUTLINES}; wires {_MEMORY}")  # fmt: skip
LAMP = Body("lamp, jewel 11/16 inch", 17.5, "11/16 inch 27 turns", 26.0, 26.0, 45.0, 25.0, _MEMORY)
LED = Body("LED of 5 mm in a bezel", 8.0, "M8 x 0.75", 12.0, 12.0, 30.0, 14.0, _MEMORY)
NOVAL = Body("socket, noval (9 pins)", 19.5, "two screws", 38.0, 30.0, 35.0, 38.0,
             f"base IEC 60067 (from memory); hole {_MEMORY}", screws=28.6)  # fmt: skip
SEVEN = Body("socket, 7 pins", 16.0, "two screws", 32.0, 26.0, 35.0, 32.0, NOVAL.source, screws=22.2)
OCTAL = Body("socket, octal", 28.5, "two screws", 48.0, 40.0, 35.0, 48.0, NOVAL.source, screws=38.1)
NOT_KNOWN = Body("not known", 0.0, "", 30.0, 30.0, 0.0, 30.0, "no usual body is known: measure the part")

BODIES = {
    each.name: each
    for each in (POT_24, POT_24_DUAL, POT_16, POT_16_DUAL, POT_PULL, POT_END, TOGGLE_SMALL, TOGGLE_SMALL_WIDE, TOGGLE,
                 ROTARY, ROTARY_WAFERS, LEVER, SLIDE, JACK_OPEN, JACK_CLOSED, LAMP, LED, NOVAL, SEVEN, OCTAL)
}  # fmt: skip
"""Every body by its name."""
