"""SQL translated for the engine that holds a ledger.

Statements of the ledger and questions of the tally are written in the dialect of the embedded engine, and translated
where another engine holds the ledger.
"""

from __future__ import annotations

import functools
from typing import Any

SQLGLOT_NAMES = {"pyspark": "spark"}
"""Engines whose dialect the translating library calls by another name."""


QUESTIONS_KEPT = 512
"""Translated questions that are kept; each takes some kilobytes."""


@functools.lru_cache(maxsize=QUESTIONS_KEPT)
def translate_question(sql: str, dialect: str) -> str:
    """A question, written for the embedded engine, in the dialect of another.

    Parameters
    ----------
    sql : str
        One ``SELECT`` with its values in it; see :mod:`evenfoot.analytics.queries.sql`.
    dialect : {"duckdb", "postgres", "pyspark"}
    """
    if dialect == "duckdb":
        return sql
    import sqlglot

    tree = sqlglot.parse_one(sql, read="duckdb")
    if dialect in EXACT_DECIMALS:
        tree = _floating(tree)
    return str(tree.sql(dialect=SQLGLOT_NAMES.get(dialect, dialect)))


def _floating(tree: Any) -> Any:
    """Numbers with a point as floating ones, where the engine would otherwise reckon with a few decimal places."""
    import sqlglot.expressions as sge

    def fit(node: Any) -> Any:
        pointed = isinstance(node, sge.Literal) and not node.is_string and not str(node.this).isdigit()
        return sge.cast(node.copy(), "DOUBLE") if pointed and not isinstance(node.parent, sge.Cast) else node

    return tree.transform(fit)


EXACT_DECIMALS = {"pyspark"}
"""Engines that take 30.4 for an exact decimal and give quotients of such only some digits."""


@functools.lru_cache(maxsize=512)
def translate(sql: str, dialect: str) -> tuple[str, ...]:
    """Statements of the ledger, written for the embedded engine, in the dialect of another.

    Parameters
    ----------
    sql : str
        One statement, with ``?`` where a value goes.
    dialect : str

    Returns
    -------
    tuple of str
        One statement, or several where the engine needs more than one; values go where ``$1``, ``$2``, ... stand.
    """
    import sqlglot
    import sqlglot.expressions as sge

    name = SQLGLOT_NAMES.get(dialect, dialect)
    out: list[str] = []
    for tree in sqlglot.parse(sql, read="duckdb"):
        if tree is None:
            continue
        if isinstance(tree, sge.Create) and tree.args.get("replace") and tree.args.get("kind") == "TABLE":
            tree.set("replace", False)
            place = tree.this.this if isinstance(tree.this, sge.Schema) else tree.this
            out.append(f"DROP TABLE IF EXISTS {place.sql(dialect=name)}")
        if dialect == "postgres":
            _fit_postgres(tree)
        for number, mark in enumerate(tree.find_all(sge.Placeholder, bfs=False), start=1):
            mark.replace(sge.Parameter(this=sge.Literal.number(number)))
        out.append(tree.sql(dialect=name))
        if dialect == "postgres" and isinstance(tree, sge.Create) and tree.find(sge.TemporaryProperty):
            # The server plans badly for tables it has never looked at.
            place = tree.this.this if isinstance(tree.this, sge.Schema) else tree.this
            out.append(f"ANALYZE {place.sql(dialect=name)}")
    return tuple(out)


def fill_in(sql: str, dialect: str, values: tuple[Any, ...]) -> str:
    """A statement of the ledger in another dialect, with its values written into it as quoted literals.

    For engines that take no values apart from the text.
    """
    import sqlglot
    import sqlglot.expressions as sge

    tree = sqlglot.parse_one(sql, read="duckdb")
    for mark, value in zip(list(tree.find_all(sge.Placeholder, bfs=False)), values, strict=True):
        mark.replace(sge.convert(value))
    return str(tree.sql(dialect=SQLGLOT_NAMES.get(dialect, dialect)))


def _fit_postgres(tree: Any) -> None:
    """What the translating library leaves as it is, though PostgreSQL has it otherwise.

    Texts are compared byte by byte, as the embedded engine does, whatever language the database sorts in.
    """
    import sqlglot.expressions as sge

    for column in tree.find_all(sge.ColumnDef):
        kind = column.args.get("kind")
        if kind is not None and kind.this in (sge.DataType.Type.VARCHAR, sge.DataType.Type.TEXT):
            bytewise = sge.CollateColumnConstraint(this=sge.to_identifier("C", quoted=True))
            column.set("constraints", [sge.ColumnConstraint(kind=bytewise), *column.args.get("constraints", [])])
    for mark in list(tree.find_all(sge.Placeholder)):
        if isinstance(mark.parent, (sge.Unnest, sge.Explode)):
            mark.replace(sge.cast(mark.copy(), "TEXT[]", dialect="postgres"))
    for split in list(tree.find_all(sge.Split)):
        split.replace(sge.func("STRING_TO_ARRAY", split.this, split.expression))
    for member in list(tree.find_all(sge.ArrayContains)):
        member.replace(sge.EQ(this=member.expression, expression=sge.Anonymous(this="ANY", expressions=[member.this])))
