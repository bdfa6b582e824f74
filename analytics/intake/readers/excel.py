"""Workbooks: every tab of an xlsx, xls or ods file, with real dates and numbers."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, NoReturn

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.readers.column_builder import MOST_COLUMNS, gather
from evenfoot.analytics.intake.readers.sheet_extent import Extent, RepeatedExtent, TabExtent
from evenfoot.analytics.intake.sheet import RawSheet
from evenfoot.analytics.messages import say

MOST_UNPACKED_BYTES = 2_000_000_000
MOST_FILES_WITHIN = 10_000
MOST_TIMES_PACKED = 200
MOST_PACKED_UNASKED = 50_000_000
"""A part of more bytes than this that was packed to less than one in so many is made to fill a memory; a tab of records
comes to one in ten or thirty. [common practice, no source]"""
MOST_TABS = 500
MOST_LIST_OF_TABS = 5_000_000
"""Bytes of the part that names the tabs."""
MOST_CELLS = 20_000_000
"""Rows times columns of one tab: two far corners are enough to fill the memory."""
MOST_SPACES = 1_000_000
_PIECE = 1 << 20
_PACKED_PIECE = 1 << 16
_EXTENTS: dict[str, type[Extent]] = {"tab": TabExtent, "content": RepeatedExtent}


def read_workbook(data: bytes, name: str, *, zipped: bool) -> list[RawSheet]:
    """The tabs of a workbook, each a raw sheet. Numbers lose a trailing ``.0``; dates become ISO text.

    Raises
    ------
    UserError
        The file is damaged, locked with a password, far too large unpacked, or no workbook at all.
    """
    import python_calamine as calamine

    commented = zipped and _check_archive(data, name)
    try:
        book = calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        tabs = [tab for tab in book.sheets_metadata if tab.typ == calamine.SheetTypeEnum.WorkSheet]
        if len(tabs) > MOST_TABS:
            raise _too_many_tabs(name)
        sheets = []
        for tab in tabs:
            source = name if len(tabs) == 1 else f"{name}, tab {tab.name}"
            sheet = book.get_sheet_by_name(tab.name)
            # Without skipping, row 1 is the sheet's row 1, so row numbers are the person's.
            rows = sheet.to_python(skip_empty_area=False)
            sheets.append(
                replace(gather(_texts(rows), source, from_workbook=True), tab=str(tab.name), commented=commented)
            )
    except calamine.PasswordError:
        raise UserError(say("{name} is locked with a password; save it without one.", name=name)) from None
    except (calamine.CalamineError, OSError, ValueError) as error:
        if isinstance(error, UserError):
            raise
        _cannot_open(name)
    except BaseException as error:
        # The reader's own failures inside come as a panic, which is no Exception.
        if type(error).__name__ != "PanicException":
            raise
        _cannot_open(name)
    return sheets


def _too_many_tabs(name: str) -> UserError:
    return UserError(
        f"{name} has more than {MOST_TABS} tabs; it was not opened. Save only the tabs with records in them."
    )


def _cannot_open(name: str) -> NoReturn:
    raise UserError(
        say(
            "{name} cannot be opened as a workbook: it is damaged or of another sort. Save it again as xlsx.", name=name
        )
    )


def _texts(rows: Sequence[Sequence[Any]]) -> Iterator[list[str]]:
    # Numbers and dates come back over and over; each is put in words once.
    known: dict[tuple[type, Any], str] = {}
    for row in rows:
        texts = []
        for cell in row:
            if type(cell) is str:
                texts.append(cell)
                continue
            key = (type(cell), cell)
            text = known.get(key)
            if text is None:
                text = known[key] = cell_text(cell)
            texts.append(text)
        yield texts


def cell_text(cell: Any) -> str:
    """A workbook's value as the text a person would type.

    Example
    -------
    >>> import datetime
    >>> cell_text(123.0), cell_text(29.5), cell_text(datetime.date(2026, 3, 14)), cell_text(True)
    ('123', '29.5', '2026-03-14', 'yes')
    """
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(" ", "seconds")
    return "" if cell is None else str(cell)


def _check_archive(data: bytes, name: str) -> bool:
    """Refuse archives that are no workbook, or that unpack to more than the memory should hold.

    Returns
    -------
    bool
        Whether cells have comments.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        members = archive.infolist()
    except (zipfile.BadZipFile, RuntimeError, ValueError, OSError):
        _cannot_open(name)
    if len(members) > MOST_FILES_WITHIN or sum(one.file_size for one in members) > MOST_UNPACKED_BYTES:
        raise UserError(
            say(
                "{name} would unpack to more than {value} GB; it was not opened. Save only the sheets with records "
                "in it.",
                name=name,
                value=MOST_UNPACKED_BYTES // 1000000000,
            )
        )
    bombs = [one for one in members if one.file_size > max(MOST_PACKED_UNASKED, MOST_TIMES_PACKED * one.compress_size)]
    if bombs:
        raise UserError(
            say(
                "{name} would unpack to {value:,} MB of the same over and over; it was not opened. Copy the rows "
                "with records into a new workbook.",
                name=name,
                value=bombs[0].file_size // 1000000,
            )
        )
    if any(one.filename == "xl/workbook.xml" and one.file_size > MOST_LIST_OF_TABS for one in members):
        raise _too_many_tabs(name)
    names = {one.filename for one in members}
    if not any(one.startswith("xl/workbook") for one in names) and "content.xml" not in names:
        raise UserError(
            say("{name} is a zip archive, not a workbook. Unpack it and give the files in it one by one.", name=name)
        )
    for member in members:
        _check_member(archive, member, data, name)
    return any(one.startswith("xl/") and "comments" in one.casefold() and one.endswith(".xml") for one in names)


def _check_member(archive: zipfile.ZipFile, member: zipfile.ZipInfo, data: bytes, name: str) -> None:
    """Unpack a member piece by piece and throw it away: the sizes an archive states can be lies."""
    is_tab = member.filename.startswith("xl/worksheets/") and member.filename.endswith(".xml")
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) or member.flag_bits & 1:
        _cannot_open(name)
    try:
        with archive.open(member) as packed:
            packed.read(0)
        start = member.header_offset + 30
        start += int.from_bytes(data[start - 4 : start - 2], "little") + int.from_bytes(
            data[start - 2 : start], "little"
        )
    except (zipfile.BadZipFile, ValueError, OSError, EOFError, IndexError):
        _cannot_open(name)
    body = memoryview(data)[start : start + member.compress_size]
    extent = _EXTENTS.get("content" if member.filename == "content.xml" else "tab" if is_tab else "", Extent)()
    total, tail = 0, b""
    for piece in _pieces(body, member.compress_type, name):
        total += len(piece)
        if total > member.file_size:
            raise UserError(
                say("{name} unpacks to more than it says; it was not opened. Save it again as xlsx.", name=name)
            )
        tail = extent.take(tail + piece)
        if extent.columns > MOST_COLUMNS or max(extent.columns * extent.rows, extent.cells) > MOST_CELLS:
            raise UserError(
                say(
                    "{name}: a tab spans {rows:,} rows and {columns:,} columns, or holds more than {MOST_CELLS:,} "
                    "cells; it was not opened. Delete stray cells far out, or save the records as CSV.",
                    name=name,
                    rows=extent.rows,
                    columns=extent.columns,
                    MOST_CELLS=MOST_CELLS,
                )
            )
        if extent.spaces > MOST_SPACES:
            raise UserError(
                say(
                    "{name} has cells with {spaces:,} spaces in a row; it was not opened. Take them away and save it "
                    "again.",
                    name=name,
                    spaces=extent.spaces,
                )
            )


def _pieces(body: memoryview, method: int, name: str) -> Iterator[bytes]:
    if method == zipfile.ZIP_STORED:
        for start in range(0, len(body), _PIECE):
            yield bytes(body[start : start + _PIECE])
        return
    inflate = zlib.decompressobj(-zlib.MAX_WBITS)
    fed = 0
    rest: bytes | memoryview = b""
    try:
        while not inflate.eof:
            # Fed little by little: what is not yet taken is copied each time.
            if not rest:
                rest = body[fed : fed + _PACKED_PIECE]
                fed += len(rest)
            piece = inflate.decompress(rest, _PIECE)
            rest = inflate.unconsumed_tail
            if not piece and not rest and fed >= len(body):
                return
            yield piece
    except zlib.error:
        _cannot_open(name)
