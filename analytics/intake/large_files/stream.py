"""A file larger than memory becomes records: surveyed once, judged, then checked piece by piece.

What comes out is what :func:`evenfoot.analytics.intake.pipeline.check_file` gives for the same file.
"""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from evenfoot.analytics.concurrency import prefetch
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.checks.column_validation import Verdicts, judge, opening_notes
from evenfoot.analytics.intake.checks.dictionary_encoding import SpillFile, sheet_of
from evenfoot.analytics.intake.checks.records import CheckedRows, check_rows, set_aside_frame
from evenfoot.analytics.intake.checks.survey import Survey
from evenfoot.analytics.intake.fields import KINDS, dtype_of
from evenfoot.analytics.intake.headings import find_headings, is_whole, squeezed
from evenfoot.analytics.intake.large_files.chunks import CannotRead, Source, padded_head, parquet_source, text_sources
from evenfoot.analytics.intake.large_files.row_filter import KINDS_SCREENED, Screen, ScreenedRows
from evenfoot.analytics.intake.layouts.conversion import is_plain_head
from evenfoot.analytics.intake.layouts.plain_sheets import is_plain_survey
from evenfoot.analytics.intake.parsing.column_values import Setting
from evenfoot.analytics.intake.parsing.dates import decide_order
from evenfoot.analytics.intake.pipeline import lacks_farm, need_farm, understood_table
from evenfoot.analytics.intake.readers.encoding import sort_of_file
from evenfoot.analytics.intake.readers.json_objects import looks_like_json
from evenfoot.analytics.intake.readers.parquet import looks_like_parquet
from evenfoot.analytics.intake.sheet import CheckedSheet, RawSheet
from evenfoot.analytics.messages import Message

BIG_TEXT = 16_000_000
BIG_PARQUET = 4_000_000
"""Bytes from which a file is taken in pieces; a smaller one is as quick in one."""
LARGEST_UNFOLDED = 60_000_000
"""Bytes up to which a file with cells or rows that are not one record as they stand is read whole, to be unfolded. Of a
larger one such rows are set aside."""
FIRST_LINES = 20


@dataclass
class CheckedStream:
    """The records of one large sheet, piece by piece; see :class:`~evenfoot.analytics.intake.sheet.CheckedSheet`.

    ``understood``, ``first_set_aside`` (its first lines) and ``blanked`` are complete once the pieces have been taken.
    """

    kind: str
    source: str
    rows_read: int
    notes: tuple[Message, ...]
    verdicts: Verdicts
    _pieces: Callable[[], Iterator[CheckedRows | ScreenedRows]] = field(repr=False)
    first_set_aside: pd.DataFrame = field(default_factory=pd.DataFrame)
    blanked: int = 0

    def pieces(self) -> Iterator[CheckedRows | ScreenedRows]:
        """The checked rows, in the order of the file. To be taken once."""
        for piece in self._pieces():
            self.blanked += piece.blanked
            if len(self.first_set_aside) < FIRST_LINES:
                parts = [self.first_set_aside, piece.set_aside] if len(self.first_set_aside) else [piece.set_aside]
                self.first_set_aside = pd.concat(parts, ignore_index=True).head(FIRST_LINES)
            yield piece

    @property
    def understood(self) -> pd.DataFrame:
        """How headings and words were understood."""
        return understood_table(self.verdicts)

    def without_records(self) -> CheckedSheet:
        """What was said of the sheet, for showing: its notes and the first lines set aside."""
        none = pd.DataFrame({field.name: pd.Series(dtype=dtype_of(field)) for field in KINDS[self.kind]})
        return CheckedSheet(
            self.kind, self.source, none, self.first_set_aside, self.rows_read, self.understood, self.notes,
            blanked=self.blanked,
        )  # fmt: skip


def check_stream(
    path: Path,
    name: str,
    *,
    farm: str | None = None,
    day_first: bool | None = None,
    today: dt.date | None = None,
    known_farms: Sequence[str] = (),
    big_from: int | None = None,
) -> CheckedStream | None:
    """Check a large file without ever having it in memory.

    Parameters
    ----------
    path : Path
    name, farm, day_first, today, known_farms
        As for :func:`~evenfoot.analytics.intake.pipeline.check_file`.
    big_from : int, optional
        Bytes from which a file is large. ``BIG_TEXT`` and ``BIG_PARQUET`` without it.

    Returns
    -------
    CheckedStream or None
        ``None`` when the file is small, is missing, or is of a sort that is only read whole: a workbook, JSON,
        several tables one under the other, a layout that has to be unfolded, or one that leaves something open.

    Raises
    ------
    UserError
        As for ``check_file``.
    """
    found = None
    small = path.exists() and path.stat().st_size <= LARGEST_UNFOLDED
    for source in _sources(path, name, big_from):
        try:
            found = _surveyed(source, name, farm, small)
        except CannotRead:
            continue
        except UserError:
            if source.sure:
                raise
            continue
        break
    if found is None:
        return None
    survey, stash, like = found
    if small and not (is_plain_survey(survey) and is_plain_head(like, name)):
        return None
    try:
        order = decide_order(survey.date_texts(), name, day_first)
    except UserError:
        if small:
            # Read whole, it is asked about.
            return None
        raise
    verdicts = judge(survey, Setting(order, today or dt.date.today(), False), farm, list(known_farms))

    def pieces() -> Iterator[CheckedRows | ScreenedRows]:
        yield from _checked(stash, survey, verdicts, like, farm)

    notes = (*opening_notes(order, name, survey), *verdicts.told.notes)
    return CheckedStream(survey.headings.kind, name, survey.rows, notes, verdicts, pieces)


def _sources(path: Path, name: str, big_from: int | None) -> Iterable[Source]:
    """Of a large file; none of another. The next is read if one cannot be."""
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(4096)
    except OSError:
        return ()
    if looks_like_parquet(head):
        return (parquet_source(path, name),) if size >= (BIG_PARQUET if big_from is None else big_from) else ()
    if size < (BIG_TEXT if big_from is None else big_from) or sort_of_file(head) != "text":
        return ()
    beginning = head.decode("utf-8-sig", errors="ignore")
    if not beginning.strip() or looks_like_json(beginning) or name.casefold().endswith(".json"):
        return ()
    return text_sources(path, name)


def _checked(
    stash: SpillFile, survey: Survey, verdicts: Verdicts, like: RawSheet, farm: str | None
) -> Iterator[CheckedRows | ScreenedRows]:
    """The records of the stash, checked."""
    headings = survey.headings
    place_of = {name: headings.matches[name].column for name in survey.texts}
    raw = {name: texts.raw for name, texts in survey.texts.items()}
    none_aside = set_aside_frame([])
    screened = headings.kind in KINDS_SCREENED
    screen = Screen(survey, verdicts, may_be_overlong=not like.has_headings) if screened else None
    for piece in stash.pieces():
        if screen is None:
            sheet = sheet_of(piece, like, place_of, raw)
            yield check_rows(sheet, headings, survey, verdicts, farm, first=False, rows=piece.rows)
            continue
        values, suspect = screen.sift(piece)
        aside = none_aside
        if suspect.any():
            some = piece.among(np.flatnonzero(suspect))
            sheet = sheet_of(some, like, place_of, raw)
            checked = check_rows(sheet, headings, survey, verdicts, farm, first=False, rows=some.rows, counted=True)
            aside = checked.set_aside
            if len(checked):
                yield CheckedRows(checked.records, none_aside, 0, checked.blanked)
        good = np.flatnonzero(~suspect)
        yield ScreenedRows(headings.kind, values, piece.rows, good, aside, len(piece))


def _surveyed(source: Source, name: str, farm: str | None, small: bool) -> tuple[Survey, SpillFile, RawSheet] | None:
    """The survey of the whole file, its records as codes, and its headings; ``None`` of several tables in one.

    Raises
    ------
    CannotRead
        None of the source's ways suits it, or it is of a layout that is only read whole.
    UserError
        It is too large to be asked about, and its farm is told nowhere.
    """
    stash = SpillFile(name)
    for way in source.ways:
        width = len(source.head.columns)
        try:
            while True:
                like = padded_head(source.head, width)
                headings = find_headings(like)
                if headings is None or not is_whole(headings) or (small and lacks_farm(headings, farm)):
                    # Another layout, or one that has to be asked about.
                    raise CannotRead
                need_farm(like, headings, farm)
                survey, first, broadest, marks = Survey(headings), source.headed, width, 0
                stash.empty()
                # The next rows are read while these are looked at.
                with contextlib.closing(prefetch(way(width))) as pieces:
                    for piece in pieces:
                        broadest = max(broadest, len(piece.columns))
                        if broadest == width:
                            stash.put(survey.add(piece, first=first))
                            marks += _marks(piece)
                        first = False
                if broadest == width:
                    break
                # Rows broader than the headings give columns of their own, so look again with those in mind.
                width = broadest
        except CannotRead:
            continue
        return (survey, stash, like) if marks < 2 else None
    raise CannotRead


def _marks(piece: RawSheet) -> int:
    """Rows that head a list of set-aside rows."""
    return sum(
        int((column.codes == code).sum())
        for column in piece.columns
        for code, text in enumerate(column.texts)
        if "problem" in text[:40].casefold() and squeezed(text[:40]) == "evenfootproblem"
    )
