"""A question translated for another engine gives what it gives in the embedded one."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
import sqlglot

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.engines.dialects import translate_question
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.sql import whole_numbers
from tests.engines.conftest import Maker, new_database
from tests.engines.panels import unlike
from tests.queries.test_sql import assert_farms_are_told_apart, assert_same_texts, assert_same_values, rows_of_farms
from tests.sheets import checked

DAYS = [dt.date(2024, 2, 29), dt.date(2023, 12, 31), dt.date(2024, 1, 1), dt.date(1969, 12, 31), dt.date(2025, 10, 26)]
PAIRS = [(a, b) for a in (7, -7, 0, 62, None) for b in (2, -2, 3, None)]
WORDS = ("a", "B", "Z", "ä", "_", "10", "9", "", "a b", "A", "é", "z", "Ab", "a-b")


def _rows(**columns: Any) -> str:
    """Rows with a number ``i`` and the columns."""
    each = zip(*columns.values(), strict=True)
    texts = [f"SELECT {i} AS i, {sql.listed(dict(zip(columns, told, strict=True)))}" for i, told in enumerate(each)]
    return f"SELECT * FROM ({sql.union(*texts)}) AS told"


def _whole(number: int | None) -> str:
    return f"CAST({sql.literal(number)} AS INTEGER)"


DATES = _rows(day=[sql.literal(day) for day in DAYS])
NUMBERS = _rows(v=[_whole(a) for a, _ in PAIRS], w=[_whole(b) for _, b in PAIRS])
TEXTS = _rows(t=[sql.literal(word) for word in WORDS])
BETWEEN = sql.days_between("a.day", "b.day")

QUESTIONS = {
    "periods": f"SELECT i, {sql.first_of('month', 'day')} AS m, {sql.first_of('quarter', 'day')} AS q, "
    f"{sql.part_of('year', 'day')} AS y, {sql.part_of('quarter', 'day')} AS p FROM ({DATES}) AS d",
    "days between": f"SELECT a.i, b.i AS j, {BETWEEN} AS n, {BETWEEN} / 30.4 AS months "
    f"FROM ({DATES}) AS a CROSS JOIN ({DATES}) AS b",
    "months between": "SELECT a.i, b.i AS j, DATE_DIFF('month', a.day, b.day) AS m, DATE_DIFF('year', a.day, b.day) "
    f"AS y, DATE_DIFF('quarter', a.day, b.day) AS q FROM ({DATES}) AS a CROSS JOIN ({DATES}) AS b",
    "days after": f"SELECT i, {sql.days_after('day', 'i * 100 - 200')} AS d, "
    f"{sql.months_after(sql.first_of('month', 'day'), 'i - 2')} AS m FROM ({DATES}) AS d",
    "division": f"SELECT i, v / w AS q, v // w AS d, v % w AS m, (v + 1) // 2 AS h FROM ({NUMBERS}) AS n",
    "quotient of decimals": "SELECT CAST(SUM(CAST(v AS DECIMAL(38, 0)) * v) AS DOUBLE) / 3 AS q, SUM(v) / 30.4 AS r, "
    f"SUM(CAST(v AS DECIMAL(38, 0))) / 7 AS s FROM ({NUMBERS}) AS n",
    "sums": f"SELECT w, {sql.total('v')} AS s, AVG(v) AS a, COUNT(DISTINCT v) AS n, QUANTILE_CONT(v, 0.25) AS q, "
    f"MEDIAN(v) AS m, MAX(v) FILTER (WHERE v < 7) AS f FROM ({NUMBERS}) AS n GROUP BY w",
    "rounding": f"SELECT i, ROUND(CAST(i AS DOUBLE) / 2) AS r, CAST(ROUND(CAST(v AS DOUBLE) / 2) AS BIGINT) AS b "
    f"FROM ({NUMBERS}) AS n",
    "largest": f"SELECT i, GREATEST(v, w) AS g, LEAST(v, w, 0) AS l FROM ({NUMBERS}) AS n",
    "order": f"SELECT i, ROW_NUMBER() OVER (PARTITION BY w ORDER BY v DESC, i) AS r, "
    f"LAG(v) OVER (ORDER BY i) AS p FROM ({NUMBERS}) AS n",
    "joins": f"SELECT a.i FROM ({NUMBERS}) AS a SEMI JOIN ({NUMBERS}) AS b ON a.v = b.v AND b.i > 3 "
    f"UNION ALL SELECT a.i FROM ({NUMBERS}) AS a ANTI JOIN ({NUMBERS}) AS b ON a.v = b.w",
    "series": f"SELECT place, {sql.bit('place')} AS b FROM ({whole_numbers(62)}) AS p",
    "series joined": f"SELECT n.i, p.place FROM ({NUMBERS}) AS n JOIN ({whole_numbers(4)}) AS p ON p.place < n.v",
    "bytewise": f"SELECT a.i, b.i AS j FROM ({TEXTS}) AS a JOIN ({TEXTS}) AS b ON a.t < b.t",
    "first of texts": f"SELECT MIN(t) AS l, MAX(t) AS h, MIN(CASE WHEN i > 3 THEN 'Z' ELSE 'a' END) AS c "
    f"FROM ({TEXTS}) AS a",
    "texts in order": f"SELECT i, ROW_NUMBER() OVER (ORDER BY t) AS r FROM ({TEXTS}) AS a",
    "numbers as texts": f"SELECT MAX(CAST(i AS VARCHAR)) AS h, MIN(COALESCE(t, 'x')) AS l FROM ({TEXTS}) AS a",
    "a bare column": f"SELECT i FROM (SELECT i, v > 2 AS large FROM ({NUMBERS}) AS n) AS m{sql.where('large')}",
    "none": f"SELECT farm FROM trims{sql.where('FALSE')}",
    "reserved words": 'SELECT 1 AS "group", 2 AS "order", 3 AS "user", 4 AS at',
}  # fmt: skip


@pytest.fixture(scope="module")
def office(postgres: str) -> Ledger:
    """A ledger in a database that sorts texts as English does."""
    from evenfoot.analytics.ledger import open_ledger

    return _filled(open_ledger(new_database(postgres, "template0", language="en-US")))


@pytest.fixture(scope="module")
def registry(spark_ledger: Maker) -> Ledger:
    return _filled(spark_ledger())


def _filled(ledger: Ledger) -> Ledger:
    add_sheets(ledger, [checked("trims", rows_of_farms())], "a.csv", "0" * 64)
    return ledger


@pytest.fixture(scope="module", params=["office", "registry"])
def there(request: pytest.FixtureRequest) -> Ledger:
    ledger: Ledger = request.getfixturevalue(request.param)
    return ledger


@pytest.mark.long
@pytest.mark.parametrize("name", QUESTIONS)
def test_it_says_the_same(there: Ledger, demo_ledger: Ledger, name: str) -> None:
    ours, theirs = (_plain(fetch(ledger, QUESTIONS[name])) for ledger in (demo_ledger, there))
    assert len(ours) == len(theirs)
    assert [line for one, other in zip(ours, theirs, strict=True) for line in unlike(one, other)] == []


def _plain(frame: Any) -> list[list[Any]]:
    """The rows in one order, days as texts, whole numbers as such, and what is missing as a text that none is."""
    rows = frame.astype(object).where(frame.notna(), "missing").to_numpy().tolist()
    plain = [[_plain_value(cell) for cell in row] for row in rows]
    return sorted(plain, key=lambda row: [(isinstance(cell, str), cell) for cell in row])


def _plain_value(cell: Any) -> Any:
    if isinstance(cell, float) and cell.is_integer():
        return int(cell)
    return cell if isinstance(cell, (int, float, str)) else str(cell)


@pytest.mark.long
def test_values_come_back(there: Ledger) -> None:
    assert_same_texts(there)
    assert_same_values(there)


@pytest.mark.long
def test_farms_are_told_apart(there: Ledger) -> None:
    assert_farms_are_told_apart(there)


def test_what_an_engine_cannot_say_is_an_error() -> None:
    question = "SELECT LAST_VALUE(score IGNORE NULLS) OVER (ORDER BY visit_date) AS last FROM scores"
    assert "IGNORE NULLS" in translate_question(question, "pyspark")
    with pytest.raises(sqlglot.errors.UnsupportedError):
        translate_question(question, "postgres")


def test_a_division_by_nothing_gives_nothing() -> None:
    for dialect in ("postgres", "pyspark"):
        assert "NULLIF" in translate_question("SELECT m / n AS share FROM t", dialect)
        assert "NULLIF" not in translate_question("SELECT m / 30.4 AS months FROM t", dialect)
    assert translate_question("SELECT m / n AS share FROM t", "duckdb") == "SELECT m / n AS share FROM t"
