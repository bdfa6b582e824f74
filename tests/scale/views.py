"""How quickly a view is worked out, beside the same answer written by hand, the answers compared."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.measures import cache
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.lame_counts import count_scorings
from evenfoot.analytics.queries.selection import Selection
from tests.scale import by_hand
from tests.scale.ledgers import farm_name, farms_of
from tests.scale.table import Cost, best, head, line, milliseconds

PANDAS_ONE_FARM_UP_TO = 1_000_000
"""Beyond this pandas reads one farm out of its files as quickly as before; it is spared."""

SLOW = 5.0
"""Seconds of a first run from which a rival is not run again: the whole is to end within half an hour."""

Asked = Callable[[Ledger, Selection], Any]


def lesions(ledger: Ledger, selection: Selection, by: tuple[str, ...]) -> pd.DataFrame:
    """A view as a page asks for it: with intervals, basis and cautions, and nothing remembered."""
    cache.forget()
    return prevalence(ledger, selection, by=by).table


def lame(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """The lameness of every month, likewise."""
    cache.forget()
    return locomotion(ledger, selection).table


def lame_counts(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """The whole numbers behind it, to be compared."""
    found = count_scorings(ledger, selection)
    severe = found.sums["severe"].rename(columns={"sum_mm": "severe_mm", "sum_mn": "severe_mn"})
    table = found.sums["lame"].merge(found.table[["month", "severe", "cows"]], on="month")
    return table.merge(severe[["month", "severe_mm", "severe_mn"]], on="month").sort_values("month")


COMPARED = ("clusters", "n_farms", "n_visits", "severe", "severe_mm", "severe_mn", "cows")


def run(place: Path, findings: int) -> dict[str, float]:
    """One size: print each view beside its rivals; gives the seconds of our own."""
    ledger = open_ledger(str(place))
    files = by_hand.parquet_of(place)
    head(f"Views at {findings:,} findings, intervals and basis included")
    out: dict[str, float] = {}
    with_pandas = ("one farm", "all farms") if findings <= PANDAS_ONE_FARM_UP_TO else ("all farms",)
    for whose, farm in (("one farm", farm_name(0)), ("all farms", None)):
        selection = Selection(farms=(farm,)) if farm else Selection()
        # Where there is only one farm its cows are the clusters.
        farm = farm or (farm_name(0) if farms_of(findings) == 1 else None)
        for what, by in (("lesions", ("lesion",)), ("lesions by month", ("lesion", "month"))):
            kind = "month" if "month" in by else "lesion"
            ours, _ = best(lambda s=selection, b=by: lesions(ledger, s, b))
            answer = count(ledger, selection, by, "cow").table
            _beside(
                out,
                f"{what}, {whose}",
                ours,
                answer[answer["sum_m"] > 0].sort_values(["lesion", *(["month"] if kind == "month" else [])]),
                ledger,
                lambda cursor, f=farm, k=kind: by_hand.lesions_sql(cursor, f, k),
                lambda f=farm, k=kind: by_hand.lesions_polars(files, f, k),
                (lambda f=farm, k=kind: by_hand.lesions_pandas(files, f, k)) if whose in with_pandas else None,
            )
        ours, _ = best(lambda s=selection: lame(ledger, s))
        _beside(
            out,
            f"lame by month, {whose}",
            ours,
            lame_counts(ledger, selection),
            ledger,
            lambda cursor, f=farm: by_hand.lame_sql(cursor, f),
            lambda f=farm: by_hand.lame_polars(files, f),
            (lambda f=farm: by_hand.lame_pandas(files, f)) if whose in with_pandas else None,
        )
    again, _ = best(lambda: prevalence(ledger, Selection()).table)
    line("lesions, all farms, asked again", milliseconds(again.clock))
    return out


def _beside(
    out: dict[str, float],
    name: str,
    ours: Cost,
    answer: pd.DataFrame,
    ledger: Ledger,
    sql: Callable[[Any], pd.DataFrame],
    polars: Callable[[], Any],
    pandas: Callable[[], pd.DataFrame] | None,
) -> None:
    out[name] = ours.clock

    def in_sql() -> pd.DataFrame:
        with ledger.reading() as cursor:
            return sql(cursor)

    told = []
    for rival, work in (("SQL", in_sql), ("Polars", polars), ("pandas", pandas)):
        if work is None:
            continue
        cost, theirs = best(work, 3 if rival != "pandas" else 1, SLOW)
        theirs = theirs.to_pandas() if rival == "Polars" else theirs
        keys = [key for key in ("lesion", "month") if key in theirs.columns]
        theirs = theirs.sort_values(keys)
        for column in [c for c in answer.columns if c.startswith("sum_") or c in COMPARED]:
            if not np.array_equal(answer[column].to_numpy("int64"), theirs[column].to_numpy("int64")):
                raise SystemExit(f"{name}: {rival} has another {column}")
        told.append((f"{rival}: {milliseconds(cost.clock)}", ours.beside(cost)))
    line(name, milliseconds(ours.clock))
    for theirs_said, ratio in told:
        line(f"  beside {theirs_said}", "", ratio)
