"""Feet, claws and zones: where on the cow, and the everyday ways of saying so."""

from __future__ import annotations

import re
from dataclasses import dataclass

FEET: tuple[str, ...] = ("LF", "RF", "LH", "RH")
FOOT_NAMES: dict[str, str] = {
    "LF": "left front",
    "RF": "right front",
    "LH": "left hind",
    "RH": "right hind",
}
LIMBS: tuple[str, ...] = ("front", "hind")
CLAWS: tuple[str, ...] = ("lateral", "medial")
CLAW_NAMES: dict[str, str] = {"lateral": "outer", "medial": "inner"}


@dataclass(frozen=True)
class Zone:
    """A zone of the numbered foot map; ``part`` is skin, white line, sole, heel, wall or other."""

    number: int
    name: str
    part: str


# [pub: the foot map of Shearer and co-authors' extension articles]; 11 and 12 [from memory].
ZONES: dict[int, Zone] = {
    zone.number: zone
    for zone in (
        Zone(0, "interdigital skin", "skin"),
        Zone(1, "white line at the toe", "white line"),
        Zone(2, "abaxial white line", "white line"),
        Zone(3, "abaxial white line at the wall\N{EN DASH}bulb junction", "white line"),
        Zone(4, "sole\N{EN DASH}bulb junction", "sole"),
        Zone(5, "apex of the sole", "sole"),
        Zone(6, "bulb of the heel", "heel"),
        Zone(7, "wall, front", "wall"),
        Zone(8, "wall, side", "wall"),
        Zone(9, "skin above the heel and coronet", "skin"),
        Zone(10, "interdigital cleft at the heel", "skin"),
        Zone(11, "other (11)", "other"),
        Zone(12, "other (12)", "other"),
    )
}
BETWEEN_CLAWS: tuple[int, ...] = (0, 10)
"""Zones of the skin between the claws, which belong to the foot and to neither claw. [pub: the zones of the
trade's numbered foot map, e.g. Shearer and co-authors' extension articles]"""

ULCER_ZONES: tuple[int, ...] = (4, 5, 6)
WHITE_LINE_ZONES: tuple[int, ...] = (1, 2, 3)
FISSURE_ZONES: tuple[int, ...] = (7, 8)

_SIDE = {"l": "L", "left": "L", "r": "R", "right": "R"}
_END = {
    **dict.fromkeys(("f", "front", "fore", "forefoot", "forelimb"), "F"),
    **dict.fromkeys(("h", "hind", "rear", "back", "b", "hindfoot", "hindlimb"), "H"),
}
_FOOT_LETTERS = {
    "lf": "LF", "fl": "LF", "rf": "RF", "fr": "RF",
    "lh": "LH", "hl": "LH", "lr": "LH", "rl": "LH", "bl": "LH", "lb": "LH",
    "rh": "RH", "hr": "RH", "rr": "RH", "br": "RH", "rb": "RH",
}  # fmt: skip
_CLAW_WORDS = {
    **dict.fromkeys(("lateral", "lat", "l", "outer", "outside", "out", "o"), "lateral"),
    **dict.fromkeys(("medial", "med", "m", "inner", "inside", "in", "i"), "medial"),
}
_FILLER = frozenset(
    {
        "foot",
        "leg",
        "feet",
        "hoof",
        "claw",
        "claws",
        "toe",
        "digit",
        "the",
        "limb",
        "hooves",
        "legs",
    }
)


def _parts(text: str) -> list[str]:
    return [word for word in re.sub(r"[\W_]+", " ", text.casefold()).split() if word not in _FILLER]


def limb_of(foot: str) -> str:
    """Front or hind.

    Example
    -------
    >>> limb_of("LH")
    'hind'
    """
    return "front" if foot in ("LF", "RF") else "hind"


def understand_foot(text: str) -> str | None:
    """The foot a text names, or ``None``. ``LR`` is left rear, as front feet are never called R alone.

    Example
    -------
    >>> [understand_foot(t) for t in ("left hind", "Right-Front", "RR", "HL", "hind", "nose")]
    ['LH', 'RF', 'RH', 'LH', None, None]
    """
    words = _parts(text)
    joined = "".join(words)
    if joined in _FOOT_LETTERS:
        return _FOOT_LETTERS[joined]
    for end in ("front", "fore", "hind", "rear", "back"):
        if len(words) == 1 and words[0].endswith(end) and words[0][: -len(end)] in _SIDE:
            return _SIDE[words[0][: -len(end)]] + _END[end]
    if len(words) != 2:
        return None
    for side, end in (words, words[::-1]):
        if side in _SIDE and end in _END:
            return _SIDE[side] + _END[end]
    return None


def understand_claw(text: str) -> str | None:
    """The claw a text names, or ``None``.

    Example
    -------
    >>> [understand_claw(t) for t in ("Outer claw", "M", "inside", "both")]
    ['lateral', 'medial', 'medial', None]
    """
    words = _parts(text)
    return _CLAW_WORDS.get(words[0]) if len(words) == 1 else None


def understand_feet(text: str) -> tuple[str, ...] | None:
    """The feet a text names, in the order of :data:`FEET`; ``None`` if any part is not understood.

    Example
    -------
    >>> understand_feet("hind"), understand_feet("RH, lh"), understand_feet("both front feet")
    (('LH', 'RH'), ('LH', 'RH'), ('LF', 'RF'))
    >>> understand_feet("all"), understand_feet("left"), understand_feet("nose") is None
    (('LF', 'RF', 'LH', 'RH'), ('LF', 'LH'), True)
    """
    found: set[str] = set()
    for piece in re.split(r"[,;/+&|]|\band\b", text.casefold()):
        words = [word for word in _parts(piece) if word not in ("both", "only", "two")]
        if not words:
            continue
        one = understand_foot(piece)
        if one is not None:
            found.add(one)
        elif words in (["all"], ["four"], ["4"], ["all", "four"], ["all", "4"]):
            found |= set(FEET)
        elif len(words) == 1 and words[0].rstrip("s") in (*_END, *_SIDE):
            letter = {**_END, **_SIDE}[words[0].rstrip("s")]
            found |= {foot for foot in FEET if letter in foot}
        elif all(word in _FOOT_LETTERS for word in words):
            found |= {_FOOT_LETTERS[word] for word in words}
        else:
            return None
    return tuple(foot for foot in FEET if foot in found) or None
