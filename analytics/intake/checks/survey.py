"""What stands in a sheet, before any of it is judged: the distinct texts of every column and how often each.

A sheet is surveyed piece by piece, so that it need not be in memory whole. Columns that may say something
else in every row (the cow, remarks, lists of dates) are not gathered: nothing about them depends on other rows.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from evenfoot.analytics.intake.checks.dictionary_encoding import CodedPiece
from evenfoot.analytics.intake.headings import Headings
from evenfoot.analytics.intake.parsing.column_values import date_pieces
from evenfoot.analytics.intake.parsing.combinations import combinations
from evenfoot.analytics.intake.rejected_rows import bare_text
from evenfoot.analytics.intake.sheet import Codes, Positions, RawColumn, RawSheet, Rows

ROW_BY_ROW = ("cow", "text", "dates", "moves")
"""Types of field whose texts are read piece by piece."""

OF_FINDING = ("lesion", "lesion_detail", "dd_stage")
"""Fields that are read together."""

OF_SCALE = {"trims": ("locomotion_score", "locomotion_scale"), "locomotion": ("score", "scale")}
"""Kind of sheet -> its score and the scale of it, which is worked out farm by farm."""


class Texts:
    """The distinct texts of a column, in the order in which they are met, and how many rows hold each."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {"": 0}
        self._rows: Rows = np.zeros(1, dtype=np.int64)

    def numbers(self, texts: Iterable[str]) -> Codes:
        """The number of each text; new ones get the next."""
        numbers = self._numbers
        return np.array([numbers.setdefault(text, len(numbers)) for text in texts], dtype=np.int32)

    def count(self, numbers: Codes, rows: Rows) -> None:
        """Add rows to texts."""
        if len(self._rows) < len(self._numbers):
            self._rows = np.concatenate([self._rows, np.zeros(len(self._numbers), dtype=np.int64)])
        np.add.at(self._rows, numbers, rows)

    @property
    def raw(self) -> list[str]:
        """Letter for letter as they stand in the file."""
        return list(self._numbers)

    @property
    def texts(self) -> list[str]:
        """As the cells say them, without the apostrophe that keeps a spreadsheet from computing."""
        return [bare_text(text) for text in self._numbers]

    @property
    def rows(self) -> Rows:
        """How many rows hold each text."""
        missing = max(0, len(self._numbers) - len(self._rows))
        return np.concatenate([self._rows, np.zeros(missing, dtype=np.int64)])[: len(self._numbers)]


class Survey:
    """The texts of a sheet's columns, gathered piece by piece.

    Attributes
    ----------
    texts : dict of str to Texts
        Of the fields that are not read row by row.
    dates : list of (str, int)
        Every date of the lists of dates, and in how many rows it stands.
    rows, repeats : int
        Rows that are records, and rows that repeat the headings.
    findings : Counter
        Rows of every combination of lesion, subtype and stage, by the numbers of their texts.
    scores : set
        Every combination of farm, score and scale, likewise.
    told_extra : set of int
        Columns that are no field and say something.
    marked_cows : bool
        Whether a row has no cow, or one whose number has signs around it.
    """

    def __init__(self, headings: Headings) -> None:
        self.headings = headings
        matches = headings.matches
        self.texts = {name: Texts() for name, match in matches.items() if match.field.type not in ROW_BY_ROW}
        self._dates: dict[str, Counter[str]] = {
            name: Counter() for name, match in matches.items() if match.field.type in ("dates", "moves")
        }
        self.rows = self.repeats = 0
        self.findings: Counter[tuple[int, ...]] = Counter()
        self.scores: set[tuple[int, ...]] = set()
        self.told_extra: set[int] = set()
        self.marked_cows = False

    def add(self, piece: RawSheet, *, first: bool) -> CodedPiece:
        """Take in some rows of the sheet; the first piece has the headings. Gives its records as codes."""
        positions, repeats = record_rows(piece, self.headings, first=first)
        self.rows += len(positions)
        self.repeats += repeats
        codes: dict[str, Codes] = {}
        for name, match in self.headings.matches.items():
            column = piece.columns[match.column].among(positions)
            if name in self.texts:
                numbers = self.texts[name].numbers(column.texts)
                self.texts[name].count(numbers, column.counts())
                codes[name] = numbers[column.codes]
            elif match.field.type == "cow" and not self.marked_cows:
                here = zip(column.texts, column.counts().tolist(), strict=True)
                self.marked_cows = any(rows and _is_marked(text) for text, rows in here)
            elif name in self._dates:
                for text, rows in zip(column.texts, column.counts().tolist(), strict=True):
                    for one in date_pieces(bare_text(text), match.field.type) if rows else ():
                        self._dates[name][one] += rows
        self._combine(codes, len(positions))
        gathered = {self.headings.matches[name].column for name in codes}
        columns = {
            number: column if len(positions) == len(piece) else column.among(positions)
            for number, column in enumerate(piece.columns)
            if number not in gathered
        }
        for number in (*self.headings.extra, *self.headings.doubled):
            if number not in self.told_extra and number < len(piece.columns):
                column = piece.columns[number].among(positions)
                says = zip(column.texts, column.counts().tolist(), strict=True)
                if any(rows and bare_text(text).strip() for text, rows in says):
                    self.told_extra.add(number)
        return CodedPiece(piece.row_numbers(positions), codes, columns)

    def _combine(self, codes: dict[str, Codes], rows: int) -> None:
        if self.headings.kind == "trims":
            keys, counts = combinations([codes.get(name) for name in OF_FINDING], rows)
            self.findings.update(dict(zip(keys, counts.tolist(), strict=True)))
        if self.headings.kind in OF_SCALE:
            score, scale = OF_SCALE[self.headings.kind]
            if score in codes:
                keys, _ = combinations([codes.get("farm"), codes[score], codes.get(scale)], rows)
                self.scores |= set(keys)

    def date_texts(self) -> list[tuple[str, int]]:
        """Every text that should be a date, and in how many rows it stands."""
        out: list[tuple[str, int]] = []
        for name, match in self.headings.matches.items():
            if match.field.type == "date":
                texts = self.texts[name]
                out += [(t, n) for t, n in zip(texts.texts, texts.rows.tolist(), strict=True) if n]
            elif name in self._dates:
                out += self._dates[name].items()
        return out


def _is_marked(cow: str) -> bool:
    bare = cow.strip()
    return not bare or bare[0] == "#" or bare[-1] in "*#"


def record_rows(piece: RawSheet, headings: Headings, *, first: bool) -> tuple[Positions, int]:
    """Positions of the rows that are records, and how many repeat the headings.

    Records stand under the headings, are not blank, and do not say the headings once more, as a printed
    list does on a new page.
    """
    filled = np.zeros(len(piece), dtype=bool)
    for number, column in enumerate(piece.columns):
        if number not in headings.own and not filled.all():
            says = np.array([bool(text.strip()) for text in column.texts], dtype=bool)
            filled |= says[column.codes]
    again = np.ones(len(piece), dtype=bool)
    for column, heading in zip(piece.columns, headings.cells, strict=False):
        if not again.any():
            break
        again &= _stands(column, heading)
    if first:
        filled[: headings.position + 1] = False
        again[: headings.position + 1] = False
    return np.flatnonzero(filled & ~again), int(again.sum())


def _stands(column: RawColumn, text: str) -> npt.NDArray[np.bool_]:
    try:
        return np.asarray(column.codes == column.texts.index(text))
    except ValueError:
        return np.zeros(len(column.codes), dtype=bool)
