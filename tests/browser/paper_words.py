"""What a table does to its words, as Chromium lays it out: words on two lines, and tables beyond the paper."""

from __future__ import annotations

from typing import Any

A4 = 688  # pixels between the margins of the papers
_SPLIT = """() => {
  const split = [];
  const walker = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    if (!node.parentElement.closest("td, th") || !node.parentElement.checkVisibility()) continue;
    for (const found of node.data.matchAll(/[^\\s-]+/g)) {
      const range = document.createRange();
      range.setStart(node, found.index);
      range.setEnd(node, found.index + found[0].length);
      const lines = new Set([...range.getClientRects()].filter((box) => box.width).map((box) => Math.round(box.top)));
      if (lines.size > 1) split.push(found[0]);
    }
  }
  return split;
}"""
_BEYOND = """(width) => [...document.querySelectorAll("table")]
  .filter((table) => table.checkVisibility() && table.getBoundingClientRect().right > width + 1)
  .map((table) => table.innerText.slice(0, 80))"""


def split_words(page: Any) -> list[str]:
    """Words and numbers in the cells of tables that stand on two lines; hyphens part words."""
    return page.evaluate(_SPLIT)  # type: ignore[no-any-return]


def on_paper(page: Any, width: int = A4) -> list[str]:
    """Lay a page out as it is printed, and say which tables stick out of the paper."""
    page.set_viewport_size({"width": width, "height": 1000})
    page.emulate_media(media="print")
    return page.evaluate(_BEYOND, width)  # type: ignore[no-any-return]
