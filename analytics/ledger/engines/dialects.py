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

    if dialect == "postgres":
        # The server keeps no NUL in a text and takes none; see PostgresConnection.load.
        sql = sql.replace("\0", "�")
    tree = sqlglot.parse_one(sql, read="duckdb")
    _fit_question(tree, dialect)
    # Names are quoted, since engines differ in which words they keep for themselves.
    name = SQLGLOT_NAMES.get(dialect, dialect)
    return str(tree.sql(dialect=name, identify=True, unsupported_level=sqlglot.ErrorLevel.RAISE))


def _fit_question(tree: Any, dialect: str) -> None:
    """Put into a question what the translating library leaves as it is, though the engine has it otherwise."""
    import sqlglot.expressions as sge

    for division in list(tree.find_all(sge.Div)):
        # The embedded engine gives an infinite number where the others end the question.
        # [pub: DuckDB documentation, Numeric Types; PostgreSQL manual, 9.3; Apache Spark, ANSI Compliance]
        if not isinstance(division.expression.unnest(), (sge.Literal, sge.Nullif)):
            zero = sge.Literal.number(0)
            division.set("expression", sge.Nullif(this=division.expression.copy(), expression=zero))
    if dialect == "postgres":
        _fit_question_postgres(tree)
    elif dialect == "pyspark":
        _fit_question_spark(tree)


def _fit_question_postgres(tree: Any) -> None:
    import sqlglot.expressions as sge

    # Texts that are not from a column, which has its own order (see _fit_postgres), would be compared as the language
    # of the database has it. [pub: PostgreSQL manual, 24.2 Collation Support]
    for text in list(tree.find_all(sge.Literal, sge.Cast)):
        if _is_text(text):
            order = sge.to_identifier("C", quoted=True)
            text.replace(sge.Paren(this=sge.Collate(this=text.copy(), expression=order)))
    for series in list(tree.find_all(sge.Explode)):
        if isinstance(series.this, sge.GenerateSeries):
            # It gives rows by itself, and UNNEST takes arrays alone. [pub: PostgreSQL manual, 9.25]
            series.replace(series.this.copy())
    for division in list(tree.find_all(sge.IntDiv)):
        # DIV gives an exact decimal. [pub: PostgreSQL manual, 9.3]
        division.replace(sge.cast(division.copy(), "BIGINT"))
    for rounded in tree.find_all(sge.Round):
        # Halves of floating numbers go to the even neighbour, those of exact decimals away from 0, as all of the
        # embedded engine's. [pub: PostgreSQL manual, 9.3]
        rounded.set("this", sge.cast(rounded.this.copy(), "DECIMAL"))


def _is_text(node: Any) -> bool:
    """Whether a node is a text that comes out of a question, or that something is compared or sorted by."""
    import sqlglot.expressions as sge

    if isinstance(node, sge.Cast):
        return not isinstance(node, sge.TryCast) and node.to.this in sge.DataType.TEXT_TYPES
    told = (sge.If, sge.Case, sge.Coalesce, sge.Alias, sge.Select, sge.Min, sge.Max, sge.Greatest, sge.Least,
            sge.LT, sge.LTE, sge.GT, sge.GTE, sge.Between, sge.Ordered)  # fmt: skip
    if not node.is_string or not isinstance(node.parent, told):
        return False
    # What a CASE compares is left as it is.
    return not (isinstance(node.parent, (sge.Case, sge.If)) and node.arg_key == "this")


def _fit_question_spark(tree: Any) -> None:
    import sqlglot.expressions as sge

    for number in list(tree.find_all(sge.Literal)):
        # Numbers with a point are exact decimals, of whose quotients only some digits are given.
        # [pub: Apache Spark, Literals; ANSI Compliance, Arithmetic Operations]
        if not number.is_string and not str(number.this).isdigit() and not isinstance(number.parent, sge.Cast):
            number.replace(sge.cast(number.copy(), "DOUBLE"))
    for division in list(tree.find_all(sge.Div)):
        division.set("this", sge.cast(division.this.copy(), "DOUBLE"))
    for where in tree.find_all(sge.Where, sge.Having):
        # `FROM trims WHERE (lame)` would name the table "where" and its one column "lame", since neither word is
        # reserved. [pub: Apache Spark, ANSI Compliance, SQL Keywords]
        where.set("this", where.this.unnest())
    for quantile in list(tree.find_all(sge.PercentileCont)):
        if quantile.expression is not None:
            # The same number; PERCENTILE_CONT wants WITHIN GROUP. [pub: Apache Spark, Built-in Aggregate Functions]
            quantile.replace(sge.func("PERCENTILE", quantile.this.copy(), quantile.expression.copy()))
    for between in list(tree.find_all(sge.DateDiff)):
        months = MONTHS_OF.get(str(between.args.get("unit")).upper())
        if months:
            # Counted are firsts of a month, quarter or year that lie between; DATEDIFF counts whole ones.
            # [pub: DuckDB documentation, Date Functions; Apache Spark, Built-in Functions, timestampdiff]
            later, earlier = (_number_of(day, months) for day in (between.this, between.expression))
            between.replace(sge.Paren(this=sge.cast(sge.Sub(this=later, expression=earlier), "BIGINT")))


MONTHS_OF = {"MONTH": 1, "QUARTER": 3, "YEAR": 12}
"""How many months make a period."""


def _number_of(day: Any, months: int) -> Any:
    """The number of a day's month, quarter or year, counted from one before all days."""
    import sqlglot

    text = day.sql(dialect="spark")
    return sqlglot.parse_one(
        f"FLOOR((EXTRACT(YEAR FROM {text}) * 12 + EXTRACT(MONTH FROM {text}) - 1) / {months})", read="spark"
    )


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
