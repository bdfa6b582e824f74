"""Lesions of the claw and foot: codes, names, families, usual sites and the everyday words for them.

Codes and names are those of the ICAR Claw Health Atlas, 2nd edition (2020), an open standard
[from memory of it]. Families follow the atlas's grouping; the synonyms are [common practice, no source].
"""

from __future__ import annotations

import re
from dataclasses import dataclass

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
        ``"claw"`` if it lies on one claw, ``"skin"`` if on the skin of the foot.
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
    )
}  # fmt: skip
"""Code -> lesion; subtypes included."""

PARENTS: tuple[str, ...] = tuple(code for code, lesion in LESIONS.items() if lesion.parent == code)
"""Codes that are counted, in the order of the atlas's families."""

NOTHING_FOUND: frozenset[str] = frozenset(
    [
        "none",
        "nothing",
        "nothing found",
        "nothing seen",
        "nothing to report",
        "no lesion",
        "no lesions",
        "no finding",
        "no findings",
        "no problem",
        "no problems",
        "ok",
        "okay",
        "okey",
        "fine",
        "good",
        "clean",
        "clear",
        "normal",
        "healthy",
        "sound",
        "nil",
        "null",
        "no",
        "n",
        "na",
        "n a",
        "n/a",
        "nad",
        "0",
        "-",
        "--",
        ".",
        "trim",
        "trim only",
        "trimmed",
        "routine",
        "routine trim",
        "all good",
        "all ok",
        "all clear",
    ]
)
"""Words in a lesion cell that say the cow was looked at and nothing was found."""

_SYNONYMS: dict[str, str] = {
    "DD": "dermatitis digitalis|digital derm|digi derm|digidermatitis|dig derm|wart|warts|hairy wart|hairy warts|"
    "hairy heel wart|hairy heel warts|heel wart|heel warts|foot wart|foot warts|footwart|hoof wart|strawberry|"
    "strawberry foot|strawberry heel|strawberries|mortellaro|mortellaro disease|papillomatous digital dermatitis|"
    "pdd|dd lesion|active dd|chronic dd",
    "ID": "interdigital derm|inter digital dermatitis|dermatitis interdigitalis|scald|stable foot rot",
    "IP": "foul|foul in the foot|foul of the foot|foul foot|foot rot|footrot|foot foul|super foul|superfoul|"
    "phlegmon|interdigital necrobacillosis|interdigital necrosis|inter digital phlegmon|fouls|foot rott",
    "HHE": "heel erosion|heel erosions|heel horn erosions|slurry heel|slurry heels|erosion|erosions|"
    "heel necrosis|eroded heel|eroded heels|erosio ungulae|he",
    "IH": "tyloma|tylomas|corn|corns|growth|growths|interdigital growth|interdigital growths|limax|fibroma|"
    "interdigital fibroma|wild flesh|hyperplasia|inter digital hyperplasia|interdigital corn|interdigital skin fold",
    "SU": "ulcer|ulcers|sole ulcers|sole ulceration|rusterholz|rusterholz ulcer|pododermatitis circumscripta|"
    "ulcer of the sole|ulcer sole|sole ulc",
    "BU": "heel ulcer|heel ulcers|bulb ulcers|ulcer of the bulb|ulcer of the heel|bulbar ulcer|ulcer heel",
    "TU": "toe ulcers|ulcer of the toe|toe tip ulcer|ulcer toe|toe abscess",
    "TN": "toe tip necrosis|necrosis of the toe|necrotic toe|toe necrotic|apical necrosis|toe tip necrosis syndrome",
    "SH": "haemorrhage|hemorrhage|sole hemorrhage|sole haemorrhages|sole hemorrhages|haemorrhages|hemorrhages|"
    "bruise|bruises|bruising|bruised|bruised sole|sole bruise|sole bruising|blood in the sole|blood in sole|"
    "sole bleeding",
    "SHD": "diffuse haemorrhage|diffuse hemorrhage|sole hemorrhage diffuse|sole haemorrhage diffuse|"
    "diffuse sole hemorrhage|diffuse bruising",
    "SHC": "circumscribed haemorrhage|circumscribed hemorrhage|sole hemorrhage circumscribed|"
    "sole haemorrhage circumscribed|circumscribed sole hemorrhage|sole hemorrhage circumscribed form",
    "WL": "white line|whiteline|white line lesion|white line lesions|white line disorder|white line separation|"
    "whiteline disease|wld|white line diseases|white line defect|w line|separated white line",
    "WLF": "white line fissures|white line crack|fissure of the white line|whiteline fissure|white line gap",
    "WLA": "white line abscesses|whiteline abscess|abscess of the white line|white line pus|wl abscess|"
    "purulent white line|white line infection",
    "DS": "double soles|doublesole|underrun sole|under run sole|underrun|under run|false sole|two soles|"
    "underrun heel|under run heel",
    "TS": "thin soles|thin soled|worn sole|worn soles|overworn sole|sole too thin|too thin sole",
    "HF": "fissure|fissures|wall crack|wall cracks|crack|cracks|cracked wall|horn crack|wall fissure|"
    "horn fissures|claw crack|hoof crack",
    "HFA": "axial fissure|axial wall fissure|axial wall crack|axial crack|horn fissure axial|inside wall crack",
    "HFH": "horizontal fissure|horizontal crack|horizontal wall crack|horizontal wall fissure|"
    "horn fissure horizontal|hardship groove|hardship grooves|thimble|thimble toe|broken toe",
    "HFV": "vertical fissure|vertical crack|vertical wall crack|vertical wall fissure|sand crack|sandcrack|"
    "sand cracks|horn fissure vertical",
    "AC": "asymmetric claw|asymmetrical claws|uneven claws|asymmetry|unequal claws|asymmetric",
    "CD": "concave wall|concave dorsal|dorsal concavity|concave toe wall|buckled claw|buckled toe|concave",
    "CC": "corkscrew|cork screw|corkscrew claws|corkscrew toe|corkscrew toes|screw claw|screw claws|cork screw claw|"
    "corkscrews",
    "SC": "scissor claw|scissor|scissors|scissored|crossed toes|crossed claws|crossing toes|scissor toes",
    "SW": "swelling|swollen|swollen coronet|swollen bulb|swollen heel|swollen foot|swelling of coronet|"
    "swelling of bulb|swelling of the coronet|swelling of the bulb|swelling coronet|swelling bulb|"
    "swelling of coronet and bulb|swelling of coronet or bulb|swelling coronet and bulb",
}

_STAGE = re.compile(r"(?:stage\s*|\(?\s*)?\bm\s?(4\s?[.,]\s?1|[0-4])\b\)?", re.IGNORECASE)


def _plain(text: str) -> str:
    """Lower case, with single spaces for punctuation, so that spelling differences do not count."""
    return re.sub(r"[\W_]+", " ", text.casefold()).strip()


_WORDS: dict[str, str] = {
    **{word: code for code, words in _SYNONYMS.items() for word in words.split("|")},
    **{_plain(lesion.name): code for code, lesion in LESIONS.items()},
    **{code.casefold(): code for code in LESIONS},
}


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

    Case, punctuation and a stage of digital dermatitis in the text do not matter. A stage alone means
    digital dermatitis. What is not in the vocabulary is ``None``: it is never guessed.

    Parameters
    ----------
    text : str

    Returns
    -------
    str or None
        A key of :data:`LESIONS`.

    Example
    -------
    >>> [understand_lesion(t) for t in ("Ulcer", "white-line abscess", "DD M4.1", "m2", "squishy")]
    ['SU', 'WLA', 'DD', 'DD', None]
    """
    word = _plain(text)
    if word in _WORDS:
        return _WORDS[word]
    if understand_stage(text) is None:
        return None
    rest = _plain(_STAGE.sub(" ", text))
    return "DD" if rest in ("", "stage") or _WORDS.get(rest) == "DD" else None


def says_nothing_found(text: str) -> bool:
    """Whether a lesion cell says that nothing was found.

    Example
    -------
    >>> says_nothing_found(" OK "), says_nothing_found("-"), says_nothing_found("wart")
    (True, True, False)
    """
    bare = text.strip().casefold()
    return bare == "" or bare in NOTHING_FOUND or _plain(text) in NOTHING_FOUND
