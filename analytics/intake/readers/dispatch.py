"""Open a file, whatever it is, and find the sheets in it."""

from __future__ import annotations

from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.readers.delimited_text import read_delimited
from evenfoot.analytics.intake.readers.encoding import decoded, sort_of_file
from evenfoot.analytics.intake.readers.excel import read_workbook
from evenfoot.analytics.intake.readers.json_objects import looks_like_json, read_objects
from evenfoot.analytics.intake.readers.parquet import looks_like_parquet, read_parquet
from evenfoot.analytics.intake.sheet import RawSheet
from evenfoot.analytics.messages import say

WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
LARGEST_FILE = 200_000_000
"""Bytes."""


def read_sheets(path: Path | None, data: bytes | None, name: str) -> list[RawSheet]:
    """The sheets of a file, given as a path or as its bytes.

    Parameters
    ----------
    path : Path or None
    data : bytes or None
        One of the two.
    name : str
        What to call the file in messages.

    Returns
    -------
    list of RawSheet

    Raises
    ------
    UserError
        There is no such file, or it is empty, too large, damaged, or not a sheet.
    """
    content = _bytes(path, name) if data is None else data
    if len(content) > LARGEST_FILE:
        raise UserError(
            say(
                "{name} is larger than {value} MB. Split it, by year for instance, and import the parts.",
                name=name,
                value=LARGEST_FILE // 1000000,
            )
        )
    if not content.strip(b"\xef\xbb\xbf\xfe\xff \t\r\n\x00"):
        raise UserError(say("{name} is empty.", name=name))
    if looks_like_parquet(content):
        return read_parquet(content, name)
    sort = sort_of_file(content)
    if sort in ("zip", "ole"):
        return read_workbook(content, name, zipped=sort == "zip")
    if sort != "text":
        raise UserError(
            say("{name} is {sort}, not a sheet. Give a CSV, xlsx, xls, ods or JSON file.", name=name, sort=sort)
        )
    try:
        text = decoded(content, name)
    except UserError:
        if not name.casefold().endswith(WORKBOOKS):
            raise
        raise UserError(
            say("{name} is no workbook that can be opened. Save it again, as xlsx or CSV.", name=name)
        ) from None
    if looks_like_json(text) and (name.casefold().endswith(".json") or _is_json_at_heart(text)):
        return read_objects(text, name)
    if name.casefold().endswith(".json"):
        raise UserError(say("{name} is not proper JSON; it should start with [ or {{.", name=name))
    return read_delimited(text, name)


def _is_json_at_heart(text: str) -> bool:
    """A CSV may have a title in brackets; JSON goes on with a quotation mark, a brace or a bracket."""
    return text.lstrip()[1:].lstrip()[:1] in ('"', "{", "]", "}")


def _bytes(path: Path | None, name: str) -> bytes:
    if path is None:
        raise ValueError("read_sheets needs a path or the bytes")
    try:
        if path.exists() and not path.is_file() and not path.is_dir():
            raise UserError(say("{path} is no file that can be read; give the name of one.", path=path))
        if path.stat().st_size > LARGEST_FILE:
            raise UserError(
                say(
                    "{name} is larger than {value} MB. Split it, by year for instance, and import the parts.",
                    name=name,
                    value=LARGEST_FILE // 1000000,
                )
            )
        return path.read_bytes()
    except IsADirectoryError:
        raise UserError(say("{path} is a folder; give the files in it.", path=path)) from None
    except FileNotFoundError:
        raise UserError(say("There is no file {path}; check the name.", path=path)) from None
    except OSError as error:
        raise UserError(say("{path} cannot be read: {strerror}.", path=path, strerror=error.strerror)) from None
