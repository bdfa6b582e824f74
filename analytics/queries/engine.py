"""Asking the engine: Ibis expressions are compiled to its SQL, and small frames come back.

The expressions are built on unbound tables, so no Ibis backend exists and none can be shared between
threads by mistake; each thread runs the compiled SQL on its own cursor. The same expression is compiled
for whichever engine holds the ledger.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.engines.dialects import compile_for, quoted
from evenfoot.analytics.ledger.schema import DERIVED_TABLES, ROW_TABLES, STAMP
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir
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


class Texts:
    """An expression as SQL, in the dialect of whatever engine is asked, each made once.

    An expression takes some hundred kilobytes, its SQL two. Where it can be built again, it is let go as soon as it
    is compiled: nearly always there is one engine, and it is not asked for again.

    Parameters
    ----------
    expression : ibis.expr.types.Table
    """

    def __init__(self, expression: ir.Table) -> None:
        self._expression: ir.Table | None = expression
        self._again: Callable[[], Texts] | None = None
        self._made: dict[str, str] = {}

    def can_be_built(self, again: Callable[[], Texts]) -> None:
        """Say how to build the expression again."""
        self._again = again

    @property
    def expression(self) -> ir.Table:
        """The expression, built again where it was let go."""
        if self._expression is None:
            assert self._again is not None
            self._expression = self._again().expression
        return self._expression

    def sql(self, dialect: str) -> str:
        text = self._made.get(dialect)
        if text is None:
            text = self._made[dialect] = compile_for(dialect, self.expression)
            if self._again is not None:
                self._expression = None
        return text


class Question:
    """What is asked of an engine; of one farm or cow, if asked of any.

    Parameters
    ----------
    texts : Texts
    put_in : mapping of str to str
        What stands for :data:`THE_FARM` and :data:`THE_COW` in them.
    """

    def __init__(self, texts: Texts, put_in: Mapping[str, str] = MappingProxyType({})) -> None:
        self.texts = texts
        self.put_in = put_in

    def sql(self, dialect: str = "duckdb") -> str:
        """The SQL of the question for one engine."""
        text = self.texts.sql(dialect)
        if not self.put_in:
            return text
        # All at once: what is put in for one may read as the other.
        names = {quoted(name, dialect): quoted(value, dialect) for name, value in self.put_in.items()}
        return re.sub("|".join(map(re.escape, names)), lambda found: names[found[0]], text)

    def bound(self) -> ir.Table:
        """The expression with the farm put in, for engines that are asked through Ibis and not by SQL."""
        if not self.put_in:
            return self.texts.expression
        put: ir.Table = self.texts.expression.op().replace(_names_put_in(self.put_in)).to_expr()
        return put

    def of(self, put_in: Mapping[str, str]) -> Question:
        """The same question of one farm or cow; the SQL made so far, and later, is shared."""
        return Question(self.texts, put_in)


def question_of(expression: ir.Table) -> Question:
    """The question an expression asks, to be kept and asked again."""
    return Question(Texts(expression))


def together(place: ir.IntegerValue) -> ir.IntegerValue:
    """Which places (0 to 62) occur, as the bits of one number."""
    return bit(place).bit_or()


def bit(place: ir.IntegerValue) -> ir.IntegerColumn:
    """Two to the power of a place (0 to 62); engines differ in what they shift."""
    found: ir.IntegerColumn = (ibis.literal(2.0) ** place).cast("int64")
    return found


def in_order(expression: ir.Table) -> ir.Table:
    """The rows in one fixed order: what fits a model gives the last digits by the order its rows come in."""
    return expression.order_by(*expression.columns)


THE_FARM = "the one farm of this question"
"""Stands for the farm in a question that is built once for every farm; see :func:`for_any_farm`."""

THE_COW = "the one cow of this question"
"""Stands for the cow in the same way."""


def for_any_farm(selection: Selection) -> Selection:
    """The selection with its single farm, and its single cow, left open, so that one question serves every one.

    A viewer who may see the single farm needs no narrowing to what he may see.
    """
    if len(selection.farms) == 1:
        farms = selection.farms
        allowed = None if selection.allowed is None or farms[0] in selection.allowed else selection.allowed
        selection = selection.with_(farms=(THE_FARM,), allowed=allowed)
    return selection.with_(cows=(THE_COW,)) if len(selection.cows) == 1 else selection


def of_the_farm(question: Question, selection: Selection) -> Question:
    """A question of :func:`for_any_farm` with the selection's own farm and cow put in."""
    singles = {THE_FARM: selection.farms, THE_COW: selection.cows}
    put_in = {name: of[0] for name, of in singles.items() if len(of) == 1}
    return question.of(put_in) if put_in else question


P = ParamSpec("P")
Asked = TypeVar("Asked", bound="Question | tuple[Question, ...] | dict[str, Question]")
QUESTIONS_KEPT = 512
"""Of each function that builds questions. Kept as SQL, they take some kilobytes each."""


def built_once(build: Callable[Concatenate[Selection, P], Asked]) -> Callable[Concatenate[Selection, P], Asked]:
    """Keep the questions a function builds: each is built and compiled once, for whichever single farm is asked about.

    The function takes a selection first, and hashable options; it gives a question, or a tuple or dict of them. It must
    depend on these alone. To build and compile takes longer than to answer: of 66 panels drawn for the first time it is
    a third of the processor time, of panels drawn again nothing (5 farms, 15,000 findings).
    """

    @functools.lru_cache(maxsize=QUESTIONS_KEPT)
    def kept(selection: Selection, /, *args: P.args, **options: P.kwargs) -> Asked:
        found: Any = build(selection, *args, **options)
        for name, question in _parts(found).items():
            question.texts.can_be_built(lambda name=name: _parts(build(selection, *args, **options))[name].texts)  # type: ignore[misc]
        return found  # type: ignore[no-any-return]

    @functools.wraps(build)
    def questions(selection: Selection, /, *args: P.args, **options: P.kwargs) -> Asked:
        # Options that cannot be told apart by their hash are refused here, as they should be.
        found: Any = kept(for_any_farm(selection), *args, **options)  # type: ignore[arg-type]
        if isinstance(found, dict):
            return {name: of_the_farm(each, selection) for name, each in found.items()}  # type: ignore[return-value]
        if isinstance(found, tuple):
            return tuple(of_the_farm(each, selection) for each in found)  # type: ignore[return-value]
        return of_the_farm(found, selection)  # type: ignore[return-value]

    return questions


def _parts(asked: Question | tuple[Question, ...] | dict[str, Question]) -> dict[Any, Question]:
    if isinstance(asked, dict):
        return dict(asked)
    return dict(enumerate(asked)) if isinstance(asked, tuple) else {0: asked}


def fetch(ledger: Ledger, question: ir.Table | Question) -> pd.DataFrame:
    """Run one question and give its rows as a pandas frame.

    Dates come back as ``datetime64``; counts as integers.

    Raises
    ------
    UserError
        The ledger is absent or cannot be read.
    """
    return fetch_many(ledger, {"only": question})["only"]


def fetch_many(ledger: Ledger, questions: Mapping[str, ir.Table | Question]) -> dict[str, pd.DataFrame]:
    """Run several questions on one lease, so that they see the same records; see :func:`fetch`."""
    asked = {name: q if isinstance(q, Question) else question_of(q) for name, q in questions.items()}
    engine = ledger.engine
    with ledger.reading() as cursor:
        through_ibis = getattr(cursor, "ask_ibis", None)
        if through_ibis is not None:
            return {name: through_ibis(question.bound()) for name, question in asked.items()}
        texts = {name: question.sql(engine.dialect) for name, question in asked.items()}
        beside = getattr(engine, "frames", None)
        if beside is not None and len(texts) > 1:
            found: dict[str, pd.DataFrame] = beside(cursor, texts)
            return found
        return {name: engine.frame(cursor, text) for name, text in texts.items()}


def _names_put_in(put_in: Mapping[str, str]) -> Callable[[Any, dict[str, Any] | None], Any]:
    """A replacer of literals: the farm for :data:`THE_FARM`, the cow for :data:`THE_COW`."""
    import ibis.expr.operations as ops

    def fit(node: Any, inside: dict[str, Any] | None) -> Any:
        if isinstance(node, ops.Literal) and isinstance(node.value, str) and node.value in put_in:
            return ops.Literal(put_in[node.value], dtype=node.dtype)
        return node.__recreate__(inside) if inside else node

    return fit


def aggregated(base: ir.Table, keys: list[str], **sums: ir.Value) -> ir.Table:
    """Aggregate by *keys*, or over everything when there are none."""
    return base.group_by(keys).agg(**sums) if keys else base.agg(**sums)


def most_of(values: list[ir.Value]) -> ir.Value:
    """The greatest of one value or several; engines take one alone for a mistake, or for an aggregate."""
    return ibis.greatest(*values) if len(values) > 1 else values[0]
