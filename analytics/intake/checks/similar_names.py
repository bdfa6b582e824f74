"""Names that may mean the same: farms spelt in several ways, cow numbers that lost their zeros or gained marks."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from evenfoot.analytics.intake.parsing.farm_names import key
from evenfoot.analytics.messages import Message, say

FARM_WORDS = frozenset(
    {
        "farm", "farms", "fm", "dairy", "dairies", "ltd", "limited", "llp", "llc", "inc", "co", "company", "the",
        "and", "of", "herd", "estate", "partners", "finca", "granja", "ganaderia", "rancho", "establo", "hof",
        "bauernhof", "milchhof", "boerderij", "melkveebedrijf", "ferme", "gaec", "earl", "elevage", "fazenda",
        "quinta",
    }
)  # fmt: skip
"""Words by which a farm's name may be longer and mean the same. [common practice, no source]"""

TITLES = frozenset(
    {
        "mr", "mrs", "ms", "miss", "messrs", "sr", "sra", "senor", "senora", "herr", "frau", "dhr", "mevr", "m",
        "mme", "monsieur", "madame", "dona", "dom",
    }
)  # fmt: skip
"""Words that stand before a person's name: what follows may be the owner and then the farm.
[common practice, no source]"""

SHORTEST_MISSPELT = 6
"""Shorter names that differ by a letter are other names as a rule. [common practice, no source]"""

SHORTEST_TAG = 8
"""Digits of an ear tag's whole number, at least; the numbers that are called out in a barn have fewer.
[common practice, no source]"""

CALLED_OUT = (5, 4, 3)
"""How many last digits of an ear tag may be a cow's number, the longest looked at first.
[common practice, no source]"""


@dataclass(frozen=True)
class Candidate:
    """A name that may mean another.

    Attributes
    ----------
    said : str
        The name in the sheet.
    means : str
        The name it may stand for: one that is known, or one further up in the sheet.
    certain : bool
        Whether that may be taken where nobody answers.
    why : Message
        What the two have in common.
    """

    said: str
    means: str
    certain: bool
    why: Message


def similar_farms(said: Sequence[str], known: Sequence[str]) -> list[Candidate]:
    """Farms of a sheet that may be others of the sheet or of the ledger, at most one candidate each.

    Names that differ in case and spaces only are one name already; see
    :mod:`evenfoot.analytics.intake.parsing.farm_names`.

    Parameters
    ----------
    said : sequence of str
        In the order of the sheet, without those about which it was decided already.
    known : sequence of str

    Example
    -------
    >>> [(c.said, c.means, c.certain) for c in similar_farms(["Brook End", "Larch Hill"], ["Brookend", "Larch Hall"])]
    [('Brook End', 'Brookend', True), ('Larch Hill', 'Larch Hall', False)]
    """
    out: list[Candidate] = []
    met = {key(farm): farm for farm in known}
    words = {farm: _farm_words(farm) for farm in met.values()}
    joined: dict[str, list[str]] = {}
    for farm, parts in words.items():
        joined.setdefault("".join(parts), []).append(farm)
    for name in said:
        if key(name) in met:
            continue
        parts = _farm_words(name)
        found = _similar_farm(name, parts, words, joined)
        if found is not None:
            out.append(found)
            if found.certain:
                continue
        met[key(name)] = name
        words[name] = parts
        joined.setdefault("".join(parts), []).append(name)
    return out


def _similar_farm(
    name: str, parts: tuple[str, ...], words: dict[str, tuple[str, ...]], joined: dict[str, list[str]]
) -> Candidate | None:
    whole = "".join(parts)
    same = joined.get(whole, []) if whole else []
    if same:
        return Candidate(
            name, same[0], len(same) == 1, say("The same but for spaces, accents, and words such as farm.")
        )
    title = bool(_plain_words(name)) and _plain_words(name)[0] in TITLES
    ends = [farm for farm, other in words.items() if other and _ends_with(parts, other)]
    if ends:
        return Candidate(
            name, ends[0], title and len(ends) == 1, say("It ends with the name of a farm that is here already.")
        )
    begun = [farm for farm, other in words.items() if parts and _ends_with(other, parts)]
    if begun:
        return Candidate(name, begun[0], False, say("The name of a farm that is here already ends with it."))
    near = [
        farm
        for farm, other in words.items()
        if min(len(whole), len("".join(other))) >= SHORTEST_MISSPELT and _one_letter_apart(whole, "".join(other))
    ]
    if near:
        return Candidate(name, near[0], False, say("They differ by one letter."))
    return None


def similar_cows(said: Sequence[str], known: Sequence[str]) -> list[Candidate]:
    """Cow numbers of a sheet that may be others of the same farm, at most one candidate each.

    Takes time in proportion to the numbers, not to their pairs.

    Parameters
    ----------
    said : sequence of str
        Numbers of one farm in the order of the sheet, without those about which it was decided already.
    known : sequence of str
        Numbers of the same farm. Cows of another farm are never the same.

    Example
    -------
    >>> [(c.said, c.means, c.certain) for c in similar_cows(["42", "DE 0812345678", "#9"], ["0042", "5678"])]
    [('42', '0042', True), ('DE 0812345678', '5678', False)]
    """
    out: list[Candidate] = []
    exact = set(known)
    plain = {number: _without_marks(number) for number in (*known, *said)}
    by_key: dict[str, list[str]] = {}
    by_marks: dict[str, str] = {}
    for number in dict.fromkeys(known):
        by_key.setdefault(_cow_key(plain[number]), []).append(number)
        by_marks.setdefault(plain[number], number)
    of_ledger = set(by_key)
    endings = _endings(plain)
    for number in dict.fromkeys(said):
        if number in exact:
            continue
        canonical = _cow_key(plain[number])
        same = by_key.get(canonical, [])
        if same:
            marked = by_marks.get(plain[number])
            # Within one sheet a number with zeros and one without may be two cows.
            certain = len(same) == 1 and (canonical in of_ledger or marked is not None)
            why = (
                say("The same number but for zeros in front.")
                if marked is None
                else say("The same number but for marks, spaces or a decimal point.")
            )
            out.append(Candidate(number, marked or same[0], certain, why))
            if certain:
                continue
        else:
            other = _called_out(number, plain[number], endings, exact)
            if other is not None:
                out.append(Candidate(number, other, False, say("One ends with the digits of the other.")))
        by_key.setdefault(canonical, []).append(number)
        by_marks.setdefault(plain[number], number)
    return out


_MARKS = re.compile(r"[\s#*.,;:/_'’`´-]+")
_DECIMALS = re.compile(r"\s*(\d+)[.,]0+\s*")
_LETTERS_DIGITS = re.compile(r"(\D*)0*(\d+)(.*)")
_TAG = re.compile(r"\D*(\d+)")


def _without_marks(number: str) -> str:
    """A cow's number without what is written around it."""
    if number.isdigit():
        return number
    whole = _DECIMALS.fullmatch(number)
    return whole.group(1) if whole else (_MARKS.sub("", number).casefold() or number.strip().casefold())


def _cow_key(plain: str) -> str:
    """What the spellings of one number have in common: letters and digits, without zeros in front."""
    if plain.isdigit():
        return plain.lstrip("0") or "0"
    parts = _LETTERS_DIGITS.fullmatch(plain)
    return "".join(parts.groups()) if parts else plain


def _endings(plain: Mapping[str, str]) -> dict[str, list[str]]:
    """Last digits of ear tags -> the tags, from numbers and what they are without marks."""
    out: dict[str, list[str]] = {}
    for number, text in plain.items():
        digits = _digits(text)
        if len(digits) >= SHORTEST_TAG:
            for length in CALLED_OUT:
                out.setdefault(digits[-length:], []).append(number)
    return out


def _called_out(number: str, plain: str, endings: Mapping[str, list[str]], exact: set[str]) -> str | None:
    """The known number that is the end of an ear tag, or the known tag that ends with a number, where it is one."""
    digits = _digits(plain)
    if len(digits) >= SHORTEST_TAG:
        ends = (digits[-length:] for length in CALLED_OUT)
        return next((end for end in ends if end in exact and len(endings[end]) == 1), None)
    if digits == number.strip() and len(digits) in CALLED_OUT:
        tags = endings.get(digits, [])
        if len(tags) == 1 and tags[0] in exact:
            return tags[0]
    return None


def _digits(plain: str) -> str:
    """The digits of a number that has no letters but in front."""
    if plain.isdigit():
        return plain
    parts = _TAG.fullmatch(plain)
    return parts.group(1) if parts else ""


def _farm_words(name: str) -> tuple[str, ...]:
    """The words of a farm's name that tell it from others."""
    words = _plain_words(name)
    while words and words[0] in TITLES:
        words = words[1:]
    return tuple(word for word in words if word not in FARM_WORDS) or tuple(words)


def _plain_words(name: str) -> list[str]:
    """Words in small letters, without accents and punctuation."""
    letters = unicodedata.normalize("NFKD", name.casefold())
    plain = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return re.sub(r"[\W_]+", " ", re.sub(r"['’]", "", plain)).split()


def _ends_with(words: tuple[str, ...], end: tuple[str, ...]) -> bool:
    """Whether a name has another one at its end, after words of its own."""
    return len(words) > len(end) and words[-len(end) :] == end


def _one_letter_apart(one: str, other: str) -> bool:
    if abs(len(one) - len(other)) > 1:
        return False
    start = 0
    while start < min(len(one), len(other)) and one[start] == other[start]:
        start += 1
    if len(one) == len(other):
        return one[start + 1 :] == other[start + 1 :]
    long, short = (one, other) if len(one) > len(other) else (other, one)
    return long[start + 1 :] == short[start:]
