"""Visits whose sheet says more than it holds: called whole-herd, with too few of the herd on the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.visits import REST_SOUND, WHOLE_HERD, WHOLE_HERD_SHARE
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger.derive import VISIT_GAP_DAYS
from evenfoot.analytics.messages import N_, Message, say

_CALLED_WHOLE = N_(
    "Visit days that the sheet calls whole-herd though fewer than 80 % of the herd was looked at: {n}, such as {farm}, "
    "{day}, {cows} cows. They count as part-herd and are left out of herd figures. If the others were looked at and "
    "sound, write '{kind}' as the kind of visit, with the herd size."
)


def questioned_in_sheets(sheets: Sequence[CheckedSheet]) -> tuple[Message, ...]:
    """What to ask about sheets before they are added, as far as their own herd sizes tell."""
    days = [_few_on_sheet(sheet.records) for sheet in sheets if sheet.kind == "trims" and len(sheet.records)]
    return _asked(pd.concat(days)) if days else ()


def _few_on_sheet(records: pd.DataFrame) -> pd.DataFrame:
    """farm, visit_date and cows of the days of whole-herd visits with fewer than four fifths of the herd size."""
    judged = records[records["visit_kind"].isna() | (records["visit_kind"] == WHOLE_HERD)]
    days = judged.groupby(["farm", "visit_date"], as_index=False).agg(
        cows=("cow", "nunique"), called=("visit_kind", lambda kinds: bool(kinds.notna().any()))
    )
    days = days.sort_values(["farm", "visit_date"])
    near = days.groupby("farm")["visit_date"].diff() <= pd.Timedelta(days=VISIT_GAP_DAYS)
    days["run"] = (~near).cumsum()
    rows = judged.merge(days[["farm", "visit_date", "run"]], on=["farm", "visit_date"])
    runs = rows.groupby("run").agg(looked_at=("cow", "nunique"), herd_size=("herd_size", "max"))
    few = runs.index[runs["looked_at"] < WHOLE_HERD_SHARE * runs["herd_size"].astype("float64")]
    # Without any such visit the column has no type of its own.
    return days.loc[days["run"].isin(few) & days["called"].astype(bool), ["farm", "visit_date", "cows"]]


def questioned_in_import(connection: Any, number: int) -> tuple[Message, ...]:
    """What to ask about an import that was added, by all that the ledger knows."""
    trimmed = connection.execute(
        """SELECT t.farm, t.visit_date, COUNT(*) AS cows FROM trims t
        JOIN (SELECT DISTINCT farm, visit_date FROM trim_rows WHERE import_no = ?) AS r
          ON r.farm = t.farm AND r.visit_date = t.visit_date
        WHERE t.kind_from = 'contradicted' GROUP BY t.farm, t.visit_date ORDER BY t.visit_date, t.farm""",
        [number],
    ).fetchall()
    scored = connection.execute(
        """SELECT s.farm, s.visit_date, COUNT(DISTINCT s.cow) AS cows FROM scores s
        JOIN (SELECT DISTINCT farm, date FROM score_rows WHERE import_no = ?) AS r
          ON r.farm = s.farm AND r.date = s.visit_date
        WHERE s.kind_from = 'derived' AND s.visit_kind = 'part-herd'
        GROUP BY s.farm, s.visit_date ORDER BY s.visit_date, s.farm""",
        [number],
    ).fetchall()
    lame = connection.execute(
        """SELECT s.farm, s.visit_date, COUNT(DISTINCT s.cow) AS cows FROM scores s
        JOIN (SELECT DISTINCT farm, date FROM score_rows WHERE import_no = ?) AS r
          ON r.farm = s.farm AND r.date = s.visit_date
        WHERE s.visit_kind = 'unknown' GROUP BY s.farm, s.visit_date ORDER BY s.visit_date, s.farm""",
        [number],
    ).fetchall()
    columns = ["farm", "visit_date", "cows"]
    out = _asked(pd.DataFrame(trimmed, columns=columns))
    if scored:
        farm, day, cows = scored[0]
        out += (
            say(
                "Scoring days on which fewer than 80 % of the herd was scored: {n}, such as {farm}, {day}, {cows} "
                "cows. They count as part-herd and are left out of herd figures.",
                n=len(scored), farm=farm, day=f"{day:%Y-%m-%d}", cows=int(cows),
            ),
        )  # fmt: skip
    if lame:
        farm, day, cows = lame[0]
        out += (
            say(
                "Scoring days on which all or most cows scored are lame, and nothing tells how large the herd is: {n}, "
                "such as {farm}, {day}, {cows} cows. They are left out of herd figures until the size of the herd is "
                "known.",
                n=len(lame), farm=farm, day=f"{day:%Y-%m-%d}", cows=int(cows),
            ),
        )  # fmt: skip
    return out


def _asked(days: pd.DataFrame) -> tuple[Message, ...]:
    if days.empty:
        return ()
    first = days.iloc[0]
    said = say(
        _CALLED_WHOLE,
        n=len(days), farm=first["farm"], day=f"{first['visit_date']:%Y-%m-%d}", cows=int(first["cows"]),
        kind=REST_SOUND,
    )  # fmt: skip
    return (said,)
