"""The words of the trade in every language that sheets are read in, kept as data in the folder ``words``.

A file holds the words of one kind: what they mean, their language, and the words with ``|`` between them. Words are
compared in their plain form, so that case, accents and punctuation do not matter.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
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
    "foot_alone",
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
    "heading",
    "ambiguous",
    "away",
    "animals",
    "layout_word",
    "cow_number",
    "feet_event",
)
"""Kinds of word; each has a file of that name.

- ``foot_alone``, ``claw_alone``, ``side``, ``end``, ``yes`` and ``no`` hold words that are certain only where they
  stand alone in a column of their own.
- ``filler`` holds words that say nothing in a finding; those that join two findings mean ``and``.
- ``remark`` holds words that add to a finding and change none of its fields: ``lame``, ``overgrown``, ``course``,
  ``depth``, ``recheck``, ``leg`` (what is wrong above the foot, which is no lesion of it).
- ``doubtful`` holds words that can mean several things. Its meaning is the candidates with spaces between: codes of
  lesions, ``other``, feet, zones, claws, ``nothing``, ``lesion``, ``trim``, ``filler``.
- ``heading`` holds what columns are called, see :func:`headings`.
- ``away`` holds words that say, alone in the cell of a score or a foot, that the cow or the foot was not looked at:
  ``away`` why, ``unseen`` that. ``void`` says of a whole entry that it does not count.
- ``animals`` holds words that, behind a number, say that it counts the cows of a herd.
- ``layout_word`` holds words by which lines, headings and cells are taken apart: ``only``, ``both``, ``skin`` (beside
  the claws of a foot), ``and``, ``same foot``, ``for``, ``article``, ``farm``, ``score`` (headings of a score of any
  sort), ``seen`` (headings of a column that says whether the cow was looked at), ``with`` (short for it, with a full
  stop or a slash), ``farm name`` (stands in the name of a farm), ``formerly`` (before a number
  that a cow had), ``later`` (says when something is to be done), ``season``, ``front limb`` and ``hind limb`` (beside a
  word for a front foot alone, the other is the hind one).
- ``cow_number`` holds words in front of a number that say no more than that it is a cow's.
- ``feet_event`` holds beginnings of words of an event that is about feet, or ``other`` than feet.
- ``ambiguous`` holds headings that alone can mean several fields. Its meaning is the candidates with spaces between.
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

_BETWEEN_WORDS = re.compile(r"[\W_]+")
_LIGATURES = str.maketrans({"œ": "oe", "æ": "ae"})
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})


@dataclass(frozen=True)
class Word:
    """One word or phrase: as it is written, what it means, and its language."""

    text: str
    means: str
    language: str


@lru_cache(maxsize=1024)
def plain(text: str) -> str:
    """A text in lower case without accents, with single spaces for punctuation.

    Example
    -------
    >>> plain(" Úlcera de  suela!"), plain("o.B."), plain("Weiße-Linie")
    ('ulcera de suela', 'o b', 'weisse linie')
    """
    letters = text.casefold()
    if not letters.isascii():
        whole = unicodedata.normalize("NFKD", text).casefold().translate(_LIGATURES)
        letters = "".join(
            letter for letter in unicodedata.normalize("NFKD", whole) if not unicodedata.combining(letter)
        )
    return " ".join(_BETWEEN_WORDS.split(letters)).strip()


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
    text = resources.files("evenfoot.analytics.domain").joinpath("words", f"{kind}.csv").read_text("utf-8")
    return tuple(
        Word(word.strip(), row["means"], row["language"])
        for row in csv.DictReader(text.splitlines())
        for word in row["words"].split("|")
    )


@cache
def forms(kind: str) -> tuple[tuple[str, Word], ...]:
    """Every plain form of the words of a kind, with its word; German words also with ae, oe and ue.

    Example
    -------
    >>> [form for form, word in forms("month") if word.text == "märz"]
    ['marz', 'maerz']
    """
    found: dict[tuple[str, Word], None] = {}
    for word in words(kind):
        found[plain(word.text), word] = None
        if word.language == "de":
            found[plain(word.text.translate(_UMLAUTS)), word] = None
    return tuple(found)


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
    for form, word in forms(kind):
        found.setdefault(form, word.means)
    return MappingProxyType(found)


@cache
def forms_meaning(kind: str, means: str) -> frozenset[str]:
    """The plain forms of the words of a kind that mean one thing.

    Example
    -------
    >>> sorted(forms_meaning("layout_word", "and"))
    ['and', 'e', 'en', 'et', 'und', 'y']
    """
    return frozenset(form for form, word in forms(kind) if word.means == means)


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
    text = resources.files("evenfoot.analytics.domain").joinpath("foot_sets.csv").read_text("utf-8")
    return tuple(
        MappingProxyType(dict(zip(row["words"].split("|"), row["means"].split(), strict=True)))
        for row in csv.DictReader(text.splitlines())
    )


@cache
def _heading_languages() -> Mapping[str, frozenset[str]]:
    """Plain form of a word that may stand at the head of a column -> the languages that have it."""
    found: dict[str, set[str]] = {}
    for kind in ("heading", "foot", "claw", "action", "lesion"):
        for form, word in forms(kind):
            found.setdefault(squeezed_heading(form), set()).add(word.language)
    return {form: frozenset(languages) for form, languages in found.items()}


def language_of(headings: Sequence[str]) -> str | None:
    """The language in which most headings of a sheet are words; ``None`` where no language is ahead of the others.

    Example
    -------
    >>> language_of(["Kuh-Nr.", "VL", "VR", "HL", "HR", "Klotz"]), language_of(["Cow", "Leg", "Lesion"])
    ('de', 'en')
    """
    counts: dict[str, int] = dict.fromkeys(LANGUAGES, 0)
    for heading in headings:
        for language in _heading_languages().get(squeezed_heading(plain(heading)), ()):
            counts[language] += 1
    first, second, *_ = sorted(counts, key=lambda language: -counts[language])
    return first if counts[first] > counts[second] else None


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
def heading_fields() -> Mapping[str, tuple[str, ...]]:
    """Plain form of every heading without spaces -> the fields it may name, such as ``trims.lesion`` or ``*.cow``.

    ``*`` stands for all kinds of sheet, ``layout`` for columns that only the layout of a sheet uses, and ``own`` for
    columns that people keep and that are no part of a record.

    Example
    -------
    >>> heading_fields()["kuh"], heading_fields()["calved"]
    (('*.cow',), ('trims.calving_date', 'register.calvings'))
    """
    found: dict[str, tuple[str, ...]] = {}
    for form, word in forms("heading"):
        key = squeezed_heading(form)
        if key and word.means not in found.get(key, ()):
            found[key] = (*found.get(key, ()), word.means)
    return MappingProxyType(found)


@cache
def headings(sheet: str) -> Mapping[str, str]:
    """Plain form of every heading that a kind of sheet may have -> name of the field.

    Parameters
    ----------
    sheet : str
        A kind of sheet; ``"layout"`` for columns that only some layouts of a sheet have, such as a column for left and
        right; ``"own"`` for columns that people keep and that are no field, such as the day a cow is due to calve.

    Example
    -------
    >>> headings("trims")["pezuna"], headings("register")["calved"], headings("own")["cell count"]
    ('claw', 'calvings', 'cell count')
    """
    found: dict[str, str] = {}
    for form, word in forms("heading"):
        of, name = re.split("[.:]", word.means, maxsplit=1)
        if of == sheet or (of == "*" and sheet not in ("layout", "own")):
            found.setdefault(form, name)
    return MappingProxyType(found)


SHORTEST_SUGGESTED = 4
"""Letters below which nothing is suggested: short words are near too many others. [common practice, no source]"""
LETTERS_A_SLIP = 4
"""A suggestion may differ by one slip for every so many letters, [common practice, no source]"""
MOST_SLIPS = 3
"""and by so many at most. [common practice, no source]"""


@lru_cache(maxsize=4096)
def suggest(kinds: tuple[str, ...], text: str) -> str | None:
    """The word of some kinds that a text was probably meant to be, as it is written in the lexicon, or ``None``.

    A slip is a letter left out, put in, changed, or two letters that changed places. Nothing is suggested for fewer
    than four letters, when the nearest words mean different things, nor when the nearest word begins with another
    letter.

    Example
    -------
    >>> suggest(("lesion",), "mortelaro"), suggest(("lesion",), "sole ulser"), suggest(("lesion",), "ulc")
    ('mortellaro', 'sole ulcer', None)

    References
    ----------
    Damerau 1964, Communications of the ACM 7:171 (the four slips).
    """
    said = plain(text)
    if len(said.replace(" ", "")) < SHORTEST_SUGGESTED:
        return None
    most = min(MOST_SLIPS, len(said) // LETTERS_A_SLIP)
    nearest: dict[tuple[str, str], tuple[int, str]] = {}
    if not any(_slips(said, form) <= most for kind in kinds for _, form, _ in _may_be_near(kind, said, most, said[0])):
        # So it is with most texts, and costs little to tell.
        return None
    for kind in kinds:
        for place, form, word in _may_be_near(kind, said, most):
            slips = _slips(said, form)
            if slips > most:
                continue
            if slips < most:
                most, nearest = slips, {}
            found = (place, word.text)
            nearest[(kind, word.means)] = min(found, nearest.get((kind, word.means), found))
    if len(nearest) != 1:
        return None
    [(_, suggested)] = nearest.values()
    return suggested if plain(suggested)[:1] == said[0] else None


def nearest(candidates: Sequence[str], text: str) -> str | None:
    """The first of the candidates that a text is nearest to; ``None`` where none is near.

    A slip is allowed for every three letters: for showing to a person, never for reading.

    Example
    -------
    >>> [nearest(("farm", "cow", "lesion", "form"), text) for text in ("Leisson", "Cwo", "Frm", "xyzzy")]
    ['lesion', 'cow', 'farm', None]
    """
    said = plain(text)
    most = min(MOST_SLIPS, len(said) // 3)
    slips, place = min(
        ((_slips(said, plain(one)), place) for place, one in enumerate(candidates) if said and plain(one)),
        default=(most + 1, 0),
    )
    return candidates[place] if slips <= most else None


def _may_be_near(kind: str, said: str, most: int, start: str = "") -> Iterator[tuple[int, str, Word]]:
    """Forms that can be so many slips from a text: place in the lexicon, form and word.

    Parameters
    ----------
    kind : str
    said : str
    most : int
    start : str
        The letter that the forms begin with; any without it.

    References
    ----------
    Bartolini, Ciaccia, Patella (2002). String matching with metric trees using an approximate distance. SPIRE 2002,
    LNCS 2476, 271-283: the bag distance, which is never more than that of the letters in their order.
    """
    letters = _letters(said)
    alike = _forms_by_start(kind)
    for begun in alike.values() if not start else (alike.get(start, {}),):
        for length in range(max(len(said) - most, SHORTEST_SUGGESTED), len(said) + most + 1):
            for place, form, word, its in begun.get(length, ()):
                # A slip brings or takes one letter at most.
                if (its & ~letters).bit_count() <= most and (letters & ~its).bit_count() <= most:
                    yield place, form, word


@cache
def _forms_by_start(kind: str) -> Mapping[str, Mapping[int, list[tuple[int, str, Word, int]]]]:
    """First letter -> number of letters -> place in the lexicon, form, word and letters of each."""
    out: dict[str, dict[int, list[tuple[int, str, Word, int]]]] = {}
    for place, (form, word) in enumerate(forms(kind)):
        out.setdefault(form[0], {}).setdefault(len(form), []).append((place, form, word, _letters(form)))
    return out


def _letters(text: str) -> int:
    """The letters of a text, in any order: of every letter as many bits as there are of it, four at most.

    Letters outside the alphabet count as one.
    """
    bits = 0
    for letter in text:
        place = ord(letter) - 96
        first = 1 << (4 * place if 0 < place < 27 else 0)
        bits |= first if not bits & first else ((bits & (7 * first)) << 1)
    return bits


def _slips(one: str, other: str) -> int:
    """Slips between two texts, none of them empty: letters left out, put in, changed, or two that changed places.

    References
    ----------
    Hyyrö (2003). A bit-vector algorithm for computing Levenshtein and Damerau edit distances. Nordic Journal of
    Computing 10, 29-39 (optimal string alignment, the columns of its table as bits of whole numbers).
    """
    stands: dict[str, int] = {}
    for place, letter in enumerate(one):
        stands[letter] = stands.get(letter, 0) | (1 << place)
    every = (1 << len(one)) - 1
    last = 1 << (len(one) - 1)
    slips, more, less, zero, before = len(one), every, 0, 0, 0
    for letter in other:
        here = stands.get(letter, 0)
        swapped = ((~zero & here) << 1) & before
        zero = ((((here & more) + more) ^ more) | here | less | swapped) & every
        right_more = less | (every & ~(zero | more))
        right_less = zero & more
        slips += bool(right_more & last) - bool(right_less & last)
        right_more = (right_more << 1 | 1) & every
        right_less = right_less << 1 & every
        more = right_less | (every & ~(zero | right_more))
        less = right_more & zero
        before = here
    return slips
