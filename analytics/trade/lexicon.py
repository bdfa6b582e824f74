"""The words of the trade in every language that sheets are read in, kept as data in the folder ``words``.

A file holds the words of one kind: what they mean, their language, and the words with ``|`` between them. Words are
compared in their plain form, so that case, accents and punctuation do not matter.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

LANGUAGES: dict[str, str] = {
    "en": "English",
    "es": "Spanish",
    "de": "German",
    "nl": "Dutch",
    "fr": "French",
    "pt": "Portuguese",
}
"""Code -> name of the languages that sheets are read in."""

KINDS: tuple[str, ...] = (
    "lesion",
    "other_lesion",
    "nothing",
    "foot",
    "claw",
    "claw_alone",
    "zone",
    "severity",
    "action",
    "visit_kind",
    "month",
    "side",
    "end",
    "yes",
    "no",
    "negation",
    "certainty",
    "joiner",
    "cue",
    "filler",
    "remark",
    "doubtful",
    "total",
    "title",
    "weekday",
)
"""Kinds of word; each has a file of that name.

``claw_alone``, ``side``, ``end``, ``yes`` and ``no`` hold words that are certain only where they stand alone in a column
of their own. ``remark`` holds words that add something to a finding and change none of its fields: ``lame``,
``overgrown``, ``course``, ``depth``, ``recheck``. ``doubtful`` holds words that can mean several things; its meaning is
the candidates with spaces between: codes of lesions, ``other``, feet, zones, claws, ``nothing``, ``lesion``, ``trim``,
``filler``.
"""

CELL_KINDS: tuple[str, ...] = (
    "lesion",
    "other_lesion",
    "nothing",
    "foot",
    "claw",
    "zone",
    "severity",
    "action",
    "negation",
    "filler",
    "remark",
    "doubtful",
)
"""Kinds that are read together in a cell of findings. No plain form stands in two of them."""

_LIGATURES = str.maketrans({"œ": "oe", "æ": "ae"})
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})


@dataclass(frozen=True)
class Word:
    """One word or phrase: as it is written, what it means, and its language."""

    text: str
    means: str
    language: str


def plain(text: str) -> str:
    """A text in lower case without accents, with single spaces for punctuation.

    Example
    -------
    >>> plain(" Úlcera de  suela!"), plain("o.B."), plain("Weiße-Linie")
    ('ulcera de suela', 'o b', 'weisse linie')
    """
    letters = unicodedata.normalize("NFKD", text.casefold().translate(_LIGATURES))
    bare = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return re.sub(r"[\W_]+", " ", bare).strip()


@cache
def words(kind: str) -> tuple[Word, ...]:
    """All words of a kind, as they stand in its file.

    Raises
    ------
    KeyError
        There is no such kind.
    """
    if kind not in KINDS:
        raise KeyError(kind)
    text = resources.files("analytics.trade").joinpath("words", f"{kind}.csv").read_text("utf-8")
    return tuple(
        Word(word.strip(), row["means"], row["language"])
        for row in csv.DictReader(text.splitlines())
        for word in row["words"].split("|")
    )


@cache
def phrases(kind: str) -> Mapping[str, str]:
    """Plain form of every word of a kind -> what it means.

    German words are also known with ae, oe and ue.

    Example
    -------
    >>> phrases("lesion")["sole ulcer"], phrases("foot")["left hind"]
    ('SU', 'LH')
    """
    found: dict[str, str] = {}
    for word in words(kind):
        found.setdefault(plain(word.text), word.means)
        if word.language == "de":
            found.setdefault(plain(word.text.translate(_UMLAUTS)), word.means)
    return MappingProxyType(found)


def meaning(kind: str, text: str) -> str | None:
    """What a whole text means as a word of a kind, or ``None``.

    Example
    -------
    >>> meaning("lesion", "White-line abscess"), meaning("lesion", "squishy")
    ('WLA', None)
    """
    return phrases(kind).get(plain(text))


@cache
def foot_sets() -> tuple[Mapping[str, str], ...]:
    """Codes of feet that are certain where several of one set stand together: plain form -> foot, one mapping a set.

    Example
    -------
    >>> foot_sets()[0]["dd"]
    'RF'
    """
    text = resources.files("analytics.trade").joinpath("words", "foot_set.csv").read_text("utf-8")
    return tuple(
        MappingProxyType(dict(zip(row["words"].split("|"), row["means"].split(), strict=True)))
        for row in csv.DictReader(text.splitlines())
    )


def squeezed_heading(plain_text: str) -> str:
    """The plain form of a heading without spaces; short ones keep them, as "R L" is not "RL".

    Example
    -------
    >>> squeezed_heading("koe nr"), squeezed_heading("r l")
    ('koenr', 'r l')
    """
    joined = plain_text.replace(" ", "")
    return joined if len(joined) > 3 else plain_text


@cache
def headings() -> Mapping[str, tuple[str, ...]]:
    """Plain form of every heading without spaces -> the fields it may name: ``trims.lesion``, ``*.cow``, ``layout.side``.

    ``*`` stands for all kinds of sheet, ``layout`` for columns that only the layout of a sheet uses, and ``own`` for
    columns that people keep and that are no part of a record.

    Example
    -------
    >>> headings()["kuh"], headings()["calved"]
    (('*.cow',), ('trims.calving_date', 'register.calvings'))
    """
    found: dict[str, tuple[str, ...]] = {}
    text = resources.files("analytics.trade").joinpath("words", "heading.csv").read_text("utf-8")
    for row in csv.DictReader(text.splitlines()):
        for word in row["words"].split("|"):
            for key in {plain(word), plain(word.translate(_UMLAUTS)) if row["language"] == "de" else plain(word)}:
                key = squeezed_heading(key)
                if key and row["means"] not in found.get(key, ()):
                    found[key] = (*found.get(key, ()), row["means"])
    return MappingProxyType(found)
