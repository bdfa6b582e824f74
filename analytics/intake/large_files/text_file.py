"""A large text file on disk: its encoding, and whether a quicker reader may read it in place of Python's own.

The engine reads delimited text many times faster, and reads plain text alike; Arrow twice as fast again, and alike
where quotation marks are tidy as well. Where they would read something differently (blank rows, spaces round a
quotation mark, mixed ends of lines) Python's reader is used.
"""

from __future__ import annotations

import codecs
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.readers.encoding import CONTROL_SHARE, decoded
from evenfoot.analytics.intake.readers.quotation_marks import Quoting
from evenfoot.analytics.messages import say

BLOCK = 1 << 20
HEAD = 1 << 20
"""Bytes in which the separator and the headings are looked for."""
_CONTROLS = bytes(code for code in range(32) if code not in (9, 10, 11, 12, 13))
_ODD_QUOTES = re.compile(rb'(?:^|[,;|\n])[ \t]+"|\t *\t"|\t +"|"[ \t]+(?:[,;|\t\n]|$)')
_BLANK_ROW = re.compile(rb"\n[ \t]*\n")


@dataclass(frozen=True)
class TextFile:
    """A file of text.

    Attributes
    ----------
    path : Path
    name, encoding : str
    plain : bool
        Whether the engine reads its rows as Python's reader does.
    tidy : frozenset of str
        Separators with which Arrow reads it so, too.
    """

    path: Path
    name: str
    encoding: str
    plain: bool
    tidy: frozenset[str] = frozenset()

    def open(self) -> IO[str]:
        """The text, its ends of lines as they stand."""
        return io.TextIOWrapper(self.path.open("rb"), encoding=self.encoding, newline="")

    def head(self) -> str:
        """The first part of the text."""
        with self.open() as text:
            return text.read(HEAD)


def look_through(path: Path, name: str) -> TextFile:
    """Read the whole file once for its encoding, and for what is no text.

    Raises
    ------
    UserError
        The bytes are no text, or break off in the middle of a letter.
    """
    with path.open("rb") as opened:
        head = opened.read(1 << 16)
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _in(path, name, "utf-16")
    if head.count(0):
        # Text in UTF-16 without a mark, or no text: what is said of it is said of its beginning.
        decoded(head, name)
        return _in(path, name, "utf-16-le" if head[1::2].count(0) > head[::2].count(0) else "utf-16-be")
    marked = head.startswith(codecs.BOM_UTF8)
    look = _Look()
    try:
        for block in blocks(path):
            look.add(block)
        look.end()
    except UnicodeDecodeError:
        if marked:
            raise UserError(
                say("{name} is damaged: its text breaks off or is garbled. Save it again.", name=name)
            ) from None
        return _in(path, name, "cp1252")
    # Old programs end a file with this character; it is no part of the text.
    ends = len(look.before) - len(look.before.rstrip(b"\x1a"))
    plain = look.plain and not ends
    tidy = look.quoting.tidy() if plain else frozenset()
    file = TextFile(path, name, "utf-8-sig" if marked else "utf-8", plain, tidy)
    _refuse_controls(file, look.controls - ends, look.size - ends)
    return file


def first_look(path: Path, name: str) -> TextFile | None:
    """What the beginning of a file lets one hope of the whole; ``None`` if it does not read as Arrow reads it."""
    with path.open("rb") as opened:
        head = opened.read(HEAD)
    lines = head[: head.rfind(b"\n") + 1]
    look = _Look()
    try:
        look.add(lines)
    except UnicodeDecodeError:
        return None
    tidy = look.quoting.tidy()
    if not lines or not look.plain or look.controls or not tidy:
        return None
    return TextFile(path, name, "utf-8-sig" if head.startswith(codecs.BOM_UTF8) else "utf-8", True, tidy)


class _Look:
    """What has been seen of a text that is taken for UTF-8, block by block."""

    def __init__(self) -> None:
        self._decoder = codecs.getincrementaldecoder("utf-8")()
        self.controls = self.size = 0
        self.before, self.plain, self.quoting = b"\n", True, Quoting()

    def add(self, block: bytes) -> None:
        """Look at the next bytes.

        Raises
        ------
        UnicodeDecodeError
            They are not UTF-8.
        """
        if not block.isascii() or self._decoder.getstate()[0]:
            self._decoder.decode(block)
        self.size += len(block)
        self.controls += _controls_in(block)
        if self.plain:
            spaced = self.quoting.add(block)
            seam = self.before[-64:] + block
            self.plain = not (
                b"\r" in block or b"\x00" in block or _BLANK_ROW.search(seam) or (spaced and _ODD_QUOTES.search(seam))
            )
        self.before = block

    def end(self) -> None:
        """There are no more bytes; raises as :meth:`add` does."""
        self._decoder.decode(b"", final=True)


def _controls_in(block: bytes) -> int:
    """How many control characters there are, the ends of lines and tabs apart."""
    below = int(np.count_nonzero(np.frombuffer(block, dtype=np.uint8) < 32))
    if below == block.count(b"\n"):
        return 0
    return len(block) - len(block.translate(None, _CONTROLS))


def blocks(path: Path) -> Iterator[bytes]:
    """The bytes of a file, piece by piece."""
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            yield block


def _in(path: Path, name: str, encoding: str) -> TextFile:
    """A file in an encoding that only Python reads, decoded once to see that it holds."""
    file = TextFile(path, name, encoding, False)
    controls = size = ends = 0
    table = dict.fromkeys(_CONTROLS)
    try:
        with file.open() as text:
            while part := text.read(BLOCK):
                size += len(part)
                controls += len(part) - len(part.translate(table))
                ends = len(part) - len(part.rstrip("\x1a"))
    except UnicodeDecodeError:
        said = "UTF-8, UTF-16 or Windows-1252" if encoding == "cp1252" else "UTF-16, as its first bytes say"
        raise UserError(
            say(
                "{name} is not a text file in {said}. Save the sheet again as CSV (UTF-8) or as a workbook.",
                name=name,
                said=said,
            )
        ) from None
    _refuse_controls(file, controls - ends, size - ends)
    return file


def _refuse_controls(file: TextFile, controls: int, size: int) -> None:
    line = _line_of_nul(file) if controls else 0
    if line or controls > CONTROL_SHARE * size:
        where = f" (line {line} holds a NUL)" if line else ""
        raise UserError(
            say(
                "{name} is not a text file, or it is damaged{where}. Save the sheet again as CSV (UTF-8) or as a "
                "workbook.",
                name=file.name,
                where=where,
            )
        )


def _line_of_nul(file: TextFile) -> int:
    """The line in which the first NUL stands; 0 if there is none."""
    before = 0
    with file.open() as text:
        while part := text.read(BLOCK):
            place = part.find("\x00")
            if place >= 0:
                return before + part.count("\n", 0, place) + 1
            before += part.count("\n")
    return 0
