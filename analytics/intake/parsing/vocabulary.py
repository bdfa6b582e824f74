"""Cells that say a word of the trade: foot, claw, zone, severity, housing, action, and the like."""

from __future__ import annotations

import re
from collections.abc import Callable

from evenfoot.analytics.domain.changes import in_order
from evenfoot.analytics.domain.feet import FEET, understand_claw, understand_feet, understand_foot
from evenfoot.analytics.domain.horn_limits import LIMITS, understand_limit
from evenfoot.analytics.domain.housing import (
    HOUSINGS,
    WETNESS,
    understand_floor,
    understand_housing,
    understand_wetness,
)
from evenfoot.analytics.domain.lesions import (
    DD_STAGES,
    parent_of,
    says_nothing_found,
    understand_lesion,
    understand_stage,
)
from evenfoot.analytics.domain.lexicon import meaning, plain
from evenfoot.analytics.domain.locomotion import SCALES, understand_scale
from evenfoot.analytics.domain.visits import VISIT_KINDS, understand_visit_kind
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from evenfoot.analytics.intake.parsing.numbers import read_decimal, read_whole
from evenfoot.analytics.messages import say

BLANKS = frozenset({"", "-", "--", "\N{EN DASH}", "\N{EM DASH}", "n/a", "#n/a", "na", "null", "nan", ".", "?"})
"""What people write in a cell that has nothing to say."""
NOTHING = BLANKS | {"none", "nil", "no"}
"""The same, in cells for a coded word or a measurement."""

_SEVERITY_MARKS = {"i": 1, "ii": 2, "iii": 3, "+": 1, "++": 2, "+++": 3}
_BEFORE_SEVERITY = re.compile(
    r"^(?:severity|sev|grade|gr|grad|grado|grau|graad|degr[e\u00e9]|schweregrad|ernst)(?![^\W\d_])[\s.:]*"
)

ACTIONS: dict[str, str] = {
    "trim": "trimmed",
    "block": "a block put on",
    "wrap": "wrapped",
    "refer": "veterinarian asked",
    "other": "something else, kept in the note",
}
_YES_MARKS = frozenset("\N{CHECK MARK}\N{HEAVY CHECK MARK}\N{BALLOT BOX WITH CHECK}")
_BETWEEN = re.compile(r"[,;+/&|\n]|\b(?:and|y|und|en|et|e)\b", re.IGNORECASE)
"""What stands between two words of a cell."""
_ANY_LESION = frozenset({"any", "any lesion", "all", "all lesions", "lesions", "with a lesion"})
_UNITS = {
    word: unit
    for unit, words in {
        "cows": "cows|cow|animals|animal|head", "feet": "feet|foot|legs|leg|hooves|hoof", "claws": "claws|claw|digits",
    }.items()
    for word in words.split("|")
}  # fmt: skip
"""What a sheet may call what it counts -> cows, feet or claws."""


def _among(words: object) -> str:
    return say("Use one of: {words}.", words=", ".join(str(word) for word in words))  # type: ignore[attr-defined]


def _known(understand: Callable[[str], str | None], remedy: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        found = understand(text)
        if found is None:
            raise Unreadable(say("Not understood: '{shown}'.", shown=_shown(text)), remedy)
        return found

    return read


def _shown(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "..."


def read_feet(text: str) -> str | None:
    """Feet looked at, ``"LH RH"``; all four is the same as not saying."""
    found = understand_feet(text)
    if found is None:
        raise Unreadable(
            say("Not understood: '{shown}'.", shown=_shown(text)), say("Name the feet, such as LH RH, or hind, or all.")
        )
    return None if found == FEET else " ".join(found)


def read_lesions(text: str) -> str:
    """Codes of several lesions, ``"DD HHE"``, subtypes as what they are counted under.

    Example
    -------
    >>> read_lesions("heel erosion, digital dermatitis"), read_lesions("WL SU")
    ('DD HHE', 'SU WL')
    """
    whole = understand_lesion(text)
    parts = [part for part in _BETWEEN.split(text) if part.strip()] if whole is None else [text]
    if len(parts) == 1 and whole is None:
        parts = text.split()
    found = [understand_lesion(part) for part in parts]
    unknown = [part for part, code in zip(parts, found, strict=True) if code is None]
    if unknown or not found:
        raise Unreadable(
            say("Not understood: '{shown}'.", shown=_shown((unknown or [text])[0])),
            say("Name lesions by code or name with commas between, such as DD, heel horn erosion."),
        )
    return " ".join(in_order([code for code in found if code is not None]))


def read_counted_lesion(text: str) -> str | None:
    """The code of the lesion that a count is of, a subtype as what it is counted under; ``None`` for any lesion.

    Example
    -------
    >>> read_counted_lesion("white line abscess"), read_counted_lesion("Any")
    ('WL', None)
    """
    if " ".join(text.split()).casefold() in _ANY_LESION:
        return None
    if says_nothing_found(text):
        raise Unreadable(
            say("A count of sound cows: '{shown}'.", shown=_shown(text)),
            say("Count the cows with a lesion, and write how many were looked at; the others are sound."),
        )
    code = understand_lesion(text)
    if code is None:
        raise Unreadable(
            say("Not understood: '{shown}'.", shown=_shown(text)),
            say("Use a name or a code from the list of lesions, such as SU, sole ulcer, WL, DD."),
        )
    return parent_of(code)


def read_zone(text: str) -> int:
    """Zone of the foot, as a number, with or without the word before it, or in words.

    Example
    -------
    >>> read_zone("4"), read_zone("Zone 4"), read_zone("zona 4"), read_zone("Kronsaum")
    (4, 4, 4, 9)
    """
    named = meaning("zone", text)
    if named is not None:
        return int(named)
    return read_whole(re.sub(r"^\s*(?:zone|z)\s*\.?\s*", "", text, flags=re.I))


def read_severity(text: str) -> int:
    """Severity 1 to 3, as a number or a word; 0 is left for the check with the lesion.

    The name of the column may stand before it, but a word that only begins like it is whole.

    Example
    -------
    >>> read_severity("severe"), read_severity("Sev. severe"), read_severity("grade 2"), read_severity("mod.")
    (3, 3, 2, 2)
    """
    word = text.strip().casefold().rstrip(".")
    found = _severity(word)
    if found is None:
        word = _BEFORE_SEVERITY.sub("", word)
        found = _severity(word)
    return read_whole(word) if found is None else found


def _severity(word: str) -> int | None:
    named = meaning("severity", word)
    return _SEVERITY_MARKS.get(word) if named is None else int(named)


def read_stage(text: str) -> str:
    """Stage of digital dermatitis; the M may be left out."""
    bare = text.strip().replace(",", ".")
    stage = understand_stage(bare) or (f"M{bare}" if f"M{bare}" in DD_STAGES else None)
    if stage is None:
        raise Unreadable(say("Not understood: '{shown}'.", shown=_shown(text)), _among(DD_STAGES))
    return stage


def read_shed_stage(text: str) -> int:
    """Stage of natural shedding, a number."""
    return read_whole(re.sub(r"^\s*stage\s*", "", text, flags=re.I))


def read_score(text: str) -> int:
    """Locomotion score, a whole number."""
    try:
        return read_whole(re.sub(r"^\s*(?:score|ls|ms)\s*", "", text, flags=re.I))
    except Unreadable as unreadable:
        raise Unreadable(unreadable.reason, say("Write a whole score of the 1-5 or the 0-3 scale.")) from None


def read_action(text: str) -> str:
    """What was done. Of several the weightiest; other words are ``other`` and are kept in the note."""
    whole = meaning("action", text)
    parts = [part for part in _BETWEEN.split(text) if part.strip()] if whole is None else [text]
    found = {meaning("action", part) or _action_within(part) or "other" for part in parts}
    for action in ("refer", "block", "wrap", "other"):
        if action in found:
            return action
    return "trim"


def _action_within(text: str) -> str | None:
    """The action of words such as "block med claw" and "amputation referred"."""
    reading = read_findings(text)
    only_feet = all(doubt.about == "foot" for doubt in reading.doubts)
    is_told = reading.action in ("refer", "block", "wrap") and not reading.findings and only_feet
    return reading.action if is_told else None


def is_plain_action(text: str) -> bool:
    """Whether an action word says no more than the action it is read as."""
    return meaning("action", text) not in (None, "other") or plain(text) == "other"


def read_yes_no(text: str) -> bool:
    """Yes or no."""
    if text.strip() in _YES_MARKS or meaning("yes", text):
        return True
    if meaning("no", text):
        return False
    raise Unreadable(say("Not understood: '{shown}'.", shown=_shown(text)), say("Write yes or no."))


def cows_named(text: str) -> tuple[str, ...]:
    """The numbers of a cell that names several cows; none where it may name one.

    Two numbers with a comma or a slash and no space between them may be a decimal or the number of one cow, and so
    may any with a hyphen and no space.

    Example
    -------
    >>> [cows_named(text) for text in ("45, 67 et 112", "67 - 90", "40/42/43", "45; 67")]
    [('45', '67', '112'), ('67', '90'), ('40', '42', '43'), ('45', '67')]
    >>> [cows_named(text) for text in ("45,67", "1,042,113", "12/345", "45-67", "45 67", "45 (67)")]
    [(), (), (), (), (), ()]
    """
    if len(text) > _LONGEST_LIST or not any(sign in text for sign in " ,;&+/"):
        return ()
    bare = " ".join(text.split()).strip(" ,;.")
    found = _SEVERAL.fullmatch(bare)
    if found is None or re.fullmatch(r"[1-9]\d{0,2}(?:[,.]\d{3})+", bare):
        return ()
    numbers = tuple(re.findall(r"\d+", bare))
    sure = re.search(r"[;&+]|\s|,#", bare) is not None
    return numbers if sure or len(numbers) > 2 else ()


_LONGEST_LIST = 300
"""Letters of a list of cows in one cell; a longer text is none. [common practice, no source]"""
_SEVERAL = re.compile(
    r"#?\d{1,6}(?:(?:\s?[,;&+/]\s?(?:(?:and|und|y|e|en|et)\s)?|\s(?:and|und|y|e|en|et|-|\u2013)\s)#?\d{1,6})+", re.I
)
"""Several numbers with commas, signs or a word for "and" between them."""


def read_cow(text: str) -> str:
    """The cow's name or number as text; a number that a spreadsheet gave decimals loses them.

    Example
    -------
    >>> read_cow(" 123.0 "), read_cow("A  12")
    ('123', 'A 12')
    """
    several = cows_named(text)
    if several:
        raise Unreadable(
            say("'{shown}' names {n} cows.", shown=_shown(text), n=len(several)),
            say("Write a row for each cow."),
        )
    return re.sub(r"^(\d+)[.,]0+$", r"\1", " ".join(text.split()))


def read_text(text: str) -> str:
    """Free text with its spaces made single; line breaks in a note stay."""
    return "\n".join(" ".join(line.split()) for line in text.strip().splitlines())


READERS: dict[str, Callable[[str], object]] = {
    "cow": read_cow,
    "farm": read_text,
    "text": read_text,
    "label": read_text,
    "lower": lambda text: read_text(text).casefold(),
    "whole": read_whole,
    "number": read_decimal,
    "horn limit": _known(understand_limit, _among(LIMITS)),
    "foot": _known(understand_foot, _among(FEET)),
    "feet": read_feet,
    "lesions": read_lesions,
    "counted lesion": read_counted_lesion,
    "unit": _known(lambda text: _UNITS.get(text.strip().casefold()), _among(("cows", "feet", "claws"))),
    "claw": _known(understand_claw, "Use lateral (outer) or medial (inner)."),
    "zone": read_zone,
    "severity": read_severity,
    "dd stage": read_stage,
    "shed stage": read_shed_stage,
    "score": read_score,
    "scale": _known(understand_scale, _among(SCALES)),
    "housing": _known(understand_housing, _among(HOUSINGS)),
    "floor": understand_floor,
    "wetness": _known(understand_wetness, _among(WETNESS)),
    "visit kind": _known(understand_visit_kind, _among(VISIT_KINDS)),
    "action": read_action,
    "yes-no": read_yes_no,
}
"""Type of field -> reader of one cell."""

SPOKEN = frozenset(
    {"foot", "feet", "claw", "horn limit", "scale", "housing", "floor", "wetness", "visit kind", "action", "yes-no",
     "dd stage", "lesion", "lesions", "counted lesion", "unit", "detail", "farm", "severity"}
)  # fmt: skip
"""Types whose words are listed with what they were understood as."""
