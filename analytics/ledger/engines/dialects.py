"""What engines call things: SQL compiled, translated and quoted for the engine that holds a ledger.

The statements of the ledger itself are written in the dialect of the embedded engine and translated where
another holds it; questions of the tally are compiled from Ibis expressions, which know every engine.
"""

from __future__ import annotations

import functools
import importlib
import warnings
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import ibis.expr.types as ir

SQLGLOT_NAMES = {"pyspark": "spark"}
"""Engines whose dialect the translating library calls by another name."""


def compile_for(dialect: str, expression: ir.Table) -> str:
    """The SQL of an Ibis expression for one engine, made without connecting to it."""
    compiler = _compiler(dialect)
    if dialect in STRICT_ABOUT_TRUTH:
        expression = _truths_as_numbers(expression)
    if dialect in OWN_BIT_OR:
        expression = _bits_by_name(expression)
    tree = compiler.to_sqlglot(expression)
    if dialect in EXACT_DECIMALS:
        tree = _floating(tree)
    if dialect == "duckdb":
        _looked_at_again(tree)
    return str(tree.sql(dialect=compiler.dialect, copy=False))


def _looked_at_again(tree: Any) -> None:
    """Have a filter of a table that is used twice looked at twice, each time only the columns needed.

    Left to itself the engine writes the rows down between, with every column, which costs more than reading them again;
    what is grouped or joined is few rows or dear, and is better kept.
    """
    import sqlglot.expressions as sge

    for part in tree.find_all(sge.CTE):
        if not part.find(sge.Group, sge.Distinct, sge.Join, sge.Window, sge.AggFunc, sge.SetOperation):
            part.set("materialized", False)


def _floating(tree: Any) -> Any:
    """Numbers with a point as floating ones, where the engine would otherwise reckon with a few decimal places."""
    import sqlglot.expressions as sge

    def fit(node: Any) -> Any:
        pointed = isinstance(node, sge.Literal) and not node.is_string and not str(node.this).isdigit()
        return sge.cast(node.copy(), "DOUBLE") if pointed and not isinstance(node.parent, sge.Cast) else node

    return tree.transform(fit)


def _truths_as_numbers(expression: ir.Table) -> ir.Table:
    """The same expression with every cast of a truth value to a number going by way of a 32-bit integer."""
    import ibis.expr.datatypes as dt
    import ibis.expr.operations as ops

    def fit(node: Any, inside: dict[str, Any] | None) -> Any:
        made = node.__recreate__(inside) if inside else node
        if isinstance(made, ops.Cast) and made.arg.dtype.is_boolean() and made.to.is_numeric():
            return ops.Cast(ops.Cast(made.arg, dt.int32), made.to) if made.to != dt.int32 else made
        return made

    fitted: ir.Table = expression.op().replace(fit).to_expr()
    return fitted


@functools.cache
def _bit_or() -> Any:
    """The engine's own aggregate of that name, for which Ibis has no rule there."""
    import ibis

    def bit_or(bits: int) -> int:
        """Bits set in any of the numbers."""
        return bits  # Never run: it is worked out in the engine, by this name.

    return ibis.udf.agg.builtin(bit_or)


def _bits_by_name(expression: ir.Table) -> ir.Table:
    """The same expression with the engine's own way of setting bits together."""
    import ibis.expr.operations as ops

    def fit(node: Any, inside: dict[str, Any] | None) -> Any:
        made = node.__recreate__(inside) if inside else node
        if isinstance(made, ops.BitOr):
            where = None if made.where is None else made.where.to_expr()
            return _bit_or()(made.arg.to_expr(), where=where).op()
        return made

    fitted: ir.Table = expression.op().replace(fit).to_expr()
    return fitted


def quoted(text: str, dialect: str) -> str:
    """A text as a literal of one engine's SQL."""
    if dialect == "duckdb":
        return "'" + text.replace("'", "''") + "'"
    import sqlglot.expressions as sge

    return str(sge.Literal.string(text).sql(dialect=SQLGLOT_NAMES.get(dialect, dialect)))


@functools.cache
def _compiler(dialect: str) -> Any:
    if dialect == "pyspark":
        # Its compiler reads options that only exist once the engine's own part of Ibis is loaded.
        warnings.filterwarnings("ignore", message="PySpark does not yet fully support pandas")
        import ibis

        _ = ibis.pyspark
    return importlib.import_module(f"ibis.backends.sql.compilers.{dialect}").compiler


STRICT_ABOUT_TRUTH = {"postgres"}
"""Engines that turn a truth value into a 32-bit integer and into no other number."""


OWN_BIT_OR = {"pyspark"}
"""Engines that set bits together by an aggregate that Ibis does not know of
[pub: Apache Spark, built-in functions, bit_or]."""


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
    # Ibis adds to the translating library's dialects, and what was used before is not looked at again.
    import ibis.backends.sql.dialects  # noqa: F401
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
    import ibis.backends.sql.dialects  # noqa: F401
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
