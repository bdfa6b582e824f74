"""Horn measurements gathered for counting: one row a claw and day, turned into one long table of values.

Every figure of the state of horn, whether a length, a difference between the claws of a foot or a share, is
a value of a unit (a claw or a foot on a day). So they are put under each other and summed by cow in one go.
"""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.domain.feet import CLAWS
from evenfoot.analytics.domain.horn_limits import LIMITS, HornLimits
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch, fetch_many
from evenfoot.analytics.queries.filters import OF_SITE, OF_TRIM, grouped, of_selection, or_unsaid
from evenfoot.analytics.queries.selection import Selection

MEASURED = ("toe_length_mm", "toe_angle_deg", "heel_depth_mm", "sole_thickness_mm", "toe_break_mm")
"""What is read off a claw."""

BETWEEN_CLAWS = {
    "toe_length_mm": "toe_difference_mm",
    "heel_depth_mm": "heel_difference_mm",
    "sole_thickness_mm": "sole_difference_mm",
    "shed_stage": "shed_difference",
}
"""Reading -> its difference between the two claws of a foot, whichever is the larger."""

SHARES = ("overgrown", "long_toe", "thin_soled", "toe_break", "toe_break_far", "toe_break_lame")
"""Measures that are a share of units and not a mean."""

MEASURES = (*MEASURED[:4], "overgrown", "long_toe", "thin_soled", *BETWEEN_CLAWS.values(), "toe_break_mm", *SHARES[3:])
"""Measures in the order they are shown."""


def known_groupings(by: tuple[str, ...]) -> tuple[str, ...]:
    """The groupings without repeats.

    Raises
    ------
    UserError
        A grouping that horn readings do not have.
    """
    for name in by:
        if name not in (*OF_TRIM, *OF_SITE):
            raise UserError(
                say(
                    "Horn cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join((*OF_TRIM, *OF_SITE)),
                )
            )
    return tuple(dict.fromkeys(by))


def readings(selection: Selection) -> str:
    """The horn readings of a selection, one row a trim row with a measurement."""
    rows = of_selection("horn_readings", selection)
    keep: list[str] = []
    if selection.feet:
        keep.append(sql.among("foot", selection.feet))
    if selection.claws:
        keep.append(sql.among("claw", selection.claws))
    return f"SELECT * FROM ({rows}) AS readings{sql.where(*keep)}" if keep else rows


def group_value(name: str, selection: Selection) -> str:
    """The value of a grouping of horn readings, never missing."""
    value = grouped(name, selection)
    return or_unsaid(value) if name in OF_SITE else value


def limit_of(limits: HornLimits, name: str) -> str:
    """A limit as SQL: what holds for each cow by her farm, breed and lactation."""
    usual = sql.literal(float(getattr(limits, name)))
    whens: list[str] = []
    # The last exception that holds for a cow wins.
    for one in reversed(limits.exceptions):
        own = getattr(one, name)
        if own is None:
            continue
        holds: list[str] = []
        if one.farm is not None:
            holds.append(f"farm = {sql.literal(one.farm)}")
        if one.breed is not None:
            holds.append(f"breed = {sql.literal(one.breed)}")
        if one.parity is not None:
            first, last = one.parity
            holds.append(f"parity BETWEEN {sql.literal(first)} AND {sql.literal(last)}")
        whens.append(f"WHEN {' AND '.join(holds) or 'TRUE'} THEN {sql.literal(float(own))}")
    return f"CASE {' '.join(whens)} ELSE {usual} END" if whens else usual


def claw_days(selection: Selection, by: tuple[str, ...], limits: HornLimits) -> str:
    """One row a claw and day.

    Returns
    -------
    str
        A question: the groupings as ``by_*``, farm, cow, visit_date, foot, claw, the readings, shed_stage, lame, the
        limits as ``limit_*``, and ts (1 where a thin sole is on record, else 0).
    """
    groups = sql.listed({f"by_{name}": group_value(name, selection) for name in by})
    keys = [*(f"by_{name}" for name in by), "farm", "cow", "visit_date", "foot", "claw"]
    measured = [*MEASURED, "shed_stage", "lame"]
    limited = {f"limit_{name}": f"MAX({limit_of(limits, name)})" for name in LIMITS}
    columns = [*keys, *measured, *limited]
    return f"""
        SELECT {sql.names(columns, of="c")},
            COALESCE(CASE c.claw WHEN 'lateral' THEN t.ts_lateral WHEN 'medial' THEN t.ts_medial END, 0) AS ts
        FROM (
            SELECT {sql.names(keys)},
                {sql.listed({name: f"MAX({name})" for name in measured})},
                {sql.listed(limited)}
            FROM (SELECT {sql.commas("*", groups)} FROM ({readings(selection)}) AS r) AS grouped_readings
            {sql.group_by(keys)}) AS c
        LEFT JOIN (
            SELECT farm, cow, visit_date, foot,
                MAX(CASE WHEN COALESCE(claw, 'lateral') = 'lateral' THEN 1 ELSE 0 END) AS ts_lateral,
                MAX(CASE WHEN COALESCE(claw, 'medial') = 'medial' THEN 1 ELSE 0 END) AS ts_medial
            FROM findings
            WHERE lesion = 'TS' AND foot IS NOT NULL
            GROUP BY farm, cow, visit_date, foot) AS t
        ON c.farm = t.farm AND c.cow = t.cow AND c.visit_date = t.visit_date AND c.foot = t.foot"""


_HOLDS = {
    "overgrown": (
        "toe_length_mm >= limit_long_toe_mm",
        "toe_length_mm IS NOT NULL",
    ),
    "long_toe": (
        "toe_length_mm >= limit_long_toe_mm AND toe_angle_deg < limit_long_toe_angle_deg",
        "toe_length_mm IS NOT NULL AND toe_angle_deg IS NOT NULL",
    ),
    "thin_soled": (
        "sole_thickness_mm < limit_thin_sole_mm OR ts = 1",
        "sole_thickness_mm IS NOT NULL",
    ),
    "toe_break": (
        "toe_break_mm IS NOT NULL",
        "toe_length_mm IS NOT NULL OR toe_break_mm IS NOT NULL",
    ),
    "toe_break_far": (
        "toe_break_mm > limit_toe_break_mm",
        "toe_break_mm IS NOT NULL",
    ),
    "toe_break_lame": (
        "lame = 1",
        "toe_break_mm IS NOT NULL AND lame IS NOT NULL",
    ),
}
"""Share -> when a claw has it, and of which claws it is known."""


def _values(selection: Selection, by: tuple[str, ...], limits: HornLimits) -> str:
    """A question, the long table: by_*, farm, cow, measure, value."""
    keys = [*(f"by_{name}" for name in by), "farm", "cow"]
    chosen = sql.names(keys)
    parts = [
        f"SELECT {chosen}, {sql.literal(name)} AS measure, {name} AS value FROM claws WHERE {name} IS NOT NULL"
        for name in MEASURED
    ]
    parts += [
        f"""
        SELECT {chosen}, {sql.literal(name)} AS measure, CASE WHEN {holds} THEN 1 ELSE 0 END AS value
        FROM claws
        WHERE {known}"""
        for name, (holds, known) in _HOLDS.items()
    ]
    rows = f"WITH claws AS ({claw_days(selection, by, limits)})"
    if "claw" not in by:
        rows += f", feet AS ({_feet(keys)})"
        for name, measure in BETWEEN_CLAWS.items():
            apart = f"ABS({name}_lateral - {name}_medial)"
            parts.append(
                f"SELECT {chosen}, {sql.literal(measure)} AS measure, {apart} AS value FROM feet"
                f" WHERE {apart} IS NOT NULL"
            )
    return f"{rows} {sql.union(*parts)}"


def _feet(keys: list[str]) -> str:
    """One row a foot and day of the rows ``claws``: what differs between claws, as ``NAME_lateral`` and so on."""
    readings_of = {
        f"{name}_{claw}": f"MAX({name}) FILTER (WHERE claw = {sql.literal(claw)})"
        for name in BETWEEN_CLAWS
        for claw in CLAWS
    }
    by_foot = [*keys, "visit_date", "foot"]
    return f"""
        SELECT {sql.names(by_foot)}, {sql.listed(readings_of)}
        FROM claws
        WHERE foot IS NOT NULL AND claw IS NOT NULL
        {sql.group_by(by_foot)}"""


THOUSANDTHS = 1000
"""Readings are added up in thousandths of a millimetre or degree, as whole numbers: floating sums differ in the last
digits with the order in which an engine's threads come in."""


def _question(selection: Selection, by: tuple[str, ...], limits: HornLimits) -> tuple[str, str]:
    """Two questions: the sums of every measure over cows, and how the values are spread."""
    values = f"""
        SELECT {sql.names([*(f"by_{name}" for name in by), "measure", "farm", "cow"])},
            CAST(ROUND(value * {THOUSANDTHS}) AS BIGINT) AS value
        FROM ({_values(selection, by, limits)}) AS long_table"""
    keys = [*(f"by_{name}" for name in by), "measure"]
    told = sql.commas(sql.listed({name: sql.name(f"by_{name}") for name in by}), "measure")
    of_cow = [*keys, "farm", "cow"]
    sums = f"""
        SELECT {told},
            CAST(SUM(y) AS DOUBLE) / {THOUSANDTHS} AS sum_y,
            CAST(SUM(n) AS BIGINT) AS sum_n,
            CAST(SUM(y * y) AS DOUBLE) / {THOUSANDTHS**2} AS sum_yy,
            CAST(SUM(y * n) AS DOUBLE) / {THOUSANDTHS} AS sum_yn,
            CAST(SUM(n * n) AS BIGINT) AS sum_nn,
            COUNT(*) AS cows,
            COUNT(DISTINCT farm) AS n_farms,
            CAST(SUM(squares) AS DOUBLE) / {THOUSANDTHS**2} AS squares
        FROM (
            SELECT {sql.names(of_cow)},
                CAST(SUM(value) AS DECIMAL(38, 0)) AS y,
                CAST(COUNT(*) AS DECIMAL(38, 0)) AS n,
                SUM(CAST(value AS DECIMAL(38, 0)) * CAST(value AS DECIMAL(38, 0))) AS squares
            FROM ({values}) AS v
            {sql.group_by(of_cow)}) AS cows
        {sql.group_by(keys)}"""
    spread = f"""
        SELECT {told},
            QUANTILE_CONT(value, 0.25) / {THOUSANDTHS} AS q1,
            QUANTILE_CONT(value, 0.5) / {THOUSANDTHS} AS median,
            QUANTILE_CONT(value, 0.75) / {THOUSANDTHS} AS q3
        FROM ({values}) AS v
        {sql.group_by(keys)}"""
    return sums, spread


def horn_sums(ledger: Ledger, selection: Selection, by: tuple[str, ...], limits: HornLimits) -> pd.DataFrame:
    """Every measure summed by cow and spread out.

    Returns
    -------
    pandas.DataFrame
        The ``by`` columns, measure; over cows with values adding up to y in n units: sum_y, sum_n, sum_yy, sum_yn,
        sum_nn, cows; n_farms; and over units: sd, q1, median, q3.
    """
    by = known_groupings(by)
    sums, spread = _question(selection, by, limits)
    frames = fetch_many(ledger, {"sums": sums, "spread": spread})
    frame = frames["sums"].merge(frames["spread"], on=[*by, "measure"], how="left")
    n = frame["sum_n"].astype("float64")
    about = (frame.pop("squares") - frame["sum_y"] ** 2 / n).clip(lower=0.0)
    return frame.assign(sd=(about / (n - 1.0).where(n > 1)) ** 0.5)


def toe_breaks(ledger: Ledger, selection: Selection, limits: HornLimits) -> pd.DataFrame:
    """Toes broken off beyond the ideal line, newest first.

    Returns
    -------
    pandas.DataFrame
        farm, cow, visit_date, foot, claw, toe_break_mm, far (further than the limit), lame (0, 1 or missing where she
        was not scored that day).
    """
    frame = fetch(ledger, _broken(selection, limits))
    order = ["visit_date", "farm", "cow", "foot", "claw"]
    return frame.sort_values(order, ascending=[False, True, True, True, True]).reset_index(drop=True)


def _broken(selection: Selection, limits: HornLimits) -> str:
    """A question: the columns of :func:`toe_breaks`."""
    return f"""
        SELECT farm, cow, visit_date, foot, claw, toe_break_mm, toe_break_mm > limit_toe_break_mm AS far, lame
        FROM ({claw_days(selection, (), limits)}) AS claws
        WHERE toe_break_mm IS NOT NULL"""
