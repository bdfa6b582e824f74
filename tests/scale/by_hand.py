"""The same answers written by hand: in the engine's SQL, in Polars and in pandas, each from its own best form."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import polars as pl

KEYS = ["lesion", "month", "lame_month"]
WHOLE = ("whole-herd", "scoring")
_WHERE = "visit_kind = 'whole-herd'"


def parquet_of(ledger: Path) -> dict[str, Path]:
    """The derived tables as Parquet, sorted by farm and day, as Polars and pandas read them best."""
    out = {}
    with duckdb.connect(str(ledger), read_only=True) as connection:
        connection.execute("SET enable_progress_bar = false")
        for name in ("trims", "findings", "scores"):
            out[name] = ledger.with_name(f"{ledger.stem}-{name}.parquet")
            if not out[name].exists():
                connection.execute(
                    f"COPY (SELECT * FROM {name} ORDER BY farm, visit_date) TO '{out[name]}' (FORMAT parquet)"
                )
    return out


def lesions_sql(cursor: Any, farm: str | None, by: str) -> pd.DataFrame:
    """Cases and cows at risk with the sums over clusters that their interval needs, in SQL."""
    here = f"farm = '{farm}' AND {_WHERE}" if farm else _WHERE
    group = {"lesion": "", "month": "DATE_TRUNC('month', visit_date) AS month, "}[by]
    keys = {"lesion": "", "month": "month, "}[by]
    cluster = "farm, cow" if farm else "farm"
    out: pd.DataFrame = cursor.execute(
        f"""WITH looked AS (SELECT {keys}{cluster}, COUNT(*) AS n
              FROM (SELECT DISTINCT {group}farm, cow FROM trims WHERE {here}) GROUP BY ALL),
            ill AS (SELECT lesion, {keys}{cluster}, COUNT(*) AS m
              FROM (SELECT DISTINCT lesion, {group}farm, cow FROM findings WHERE {here}) GROUP BY ALL),
            risk AS (SELECT {keys}SUM(n) AS sum_n, SUM(n * n) AS sum_nn, COUNT(*) AS clusters FROM looked GROUP BY ALL),
            cases AS (SELECT {keys}lesion, SUM(m) AS sum_m, SUM(m * m) AS sum_mm, SUM(m * n) AS sum_mn
              FROM ill JOIN looked USING ({keys}{cluster}) GROUP BY ALL),
            spread AS (SELECT {keys}COUNT(DISTINCT farm) AS n_farms, COUNT(*) AS n_visits
              FROM (SELECT DISTINCT {group}farm, visit_date FROM trims WHERE {here}) GROUP BY ALL)
            SELECT * FROM cases {
            "JOIN risk USING (month) JOIN spread USING (month)"
            if by == "month"
            else "CROSS JOIN risk CROSS JOIN spread"
        } ORDER BY ALL"""
    ).df()
    # What the answer rests on, and what it leaves out, is part of every view.
    cursor.execute(
        f"""SELECT visit_kind, kind_from, COUNT(*), SUM(trims), SUM(days) FROM (
              SELECT visit_kind, kind_from, farm, cow, COUNT(*) AS trims, 0 AS days FROM trims
              {f"WHERE farm = '{farm}'" if farm else ""} GROUP BY ALL) GROUP BY ALL"""
    ).df()
    cursor.execute(
        f"""SELECT visit_kind, kind_from, COUNT(*) FROM (SELECT DISTINCT visit_kind, kind_from, farm, visit_date
              FROM trims {f"WHERE farm = '{farm}'" if farm else ""}) GROUP BY ALL"""
    ).df()
    return out


def lame_sql(cursor: Any, farm: str | None) -> pd.DataFrame:
    """Scorings and lame ones by month, with the sums over clusters, in SQL."""
    here = f"farm = '{farm}' AND " if farm else ""
    cluster = "farm, cow" if farm else "farm"
    out: pd.DataFrame = cursor.execute(
        f"""WITH days AS (SELECT farm, cow, visit_date, CAST(AVG(lame) >= 0.5 AS BIGINT) AS lame FROM scores
              WHERE {here}visit_kind IN {WHOLE} GROUP BY ALL),
            each AS (SELECT DATE_TRUNC('month', visit_date) AS month, {cluster}, SUM(lame) AS m, COUNT(*) AS n
              FROM days GROUP BY ALL)
            SELECT month, SUM(m) AS sum_m, SUM(n) AS sum_n, SUM(m * m) AS sum_mm, SUM(m * n) AS sum_mn,
              SUM(n * n) AS sum_nn, COUNT(*) AS clusters FROM each GROUP BY month ORDER BY month"""
    ).df()
    return out


def lesions_polars(files: dict[str, Path], farm: str | None, by: str) -> pl.DataFrame:
    """The same in Polars, lazily from Parquet."""
    group = [pl.col("visit_date").dt.truncate("1mo").alias("month")] if by == "month" else []
    keys = ["month"] if by == "month" else []
    cluster = ["farm", "cow"] if farm else ["farm"]

    def rows(name: str) -> pl.LazyFrame:
        frame = pl.scan_parquet(files[name]).filter(pl.col("visit_kind") == "whole-herd")
        return frame.filter(pl.col("farm") == farm) if farm else frame

    looked = rows("trims").select(*group, "farm", "cow").unique().group_by([*keys, *cluster]).len("n")
    ill = rows("findings").select("lesion", *group, "farm", "cow").unique().group_by(["lesion", *keys, *cluster])
    n, m = pl.col("n").cast(pl.Int64), pl.col("m").cast(pl.Int64)
    risk = looked.group_by(keys or [pl.lit(1).alias("all")]).agg(
        n.sum().alias("sum_n"), (n * n).sum().alias("sum_nn"), pl.len().alias("clusters")
    )
    cases = (
        ill.len("m")
        .join(looked, on=[*keys, *cluster])
        .group_by(["lesion", *keys])
        .agg(m.sum().alias("sum_m"), (m * m).sum().alias("sum_mm"), (m * n).sum().alias("sum_mn"))
    )
    spread = (
        rows("trims")
        .select(*group, "farm", "visit_date")
        .unique()
        .group_by(keys or [pl.lit(1).alias("all")])
        .agg(pl.col("farm").n_unique().alias("n_farms"), pl.len().alias("n_visits"))
    )
    if by == "month":
        whole = cases.join(risk, on="month").join(spread, on="month")
    else:
        whole = cases.join(risk, how="cross").join(spread, how="cross")
    basis = pl.scan_parquet(files["trims"])
    basis = basis.filter(pl.col("farm") == farm) if farm else basis
    cows = basis.group_by(["visit_kind", "kind_from", "farm", "cow"]).len().group_by(["visit_kind", "kind_from"]).len()
    days = basis.select("visit_kind", "kind_from", "farm", "visit_date").unique()
    out, *_ = pl.collect_all([whole, cows, days.group_by(["visit_kind", "kind_from"]).len()])
    return out.sort(["lesion", *keys])


def lame_polars(files: dict[str, Path], farm: str | None) -> pl.DataFrame:
    """Lame scorings by month in Polars."""
    frame = pl.scan_parquet(files["scores"]).filter(pl.col("visit_kind").is_in(list(WHOLE)))
    frame = frame.filter(pl.col("farm") == farm) if farm else frame
    days = frame.group_by(["farm", "cow", "visit_date"]).agg((pl.col("lame").mean() >= 0.5).cast(pl.Int64).alias("l"))
    each = days.group_by(
        [pl.col("visit_date").dt.truncate("1mo").alias("month"), *(["farm", "cow"] if farm else ["farm"])]
    )
    n, m = pl.col("n").cast(pl.Int64), pl.col("m")
    return (
        each.agg(pl.col("l").sum().alias("m"), pl.len().alias("n"))
        .group_by("month")
        .agg(
            m.sum().alias("sum_m"), n.sum().alias("sum_n"), (m * m).sum().alias("sum_mm"),
            (m * n).sum().alias("sum_mn"),
            (n * n).sum().alias("sum_nn"), pl.len().alias("clusters"),
        )
        .sort("month")
        .collect()
    )  # fmt: skip


def lesions_pandas(files: dict[str, Path], farm: str | None, by: str) -> pd.DataFrame:
    """The same in pandas, only the columns needed, from Parquet."""
    where = [("visit_kind", "==", "whole-herd"), *([("farm", "==", farm)] if farm else [])]
    trims = pd.read_parquet(files["trims"], columns=["farm", "cow", "visit_date"], filters=where)
    found = pd.read_parquet(files["findings"], columns=["lesion", "farm", "cow", "visit_date"], filters=where)
    keys = ["month"] if by == "month" else []
    if keys:
        for frame in (trims, found):
            frame["month"] = pd.to_datetime(frame["visit_date"]).dt.to_period("M").dt.to_timestamp()
    cluster = ["farm", "cow"] if farm else ["farm"]
    looked = trims[[*keys, "farm", "cow"]].drop_duplicates().groupby([*keys, *cluster]).size().rename("n").reset_index()
    ill = found[["lesion", *keys, "farm", "cow"]].drop_duplicates().groupby(["lesion", *keys, *cluster]).size()
    both = ill.rename("m").reset_index().merge(looked, on=[*keys, *cluster])
    both = both.assign(sum_m=both["m"], sum_mm=both["m"] ** 2, sum_mn=both["m"] * both["n"])
    cases = both.groupby(["lesion", *keys], as_index=False)[["sum_m", "sum_mm", "sum_mn"]].sum()
    looked = looked.assign(sum_n=looked["n"], sum_nn=looked["n"] ** 2, clusters=1)
    visits = trims[[*keys, "farm", "visit_date"]].drop_duplicates()
    basis = pd.read_parquet(
        files["trims"],
        columns=["visit_kind", "kind_from", "farm", "cow", "visit_date"],
        filters=[("farm", "==", farm)] if farm else None,
    )
    basis.drop_duplicates(["visit_kind", "kind_from", "farm", "cow"]).groupby(["visit_kind", "kind_from"]).size()
    basis.drop_duplicates(["visit_kind", "kind_from", "farm", "visit_date"]).groupby(["visit_kind", "kind_from"]).size()
    sums = ["sum_n", "sum_nn", "clusters"]
    if keys:
        risk = looked.groupby("month", as_index=False)[sums].sum()
        spread = visits.groupby("month").agg(n_farms=("farm", "nunique"), n_visits=("farm", "size")).reset_index()
        return cases.merge(risk, on="month").merge(spread, on="month")
    return cases.assign(**looked[sums].sum(), n_farms=visits["farm"].nunique(), n_visits=len(visits))


def lame_pandas(files: dict[str, Path], farm: str | None) -> pd.DataFrame:
    """Lame scorings by month in pandas."""
    where = [("visit_kind", "in", list(WHOLE)), *([("farm", "==", farm)] if farm else [])]
    frame = pd.read_parquet(files["scores"], columns=["farm", "cow", "visit_date", "lame"], filters=where)
    days = (frame.groupby(["farm", "cow", "visit_date"])["lame"].mean() >= 0.5).astype("int64").reset_index()
    days["month"] = pd.to_datetime(days["visit_date"]).dt.to_period("M").dt.to_timestamp()
    each = days.groupby(["month", *(["farm", "cow"] if farm else ["farm"])])["lame"].agg(["sum", "size"]).reset_index()
    m, n = each["sum"], each["size"]
    each = each.assign(sum_m=m, sum_n=n, sum_mm=m * m, sum_mn=m * n, sum_nn=n * n, clusters=1)
    sums = ["sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "clusters"]
    return each.groupby("month", as_index=False)[sums].sum()
