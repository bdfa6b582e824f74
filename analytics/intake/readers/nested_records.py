"""Records within records, such as visits with cows with feet, become one record for each that holds no more."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lexicon import heading_fields, meaning, plain, squeezed_heading
from evenfoot.analytics.intake.fields import VOID_FINDING

DEEPEST = 12
"""Levels that are gone down. [common practice, no source]"""

_NAMES = frozenset(("name", "id", "no", "nr", "number", "nombre", "nom", "naam", "nome"))
"""Keys that name the thing whose record they stand in: "name" in a farm is the farm."""


def is_nested(said: list[Any] | dict[str, Any]) -> bool:
    """Whether records hold further records, rather than stand in one list for each kind of sheet."""
    if isinstance(said, list):
        return any(isinstance(record, dict) and _holds_records(record) for record in said)
    lists = [value for value in said.values() if isinstance(value, list)]
    if any(isinstance(value, str | int | float) and value != "" for value in said.values()) and lists:
        return any(isinstance(one, dict) for value in lists for one in value)
    return any(isinstance(one, dict) and _holds_records(one) for value in lists for one in value)


def _holds_records(record: dict[str, Any]) -> bool:
    return any(
        (isinstance(value, dict) and value) or (isinstance(value, list) and any(isinstance(one, dict) for one in value))
        for value in record.values()
    )


def flat_records(said: list[Any] | dict[str, Any]) -> list[dict[str, Any]]:
    """One flat record for each innermost one, with what the records around it say.

    Example
    -------
    >>> flat_records({"farm": "Elm End", "cows": [{"id": 7, "feet": {"LH": "SU"}}, {"id": 8}]})
    [{'farm': 'Elm End', 'cow': 7, 'foot': 'LH', 'lesion': 'SU'}, {'farm': 'Elm End', 'cow': 8}]
    """
    records = said if isinstance(said, list) else [said]
    holders = _names_of_holders(records, 0)
    return [flat for record in records for flat in _flat(_without_nulls(record, holders), {}, "", 0)]


def _names_of_holders(said: Any, depth: int) -> set[str]:
    """Keys under which records stand somewhere: null under one of them says that there is none."""
    if depth > DEEPEST or not isinstance(said, dict | list):
        return set()
    inner = said.values() if isinstance(said, dict) else said
    own = {name for name, value in said.items() if isinstance(value, dict)} if isinstance(said, dict) else set()
    return own.union(*(_names_of_holders(one, depth + 1) for one in inner))


def _without_nulls(record: Any, names: set[str]) -> Any:
    if not isinstance(record, dict) or not names:
        return record
    return {name: value for name, value in record.items() if value is not None or name not in names}


def _flat(record: Any, around: dict[str, Any], key: str, depth: int) -> Iterator[dict[str, Any]]:
    if not isinstance(record, dict) or depth > DEEPEST:
        yield {**around, (_one_of(key) or "value"): record}
        return
    own: dict[str, Any] = {}
    within: list[tuple[str, Any]] = []
    for name, value in record.items():
        if isinstance(value, dict) or (isinstance(value, list) and any(isinstance(one, dict) for one in value)):
            within.append((name, value))
        elif value != []:
            own[_named(name, key)] = value
    voided = next((name for name, value in own.items() if _is_voided(name, value)), None)
    if voided is not None and depth and not _names_cow(record):
        # Of what a cow has, one finding is void: she was looked at all the same.
        own[VOID_FINDING] = own.pop(voided)
    here = {**around, **own}
    below = [flat for name, value in within for flat in _below(name, value, here, depth)]
    if below:
        yield from below
    else:
        yield here


def _is_voided(name: str, value: Any) -> bool:
    """Whether a key and its value mark a record as one that does not count."""
    bare = plain(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)).removeprefix("is ").removesuffix(" at")
    return bool(value) and meaning("away", bare) == "void" and meaning("no", str(value)) is None


def _names_cow(record: dict[str, Any]) -> bool:
    return any("*.cow" in heading_fields().get(squeezed_heading(plain(name)), ()) or plain(name) == "cow"
               for name in record)  # fmt: skip


def _below(name: str, value: Any, here: dict[str, Any], depth: int) -> Iterator[dict[str, Any]]:
    claw = meaning("claw", name)
    if claw in CLAWS:
        here = {**here, "claw": claw}
    if isinstance(value, list):
        # A sound foot beside one with findings says no more than that she was looked at.
        telling = [one for one in value if not _is_sound_foot(one)]
        for one in telling or value:
            yield from _flat(one, here, name, depth + 1)
        return
    feet = {foot: said for foot, said in value.items() if meaning("foot", foot) in FEET}
    if feet and len(feet) == len(value):
        for foot, said in feet.items():
            for one in said if isinstance(said, list) else [said]:
                if isinstance(one, dict):
                    yield from _flat(one, {**here, "foot": meaning("foot", foot)}, "", depth + 1)
                elif one not in (None, "", []):
                    yield {**here, "foot": meaning("foot", foot), "lesion": one}
        return
    if not _holds_records(value):
        # One thing told of the record, such as its farm: no further record.
        here |= {_named(inner, name): said for inner, said in value.items()}
        return
    yield from _flat(value, here, name, depth + 1)


def _is_sound_foot(record: Any) -> bool:
    """Whether a record names a foot and holds an empty list of findings, and no other."""
    if not isinstance(record, dict) or not any(value == [] for value in record.values()) or _holds_records(record):
        return False
    return any("trims.foot" in heading_fields().get(squeezed_heading(plain(name)), ()) or plain(name) == "foot"
               for name in record)  # fmt: skip


def _named(name: str, key: str) -> str:
    """A key of its own, or the thing it names."""
    return (_one_of(key) or name) if name.casefold() in _NAMES and key else name


def _one_of(key: str) -> str:
    """The name of one of many: "cows" -> "cow"."""
    return key[:-1] if key.endswith("s") and not key.endswith("ss") else key
