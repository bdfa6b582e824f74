"""What a question is about: which farms, dates, visits, cows and lesions. Travels in the page address."""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, urlencode

from evenfoot.analytics.domain.feet import CLAWS, FEET, ZONES
from evenfoot.analytics.domain.lesions import FAMILIES, LESIONS, SEVERITIES
from evenfoot.analytics.domain.seasons import SEASONS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.bounds import bounded_address, bounded_date, bounded_number, bounded_values

KNOWN_WORDS: dict[str, tuple[str, ...]] = {
    "lesions": tuple(LESIONS),
    "families": tuple(FAMILIES),
    "seasons": SEASONS,
    "feet": FEET,
    "claws": CLAWS,
}
"""Narrowings of which every word is known."""

HIGHEST = {"zones": max(ZONES), "severity": max(SEVERITIES)}
"""Narrowings by number, and the highest of each."""

VISIT_KINDS = ("whole-herd", "part-herd", "lame-cow", "recheck")
"""The kinds of visit; a visit whose kind is neither stated nor derivable is ``unknown``."""

LEVELS = ("cow", "trim", "foot", "claw")
"""What is counted: cows in the period, trims, or each cow's feet or claws in the period."""


@dataclass(frozen=True)
class Selection:
    """A narrowing of the records. An empty tuple or ``None`` means "no narrowing".

    Parameters
    ----------
    farms : tuple of str
    since, until : date, optional
        First and last visit date, both included.
    visits : tuple of str
        Visit kinds the figures rest on; ``("all",)`` for every visit. Whole-herd visits by default,
        because prevalence from part-herd and lame-cow visits is biased upward (Solano et al. 2016,
        J Dairy Sci 99:6828).
    lesions : tuple of str
        Lesion codes (parent or detail) that make a case; empty means any lesion.
    families, groups, housing, floor, seasons, parity, breeds, sires, trimmers, feet, claws, zones, severity, cows
        Narrow by the column of that name; ``feet``, ``claws``, ``zones`` and ``severity`` narrow what
        counts as a case *and* (feet, claws) what was looked at.
    hemisphere : {"north", "south"}
        Which meteorological seasons to use.
    allowed : tuple of str, optional
        Farms the viewer may see. ``None`` means all. Applied in the tally, never in a page.
    """

    farms: tuple[str, ...] = ()
    since: dt.date | None = None
    until: dt.date | None = None
    visits: tuple[str, ...] = ("whole-herd",)
    lesions: tuple[str, ...] = ()
    families: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    housing: tuple[str, ...] = ()
    floor: tuple[str, ...] = ()
    seasons: tuple[str, ...] = ()
    parity: tuple[str, ...] = ()
    breeds: tuple[str, ...] = ()
    sires: tuple[str, ...] = ()
    trimmers: tuple[str, ...] = ()
    feet: tuple[str, ...] = ()
    claws: tuple[str, ...] = ()
    zones: tuple[int, ...] = ()
    severity: tuple[int, ...] = ()
    cows: tuple[str, ...] = ()
    hemisphere: str = "north"
    allowed: tuple[str, ...] | None = None

    def __post_init__(self) -> None:
        for kind in self.visits:
            if kind not in (*VISIT_KINDS, "unknown", "all"):
                raise UserError(
                    say(
                        "'{kind}' is not a kind of visit; use whole-herd, part-herd, lame-cow, recheck or all.",
                        kind=kind,
                    )
                )
        if self.since and self.until and self.since > self.until:
            raise UserError(
                say(
                    "The period ends ({until}) before it begins ({since}); swap the two dates.",
                    until=self.until,
                    since=self.since,
                )
            )
        if self.hemisphere not in ("north", "south"):
            raise UserError(say("'{hemisphere}' is not a hemisphere; use north or south.", hemisphere=self.hemisphere))

    def with_(self, **changes: object) -> Selection:
        """A copy with some fields changed."""
        return dataclasses.replace(self, **changes)  # type: ignore[arg-type]

    @property
    def all_visits(self) -> bool:
        return "all" in self.visits

    def to_query(self) -> str:
        """The selection as a URL query string, fields in a fixed order; what is default is left out."""
        pairs: list[tuple[str, str]] = []
        for name, default in _told_in_query():
            value = getattr(self, name)
            if value is default or value == default:
                continue
            if isinstance(value, tuple):
                pairs += [(name, str(item)) for item in value]
            else:
                pairs.append((name, str(value)))
        return urlencode(pairs)

    @classmethod
    def from_query(cls, query: str, allowed: tuple[str, ...] | None = None) -> Selection:
        """Read a selection back from a query string; unknown keys are somebody else's and are ignored.

        Raises
        ------
        UserError
            A date, number or word in the address cannot be read, or there is too much of it.
        """
        names = {field.name: field for field in dataclasses.fields(cls) if field.name != "allowed"}
        found: dict[str, list[str]] = {}
        for key, value in parse_qsl(bounded_address(query).lstrip("?"), keep_blank_values=False):
            if key in names:
                found.setdefault(key, []).append(value)
        out: dict[str, object] = {}
        for key, values in found.items():
            if key in ("since", "until"):
                out[key] = read_date(values[-1], key)
            elif key == "hemisphere":
                out[key] = values[-1]
            elif key in ("zones", "severity"):
                out[key] = tuple(bounded_number(value, key, HIGHEST[key]) for value in bounded_values(values, key))
            else:
                out[key] = _known(key, bounded_values(values, key))
        return cls(**out, allowed=allowed)  # type: ignore[arg-type]


@functools.cache
def _told_in_query() -> tuple[tuple[str, Any], ...]:
    return tuple((field.name, field.default) for field in dataclasses.fields(Selection) if field.name != "allowed")


def _known(key: str, values: tuple[str, ...]) -> tuple[str, ...]:
    for value in values:
        if value not in KNOWN_WORDS.get(key, (value,)):
            raise UserError(
                say(
                    "'{value}' is none of the {key} that can be chosen: {known}.",
                    value=value[:40],
                    key=key,
                    known=", ".join(KNOWN_WORDS[key]),
                )
            )
    return values


def read_date(text: str, what: str) -> dt.date:
    """An ISO date near the records, or a UserError that names *what* was being read."""
    try:
        return bounded_date(dt.date.fromisoformat(text), what)
    except UserError:
        raise
    except ValueError:
        raise UserError(
            say(
                "The {what} date '{text}' cannot be read; write it as year-month-day, such as 2026-03-31.",
                what=what,
                text=text[:40],
            )
        ) from None
