"""How steady the feedback loop is with every control anywhere, on other loads, and after a knock at the input."""

TITLE = "stability"
