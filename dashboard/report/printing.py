"""An HTML page becomes a PDF, and letters that the machine cannot print are told."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import Message, say
from evenfoot.dashboard.report.browser import letters_without_font, print_pdf

Tell = Callable[[Message], None]
"""Takes what whoever made a file should know of it."""

SHOWN = 3
"""Letters of a script that are shown."""


def nobody(_sentence: Message) -> None:
    """Tell nobody."""


def save_pdf(text: str, out: Path, tell: Tell = nobody) -> None:
    """Print a page; without a browser the page itself is written beside *out* before the UserError is raised.

    Raises
    ------
    UserError
        There is no browser, or it did not manage.
    """
    page = out.with_suffix(".html")
    kept = page.exists()
    draft = out.with_name(out.name + ".page.html") if kept else page
    draft.write_text(text, encoding="utf-8")
    try:
        print_pdf(draft, out)
    except UserError as mistake:
        if kept:
            draft.replace(page)
        raise UserError(f"{mistake} The report was written as {page}.") from None
    draft.unlink()
    if missing := letters_without_font(text):
        tell(no_font(missing))


def no_font(letters: str) -> Message:
    """That these letters are boxes in the PDF, by script.

    Examples
    --------
    >>> no_font("\u0e01\u0e02").startswith("This machine has no font for Thai (\u0e01 \u0e02): ")
    True
    """
    scripts: dict[str, list[str]] = {}
    for letter in letters:
        scripts.setdefault(unicodedata.name(letter, "unknown").split()[0].capitalize(), []).append(letter)
    named = ", ".join(f"{name} ({' '.join(found[:SHOWN])})" for name, found in scripts.items())
    return say(
        "This machine has no font for {name}: these letters are boxes in the PDF. Install a font, or give the HTML.",
        name=named,
    )
