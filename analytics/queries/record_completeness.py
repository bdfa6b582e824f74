"""How the records were kept: which fields are filled, which figures were written, which visits found what."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.domain.lesions import LESIONS, NO_CASE_STAGE
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch_many
from evenfoot.analytics.queries.filters import of_farm_and_period, or_unsaid
from evenfoot.analytics.queries.selection import Selection

OF_VISIT = ("trimmer", "visit_kind", "herd_size")
OF_COW_DAY = ("group", "housing", "floor", "parity", "calving_date", "breed", "sire")
OF_LESION = ("foot", "claw", "zone", "severity", "action")
"""What can be left blank, by what it belongs to: the visit, the cow on the day (from whichever sheet says so), a
lesion."""

FAIR_VISITS = ("whole-herd", "scoring")
"""Scores are held against each other only where the whole herd was scored: at lame-cow calls most cows are lame."""

LENGTHS = ("toe_length_mm", "toe_length_after_mm", "sole_thickness_mm", "heel_depth_mm", "toe_angle_deg")
NOT_ON_A_CLAW = tuple(code for code, lesion in LESIONS.items() if lesion.site != "claw")
"""Lesions of the skin or the leg do not lie on one claw: a blank claw is right there."""


def record_keeping(ledger: Ledger, selection: Selection) -> dict[str, pd.DataFrame]:
    """What the checks of the records need, each a small frame.

    Every kind of visit counts, and only farms, dates and cows of the selection are applied: this is about the
    sheets, not the herd.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``cow_days``, ``lesions``: who (the trimmer), month, n and the number filled of each field (``claw`` and
        ``dd_stage`` out of ``claw_n`` and ``dd_stage_n``). ``scores``: farm, scorer, scale, score, n.
        ``digits``: who, field, value, n (readings of that value). ``visits``: farm, who, kind, visit_date, cows,
        found (cows with a finding), doubted (1 where the sheet calls the visit whole-herd and is not believed).
        ``mix``: farm, who, quarter, lesion, n (findings). ``falls``: farm, cow, visit_date, parity, before; one row a
        visit at which a cow's lactation is lower than at the one before.
    """
    plain = Selection(
        farms=selection.farms,
        since=selection.since,
        until=selection.until,
        cows=selection.cows,
        trimmers=selection.trimmers,
        visits=("all",),
        allowed=selection.allowed,
    )
    return fetch_many(ledger, _questions(plain))


def _questions(selection: Selection) -> dict[str, str]:
    """Questions for the frames of :func:`record_keeping`."""
    has_finding = f"lesion IS NOT NULL AND COALESCE(dd_stage, '') <> {sql.literal(NO_CASE_STAGE)}"
    rows = f"""
        SELECT *, {or_unsaid("trimmer")} AS who, {sql.first_of("month", "visit_date")} AS month,
            CASE WHEN {has_finding} THEN 1 ELSE 0 END AS found
        FROM ({of_farm_and_period("trim_rows", selection)}) AS sheet_rows"""
    trims = f"""
        SELECT *, {or_unsaid("trimmer")} AS who, {sql.first_of("month", "visit_date")} AS month
        FROM ({of_farm_and_period("trims", selection)}) AS every_trim
        WHERE COALESCE(kind_from, 'unknown') <> 'unlisted'"""
    return {
        "cow_days": _cow_days(trims),
        "lesions": _lesions(rows),
        "scores": _scores(selection),
        "digits": _readings(rows),
        "visits": _visits(rows, trims),
        "mix": _mix(rows),
        "falls": _falls(trims),
    }


def _so_many(truth: str) -> str:
    """How many rows a truth holds for."""
    return sql.total(f"CASE WHEN {truth} THEN 1 ELSE 0 END")


def _cow_days(trims: str) -> str:
    """Who, month, n, and how many trims have each field."""
    filled = {name: _so_many(f"{sql.name(name)} IS NOT NULL") for name in (*OF_VISIT, *OF_COW_DAY)}
    filled["visit_kind"] = _so_many("kind_from IN ('stated', 'contradicted')")
    return f"""
        SELECT who, month, COUNT(*) AS n, {sql.listed(filled)}
        FROM ({trims}) AS cow_days
        GROUP BY who, month"""


def _lesions(rows: str) -> str:
    """Who, month, n, and how many lesions have each field."""
    filled = {name: _so_many(f"{name} IS NOT NULL") for name in OF_LESION if name != "claw"}
    on_claw = f"NOT ({sql.among('lesion', NOT_ON_A_CLAW)})"
    filled |= {
        "claw": _so_many(f"claw IS NOT NULL AND {on_claw}"),
        "claw_n": _so_many(on_claw),
        "dd_stage": _so_many("dd_stage IS NOT NULL AND lesion = 'DD'"),
        "dd_stage_n": _so_many("lesion = 'DD'"),
    }
    return f"""
        SELECT who, month, COUNT(*) AS n, {sql.listed(filled)}
        FROM ({rows}) AS lesions
        WHERE lesion IS NOT NULL
        GROUP BY who, month"""


def _scores(selection: Selection) -> str:
    """Farm, scale, score, scorer, n."""
    return f"""
        SELECT farm, scale, score, scorer, COUNT(*) AS n
        FROM (
            SELECT farm, scale, score, {or_unsaid("scorer")} AS scorer
            FROM ({of_farm_and_period("scores", selection)}) AS every_score
            WHERE {sql.among("visit_kind", FAIR_VISITS)}
        ) AS fair_scores
        GROUP BY farm, scale, score, scorer"""


def _readings(rows: str) -> str:
    """Who, value, n, field."""
    each = sql.union(
        *(
            f"""
            SELECT who, {name} AS value, COUNT(*) AS n, {sql.literal(name)} AS field
            FROM readings
            WHERE {name} IS NOT NULL
            GROUP BY who, {name}"""
            for name in LENGTHS
        )
    )
    return f"WITH readings AS (SELECT who, {sql.names(LENGTHS)} FROM ({rows}) AS rows_with_lengths) {each}"


def _visits(rows: str, trims: str) -> str:
    """Farm, who, visit_date, cows, found, kind, doubted."""
    days = f"""
        SELECT who, farm, cow, visit_date, MAX(found) AS found
        FROM ({rows}) AS cow_days
        GROUP BY who, farm, cow, visit_date"""
    visits = f"""
        SELECT farm, who, visit_date, COUNT(*) AS cows, {sql.total("found")} AS found
        FROM ({days}) AS days
        GROUP BY farm, who, visit_date"""
    kinds = f"""
        SELECT farm, visit_date, MIN(COALESCE(visit_kind, 'unknown')) AS kind,
            CAST(MAX(CASE WHEN kind_from = 'contradicted' THEN 1 ELSE 0 END) AS BIGINT) AS doubted
        FROM ({trims}) AS trims_of_visits
        GROUP BY farm, visit_date"""
    return f"""
        SELECT v.farm, v.who, v.visit_date, v.cows, v.found, k.kind, k.doubted
        FROM ({visits}) AS v
        JOIN ({kinds}) AS k ON v.farm = k.farm AND v.visit_date = k.visit_date"""


def _mix(rows: str) -> str:
    """Farm, who, lesion, quarter, n."""
    return f"""
        SELECT farm, who, lesion, quarter, COUNT(*) AS n
        FROM (
            SELECT farm, who, lesion, {sql.first_of("quarter", "visit_date")} AS quarter
            FROM ({rows}) AS rows_with_finding
            WHERE found = 1
        ) AS quarters
        GROUP BY farm, who, lesion, quarter"""


def _falls(trims: str) -> str:
    """Farm, cow, visit_date, parity, before."""
    return f"""
        SELECT farm, cow, visit_date, parity, before
        FROM (
            SELECT farm, cow, visit_date, parity,
                LAG(parity) OVER (PARTITION BY farm, cow ORDER BY visit_date) AS before
            FROM ({trims}) AS trims_of_cows
            WHERE parity IS NOT NULL
        ) AS parities
        WHERE parity < before"""
