"""An exercise: a question with a drawing, hints before the solution, a reason to choose, and marks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from ...base.errors import DescriptionError
from ...base.quantities import HERTZ, VOLT, Quantity, parse_value
from ...base.wording import minus, signed
from ...pictures.canvas import Picture

DECIBEL = Quantity("level", "dB", ("dB", "db"), "", -200.0, 200.0)
_UNITS = {"Hz": HERTZ, "dB": DECIBEL, "V": VOLT}
_EXAMPLES = {"Hz": "230 Hz or 1.2 kHz", "dB": "5.5 dB", "V": "1.4 V"}
MOST_MARKS = 4  # of an exercise: three for the number, one for the reason


@dataclass(frozen=True)
class Why:
    """A question after the reason: statements to choose from by letter, the right one, and a model answer."""

    ask: str
    statements: tuple[str, ...]
    right: int
    model: str

    def __str__(self) -> str:
        lines = [f"  {letter}) {each}" for letter, each in zip("abcdef", self.statements, strict=False)]
        return "\n".join([self.ask, *lines])

    def place(self, letter: object) -> int:
        """Which statement a letter means.

        Raises
        ------
        DescriptionError
            For anything but the letter of a statement.
        """
        known = "abcdef"[: len(self.statements)]
        text = str(letter).strip().strip(")").casefold()
        if len(text) != 1 or text not in known:
            raise DescriptionError(f"one of the letters {', '.join(known)} is asked for")
        return known.index(text)


@dataclass(eq=False, repr=False)
class Exercise:
    """A question about an amp. `answer` takes a prediction such as "230 Hz"; `why` is answered with `because("b")`.

    A prediction that is not near enough gets the next of `hints`, and another try; after the last, or when `solution`
    is asked for, what the simulation and the formula give and why. `marks` counts: the number three, one less for
    each hint, the reason one.

    Attributes
    ----------
    question, given
        What is asked, and what the formula needs, at the level of the exercise.
    unit
        "Hz", "dB" or "V".
    simulated, by_hand
        What ngspice gives and what the formula gives [unit].
    reason
        The model answer to the number.
    close
        So near is near enough: a share of the simulated value, in dB decibels.
    """

    question: str
    given: str
    unit: str
    simulated: float
    by_hand: float
    reason: str
    close: float
    hints: tuple[str, ...]
    why: Why
    level: int = 2
    draw: Callable[[], Picture] | None = field(default=None, repr=False)
    tries: int = 0
    right: bool = False
    shown: bool = False
    reasoned: bool | None = None

    def __str__(self) -> str:
        return f"{self.question} {self.given}".strip()

    def __repr__(self) -> str:
        return str(self)  # a stored notebook must not give the answer away

    def _repr_markdown_(self) -> str:
        return f"**Level {self.level}.** {self}"

    def _ipython_display_(self) -> None:
        """The question, and its drawing beside it."""
        from IPython.display import Markdown, display

        display(Markdown(self._repr_markdown_()))
        if self.draw is not None:
            display(self.draw())

    def answer(self, prediction: object) -> str:
        """Compare a prediction with the simulation; a wrong unit or a slip is answered with help, never an error."""
        try:
            given = self._read(prediction)
        except DescriptionError as problem:
            return f"{problem} Asked for is a value in {self.unit}, for example {_EXAMPLES[self.unit]}. Try again."
        away, near = self._distance(given)
        said = f"you said {self._text(given)}"
        if near:
            self.right = self.right or not self.shown
            return f"Well predicted: {said}, {away} off. {self._resolved()}\n{self.why}"
        self.tries += 1
        if self.tries > len(self.hints):
            return f"Not yet: {said}, {away} off. {self.solution()}"
        return f"Not yet: {said}, which is too {'high' if given > self.simulated else 'low'}. {self._hint()} Try again."

    def hint(self) -> str:
        """The next hint, as if a try had failed."""
        self.tries = min(self.tries + 1, len(self.hints))
        return self._hint()

    def solution(self) -> str:
        """What the simulation and the formula give, and why; from then on the number counts nothing."""
        self.shown = self.shown or not self.right
        return f"{self._resolved()}\n{self.why}"

    def because(self, letter: object) -> str:
        """Choose the reason; only the first choice counts, and the model answer follows."""
        try:
            place = self.why.place(letter)
        except DescriptionError as problem:
            return f"{problem}. Try again."
        right = place == self.why.right
        self.reasoned = right if self.reasoned is None else self.reasoned
        return f"{'Right' if right else 'No'}: {self.why.model}"

    @property
    def marks(self) -> int:
        """Marks so far, of `MOST_MARKS`."""
        number = max(1, 3 - self.tries) if self.right else 0
        return number + int(bool(self.reasoned))

    def _hint(self) -> str:
        return f"Hint: {self.hints[self.tries - 1]}"

    def _resolved(self) -> str:
        return (
            f"The simulation gives {self._text(self.simulated)}; the formula by hand gives {self._text(self.by_hand)}. "
            f"{self.reason}"
        )

    def _text(self, value: float) -> str:
        return minus(f"{value:.4g} {self.unit}")

    def _read(self, prediction: object) -> float:
        text = str(prediction).strip()
        for unit in _UNITS:
            if unit != self.unit and text.lower().endswith(unit.lower()):
                raise DescriptionError(f"'{text[:30]}' is in {unit}.")
        return parse_value(prediction, _UNITS[self.unit], "prediction")

    def _distance(self, given: float) -> tuple[str, bool]:
        if self.unit == "dB":
            return f"{signed(given - self.simulated, 1)} dB", abs(given - self.simulated) <= self.close
        share = given / self.simulated - 1.0
        return f"{signed(100 * share, 0)} %", abs(share) <= self.close
