"""Kinds of visit. Which cows were brought decides what a figure can say about the herd."""

from __future__ import annotations

from evenfoot.analytics.domain.lexicon import meaning

WHOLE_HERD = "whole-herd"
REST_SOUND = "whole-herd, rest sound"
"""All were looked at, and those that are not listed had nothing: the sheet lists few, and says so."""
VISIT_KINDS: dict[str, str] = {
    WHOLE_HERD: "whole-herd trim",
    REST_SOUND: "whole-herd trim, the cows not listed were looked at and sound",
    "part-herd": "part-herd trim",
    "lame-cow": "lame-cow call",
    "recheck": "recheck",
}
WHOLE_HERD_SHARE = 0.80
"""A visit that trims at least this share of the milking herd is a whole-herd visit
[pub: Solano et al. 2016, J Dairy Sci 99:6828]."""


def understand_visit_kind(text: str) -> str | None:
    """The kind of visit a text names, or ``None``.

    Example
    -------
    >>> [understand_visit_kind(t) for t in ("Whole Herd", "lame-cow call", "Nachkontrolle", "party")]
    ['whole-herd', 'lame-cow', 'recheck', None]
    """
    return meaning("visit_kind", text)


ACTIONS = {
    "trim": "trimmed",
    "block": "block put on",
    "wrap": "wrap put on",
    "refer": "referred to the veterinarian",
    "other": "other",
}
"""What was done at a visit, as a person reads it."""
