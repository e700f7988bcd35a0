"""How well the words of a page stand out from their ground: contrast by WCAG 2.1, success criterion 1.4.3."""

from __future__ import annotations

from typing import Any

LEAST = 4.5
"""What WCAG 2.1 asks of text of ordinary size at level AA."""

# Relative luminance and contrast ratio as WCAG 2.1 defines them. Pictures have a ground of their own; what is switched
# off needs no contrast.
_FAINT = """(least) => {
  const numbers = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const light = (colour) => {
    const [r, g, b] = numbers(colour).map((each) => each / 255).map(
      (each) => (each <= 0.03928 ? each / 12.92 : ((each + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const clear = (colour) => numbers(colour)[3] === 0;
  const ground = (element) => {
    for (let each = element; each; each = each.parentElement) {
      const colour = getComputedStyle(each).backgroundColor;
      if (!clear(colour)) return colour;
    }
    return "rgb(255, 255, 255)";
  };
  const found = [];
  const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let text = texts.nextNode(); text; text = texts.nextNode()) {
    const own = text.parentElement;
    if (!text.data.trim() || own.closest("svg, script, style, :disabled") || !own.getClientRects().length) continue;
    const pair = [getComputedStyle(own).color, ground(own)];
    const [dark, bright] = pair.map(light).sort((one, other) => one - other);
    found.push([(bright + 0.05) / (dark + 0.05), text.data.trim().slice(0, 40), ...pair]);
  }
  return [found.length, found.filter(([ratio]) => ratio < least)];
}"""


def faint_words(page: Any, least: float = LEAST) -> list[tuple[float, str, str, str]]:
    """Ratio, words, their colour and their ground of all visible words that stand out less than `least`.

    Raises
    ------
    AssertionError
        When the page shows next to no words, so that nothing was looked at.
    """
    looked_at, faint = page.evaluate(_FAINT, least)
    assert looked_at >= 20
    return [tuple(each) for each in faint]
