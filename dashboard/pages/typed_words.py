"""What the page and the browser's part of the typed visit say."""

from __future__ import annotations

from dash import html

from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.pages.typed_photos import photo_words


def browser_words() -> dict[str, str]:
    """Name -> sentence; the browser fills the gaps itself."""
    gap = {name: f"{{{name}}}" for name in ("n", "most", "time", "farm", "day", "row", "said", "name")}
    return {
        "kept": _(
            "What you type is kept in this browser until it is added: rows {n}, last at {time}. Signing out wipes it.",
            **gap,
        ),
        "unkept": _("This browser does not keep what you type: add it before you leave the page."),
        "stale": _("The rows have changed since they were checked. Check them again."),
        "paste": _(
            "That is not pasted: it has more columns than the table has from here on, or more than {most} rows. Bring "
            "it in as a file on the page Import.",
            **gap,
        ),
        "field": _("{name}, row {row}", **gap),
        "other": _("{farm}, {day}: rows {n}", **gap),
        "row": _("Row {row}: {said}", **gap),
        **photo_words(),
    }


def how_to_type() -> html.P:
    """How a row is typed, above the table."""
    return html.P(
        _(
            "One row a cow. In the cell of a foot write what you would say: 'SU out z4 ++', 'DD M2', 'WL block', 'ok'. "
            "A cow whose feet are all blank counts as looked at, with nothing found. Tab goes to the next cell, Enter "
            "to the next cow, Escape out of the table."
        ),
        className="basis",
    )
