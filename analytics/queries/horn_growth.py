"""From one trim to the next look: pairs of toe lengths, and where the cow stood in the months between."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from evenfoot.analytics.domain.seasons import SEASON_OF_MONTH
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch_many
from evenfoot.analytics.queries.filters import or_unsaid
from evenfoot.analytics.queries.horn import group_value, readings
from evenfoot.analytics.queries.selection import Selection

SLICE_DAYS = 10
"""The time between two looks is cut into slices of about this length, each of one season and one housing."""

SHORTEST_DAYS = 14
LONGEST_DAYS = 550
"""Looks closer together tell more of the gauge than of growth; further apart, something was missed in between.
[common practice, no source]"""

LEAST_MM, MOST_MM_PER_MONTH = -6.0, 10.0
"""A toe found this much shorter than it was left, or grown faster than this, is a slip of the pen or another claw.
[common practice, no source]"""

DAYS_A_MONTH = 30.4375

WHILE = ("housing", "floor", "wetness", "group", "season")
"""Groupings that change while the horn grows: the time between two looks is shared out over them."""

_COW = ["farm", "cow", "since", "until"]


@dataclass(frozen=True)
class Growth:
    """Pairs and the time between them.

    ``pairs``: farm, cow, foot, claw, since, until, left_mm, found_mm, months, group columns asked for that hold at the
    second look. ``stays``: farm, cow, since, until, the ``WHILE`` groupings asked for, months.
    ``left_out``: reason -> pairs.
    """

    pairs: pd.DataFrame
    stays: pd.DataFrame
    left_out: dict[str, int]


_CLAW = ["farm", "cow", "foot", "claw"]

_ENDS = ("housing", "floor", "wetness", "group")
"""What the sheets of both looks say of where the cow stood."""


def _claw_looks(selection: Selection, fixed: tuple[str, ...]) -> str:
    """One row a claw and day, and what was known when the claw was looked at before.

    Returns
    -------
    str
        A question: farm, cow, foot, claw, visit_date, found_mm, after_mm, broken, the columns of ``_ENDS``, the
        groupings as ``by_*``; of the look before visit_date_before, after_mm_before and those of ``_ENDS``.
    """
    wide = Selection(farms=selection.farms, allowed=selection.allowed, cows=selection.cows, visits=("all",))
    of_day = [*_CLAW, "visit_date"]
    groups = sql.listed({f"by_{name}": f"MAX({group_value(name, selection)})" for name in fixed})
    ends = sql.listed({name: f"MAX({sql.name(name)})" for name in _ENDS})
    before = sql.listed(
        {f"{name}_before": f"LAG({sql.name(name)}) OVER claw_days" for name in ("visit_date", "after_mm", *_ENDS)}
    )
    days = f"""
        SELECT {sql.names(of_day)},
            MAX(toe_length_mm) AS found_mm, MAX(toe_length_after_mm) AS after_mm, MAX(toe_break_mm) AS broken,
            {sql.commas(ends, groups)}
        FROM ({readings(wide)}) AS r
        WHERE foot IS NOT NULL AND claw IS NOT NULL
        {sql.group_by(of_day)}"""
    return f"""
        SELECT *, {before}
        FROM ({days}) AS days
        WINDOW claw_days AS (PARTITION BY {sql.names(_CLAW)} ORDER BY visit_date)"""


def _pairs(selection: Selection, fixed: tuple[str, ...]) -> str:
    """Every pair of looks with a length left and a length found, and why it is left out where it is.

    At a lame-cow call or a recheck toes are not shortened as a rule. Other trims between the two looks, at which that
    claw was not read, break a pair.

    Returns
    -------
    str
        A question: farm, cow, foot, claw, since, until, left_mm, found_mm, broken, days, months, grown, the columns of
        ``_ENDS`` and the same with ``_before``, the groupings as ``by_*``, and why (empty where the pair is good).
    """
    asked = readings(selection.with_(visits=("all",)))
    kept = [*_CLAW, *_ENDS, *(f"{name}_before" for name in _ENDS), *(f"by_{name}" for name in fixed)]
    pair = sql.names([*kept, "since", "until", "left_mm", "found_mm", "broken", "days", "months", "grown"], of="p")
    days = sql.days_between("l.visit_date_before", "l.visit_date")
    most = f"{sql.literal(MOST_MM_PER_MONTH)} * p.months - {sql.literal(LEAST_MM)}"
    return f"""
        WITH pairs AS (
            SELECT {sql.names(kept, of="l")},
                l.visit_date_before AS since, l.visit_date AS until, l.after_mm_before AS left_mm, l.found_mm, l.broken,
                {days} AS days, {days} / {sql.literal(DAYS_A_MONTH)} AS months, l.found_mm - l.after_mm_before AS grown
            FROM ({_claw_looks(selection, fixed)}) AS l
            SEMI JOIN ({asked}) AS asked ON {sql.matched([*_CLAW, "visit_date"], "l", "asked")}
            WHERE l.found_mm IS NOT NULL AND l.after_mm_before IS NOT NULL)
        SELECT {pair},
            CASE
                WHEN p.broken IS NOT NULL THEN 'broken'
                WHEN p.days < {SHORTEST_DAYS} OR p.days > {LONGEST_DAYS} THEN 'time'
                WHEN trimmed.farm IS NOT NULL THEN 'trimmed'
                WHEN p.grown < {sql.literal(LEAST_MM)} OR p.grown > {most} THEN 'impossible'
                ELSE ''
            END AS why
        FROM pairs AS p
        LEFT JOIN (
            SELECT DISTINCT s.farm, s.cow, s.since, s.until
            FROM (SELECT DISTINCT {sql.names(_COW)} FROM pairs) AS s
            JOIN trims AS t
                ON s.farm = t.farm AND s.cow = t.cow AND t.visit_date > s.since AND t.visit_date < s.until
            WHERE t.visit_kind IS NULL OR t.visit_kind NOT IN ('lame-cow', 'recheck')) AS trimmed
            ON {sql.matched(_COW, "p", "trimmed")}"""


def _stays(pairs: str, names: tuple[str, ...], selection: Selection) -> str:
    """Months a cow stood in each housing and season between two looks.

    Parameters
    ----------
    pairs : str
        A question that gives the pairs that are good, as :func:`_pairs` does.
    names : tuple of str
        Groupings, of ``WHILE``.
    selection : Selection

    Returns
    -------
    str
        A question: farm, cow, since, until, the groupings, months, in a fixed order of rows.
    """
    ends = sql.listed(
        {
            f"{name}_{when}": f"MAX({sql.name(name + tail)})"
            for name in _ENDS
            for when, tail in (("then", "_before"), ("now", ""))
        }
    )
    seen = sql.listed({f"seen_{name}": _nearer(name) for name in _ENDS if name != "group"})
    half = sql.literal(0.5)
    middle = sql.days_after("since", f"CAST(FLOOR((slice + {half}) * (days / slices)) AS BIGINT)")
    seasons = SEASON_OF_MONTH[selection.hemisphere]
    values = {
        "housing": or_unsaid("COALESCE(h.housing, s.seen_housing)"),
        "floor": or_unsaid("COALESCE(h.floor, s.seen_floor)"),
        "wetness": or_unsaid("COALESCE(h.wetness, s.seen_wetness)"),
        "group": or_unsaid("s.stood_in"),
        "season": sql.cases(sql.part_of("month", "s.day"), {month: str(name) for month, name in seasons.items()}),
    }
    stood = sql.listed({f"while_{name}": values[name] for name in names})
    keys = [*_COW, *(f"while_{name}" for name in names)]
    named = sql.listed({name: sql.name(f"while_{name}") for name in names})
    # The slices of one span are equally wide, so that this is their sum, whatever order they come in.
    months = f"MAX(width) * COUNT(*) / {sql.literal(DAYS_A_MONTH)}"
    return f"""
        WITH slices_of_spans AS (
            SELECT *, days / slices AS width, (slice + {half}) * 2 <= slices AS early, {middle} AS day
            FROM (
                SELECT *, UNNEST(RANGE(0, slices)) AS slice
                FROM (
                    SELECT {sql.names(_COW)}, {ends},
                        MAX(days) AS days, CAST(CEIL(MAX(days) / {SLICE_DAYS}) AS BIGINT) AS slices
                    FROM ({pairs}) AS good
                    {sql.group_by(_COW)}) AS spans) AS cut),
        standing AS (
            SELECT {sql.names([*_COW, "day", "width"], of="c")}, {seen},
                COALESCE(m."group", {_nearer("group")}) AS stood_in
            FROM slices_of_spans AS c
            LEFT JOIN (
                SELECT farm, cow, "group", moved_on,
                    LEAD(moved_on) OVER (PARTITION BY farm, cow ORDER BY moved_on, "group") AS left_on
                FROM moves) AS m
                ON c.farm = m.farm AND c.cow = m.cow
                AND m.moved_on <= c.day AND (m.left_on IS NULL OR m.left_on > c.day))
        SELECT {sql.commas(sql.names(_COW), named)}, {months} AS months
        FROM (
            SELECT {sql.commas(sql.names([*_COW, "width"], of="s"), stood)}
            FROM standing AS s
            LEFT JOIN ({_housed("standing")}) AS h
                ON s.farm = h.farm AND s.day = h.day AND COALESCE(s.stood_in, '') = COALESCE(h.stood_in, '')) AS stood
        {sql.group_by(keys)}
        ORDER BY {sql.names([*_COW, *names, "months"])}"""


def _nearer(name: str) -> str:
    """What the nearer of the two looks says of the cow in a slice ``c``, else the other one."""
    then, now = f"c.{name}_then", f"c.{name}_now"
    return f"CASE WHEN c.early THEN COALESCE({then}, {now}) ELSE COALESCE({now}, {then}) END"


def _housed(standing: str) -> str:
    """How each group stood on each day, from the housing periods; one of the group itself goes before the farm's.

    Parameters
    ----------
    standing : str
        The name of rows with farm, stood_in and day.

    Returns
    -------
    str
        A question: farm, stood_in, day, housing, floor, wetness.
    """
    return f"""
        SELECT farm, stood_in, day, housing, floor, wetness
        FROM (
            SELECT d.farm, d.stood_in, d.day, p.housing, p.floor, p.wetness,
                ROW_NUMBER() OVER (
                    PARTITION BY d.farm, d.stood_in, d.day
                    ORDER BY CASE WHEN p."group" IS NULL THEN 1 ELSE 0 END, p.starts_on DESC, p.row_no
                ) AS place
            FROM (SELECT DISTINCT farm, stood_in, day FROM {standing}) AS d
            JOIN housing_rows AS p
                ON d.farm = p.farm AND p.starts_on <= d.day AND (p.ends_on IS NULL OR p.ends_on >= d.day)
                AND (p."group" IS NULL OR p."group" = d.stood_in)) AS ranked
        WHERE place = 1"""


def _questions(selection: Selection, fixed: tuple[str, ...], names: tuple[str, ...]) -> dict[str, str]:
    """The questions behind each part of :class:`Growth`."""
    pairs = _pairs(selection, fixed)
    good = f"SELECT * FROM ({pairs}) AS p WHERE why = ''"
    columns = [*_COW, "foot", "claw", "left_mm", "found_mm", "grown", "months"]
    groups = sql.listed({name: sql.name(f"by_{name}") for name in fixed})
    return {
        "pairs": f"SELECT {sql.commas(sql.names(columns), groups)} FROM ({good}) AS good",
        "stays": _stays(good, names, selection),
        "why": f"SELECT why, COUNT(*) AS pairs FROM ({pairs}) AS p WHERE why <> '' GROUP BY why",
    }


def growth_pairs(ledger: Ledger, selection: Selection, by: tuple[str, ...]) -> Growth:
    """Pairs of looks at one claw and what lay between, over all kinds of visit.

    A selection narrows by the second look; the first may lie before its period.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Groupings that the caller needs: of ``WHILE``, and others that hold at the second look.
    """
    names = tuple(name for name in WHILE if name in by)
    fixed = tuple(name for name in by if name not in WHILE and name not in ("farm", "foot", "claw"))
    frames = fetch_many(ledger, _questions(selection, fixed, names))
    left_out = dict(zip(frames["why"]["why"], frames["why"]["pairs"].astype(int), strict=True))
    # The engine gives rows in whatever order its threads finish; sums made in another order differ in the last digits.
    order = ["farm", "cow", "foot", "claw", "until"]
    return Growth(
        frames["pairs"].sort_values(order).reset_index(drop=True),
        frames["stays"].sort_values([*_COW, *names]).reset_index(drop=True),
        left_out,
    )
