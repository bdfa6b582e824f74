"""Lesions of the claw and foot: codes, names, families and usual sites.

Codes and names are those of the ICAR Claw Health Atlas, 2nd edition (2020), an open standard
[from memory of it]. Families follow the atlas's grouping. Everyday words for them are data of the lexicon
[common practice, no source].
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from evenfoot.analytics.domain.lexicon import meaning, phrases, plain

FAMILIES: dict[str, str] = {
    "infectious": "Infectious lesions of skin and heel",
    "horn": "Lesions of the claw horn",
    "skin growth": "Growth of the skin",
    "shape": "Shape of the claw",
    "other": "Other",
}
"""Family -> what it takes in."""

DD_STAGES: dict[str, str] = {
    "M0": "no digital dermatitis to be seen",
    "M1": "early, small",
    "M2": "active ulcer",
    "M3": "healing, scabbed",
    "M4": "chronic",
    "M4.1": "chronic with a new active spot",
}
"""Stages of digital dermatitis. M0 is a foot looked at and found free: recorded, never a case."""

NO_CASE_STAGE = "M0"
OTHER_LESION = "other"
"""Code of a diagnosis that the atlas does not hold, such as a foreign body. It is ours; the note keeps the words."""
SEVERITIES: dict[int, str] = {1: "mild", 2: "moderate", 3: "severe"}


@dataclass(frozen=True)
class Lesion:
    """One lesion, or one subtype of a lesion.

    Attributes
    ----------
    code, name : str
    family : str
        A key of :data:`FAMILIES`.
    parent : str
        Code under which it is counted; its own code unless it is a subtype.
    details : tuple of str
        Codes of its subtypes.
    usual_zones : tuple of int
        Zones of the foot map where it is usually found, the commonest first.
    site : str
        ``"claw"`` if it lies on one claw, ``"skin"`` if on the skin of the foot, ``"leg"`` if anywhere on foot or leg.
    """

    code: str
    name: str
    family: str
    parent: str
    details: tuple[str, ...] = ()
    usual_zones: tuple[int, ...] = ()
    site: str = "claw"


def _of(
    code: str,
    name: str,
    family: str,
    zones: tuple[int, ...] = (),
    site: str = "claw",
    **details: str,
) -> list[Lesion]:
    parent = Lesion(code, name, family, code, tuple(details), zones, site)
    return [
        parent,
        *(Lesion(key, said, family, code, (), zones, site) for key, said in details.items()),
    ]


# Zones: ulcers 4, 5, 6; white line disease 1, 2, 3; fissures 7, 8; digital dermatitis 10
# [pub: Shearer and co-authors' extension articles]. The other sites are [common practice, no source].
LESIONS: dict[str, Lesion] = {
    lesion.code: lesion
    for lesion in (
        *_of("DD", "digital dermatitis", "infectious", (10, 0, 9), "skin"),
        *_of("ID", "interdigital dermatitis", "infectious", (0, 10), "skin"),
        *_of("IP", "interdigital phlegmon", "infectious", (0,), "skin"),
        *_of("HHE", "heel horn erosion", "infectious", (6,)),
        *_of("IH", "interdigital hyperplasia", "skin growth", (0,), "skin"),
        *_of("SU", "sole ulcer", "horn", (4, 5)),
        *_of("BU", "bulb ulcer", "horn", (6,)),
        *_of("TU", "toe ulcer", "horn", (5, 1)),
        *_of("TN", "toe necrosis", "horn", (1, 5)),
        *_of("SH", "sole haemorrhage", "horn", (4, 5), SHD="diffuse sole haemorrhage",
             SHC="circumscribed sole haemorrhage"),
        *_of("WL", "white line disease", "horn", (3, 2, 1), WLF="white line fissure", WLA="white line abscess"),
        *_of("DS", "double sole", "horn", (4, 5, 6)),
        *_of("TS", "thin sole", "horn", (5, 4)),
        *_of("HF", "horn fissure", "horn", (7, 8), HFA="axial horn fissure", HFH="horizontal horn fissure",
             HFV="vertical horn fissure"),
        *_of("AC", "asymmetric claws", "shape"),
        *_of("CD", "concave dorsal wall", "shape", (7,)),
        *_of("CC", "corkscrew claw", "shape", (7, 8)),
        *_of("SC", "scissor claws", "shape", (7,)),
        *_of("SW", "swelling of coronet and/or bulb", "other", (9,), "skin"),
        *_of(OTHER_LESION, "another lesion", "other", (), "leg"),
    )
}  # fmt: skip
"""Code -> lesion; subtypes included, and ``other`` for what the atlas does not hold."""

PARENTS: tuple[str, ...] = tuple(code for code, lesion in LESIONS.items() if lesion.parent == code)
"""Codes that are counted, in the order of the atlas's families."""

NOTHING_MARKS = frozenset({"", "-", "--", "\N{EN DASH}", "\N{EM DASH}", ".", "0", "n", "N"})
"""Marks in a lesion cell that say the cow was looked at and nothing was found, beside the words for it."""

_STAGE_WORDS = ("stage", "stadium", "stade", "estadio", "est\u00e1dio", "est\u00e1gio", "fase")
_STAGE = re.compile(
    rf"(?:(?:{'|'.join(_STAGE_WORDS)})\s*|\(\s*|(?<!\s)\s+)?\bm\s?(4\s?[.,]\s?1|[0-4])\b\)?", re.IGNORECASE
)


def parent_of(code: str) -> str:
    """Code under which a lesion is counted.

    Parameters
    ----------
    code : str
        A key of :data:`LESIONS`.

    Returns
    -------
    str

    Raises
    ------
    KeyError
        There is no such lesion.

    Example
    -------
    >>> parent_of("WLA"), parent_of("DD")
    ('WL', 'DD')
    """
    return LESIONS[code].parent


def understand_stage(text: str) -> str | None:
    """Stage of digital dermatitis named in a text, or ``None``.

    Example
    -------
    >>> understand_stage("dd m2"), understand_stage("M 4,1"), understand_stage("ulcer")
    ('M2', 'M4.1', None)
    """
    found = _STAGE.search(text)
    return None if found is None else "M" + re.sub(r"\s", "", found[1]).replace(",", ".")


def understand_lesion(text: str) -> str | None:
    """Code of the lesion (or subtype) that a word, name or code stands for.

    Case, accents, punctuation and a stage of digital dermatitis in the text do not matter. A stage alone means
    digital dermatitis. A diagnosis outside the atlas is ``other``. What is not in the lexicon is ``None``: it is never
    guessed.

    Parameters
    ----------
    text : str

    Returns
    -------
    str or None
        A key of :data:`LESIONS`.

    Example
    -------
    >>> [understand_lesion(t) for t in ("Ulcer", "Weiße-Linie-Abszess", "DD M4.1", "m2", "stone", "squishy")]
    ['SU', 'WLA', 'DD', 'DD', 'other', None]
    """
    word = plain(text)
    found = phrases("lesion").get(word)
    if found is not None:
        return found
    if word in phrases("other_lesion"):
        return OTHER_LESION
    if understand_stage(text) is None:
        return None
    rest = plain(_STAGE.sub(" ", text))
    return "DD" if rest in ("", *map(plain, _STAGE_WORDS)) or phrases("lesion").get(rest) == "DD" else None


def names_other_lesion(text: str) -> bool:
    """Whether a text names a diagnosis outside the atlas, so that its words say more than the code ``other``.

    Example
    -------
    >>> names_other_lesion("Stone"), names_other_lesion("other"), names_other_lesion("ulcer")
    (True, False, False)
    """
    return plain(text) in phrases("other_lesion")


def says_nothing_found(text: str) -> bool:
    """Whether a lesion cell says that nothing was found.

    Example
    -------
    >>> [says_nothing_found(text) for text in (" OK ", "-", "o.B.", "geen", "wart")]
    [True, True, True, True, False]
    """
    word = plain(text)
    return (
        text.strip() in NOTHING_MARKS
        or word in phrases("nothing")
        or word in phrases("negation")
        or meaning("action", word) == "trim"
    )
