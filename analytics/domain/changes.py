"""What a change on a farm aims at: the lesions it is made for, said or known from the words of the change."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from evenfoot.analytics.domain.lesions import LESIONS, PARENTS, parent_of


@dataclass(frozen=True)
class ChangeFamily:
    """A family of changes: its name, the lesions such a change aims at, and the beginnings of the words for it."""

    name: str
    lesions: tuple[str, ...]
    words: tuple[str, ...]


CHANGE_FAMILIES: tuple[ChangeFamily, ...] = (
    ChangeFamily(
        "foot bathing",
        ("DD", "ID", "IP", "HHE"),
        (
            r"(foot|feet|hoof|hooves|claw)[\s-]*bath\w*",
            r"pediluvios?",
            r"baños?\s+(de|para|en)\s+(las\s+|los\s+)?(patas|pezuñas|cascos|pies|extremidades)",
            r"lavapatas",
        ),
    ),
    ChangeFamily(
        "flooring",
        ("SU", "SH", "WL", "BU", "TU", "TS", "DS"),
        (
            r"floor(s|ing)?",
            r"concrete",
            r"rubber",
            r"mats?",
            r"matting",
            r"slats?",
            r"slatted",
            r"groov(ed|es|ing)",
            r"pisos?",
            r"suelos?",
            r"concreto",
            r"hormigón",
            r"cemento",
            r"caucho",
            r"hule",
            r"tapetes?",
            r"ranura(s|do|dos)?",
        ),
    ),
    ChangeFamily(
        "trimming interval",
        tuple(code for code in PARENTS if LESIONS[code].family in ("horn", "shape")),
        (
            r"trim(s|med|ming|mings)?",
            r"recort(e|es|ar)",
            r"despalm(e|es|ar)",
            r"despezuñad[oa]s?",
            r"arreglos?\s+de\s+(las\s+|los\s+)?(patas|pezuñas|cascos)",
        ),
    ),
)
"""Families of changes, in English and Spanish words, and what each aims at. [common practice, no source]"""

_WORDS = [(family, re.compile(rf"\b({'|'.join(family.words)})\b", re.I)) for family in CHANGE_FAMILIES]


def change_families(text: str) -> tuple[ChangeFamily, ...]:
    """The families of changes that a text names.

    Example
    -------
    >>> [family.name for family in change_families("Regular foot-bathing, rubber in the alleys")]
    ['foot bathing', 'flooring']
    >>> [family.name for family in change_families("pediluvio dos veces por semana")], change_families("more straw")
    (['foot bathing'], ())
    """
    return tuple(family for family, words in _WORDS if words.search(text))


def lesions_aimed_at(text: str) -> tuple[str, ...]:
    """Codes of the lesions that a change aims at by its words; empty where they name no known family.

    Example
    -------
    >>> lesions_aimed_at("foot baths"), lesions_aimed_at("another trimmer")
    (('DD', 'ID', 'IP', 'HHE'), ())
    """
    return in_order([code for family in change_families(text) for code in family.lesions])


def in_order(codes: Sequence[str]) -> tuple[str, ...]:
    """Codes of lesions without repeats, subtypes as what they are counted under, in the order of the atlas.

    Example
    -------
    >>> in_order(["WLA", "DD", "WL"])
    ('DD', 'WL')
    """
    found = {parent_of(code) for code in codes}
    return tuple(code for code in PARENTS if code in found)
