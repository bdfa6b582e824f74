"""JSON: a list of objects, or lists of objects under the names of the kinds of sheet."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.fields import KINDS
from evenfoot.analytics.intake.readers.column_builder import MOST_COLUMNS, gather
from evenfoot.analytics.intake.readers.data_exchange import is_diagnosis_collection, trim_rows
from evenfoot.analytics.intake.readers.excel import MOST_CELLS, cell_text
from evenfoot.analytics.intake.readers.nested_records import flat_records, is_nested
from evenfoot.analytics.intake.sheet import RawSheet
from evenfoot.analytics.messages import say


def looks_like_json(text: str) -> bool:
    """Whether a text starts as JSON does."""
    return text.lstrip()[:1] in ("{", "[")


def read_objects(text: str, name: str) -> list[RawSheet]:
    """The lists of a JSON text as raw sheets; row numbers count the objects from 1.

    Raises
    ------
    UserError
        The text is not JSON, or holds no list of objects.
    """
    try:
        said: Any = _objects_by_line(text) or json.loads(text)
    except json.JSONDecodeError as error:
        raise UserError(
            say(
                "{name} is not proper JSON: line {lineno}, column {colno}.",
                name=name,
                lineno=error.lineno,
                colno=error.colno,
            )
        ) from None
    except (RecursionError, ValueError):
        raise UserError(
            say("{name} is not JSON that can be read: it is nested too deep or a number is too long.", name=name)
        ) from None
    if is_diagnosis_collection(said):
        return [replace(sheet_of_objects(trim_rows(said, name), name, "trims"), exact=True)]
    if isinstance(said, list | dict) and is_nested(said):
        return [sheet_of_objects(flat_records(said), name, None)]
    if isinstance(said, list):
        return [sheet_of_objects(said, name, None)]
    lists = {key: value for key, value in said.items() if isinstance(value, list)} if isinstance(said, dict) else {}
    if not lists:
        raise UserError(
            say('{name} holds no list of records; give [{{...}}, ...] or {{"trims": [{{...}}, ...]}}.', name=name)
        )
    return [
        sheet_of_objects(value, name if len(lists) == 1 else f"{name}, {key}", key if key in KINDS else None)
        for key, value in lists.items()
    ]


def _objects_by_line(text: str) -> list[Any] | None:
    """The objects of a text that has one on each line; ``None`` for any other JSON."""
    lines = [line for line in text.splitlines() if line.strip()]
    if len(lines) < 2 or not all(line.strip().startswith("{") and line.rstrip(" ,").endswith("}") for line in lines):
        return None
    try:
        return [json.loads(line.rstrip(" ,")) for line in lines]
    except json.JSONDecodeError:
        return None


def sheet_of_objects(records: list[Any], source: str, hint: str | None) -> RawSheet:
    """Objects with named fields as a raw sheet; *hint* is the kind of sheet, where it is known."""
    for place, record in enumerate(records, start=1):
        if not isinstance(record, dict):
            raise UserError(
                say("{source}: entry {place} is not an object with named fields.", source=source, place=place)
            )
    names = list(dict.fromkeys(key for record in records for key in record))
    if len(names) > MOST_COLUMNS or len(names) * len(records) > MOST_CELLS:
        raise UserError(
            say(
                "{source}: {n:,} entries with {n_2:,} different names come to too many cells. Take away what is not "
                "records, or give the entries in parts.",
                source=source,
                n=len(records),
                n_2=len(names),
            )
        )
    return replace(gather(_rows(records, names), source), first_row=0, kind_hint=hint, has_headings=True)


def _rows(records: list[dict[str, Any]], names: list[str]) -> Iterator[list[str]]:
    yield names
    for record in records:
        yield [_text(record.get(name)) for name in names]


def _text(value: Any) -> str:
    if isinstance(value, list) and all(not isinstance(one, dict | list) for one in value):
        return "; ".join(_text(one) for one in value)
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False)
    text = cell_text(value)
    if not text.isascii() and any("\ud800" <= letter <= "\udfff" for letter in text):
        raise UserError(say("A JSON text holds half of a character (a lone surrogate). Save the file again as UTF-8."))
    return text
