"""Housing, floors, and how wet the ground stays: words for how a group is kept."""

from __future__ import annotations

import re

HOUSINGS: dict[str, str] = {
    "freestall": "freestall (cubicles)",
    "tie-stall": "tie stall",
    "bedded-pack": "bedded pack",
    "pasture": "pasture",
}
FLOORS: dict[str, str] = {
    "concrete": "concrete",
    "slatted": "slatted",
    "rubber": "rubber",
    "sand": "sand",
    "soil": "soil",
    "grass": "grass",
    "other": "other",
}
WETNESS: dict[str, str] = {
    "always-wet": "always wet",
    "mixed": "partly dry",
    "always-dry": "always dry",
    "wet-dry-cycles": "drying and re-wetting in turns",
}

_HOUSING_WORDS = {
    "freestall": "freestall|freestalls|free stall|free stalls|cubicle|cubicles|cubicle house|loose housing|"
    "freestall barn|free stall barn|cubicle shed",
    "tie-stall": "tie stall|tie stalls|tiestall|tiestalls|tied|tied up|stanchion|stanchions|tie barn|tie up|"
    "stanchion barn|tie stall barn|byre",
    "bedded-pack": "bedded pack|bedded packs|pack|straw yard|straw yards|compost|compost pack|compost barn|"
    "compost bedded pack|pack barn|straw pack|straw bedded|deep litter|deep straw|loose yard|deep bedded pack",
    "pasture": "pasture|pastures|grass|grazing|grazed|field|fields|paddock|paddocks|outdoor|outdoors|outside|"
    "range|meadow|on grass|at grass",
}
_FLOOR_WORDS = {
    "concrete": "concrete|solid concrete|grooved concrete|cement|solid|grooved",
    "slatted": "slatted|slats|slat|slatted concrete|concrete slats|slatted floor",
    "rubber": "rubber|rubber mat|rubber mats|mats|rubber matting|rubber floor|matting",
    "sand": "sand",
    "soil": "soil|earth|dirt|mud|clay",
    "grass": "grass|pasture|field|turf|meadow",
    "other": "other",
}
_WETNESS_WORDS = {
    "always-wet": "always wet|wet|constantly wet|stays wet",
    "mixed": "mixed|partly dry|partly wet|partly|half and half",
    "always-dry": "always dry|dry|constantly dry|stays dry",
    "wet-dry-cycles": "wet dry cycles|wet dry|wet and dry|dry and wet|cycles|drying and re wetting in turns|"
    "dries and rewets|wet then dry|alternating",
}


def _lookup(words: dict[str, str]) -> dict[str, str]:
    return {word: code for code, said in words.items() for word in said.split("|")}


_HOUSING, _FLOOR, _WETNESS = (
    _lookup(_HOUSING_WORDS),
    _lookup(_FLOOR_WORDS),
    _lookup(_WETNESS_WORDS),
)


def _plain(text: str) -> str:
    return re.sub(r"[\W_]+", " ", text.casefold()).strip()


def understand_housing(text: str) -> str | None:
    """The housing a text names, or ``None``.

    Example
    -------
    >>> [understand_housing(t) for t in ("Free-stall", "cubicles", "straw yard", "tent")]
    ['freestall', 'freestall', 'bedded-pack', None]
    """
    return _HOUSING.get(_plain(text))


def understand_floor(text: str) -> str:
    """The floor a text names; a floor that is not in the list is kept as it is said, in lower case.

    Example
    -------
    >>> understand_floor("Rubber mats"), understand_floor("Wood  chips")
    ('rubber', 'wood chips')
    """
    return _FLOOR.get(_plain(text)) or " ".join(text.casefold().split())


def understand_wetness(text: str) -> str | None:
    """How wet the ground stays, or ``None``.

    Example
    -------
    >>> understand_wetness("Always wet"), understand_wetness("wet-dry-cycles"), understand_wetness("blue")
    ('always-wet', 'wet-dry-cycles', None)
    """
    return _WETNESS.get(_plain(text))
