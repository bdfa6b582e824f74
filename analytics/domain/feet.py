"""Feet, claws and zones: where on the cow, and the everyday ways of saying so."""

from __future__ import annotations

import re
from dataclasses import dataclass

from evenfoot.analytics.domain.lexicon import phrases, plain

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

_BETWEEN = re.compile(r"[,;/+&|]|\b(?:and|y|und|en|et|e)\b", re.IGNORECASE)


def _parts(text: str) -> list[str]:
    return [word for word in plain(text).split() if word not in phrases("filler")]


def _named(kinds: tuple[str, ...], text: str) -> str | None:
    """What a text means as a word of some kinds, whole, without words that say nothing, or written in one."""
    words = _parts(text)
    for form in (plain(text), " ".join(words), "".join(words)):
        for kind in kinds:
            if form in phrases(kind):
                return phrases(kind)[form]
    return None


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
    >>> [understand_foot(t) for t in ("left hind", "Right-Front", "RR", "hinten links", "linksachter", "hind", "nose")]
    ['LH', 'RF', 'RH', 'LH', 'LH', None, None]
    """
    found = _named(("foot",), text)
    return found if found in FEET else None


def understand_claw(text: str) -> str | None:
    """The claw a text names, or ``None``.

    Example
    -------
    >>> [understand_claw(t) for t in ("Outer claw", "M", "Innenklaue", "both")]
    ['lateral', 'medial', 'medial', None]
    """
    found = _named(("claw", "claw_alone"), text)
    return found if found in CLAWS else None


def understand_feet(text: str) -> tuple[str, ...] | None:
    """The feet a text names, in the order of :data:`FEET`; ``None`` if any part is not understood.

    Example
    -------
    >>> understand_feet("hind"), understand_feet("RH, lh"), understand_feet("both front feet")
    (('LH', 'RH'), ('LH', 'RH'), ('LF', 'RF'))
    >>> understand_feet("todas"), understand_feet("left"), understand_feet("nose") is None
    (('LF', 'RF', 'LH', 'RH'), ('LF', 'LH'), True)
    """
    found: set[str] = set()
    whole = _named(("foot", "foot_alone"), text)
    for piece in _BETWEEN.split(text) if whole is None else [text]:
        words = [word for word in _parts(piece) if phrases("claw_alone").get(word) != "both"]
        if not words:
            continue
        named = _named(("foot", "foot_alone"), piece) or _named(("foot", "foot_alone"), " ".join(words))
        letter = _named(("end", "side"), " ".join(words))
        if named is not None:
            found.update(named.split())
        elif letter is not None:
            found.update(foot for foot in FEET if letter in foot)
        elif all(word in phrases("foot") for word in words):
            found.update(foot for word in words for foot in phrases("foot")[word].split())
        else:
            return None
    return tuple(foot for foot in FEET if foot in found) or None
