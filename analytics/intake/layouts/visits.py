"""Tables that hold several visits side by side, or one list in two blocks, as one table for each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from evenfoot.analytics.intake.layouts.days import is_day
from evenfoot.analytics.intake.layouts.profiles import Profile, profile_of, says_finding_or_nothing, says_lesion
from evenfoot.analytics.intake.layouts.roles import Role
from evenfoot.analytics.intake.layouts.tables import Table
from evenfoot.analytics.intake.sheet import Positions, RawSheet

ELSEWHERE = "elsewhere"
"""Field of a role whose column is read with another table."""
MOST = 0.9
"""Share of the cells that must be days, or findings. [common practice, no source]"""


def tables_by_visit(sheet: RawSheet, table: Table) -> list[Table]:
    """A table as one for each of its blocks or visits; as it is where it has one.

    - Headings that stand twice, a cow in both: the list goes on to the right.
    - Days over findings, or a foot and a day in one heading: a blank cell says that she was not looked at that day.
    - Groups of a day and what was found then.
    """
    for split in (_blocks, _days_over_findings, _groups_with_day):
        found = split(sheet, table)
        if len(found) > 1:
            return found
    return [table]


def _part(sheet: RawSheet, table: Table, own: Sequence[int], roles: Sequence[Role | None], first: bool) -> Table:
    """The part of a table whose own columns are *own*; rows that are blank in all of them are left out."""
    rows: Positions = table.rows[_filled(sheet, table, own)]
    headings = [
        "" if role is not None and role.field == ELSEWHERE else text
        for text, role in zip(table.headings, roles, strict=True)
    ]
    after, totals, repeats = (table.after, table.totals, table.repeats) if first else ([], 0, 0)
    return replace(
        table, headings=headings, roles=list(roles), rows=rows, lines=list(table.lines), after=after, totals=totals,
        repeats=repeats,
    )  # fmt: skip


def _filled(sheet: RawSheet, table: Table, places: Sequence[int]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    out = np.zeros(len(table.rows), dtype=bool)
    for place in places:
        column = sheet.columns[place]
        says = np.array([bool(text.strip()) for text in column.texts], dtype=bool)
        out |= says[column.codes[table.rows]]
    return out


def _profile(sheet: RawSheet, table: Table, place: int) -> Profile:
    return profile_of([(sheet.columns[place], table.rows)]).without_blanks


def _blocks(sheet: RawSheet, table: Table) -> list[Table]:
    said = [place for place, text in enumerate(table.headings) if text.strip() and place < len(sheet.columns)]
    names = [table.headings[place].strip().casefold() for place in said]
    cows = [place for place in said if (role := table.roles[place]) is not None and role.field == "cow"]
    if len(cows) < 2 or len(names) % len(cows):
        return []
    size = len(names) // len(cows)
    if size < 2 or any(names[start : start + size] != names[:size] for start in range(0, len(names), size)):
        return []
    out: list[Table] = []
    for start in range(0, len(said), size):
        own = said[start : start + size]
        roles: list[Role | None] = [
            (role if role is None else replace(role, number=0)) if place in own else Role("skip", field=ELSEWHERE)
            for place, role in enumerate(table.roles)
        ]
        out.append(_part(sheet, table, own, roles, not start))
    return out


def _days_over_findings(sheet: RawSheet, table: Table) -> list[Table]:
    by_day: dict[str, list[int]] = {}
    for place, role in enumerate(table.roles[: len(sheet.columns)]):
        if role is not None and role.day:
            by_day.setdefault(role.day, []).append(place)
    places = [place for own in by_day.values() for place in own]
    if len(by_day) < 2 or not all(
        _holds_findings(table.roles[place], _profile(sheet, table, place)) for place in places
    ):
        return []
    named = sum(_profile(sheet, table, place).share(test=lambda text: says_lesion(text, {})) > 0 for place in places)
    if not named:
        return []
    out: list[Table] = []
    for day, own in by_day.items():
        roles: list[Role | None] = [
            role if role is None or not role.day
            else Role("skip", field=ELSEWHERE) if place not in own
            else Role("field", field="lesion") if role.kind == "day"
            else replace(role, day="")
            for place, role in enumerate(table.roles)
        ]  # fmt: skip
        part = _part(sheet, table, own, roles, not out)
        out.append(replace(part, lines=[*part.lines, ["Date", day]]))
    return out


def _holds_findings(role: Role | None, profile: Profile) -> bool:
    if not profile.filled:
        return True
    if role is not None and role.kind == "day" and profile.is_numeric:
        return False
    return profile.share(test=lambda text: says_finding_or_nothing(text, {})) >= MOST


def _groups_with_day(sheet: RawSheet, table: Table) -> list[Table]:
    lesions = [place for place, role in enumerate(table.roles) if role is not None and role.field == "lesion"]
    numbers = [role.number for place in lesions if (role := table.roles[place]) is not None]
    if len(lesions) < 2 or len(set(numbers)) != len(numbers) or lesions[-1] >= len(sheet.columns):
        return []
    days = [
        place for place in range(lesions[-1])
        if _profile(sheet, table, place).filled and _profile(sheet, table, place).share(test=is_day) >= MOST
        and not _profile(sheet, table, place).is_numeric
        and ((role := table.roles[place]) is None or role.kind in ("action", "note") or role.field == "visit_date")
    ]  # fmt: skip
    bounds = [*days, len(table.roles)]
    if len(days) != len(lesions) or any(
        not start < lesion < stop for start, lesion, stop in zip(days, lesions, bounds[1:], strict=True)
    ):
        return []
    out: list[Table] = []
    for start, stop in zip(days, bounds[1:], strict=True):
        roles: list[Role | None] = []
        for place, role in enumerate(table.roles):
            if place < days[0]:
                roles.append(role)
            elif not start <= place < stop:
                roles.append(Role("skip", field=ELSEWHERE))
            elif place == start:
                roles.append(Role("field", field="visit_date"))
            else:
                roles.append(role if role is None else replace(role, number=0))
        out.append(_part(sheet, table, [start], roles, not out))
    return out
