"""The parts that questions are written with: SQL text in the dialect of the embedded engine.

A question is one ``SELECT`` as text. A function that gives rows gives such a text, and who goes on from it puts it in
brackets: ``FROM ({trims(selection)}) AS t``. Values are written into the text by :func:`literal` and by nothing else.

The same text is translated for PostgreSQL and Spark
(:func:`evenfoot.analytics.ledger.engines.dialects.translate_question`), so it keeps to what all three know:

- ``CAST(x AS BIGINT)`` around every sum of whole numbers, which otherwise come back wider;
- ``CAST(truth AS INTEGER)`` where a truth is counted;
- ``GROUP BY`` and ``SELECT`` with the names of columns; no ``GROUP BY ALL``, ``EXCLUDE`` or ``QUALIFY``;
- a window function instead of the row with the largest value;
- :func:`days_between`, :func:`days_after`, :func:`first_of` for days.

A ``WITH`` is for rows that are grouped or joined and used twice. Rows that are only filtered are put in brackets each
time: the engine then reads the columns it needs and writes nothing down between.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping

Value = str | int | float | bool | dt.date | None


def literal(value: Value) -> str:
    """A value as SQL.

    Examples
    --------
    >>> literal("O'Hara"), literal(3), literal(None), literal(dt.date(2025, 3, 1))
    ("'O''Hara'", '3', 'NULL', "DATE '2025-03-01'")
    """
    if value is None:
        return "NULL"
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int):
        return str(int(value))
    if isinstance(value, float):
        return f"CAST({float(value)!r} AS DOUBLE)"
    if isinstance(value, dt.date):
        return f"DATE '{value.year:04}-{value.month:02}-{value.day:02}'"
    return "'" + str(value).replace("'", "''") + "'"


def name(column: str) -> str:
    """The name of a column, in quotes: ``group`` is a word of SQL's, and ``cow nn`` has a blank."""
    return '"' + column.replace('"', '""') + '"'


def names(columns: Iterable[str], of: str = "") -> str:
    """Names of columns with commas between.

    Examples
    --------
    >>> names(["farm", "group"], of="t")
    't."farm", t."group"'
    """
    return ", ".join(f"{of}.{name(column)}" if of else name(column) for column in columns)


def listed(columns: Mapping[str, str]) -> str:
    """What is selected, each under its name.

    Examples
    --------
    >>> listed({"n": "COUNT(*)", "lame": "SUM(lame)"})
    'COUNT(*) AS "n", SUM(lame) AS "lame"'
    """
    return ", ".join(f"{expression} AS {name(column)}" for column, expression in columns.items())


def commas(*parts: str) -> str:
    """Parts of a ``SELECT`` with commas between; those that are empty are left out."""
    return ", ".join(part for part in parts if part)


def among(expression: str, values: Iterable[Value]) -> str:
    """Whether an expression is one of the values; of none it is not.

    Examples
    --------
    >>> among("farm", ["Elm", "Ash"])
    "farm IN ('Elm', 'Ash')"
    """
    inside = ", ".join(literal(value) for value in values)
    return f"{expression} IN ({inside})" if inside else "FALSE"


def where(*conditions: str) -> str:
    """`` WHERE`` all of the conditions, or nothing where there are none."""
    kept = [condition for condition in conditions if condition]
    return f" WHERE {' AND '.join(f'({condition})' for condition in kept)}" if kept else ""


def group_by(keys: Iterable[str]) -> str:
    """`` GROUP BY`` the columns, or nothing where there are none: one row for everything then."""
    keys = list(keys)
    return f" GROUP BY {names(keys)}" if keys else ""


def cases(expression: str, values: Mapping[Value, Value], otherwise: Value = None) -> str:
    """What stands for each value of an expression."""
    whens = " ".join(f"WHEN {literal(value)} THEN {literal(told)}" for value, told in values.items())
    return f"CASE {expression} {whens} ELSE {literal(otherwise)} END"


def total(expression: str) -> str:
    """The sum of whole numbers, as a 64-bit number: the engine gives a wider one."""
    return f"CAST(SUM({expression}) AS BIGINT)"


def matched(keys: Iterable[str], left: str, right: str) -> str:
    """What joins two tables by columns of one name; of no column every row meets every other."""
    keys = list(keys)
    return " AND ".join(f"{left}.{name(key)} = {right}.{name(key)}" for key in keys) or "TRUE"


def union(*questions: str) -> str:
    """The rows of several questions one under the other, repeats and all."""
    return " UNION ALL ".join(questions)


def first_of(period: str, day: str) -> str:
    """The first day of a day's ``month`` or ``quarter``."""
    return f"CAST(DATE_TRUNC('{period}', {day}) AS DATE)"


def part_of(part: str, day: str) -> str:
    """The ``year``, ``quarter`` or ``month`` of a day, as a number."""
    return f"CAST(EXTRACT({part} FROM {day}) AS BIGINT)"


def days_between(earlier: str, later: str) -> str:
    """Days from one day to another."""
    return f"DATE_DIFF('day', {earlier}, {later})"


def days_after(day: str, days: str | int) -> str:
    """The day that comes some days after a day; ``days`` is a whole number, or an expression of one."""
    return f"CAST({day} + ({days}) * INTERVAL 1 DAY AS DATE)"


def months_after(day: str, months: str | int) -> str:
    """The day that comes some months after a first of a month."""
    return f"CAST({day} + ({months}) * INTERVAL 1 MONTH AS DATE)"


def bit(place: str) -> str:
    """Two to the power of a place (0 to 62); engines differ in what they shift."""
    return f"CAST(POW(2.0, {place}) AS BIGINT)"


def whole_numbers(count: int) -> str:
    """``place``: the numbers from 0 on, *count* of them."""
    return f"SELECT UNNEST(RANGE(0, {count})) AS place"
