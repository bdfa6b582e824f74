"""Tables of a folder as Spark knows them: exactly the files that count, with a ledger's columns and kinds."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.engines.delta_folder import DeltaContents
from evenfoot.analytics.ledger.engines.delta_table import DeltaFile
from evenfoot.analytics.ledger.engines.registry import Contents
from evenfoot.analytics.messages import say

MOST_PARTS = 200
"""Parts of a table, each with its own values from the log, that Spark is told of one by one; planning takes longer
with each."""


def make_known(session: Any, folder: Path, contents: Contents | DeltaContents) -> None:
    """Give a session the tables of one state of a folder, by their names.

    Raises
    ------
    UserError
        A Delta table is dealt out in more parts than can be told.
    """
    for table, columns in contents.columns.items():
        if isinstance(contents, DeltaContents):
            rows = _delta_rows(session, folder / table, contents.kinds[table], contents.files[table])
            rows = rows.selectExpr(*(_as_a_ledger_has_it(n, contents.kinds[table][n], k) for n, k in columns.items()))
        else:
            files = [str(folder / name) for name in contents.files[table].values()]
            rows = _rows(session, {name: spark_kind(kind) for name, kind in columns.items()}, files)
        rows.createOrReplaceTempView(table)


def spark_kind(kind: str) -> str:
    """What Spark calls a kind of a ledger's column."""
    return {"VARCHAR": "STRING", "INTEGER": "INT", "TIMESTAMP": "TIMESTAMP_NTZ"}.get(kind, kind)


def _rows(session: Any, kinds: dict[str, str], files: list[str], base: Path | None = None) -> Any:
    """Rows of Parquet files; a column that a file does not have is empty in its rows."""
    if not files:
        nothing = ", ".join(f"CAST(NULL AS {kind}) AS `{name}`" for name, kind in kinds.items())
        return session.sql(f"SELECT {nothing} LIMIT 0")
    reader = session.read.schema(", ".join(f"`{name}` {kind}" for name, kind in kinds.items()))
    return (reader.option("basePath", str(base)) if base else reader).parquet(*files)


DELTA_KINDS = {"integer": "INT", "long": "BIGINT", "short": "SMALLINT", "byte": "TINYINT"}


def _delta_rows(session: Any, place: Path, kinds: dict[str, str], files: tuple[DeltaFile, ...]) -> Any:
    """Rows of a Delta table, with the columns it is dealt out by."""
    spark = {name: DELTA_KINDS.get(kind, kind) for name, kind in kinds.items()}
    if not any(file.values for file in files):
        return _rows(session, spark, [file.path for file in files])
    if all(file.in_path for file in files):
        # Spark then leaves out whole folders, however many there are.
        return _rows(session, spark, [file.path for file in files], place)
    parts: dict[tuple[tuple[str, Any], ...], list[str]] = {}
    for file in files:
        parts.setdefault(tuple(file.values.items()), []).append(file.path)
    if len(parts) > MOST_PARTS:
        raise UserError(
            say(
                "The Delta table {path} is dealt out in {parts} parts whose folders are not named after what they "
                "hold, and Evenfoot reads at most {most} such parts; write the table anew.",
                path=str(place),
                parts=len(parts),
                most=MOST_PARTS,
            )
        )
    return functools.reduce(
        lambda one, other: one.unionByName(other),
        (_part(session, spark, dict(values), paths) for values, paths in parts.items()),
    )


def _part(session: Any, kinds: dict[str, str], values: dict[str, Any], files: list[str]) -> Any:
    from pyspark.sql.functions import lit

    rows = _rows(session, {name: kind for name, kind in kinds.items() if name not in values}, files)
    return rows.withColumns({name: lit(value).cast(kinds[name]) for name, value in values.items()})


def _as_a_ledger_has_it(name: str, found: str, kind: str) -> str:
    """SQL of a column; whole numbers may be longer than the ledger's, and stay so rather than be cut."""
    wanted = spark_kind(kind)
    if DELTA_KINDS.get(found, found).upper() == wanted or (kind == "INTEGER" and found == "long"):
        return f"`{name}`"
    return f"CAST(`{name}` AS {wanted}) AS `{name}`"
