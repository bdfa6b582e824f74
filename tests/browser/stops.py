"""Where the focus of the keyboard is, and whether it can be seen there."""

from __future__ import annotations

FOCUS = """() => {
  const at = document.activeElement, box = at.getBoundingClientRect();
  /* A field that is part of a larger box has its outline round the box. */
  const shown = [at, at.closest(".mantine-Input-input, .drop"), at.parentElement]
    .filter(Boolean).map(element => getComputedStyle(element))
    .some(style => (parseFloat(style.outlineWidth) >= 2 && style.outlineStyle !== "none"));
  const inside = box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth;
  const middle = document.elementFromPoint(Math.min(Math.max(box.left + box.width / 2, 0), innerWidth - 1),
    Math.min(Math.max(box.top + Math.min(box.height, 20) / 2, 0), innerHeight - 1));
  const free = at.tagName === "IFRAME" || (middle !== null && (at.contains(middle) || middle.contains(at)));
  const panel = at.closest("section.panel");
  return { tag: at.tagName, words: (at.textContent || at.getAttribute("aria-label") || at.id || "").trim().slice(0, 60),
    href: at.getAttribute("href"), cls: String(at.className).slice(0, 40), inRow: Boolean(at.closest("tbody")),
    panel: panel ? panel.getAttribute("aria-labelledby").slice(6) : "",
    seen: shown && inside && free, shown, inside, free };
}"""
MOST_STEPS = 250

FROM_THE_TOP = """() => {
  /* The browser goes on from where a focused element was when it went. */
  const start = document.createElement("span");
  start.tabIndex = -1;
  document.body.prepend(start);
  start.focus();
  start.remove();
  scrollTo(0, 0);
}"""
"""As on a page just opened: the next stop is the first of the page."""
