"""Cells of one value (severity, zone, claw, feet, score): what they say, or a doubt.

Each reader returns the value and a doubt. A blank cell has neither. A doubt without a value means that nothing is
taken (its default is the note, which can make no wrong record); with a value, that the value is its default. The
rules are [common practice, no source].
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from evenfoot.analytics.domain.feet import CLAWS, FEET, ZONES
from evenfoot.analytics.domain.lexicon import phrases, plain, suggest
from evenfoot.analytics.intake.parsing.cell_items import Item, Splitter, taught_meaning
from evenfoot.analytics.intake.parsing.parse_results import Doubt, key_of

_NO_ANSWERS: Mapping[str, str] = MappingProxyType({})
_NO_KEY: Mapping[str, str] = MappingProxyType({})
LONGEST = 200
"""Letters of a cell of one value that are read; more is prose. [common practice, no source]"""
_BLANK = re.compile(r"[\s\-\u2013\u2014._?]*")
_DECIMAL_ZERO = re.compile(r"([0-9]{1,2})[.,]0+")
_PAIR = re.compile(r"([0-9]{1,2})\s*([-/.,])\s*([0-9]{1,2})")
_ROMAN = {"i": "1", "ii": "2", "iii": "3"}
_BELOW_ZERO = re.compile(r"\s*[-\u2212][0-9]")


def _is_blank(text: str) -> bool:
    return _BLANK.fullmatch(text) is not None or plain(text) in ("na", "n a", "nan", "null")


def _items(text: str, taught: Mapping[str, str]) -> list[Item]:
    """What a cell is made of, without fillers, joiners and signs that only part."""
    return [item for item in _all_items(text, taught) if item.kind not in _PARTING]


def _all_items(text: str, taught: Mapping[str, str]) -> list[Item]:
    return Splitter(taught).split(unicodedata.normalize("NFC", text)[:LONGEST])


_PARTING = ("filler", "joiner", "separator", "colon")


def _shown(text: str) -> str:
    return " ".join(text.split())


def _open(text: str, about: str, values: Sequence[object]) -> Doubt:
    """A doubt that leaves the value open."""
    choices = tuple(dict.fromkeys(f"{about}:{value}" for value in values))
    return Doubt(_shown(text), about, (*choices, "note") if choices else (), "note")


def _answer(text: str, about: str, taught: Mapping[str, str]) -> str | None:
    """The value that was taught for the whole cell; ``""`` where it has none."""
    told = taught.get(key_of(text), "")
    if told in ("note", "nothing"):
        return ""
    name, _, value = told.partition(":")
    if name == about and (about == "score" or taught_meaning(told) is not None):
        return value
    return None


def read_severity_text(text: str, taught: Mapping[str, str] = _NO_ANSWERS) -> tuple[int | None, Doubt | None]:
    """Severity 0 to 3 of a cell; 0 is left for the check with the lesion.

    Example
    -------
    >>> [read_severity_text(text)[0] for text in ("++", "(+)", "3+", "1/3", "severe", "grade II", "2-3", "2.5")]
    [2, 1, 3, 1, 3, 2, None, None]
    >>> read_severity_text("-1")[0] is None
    True
    >>> read_severity_text("2-3")[1].choices
    ('severity:2', 'severity:3', 'note')
    """
    if _is_blank(text):
        return None, None
    if _BELOW_ZERO.match(text):
        return None, _open(text, "severity", [])
    told = _answer(text, "severity", taught)
    if told is not None:
        return (int(told) if told in ("0", "1", "2", "3") else None), None
    bare = _shown(text)
    if _FROM_TO_MARKS.search(bare):
        return None, _open(text, "severity", [])
    word = plain(bare)
    if word in _ROMAN:
        return int(_ROMAN[word]), None
    short = re.fullmatch(r"(?:g|s)?\s?([0-3])", _DECIMAL_ZERO.sub(r"\1", word if "+" not in bare else ""))
    if _DECIMAL_ZERO.fullmatch(bare):
        short = re.fullmatch(r"([0-3])", bare[: len(re.split(r"[.,]", bare)[0])])
    if short is not None and not re.search(r"[+/]", bare):
        return int(short[1]), None
    values: list[str] = []
    unknown = False
    for item in _items(text, taught):
        if item.kind in ("severity", "number"):
            values.append(item.value)
        elif item.kind == "range":
            fraction = re.fullmatch(r"([0-3])/3", item.value)
            values.extend([fraction[1]] if fraction else _both_ends(item.value))
        elif item.kind == "unknown" and item.value in _ROMAN:
            values.append(_ROMAN[item.value])
        elif item.kind != "cue":
            unknown = True
    found = [value for value in dict.fromkeys(values) if value in ("0", "1", "2", "3")]
    is_clear = len(found) == 1 and len(set(values)) == 1
    if not is_clear:
        return None, _open(text, "severity", [value for value in found if value != "0"])
    if unknown or re.search(r"2\s?/\s?3", bare):
        return int(found[0]), Doubt(bare, "severity", (f"severity:{found[0]}", "note"), f"severity:{found[0]}")
    return int(found[0]), None


_FROM_TO_MARKS = re.compile(r"\+\)?\s*(?:-|/|\N{EN DASH}|to|a|à|bis|tot|t/m|até)\s*\(?\+")
"""Two marks with a word or sign between them: "+ bis ++"."""


def _both_ends(span: str) -> list[str]:
    """The two whole numbers that a range or a half lies between."""
    pair = _PAIR.fullmatch(span)
    if pair is None:
        return [span]
    if pair[2] in ".,":
        return [pair[1]] if not pair[3].strip("0") else [pair[1], str(int(pair[1]) + 1)]
    return [pair[1], pair[3]]


def read_zone_text(text: str, taught: Mapping[str, str] = _NO_ANSWERS) -> tuple[int | None, Doubt | None]:
    """Zone 0 to 12 of a cell.

    Example
    -------
    >>> [read_zone_text(text)[0] for text in ("4", "z 4", "Zone 10", "4.0", "bulb of the heel", "4/5")]
    [4, 4, 10, 4, 6, None]
    """
    if _is_blank(text):
        return None, None
    if _BELOW_ZERO.match(text):
        return None, _open(text, "zone", [])
    told = _answer(text, "zone", taught)
    if told is not None:
        return (int(told) if told else None), None
    word = plain(text)
    if word in phrases("zone"):
        return int(phrases("zone")[word]), None
    values: list[str] = []
    unknown = False
    for item in _items(text, taught):
        if item.kind in ("zone", "number"):
            values.append(str(int(item.value)))
        elif item.kind == "range":
            whole = _DECIMAL_ZERO.fullmatch(item.value)
            values.extend([whole[1]] if whole else re.findall(r"[0-9]+", item.value))
        elif item.kind != "cue":
            unknown = True
    found = [value for value in dict.fromkeys(values) if len(value) <= 2 and int(value) in ZONES]
    if len(found) == 1 and len(set(values)) == 1:
        zone = int(found[0])
        return zone, Doubt(_shown(text), "zone", (f"zone:{zone}", "note"), f"zone:{zone}") if unknown else None
    return None, _open(text, "zone", found)


def read_claw_text(
    text: str, foot: str | None = None, taught: Mapping[str, str] = _NO_ANSWERS
) -> tuple[tuple[str, ...], Doubt | None]:
    """Claws of a cell. The right claw of a right foot is the outer one, the left claw of a left foot too.

    A single ``L`` may be lateral or left: it is asked where the foot does not settle it.

    Example
    -------
    >>> [read_claw_text(text, "RH")[0] for text in ("outer", "both", "in/out", "right", "M")]
    [('lateral',), ('lateral', 'medial'), ('lateral', 'medial'), ('lateral',), ('medial',)]
    >>> read_claw_text("L", "LH"), read_claw_text("L", "RH")[1].choices
    ((('lateral',), None), ('claw:lateral', 'claw:medial', 'note'))
    """
    if _is_blank(text):
        return (), None
    told = _answer(text, "claw", taught)
    if told is not None:
        return (CLAWS if told == "both" else (told,) if told else ()), None
    found: list[str] = []
    whole = _claw_meaning(text, taught)
    for piece in [text] if whole is not None else re.split(r"[,;/+&|\n]|\s(?:and|und|y|et|en|e)\s", text):
        means = _claw_meaning(piece, taught)
        if plain(piece) == "l" and (foot is None or foot[0] == "R"):
            choices = ("claw:lateral", "claw:medial", "note")
            return ("lateral",), Doubt(_shown(text), "claw", choices, choices[0], True)
        if means == "both":
            found.extend(CLAWS)
        elif means in CLAWS:
            found.append(means)
        elif means in ("left", "right") and foot is not None:
            found.append("lateral" if means[0].upper() == foot[0] else "medial")
        else:
            near = suggest(("claw",), piece)
            means = phrases("claw").get(plain(near)) if near is not None else None
            if means not in CLAWS:
                return (), _open(text, "claw", CLAWS)
            near_first = (f"claw:{means}", *(f"claw:{claw}" for claw in CLAWS if claw != means), "note")
            return (means,), Doubt(_shown(text), "claw", near_first, near_first[0], True)
    return tuple(claw for claw in CLAWS if claw in found), None


def _claw_meaning(text: str, taught: Mapping[str, str]) -> str | None:
    """The claw that a text means as a whole, ``"both"``, ``"left"``, ``"right"``, or ``None``."""
    word = plain(text)
    told = taught_meaning(taught.get(word, ""))
    if told is not None and told[0] == "claw":
        return told[1]
    if word in _RIGHT:
        return "right"
    return phrases("claw").get(word) or phrases("claw_alone").get(word)


_RIGHT = frozenset({"r", "rt"})


def read_feet_text(
    text: str, key: Mapping[str, str] = _NO_KEY, taught: Mapping[str, str] = _NO_ANSWERS
) -> tuple[tuple[str, ...], Doubt | None]:
    """Feet of a cell, in the order of :data:`evenfoot.analytics.domain.feet.FEET`.

    Parameters
    ----------
    text : str
    key : mapping of str to str
        Number -> foot, where a key of the sheet tells it. Without one a number is a doubt.
    taught : mapping of str to str

    Example
    -------
    >>> read_feet_text("RH+LH")[0], read_feet_text("both hind")[0], read_feet_text("all 4")[0]
    (('LH', 'RH'), ('LH', 'RH'), ('LF', 'RF', 'LH', 'RH'))
    >>> read_feet_text("1,3", {"1": "LF", "3": "LH"})[0], read_feet_text("1,3")[1].about
    (('LF', 'LH'), 'foot')
    """
    if _is_blank(text):
        return (), None
    told = _answer(text, "foot", taught)
    if told is not None:
        return tuple(told.split()), None
    found: set[str] = set()
    # "der" is an article in one language and a side in another.
    items: list[Item] = []
    joined: set[int] = set()
    for item in _all_items(text, taught):
        if item.kind not in _PARTING or (item.kind == "filler" and plain(item.text) in phrases("side")):
            items.append(item)
        else:
            joined.add(len(items))
    place = 0
    end = ""
    while place < len(items):
        item = items[place]
        is_joined = place in joined
        after = items[place + 1] if place + 1 < len(items) else None
        place += 1
        side = phrases("side").get(plain(item.text))
        if item.kind == "foot":
            found |= set(item.value.split())
            end = item.value[1] if item.value in FEET else ""
        elif end and is_joined and side is not None and f"{side}{end}" not in found:
            # "post. G et D": the other side of the same end. In "HR i" the letter is the claw.
            found.add(f"{side}{end}")
        elif after is not None and (one := _side_and_end(item.text, after.text)) is not None:
            found.add(one)
            place += 1
        elif item.kind in ("number", "range") and all(digit in key for digit in re.findall(r"[0-9]+", item.value)):
            found |= {key[digit] for digit in re.findall(r"[0-9]+", item.value)}
        elif plain(item.text) in phrases("side"):
            return (), _open(text, "foot", [foot for foot in FEET if foot[0] == phrases("side")[plain(item.text)]])
        else:
            return (), _open(text, "foot", [])
    feet = tuple(foot for foot in FEET if foot in found)
    return feet, None if feet else _open(text, "foot", [])


def _side_and_end(first: str, second: str) -> str | None:
    """The foot that a side and an end name, in either order, or ``None``."""
    for side, end in ((first, second), (second, first)):
        if plain(side) in phrases("side") and plain(end) in phrases("end"):
            return phrases("side")[plain(side)] + phrases("end")[plain(end)]
    return None


def read_score_text(text: str, taught: Mapping[str, str] = _NO_ANSWERS) -> tuple[int | None, Doubt | None]:
    """Locomotion score 0 to 5 of a cell; the scale is not known here.

    ``3+`` is a 3, and is asked; so is a score with the foot that looks lame. ``2-3``, ``2.5`` and ``2/3`` lie between
    two scores and are left open; ``1/3`` and ``3/5`` are a score of a scale.

    Example
    -------
    >>> [read_score_text(text)[0] for text in ("3", "LS 3", "3 lame", "3.0", "3+", "3/5", "2-3", "2/3")]
    [3, 3, 3, 3, 3, 3, None, None]
    """
    if _is_blank(text):
        return None, None
    if _BELOW_ZERO.match(text):
        return None, _open(text, "score", [])
    told = _answer(text, "score", taught)
    if told is not None:
        return (int(told) if re.fullmatch(r"[0-5]", told) else None), None
    bare = _shown(text)
    values: list[str] = []
    unknown = False
    for item in _items(re.sub(r"(?<=[0-9])\s?\+(?!\w)", "", text), taught):
        if item.kind == "number":
            values.append(item.value)
        elif item.kind == "range":
            fraction = re.fullmatch(r"([0-5])/([35])", item.value)
            is_of_scale = fraction is not None and int(fraction[2]) - int(fraction[1]) > 1
            values.extend([fraction[1]] if fraction and is_of_scale else _both_ends(item.value))
        elif item.kind == "unknown" and (glued := re.fullmatch(r"([a-z]+)([0-5])", item.value)):
            values.append(glued[2])
            unknown = unknown or plain(glued[1]) not in phrases("cue")
        elif item.kind not in ("cue", "unsure") and plain(item.text) not in phrases("cue"):
            unknown = True
    found = [value for value in dict.fromkeys(values) if value in ("0", "1", "2", "3", "4", "5")]
    if len(found) != 1 or len(set(values)) != 1:
        return None, _open(text, "score", found)
    score = int(found[0])
    if unknown and read_feet_text(re.sub(r"[0-9()]", " ", text))[0]:
        return score, Doubt(bare, "score", (f"score:{score}", "note"), f"score:{score}", True)
    if unknown:
        return None, _open(text, "score", found)
    if "+" in bare or "?" in bare:
        more = (f"score:{score + 1}",) if "+" in bare and score < 5 else ()
        return score, Doubt(bare, "score", (f"score:{score}", *more, "note"), f"score:{score}")
    return score, None
