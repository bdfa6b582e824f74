"""The same answers written by hand: in the engine's SQL, in Polars and in pandas, each from its own best form."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import polars as pl

KEYS = ["lesion", "month", "lame_month"]
WHOLE = ("whole-herd", "scoring")
SOURCED = ["import_no", "farm", "visit_date", "trimmer", "locomotion_score"]
_WHERE = "visit_kind = 'whole-herd'"


def parquet_of(ledger: Path) -> dict[str, Path]:
    """The derived tables as Parquet, sorted by farm and day, as Polars and pandas read them best."""
    out = {}
    with duckdb.connect(str(ledger), read_only=True) as connection:
        connection.execute("SET enable_progress_bar = false")
        for name in ("trims", "findings", "scores", "trim_rows"):
            out[name] = ledger.with_name(f"{ledger.stem}-{name}.parquet")
            if not out[name].exists():
                columns = ", ".join(SOURCED) if name == "trim_rows" else "*"
                connection.execute(
                    f"COPY (SELECT {columns} FROM {name} ORDER BY farm, visit_date) TO '{out[name]}' (FORMAT parquet)"
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
    _basis_sql(cursor, "trims", farm)
    return out


def lame_sql(cursor: Any, farm: str | None) -> pd.DataFrame:
    """Scorings, lame and severely lame ones by month, with cows, scales and the sums over clusters, in SQL."""
    here = (f"farm = '{farm}' AND " if farm else "") + f"visit_kind IN {WHOLE}"
    # Counting the distinct cows of each farm's month is quicker here than grouping the days once more by cow.
    cluster, cows = ("farm, cow", "1") if farm else ("farm", "COUNT(DISTINCT cow)")
    out: pd.DataFrame = cursor.execute(
        f"""WITH days AS (SELECT farm, cow, visit_date, CAST(AVG(lame) >= 0.5 AS INT) AS lame,
                CAST(AVG(severe) >= 0.5 AS INT) AS severe FROM scores WHERE {here} GROUP BY ALL),
            each AS (SELECT DATE_TRUNC('month', visit_date) AS month, {cluster}, CAST(SUM(lame) AS BIGINT) AS m,
                CAST(SUM(severe) AS BIGINT) AS s, COUNT(*) AS n, {cows} AS cows FROM days GROUP BY ALL)
            SELECT month, SUM(m) AS sum_m, SUM(n) AS sum_n, SUM(m * m) AS sum_mm, SUM(m * n) AS sum_mn,
              SUM(n * n) AS sum_nn, SUM(s) AS severe, SUM(s * s) AS severe_mm, SUM(s * n) AS severe_mn,
              COUNT(*) AS clusters, SUM(cows) AS cows FROM each GROUP BY month ORDER BY month"""
    ).df()
    cursor.execute(
        f"""SELECT DATE_TRUNC('month', visit_date), MIN(scale), MAX(scale), SUM(score), COUNT(score)
              FROM scores WHERE {here} GROUP BY ALL"""
    ).df()
    _basis_sql(cursor, "scores", farm)
    return out


def _basis_sql(cursor: Any, table: str, farm: str | None) -> None:
    """What an answer rests on, and what it leaves out, is part of every view."""
    here = f"farm = '{farm}' AND " if farm else ""
    cursor.execute(
        f"SELECT COUNT(*) FROM (SELECT DISTINCT farm, cow FROM {table} WHERE {here} visit_kind IN {WHOLE})"
    ).df()
    cursor.execute(
        f"""SELECT visit_kind, kind_from, COUNT(*), SUM(n), MIN(visit_date), MAX(visit_date)
              FROM (SELECT visit_kind, kind_from, farm, visit_date, COUNT(*) AS n FROM {table} WHERE {here} TRUE
              GROUP BY ALL) GROUP BY ALL"""
    ).df()
    met = (f"farm = '{farm}' AND " if farm else "") + ("locomotion_score IS NOT NULL AND " if table == "scores" else "")
    cursor.execute(
        f"""SELECT import_no, trimmer, COUNT(*) FROM trim_rows AS r WHERE {met} EXISTS (SELECT 1 FROM {table} AS t
              WHERE visit_kind IN {WHOLE} AND t.farm = r.farm AND t.visit_date = r.visit_date) GROUP BY ALL"""
    ).df()


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
    out, *_ = pl.collect_all([whole, *_basis_polars(files, "trims", farm)])
    return out.sort(["lesion", *keys])


def _basis_polars(files: dict[str, Path], table: str, farm: str | None) -> list[pl.LazyFrame]:
    basis, rows = pl.scan_parquet(files[table]), pl.scan_parquet(files["trim_rows"])
    rows = rows.filter(pl.col("locomotion_score").is_not_null()) if table == "scores" else rows
    if farm:
        basis, rows = basis.filter(pl.col("farm") == farm), rows.filter(pl.col("farm") == farm)
    whole = basis.filter(pl.col("visit_kind").is_in(list(WHOLE)))
    visits = whole.select("farm", "visit_date").unique()
    sources = rows.join(visits, on=["farm", "visit_date"], how="semi").group_by(["import_no", "trimmer"]).len()
    days = basis.group_by(["visit_kind", "kind_from", "farm", "visit_date"]).len("n")
    told = days.group_by(["visit_kind", "kind_from"]).agg(pl.len(), pl.col("n").sum())
    return [whole.select("farm", "cow").unique().select(pl.len()), told, sources]


def lame_polars(files: dict[str, Path], farm: str | None) -> pl.DataFrame:
    """The same of lameness in Polars."""
    frame = pl.scan_parquet(files["scores"]).filter(pl.col("visit_kind").is_in(list(WHOLE)))
    frame = frame.filter(pl.col("farm") == farm) if farm else frame
    month = pl.col("visit_date").dt.truncate("1mo").alias("month")
    days = frame.group_by(["farm", "cow", "visit_date"]).agg(
        (pl.col("lame").mean() >= 0.5).cast(pl.Int64).alias("l"),
        (pl.col("severe").mean() >= 0.5).cast(pl.Int64).alias("s"),
    )
    each = days.group_by([month, *(["farm", "cow"] if farm else ["farm"])]).agg(
        pl.col("l").sum().alias("m"),
        pl.col("s").sum(),
        pl.len().cast(pl.Int64).alias("n"),
        (pl.lit(1) if farm else pl.col("cow").n_unique()).cast(pl.Int64).alias("cows"),
    )
    n, m, s = pl.col("n"), pl.col("m"), pl.col("s")
    sums = {"sum_m": m, "sum_n": n, "sum_mm": m * m, "sum_mn": m * n, "sum_nn": n * n, "severe": s,
            "severe_mm": s * s, "severe_mn": s * n, "cows": pl.col("cows")}  # fmt: skip
    whole = each.group_by("month").agg(*(one.sum().alias(name) for name, one in sums.items()), clusters=pl.len())
    scale = frame.group_by(month).agg(
        pl.col("scale").min().alias("low"), pl.col("scale").max().alias("high"), pl.col("score").mean()
    )
    out, *_ = pl.collect_all([whole, scale, *_basis_polars(files, "scores", farm)])
    return out.sort("month")


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
    _basis_pandas(files, "trims", farm)
    sums = ["sum_n", "sum_nn", "clusters"]
    if keys:
        risk = looked.groupby("month", as_index=False)[sums].sum()
        spread = visits.groupby("month").agg(n_farms=("farm", "nunique"), n_visits=("farm", "size")).reset_index()
        return cases.merge(risk, on="month").merge(spread, on="month")
    return cases.assign(**looked[sums].sum(), n_farms=visits["farm"].nunique(), n_visits=len(visits))


def _basis_pandas(files: dict[str, Path], table: str, farm: str | None) -> None:
    columns = ["visit_kind", "kind_from", "farm", "cow", "visit_date"]
    here = [("farm", "==", farm)] if farm else None
    basis = pd.read_parquet(files[table], columns=columns, filters=here)
    rows = pd.read_parquet(files["trim_rows"], columns=SOURCED, filters=here)
    rows = rows[rows["locomotion_score"].notna()] if table == "scores" else rows
    visits = basis.loc[basis["visit_kind"].isin(WHOLE), ["farm", "visit_date"]].drop_duplicates()
    rows.merge(visits, on=["farm", "visit_date"]).groupby(["import_no", "trimmer"]).size()
    basis.loc[basis["visit_kind"].isin(WHOLE), ["farm", "cow"]].drop_duplicates()
    days = basis.groupby(["visit_kind", "kind_from", "farm", "visit_date"]).size().rename("n").reset_index()
    days.groupby(["visit_kind", "kind_from"])["n"].agg(["size", "sum"])


def lame_pandas(files: dict[str, Path], farm: str | None) -> pd.DataFrame:
    """The same of lameness in pandas."""
    where = [("visit_kind", "in", list(WHOLE)), *([("farm", "==", farm)] if farm else [])]
    columns = ["farm", "cow", "visit_date", "lame", "severe", "score", "scale"]
    frame = pd.read_parquet(files["scores"], columns=columns, filters=where)
    frame["month"] = pd.to_datetime(frame["visit_date"]).dt.to_period("M").dt.to_timestamp()
    frame.groupby("month").agg({"scale": ["min", "max"], "score": "mean"})
    days = frame.groupby(["farm", "cow", "visit_date", "month"])[["lame", "severe"]].mean() >= 0.5
    days = days.astype("int64").reset_index()
    keys = ["month", *(["farm", "cow"] if farm else ["farm"])]
    each = days.groupby(keys).agg(m=("lame", "sum"), s=("severe", "sum"), n=("lame", "size")).reset_index()
    once = days[["month", "farm", "cow"]].drop_duplicates()
    m, s, n = each["m"], each["s"], each["n"]
    each = each.assign(sum_m=m, sum_n=n, sum_mm=m * m, sum_mn=m * n, sum_nn=n * n, severe=s, severe_mm=s * s,
                       severe_mn=s * n, clusters=1)  # fmt: skip
    sums = ["sum_m", "sum_n", "sum_mm", "sum_mn", "sum_nn", "severe", "severe_mm", "severe_mn", "clusters"]
    out = each.groupby("month", as_index=False)[sums].sum().assign(cows=once.groupby("month").size().to_numpy())
    _basis_pandas(files, "scores", farm)
    return out
