"""Kinds of visit. Which cows were brought decides what a figure can say about the herd."""

from __future__ import annotations

import re

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
PART_HERD_BIAS_SOURCE = "Solano et al. 2016, J Dairy Sci 99:6828"
"""Prevalence from part-herd and lame-cow visits is biased upward, as lame cows are brought first."""

_WORDS = {
    word: kind
    for kind, words in {
        "whole-herd": "whole herd|whole|herd|herd trim|full herd|full|entire herd|all|all cows|wholeherd|complete|"
        "whole herd trim|whole herd visit|routine herd trim|full herd trim|complete herd|herd visit",
        REST_SOUND: "whole herd rest sound|rest sound|whole herd others sound|others sound|whole herd the rest sound|"
        "the rest sound|whole herd the others sound|whole herd rest healthy|rest healthy|whole herd rest ok|rest ok",
        "part-herd": "part herd|part|partial|partial herd|part herd trim|some cows|selected|selected cows|group|"
        "partherd|part of herd|part of the herd|maintenance|part herd visit",
        "lame-cow": "lame cow|lame cows|lame|lame call|lame cow call|lame cow visit|call out|callout|emergency|"
        "lames|lamecow|urgent",
        "recheck": "recheck|re check|rechecks|check|follow up|followup|control|revisit|re visit|check up|block check",
    }.items()
    for word in words.split("|")
}


def understand_visit_kind(text: str) -> str | None:
    """The kind of visit a text names, or ``None``.

    Example
    -------
    >>> [understand_visit_kind(t) for t in ("Whole Herd", "lame-cow call", "Re-check", "party")]
    ['whole-herd', 'lame-cow', 'recheck', None]
    """
    return _WORDS.get(re.sub(r"[\W_]+", " ", text.casefold()).strip())


ACTIONS = {
    "trim": "trimmed",
    "block": "block put on",
    "wrap": "wrap put on",
    "refer": "referred to the veterinarian",
    "other": "other",
}
"""What was done at a visit, as a person reads it."""
