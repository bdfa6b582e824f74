"""Lists that a program printed: the columns are lined up with spaces."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

LEAST_COLUMNS = 4
LEAST_ROWS = 3
MOST_LINES = 20_000
HEADINGS_SEARCHED = 60
ENOUGH = 0.9
"""Share of the lines in which a place between two headings is blank where columns are parted there.
[common practice, no source]"""
_CELL = re.compile(r"\S+(?: \S+)*")
_RULE = re.compile(r"[\s=_+|-]*[=_-]{3}[\s=_+|-]*")


def aligned_rows(text: str) -> list[list[str]] | None:
    """The cells of a text whose columns are lined up below headings; ``None`` where it is no such list.

    Lines that do not fit the columns, such as a title, are parted where three spaces stand.

    Example
    -------
    >>> aligned_rows("ID  LACT  EVENT  REMARK\\n12     3  FOOT   RR ulcer\\n 7     1  TRIM   OK\\n 9     2  FOOT")[1]
    ['12', '3', 'FOOT', 'RR ulcer']
    >>> aligned_rows("ID  LACT  EVENT  REMARK\\n12,3,FOOT\\n7,1,TRIM\\n")
    """
    lines = text.splitlines()
    if len(lines) > MOST_LINES or "\t" in text:
        return None
    for number, line in enumerate(lines[:HEADINGS_SEARCHED]):
        found = list(_CELL.finditer(line))
        if len(found) < LEAST_COLUMNS or not _has_headings([cell[0] for cell in found]):
            continue
        below = [one for one in lines[number + 1 :] if one.strip() and not _RULE.fullmatch(one)]
        cuts = _cuts([cell.span() for cell in found], below)
        if cuts is None:
            continue
        # A line drawn below the headings is a blank row, so that every row keeps the number of its line.
        return [[""] if _RULE.fullmatch(one) else _cells(one, cuts) for one in lines]
    return None


def _has_headings(cells: Sequence[str]) -> bool:
    from evenfoot.analytics.intake.layouts.tables import roles_of

    roles = roles_of(cells)
    known = sum(role is not None for role in roles)
    return any(role is not None and role.code == "cow" for role in roles) and known >= len(cells) / 2


def _cuts(spans: Sequence[tuple[int, int]], lines: Sequence[str]) -> list[int] | None:
    """Where each column but the first begins: a place between two headings that is blank in nearly all lines."""
    fitting = [line for line in lines if len(line.split()) >= LEAST_COLUMNS - 1]
    if len(fitting) < LEAST_ROWS:
        return None
    out = []
    for (_, end), (start, _) in pairwise(spans):
        blanks = {
            place: sum(line[place : place + 1] in ("", " ") for line in fitting) for place in range(end, start)
        }  # fmt: skip
        best = max(blanks, key=lambda place: (blanks[place], place), default=None)
        if best is None or blanks[best] < ENOUGH * len(fitting):
            return None
        out.append(best)
    return out


def _cells(line: str, cuts: Sequence[int]) -> list[str]:
    if any(line[cut : cut + 1] not in ("", " ") for cut in cuts) or re.search(r"\S {10,}\S", line[: cuts[0]]):
        return [part.strip() for part in re.split(r"\s{3,}", line.strip())]
    bounds = [0, *cuts, len(line)]
    return [line[first:last].strip() for first, last in zip(bounds, [*bounds[1:-1], None], strict=False)]
