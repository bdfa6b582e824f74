"""How far the cells of a tab reach, told from its XML before anything makes room for them.

Two cells in far corners, or one that is said to repeat a million times, are a small file and a full memory.
"""

from __future__ import annotations

import re

_LETTERS = re.compile(rb"r=[\"']([A-Z]{1,3})\d")
# A tab of fewer than a thousand rows is small in any case, so those need not be counted.
_ROW = re.compile(rb"r=[\"'][A-Z]{1,3}(\d{4,7})[\"']")
_TOKEN = re.compile(rb"<table:(?:table-row|(?:covered-)?table-cell)\b[^<>]*>|</table:table>")
_REPEATED_COLUMNS = re.compile(rb"number-columns-repeated=[\"'](\d{1,9})")
_REPEATED_ROWS = re.compile(rb"number-rows-repeated=[\"'](\d{1,9})")
_SPACES = re.compile(rb"<text:s[^<>]*?text:c=[\"'](\d{1,12})")
_LONGEST_TOKEN = 4096


class Extent:
    """Of a part that has no cells."""

    def __init__(self) -> None:
        self.rows = 1
        self.columns = 1
        self.spaces = 0
        self.cells = 0

    def take(self, piece: bytes) -> bytes:
        """Look at a piece; give back the end of it that belongs with the next."""
        return b""


class TabExtent(Extent):
    """Of a tab of an xlsx file, from the references of its cells."""

    def take(self, piece: bytes) -> bytes:
        # Cells need not say where they stand; those in the seam of two pieces are counted twice, which are few.
        self.cells += piece.count(b"<c ") + piece.count(b"<c>")
        for letters in set(_LETTERS.findall(piece)):
            self.columns = max(self.columns, column_number(letters))
        rows = set(_ROW.findall(piece))
        if rows:
            self.rows = max(self.rows, max(map(int, rows)))
        return piece[-24:]


class RepeatedExtent(Extent):
    """Of the tabs of an ods file, from how often rows and cells are said to repeat.

    Empty cells at the end of a row, and empty rows at the end of a tab, take no room.
    """

    def __init__(self) -> None:
        super().__init__()
        self._row = 0
        self._times = 1
        self._column = 0

    def take(self, piece: bytes) -> bytes:
        # What is looked at twice, at the seam of two pieces, is counted twice; the limit is far from any real sheet.
        self.spaces += sum(int(times) for times in _SPACES.findall(piece))
        end = 0
        for match in _TOKEN.finditer(piece):
            end = match.end()
            token = match[0]
            if token.startswith(b"</"):
                self._row, self._times = 0, 1
            elif token.startswith(b"<table:table-row"):
                self._row += self._times if self._row else 0
                self._row = max(self._row, 1)
                self._times = _times(_REPEATED_ROWS, token)
                self._column = 0
            else:
                self._column += _times(_REPEATED_COLUMNS, token)
                if not token.endswith(b"/>"):
                    self.columns = max(self.columns, self._column)
                    self.rows = max(self.rows, self._row + self._times - 1)
        return piece[max(end, len(piece) - _LONGEST_TOKEN) :]


def _times(pattern: re.Pattern[bytes], token: bytes) -> int:
    match = pattern.search(token)
    return int(match[1]) if match else 1


def column_number(letters: bytes) -> int:
    """The number of a column from its letters.

    Example
    -------
    >>> column_number(b"A"), column_number(b"AA"), column_number(b"XFD")
    (1, 27, 16384)
    """
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number
