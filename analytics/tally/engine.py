"""Asking the engine: Ibis expressions are compiled to its SQL, and small frames come back.

The expressions are built on unbound tables, so no Ibis backend exists and none can be shared between
threads by mistake; each thread runs the compiled SQL on its own cursor.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import TYPE_CHECKING

import ibis
import ibis.expr.types as ir

from analytics.ledger import Ledger
from analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES, STAMP
from analytics.tally.selection import Selection

if TYPE_CHECKING:
    import pandas as pd

_TYPES = {
    "VARCHAR": "string",
    "DATE": "date",
    "INTEGER": "int32",
    "BIGINT": "int64",
    "DOUBLE": "float64",
    "BOOLEAN": "boolean",
}


@functools.cache
def table(name: str) -> ir.Table:
    """The unbound Ibis table of a ledger table."""
    rows = {table: {**STAMP, **fields} for table, fields in ROW_TABLES.values()}
    columns = (DERIVED_TABLES | rows)[name]
    return ibis.table({column: _TYPES[kind] for column, kind in columns.items()}, name=name)


def sql_of(expression: ir.Table) -> str:
    """The engine's SQL of an expression."""
    return str(ibis.to_sql(expression, dialect="duckdb", pretty=False))


THE_FARM = "the one farm of this question"
"""Stands for the farm in SQL that is built once for every farm; see :func:`for_any_farm`."""


def for_any_farm(selection: Selection) -> Selection:
    """The selection with its single farm left open, so that one SQL text serves every farm."""
    return selection.with_(farms=(THE_FARM,)) if len(selection.farms) == 1 else selection


def of_the_farm(sql: str, selection: Selection) -> str:
    """SQL of :func:`for_any_farm` with the selection's own farm put in, as a quoted literal."""
    if len(selection.farms) != 1:
        return sql
    return sql.replace(f"'{THE_FARM}'", "'" + selection.farms[0].replace("'", "''") + "'")


def fetch(ledger: Ledger, question: ir.Table | str) -> pd.DataFrame:
    """Run one expression, or SQL made of one by :func:`sql_of`, and give its rows as a pandas frame.

    Dates come back as ``datetime64``; counts as integers.

    Raises
    ------
    Mistake
        The ledger is absent or cannot be read.
    """
    return fetch_many(ledger, {"only": question})["only"]


def fetch_many(ledger: Ledger, questions: Mapping[str, ir.Table | str]) -> dict[str, pd.DataFrame]:
    """Run several questions on one lease; see :func:`fetch`."""
    compiled = {name: q if isinstance(q, str) else sql_of(q) for name, q in questions.items()}
    with ledger.reading() as cursor:
        return {name: cursor.execute(sql).df() for name, sql in compiled.items()}


def aggregated(base: ir.Table, keys: list[str], **sums: ir.Value) -> ir.Table:
    """Aggregate by *keys*, or over everything when there are none."""
    return base.group_by(keys).agg(**sums) if keys else base.agg(**sums)
