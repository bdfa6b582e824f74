"""Bytes to text, and what sort of file the bytes are. Content decides, not the name."""

from __future__ import annotations

import codecs
import re

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

_MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"BM\x00", "a picture (BMP)"),
    (b"II*\x00", "a picture (TIFF)"),
    (b"MM\x00*", "a picture (TIFF)"),
    (b"%PDF", "a PDF document"),
    (b"{\\rtf", "a text document (RTF)"),
    (b"\x1f\x8b", "a compressed file (gzip)"),
    (b"7z\xbc\xaf", "a compressed file (7z)"),
    (b"Rar!", "a compressed file (RAR)"),
    (b"PAR1", "a Parquet file"),
    (b"SQLite format 3", "a database file"),
    (b"\x7fELF", "a program"),
    (b"MZ\x90", "a program"),
)
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f]")
CONTROL_SHARE = 0.001
"""A stray control character gets into a remark; more than this share of them is no text."""
UTF16_SAMPLE = 4096


def sort_of_file(data: bytes) -> str:
    """Zip, ole (an old spreadsheet), or text, by the first bytes.

    Raises
    ------
    UserError
        Never; what cannot be a sheet is returned in words, such as ``"a picture (PNG)"``.

    Example
    -------
    >>> sort_of_file(b"PK\\x03\\x04..."), sort_of_file(b"date,cow"), sort_of_file(b"%PDF-1.7")
    ('zip', 'text', 'a PDF document')
    """
    if data.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return "zip"
    if data.startswith(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"):
        return "ole"
    if data[8:12] == b"DUCK":
        return "a database file"
    if data[:4] == b"RIFF":
        return "a picture or a sound"
    for magic, words in _MAGIC:
        if data.startswith(magic):
            return words
    return "text"


def decoded(data: bytes, name: str) -> str:
    """The text of a file in UTF-8 (with or without a mark), UTF-16 or Windows-1252.

    Raises
    ------
    UserError
        The bytes are not text.

    Example
    -------
    >>> decoded("café".encode("cp1252"), "a.csv"), decoded("\\ufeffcow".encode("utf-16-le"), "a.csv")
    ('café', 'cow')
    """
    text = _as_text(data, name)
    text = text.rstrip("\x1a")  # old programs end a file with it
    place = text.find("\x00")
    if place >= 0 or len(_CONTROL.findall(text)) > CONTROL_SHARE * len(text):
        where = f" (line {text.count(chr(10), 0, place) + 1} holds a NUL)" if place >= 0 else ""
        raise UserError(
            say(
                "{name} is not a text file, or it is damaged{where}. Save the sheet again as CSV (UTF-8) or as a "
                "workbook.",
                name=name,
                where=where,
            )
        )
    return text


def _as_text(data: bytes, name: str) -> str:
    try:
        if data.startswith(codecs.BOM_UTF8):
            return data.decode("utf-8-sig")
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return data.decode("utf-16")
        blind = _unmarked_utf16(data)
        if blind:
            return data.decode(blind)
    except UnicodeDecodeError as error:
        raise UserError(
            say(
                "{name} is damaged: its text breaks off or is garbled at byte {value}. Save it again.",
                name=name,
                value=error.start + 1,
            )
        ) from None
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        pass
    try:
        return data.decode("cp1252")
    except UnicodeDecodeError as error:
        raise UserError(
            say(
                "{name} is not a text file in UTF-8, UTF-16 or Windows-1252 (byte {value}). Save the sheet again as "
                "CSV (UTF-8) or as a workbook.",
                name=name,
                value=error.start + 1,
            )
        ) from None


def _unmarked_utf16(data: bytes) -> str | None:
    """UTF-16 without a mark shows as a NUL in every other byte of plain letters."""
    sample = data[:UTF16_SAMPLE]
    if len(data) % 2 or len(sample) < 4:
        return None
    half = len(sample) // 2
    if sample[1::2].count(0) > 0.7 * half and sample[::2].count(0) == 0:
        return "utf-16-le"
    if sample[::2].count(0) > 0.7 * half and sample[1::2].count(0) == 0:
        return "utf-16-be"
    return None
