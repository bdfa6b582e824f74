"""Large sheets: rows in which nothing can be wrong are told by the codes of their texts, and go on as they are.

Whatever may be wrong is looked at as the rows of a small sheet are (:mod:`evenfoot.analytics.intake.checks.records`),
so reasons are worded, and rows refused, in one place. A rule on several fields is worked out once for every combination
of texts.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.domain.lesions import says_nothing_found
from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.intake.checks.column_validation import Verdicts
from evenfoot.analytics.intake.checks.dictionary_encoding import CodedPiece
from evenfoot.analytics.intake.checks.plausibility import (
    CONTRADICTIONS,
    NOT_BEFORE_1980,
    RANGES,
    SAME_DAY_OR_EARLIER,
    Contradiction,
)
from evenfoot.analytics.intake.checks.records import additions_to_note, neutral
from evenfoot.analytics.intake.checks.score_scale import fill_scales
from evenfoot.analytics.intake.checks.survey import OF_FINDING, OF_SCALE, ROW_BY_ROW, Survey
from evenfoot.analytics.intake.fields import KINDS, Field, dtype_of, field_of
from evenfoot.analytics.intake.parsing.column_values import Distinct, distinct_values, read_texts
from evenfoot.analytics.intake.parsing.combinations import Known
from evenfoot.analytics.intake.parsing.dates import EARLIEST
from evenfoot.analytics.intake.sheet import Codes, Positions, RawColumn

KINDS_SCREENED = ("trims", "locomotion")
"""The kinds of sheet that grow large."""

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class ScreenedRows:
    """Records of one piece of a sheet in which nothing is wrong, and those of it that were set aside.

    Attributes
    ----------
    kind : str
    values : dict of str to (array of int, pyarrow.Array)
        As of :meth:`Screen.sift`.
    rows : array of int
        Row numbers.
    good : array of int
        Positions of the records among them.
    set_aside : pandas.DataFrame
    rows_read : int
    blanked : int
        Cells that were left blank: none, as nothing is wrong.
    """

    kind: str
    values: dict[str, tuple[Codes, Any]]
    rows: Positions
    good: Positions
    set_aside: pd.DataFrame
    rows_read: int
    blanked: int = 0

    def __len__(self) -> int:
        return len(self.good)

    def table(self, schema: Any) -> Any:
        """The records as an Arrow table of a schema of dictionaries, whose fields are the row and the kind's."""
        import pyarrow as pa

        whole = len(self.good) == len(self.rows)

        def among(codes: Any) -> Any:
            return pa.array(codes if whole else codes[self.good])

        columns = [among(self.rows)]
        for one in list(schema)[1:]:
            codes, values = self.values[one.name]
            columns.append(pa.DictionaryArray.from_arrays(among(codes), values.cast(one.type.value_type)))
        return pa.Table.from_arrays(columns, schema=schema)

    @property
    def records(self) -> pd.DataFrame:
        """The same as of :class:`~evenfoot.analytics.intake.checks.records.CheckedRows`."""
        import pyarrow as pa

        out = {}
        for field in KINDS[self.kind]:
            codes, values = self.values[field.name]
            column = values.take(pa.array(codes[self.good])).to_pandas(integer_object_nulls=True, date_as_object=False)
            out[field.name] = pd.Series(column, dtype=dtype_of(field))
        out["row"] = pd.Series(self.rows[self.good], dtype="Int64")
        return pd.DataFrame(out)


class Screen:
    """What the verdicts on a sheet make of its rows, by their codes."""

    def __init__(self, survey: Survey, verdicts: Verdicts, *, may_be_overlong: bool) -> None:
        self.survey, self.verdicts, self.may_be_overlong = survey, verdicts, may_be_overlong
        self.kind = survey.headings.kind
        self.fields = {each.name: each for each in KINDS[self.kind]}
        self.values: dict[str, Distinct] = {}
        self._wrong: dict[str, Flags] = {}
        for name, values in verdicts.values.items():
            wrong = _out_of_bounds(self.fields[name], values, verdicts.setting.today)
            wrong[list(verdicts.readings[name].unread)] = True
            self.values[name] = values
            if wrong.any():
                self._wrong[name] = wrong
        self._rules = [(rule.reads, Known(np.int8, partial(self._holds, rule))) for rule in CONTRADICTIONS[self.kind]]
        if verdicts.findings is not None:
            self.values |= verdicts.findings.values
        self._finding = Known(np.int32, self._place_of)
        self._scale = Known(np.int8, self._scale_of)
        self._scales: list[str | None] = [None, *SCALES]
        _, scale = OF_SCALE[self.kind]
        self._said_scale = self.values.get(scale)
        self.values[scale] = distinct_values(self._scales, self.fields[scale])
        self._arrows: dict[str, Any] = {}

    def sift(self, piece: CodedPiece) -> tuple[dict[str, tuple[Codes, Any]], Flags]:
        """What the rows say, and which of them need a second look.

        Returns
        -------
        dict of str to (array of int, pyarrow.Array)
            Field -> for each row the place of its value, and the values.
        array of bool
            True for every row that would be set aside.
        """
        size = len(piece)
        suspect = np.zeros(size, dtype=bool)
        codes = dict(piece.numbers)
        arrows: dict[str, Any] = {}
        for name, wrong in self._wrong.items():
            suspect |= wrong[codes[name]]
        for name, each in self.fields.items():
            match = self.survey.headings.matches.get(name)
            if match is not None and each.type in ROW_BY_ROW:
                column = neutral(piece.columns[match.column])
                codes[name], arrows[name], wrong = self._row_by_row(each, column.codes, column.texts)
                suspect |= wrong
        if self.verdicts.findings is not None:
            suspect |= self._findings(codes, size)
        self._fill_scale(codes, size)
        for reads, known in self._rules:
            if any(name in codes for name in reads):
                suspect |= known.of([codes.get(name) for name in reads], self._sizes(reads, codes), size) > 0
        self._beyond(piece, suspect)
        nothing: Codes = np.zeros(size, dtype=np.int32)
        out = {}
        for name, each in self.fields.items():
            if name not in codes:
                value = self.verdicts.farm if each.type == "farm" else None
                arrows[name] = _arrow([value], each)
            elif name not in arrows:
                arrows[name] = self._arrow_of(name)
            out[name] = codes.get(name, nothing), arrows[name]
        additions = additions_to_note(self.survey.headings, self.survey, piece.numbers, piece.columns.__getitem__)
        if additions:
            out["note"] = _with_additions(*out["note"], additions)
        return out, suspect

    def _row_by_row(self, field: Field, codes: Codes, texts: Sequence[str]) -> tuple[Codes, Any, Flags]:
        rows = np.bincount(codes, minlength=len(texts))
        match = self.survey.headings.matches[field.name]
        reading = read_texts(texts, rows, match, self.verdicts.setting)
        said = np.array([value is not None for value in reading.values], dtype=bool)
        self.verdicts.read_more(field.name, int(rows[said].sum()))
        wrong = np.zeros(len(texts), dtype=bool)
        wrong[list(reading.unread)] = True
        if field.required:
            wrong |= ~said
        return codes, _arrow(reading.values, field), wrong[codes] if wrong.any() else np.zeros(len(codes), dtype=bool)

    def _findings(self, codes: dict[str, Codes], size: int) -> Flags:
        """Put lesion, subtype and stage in place of their texts; which rows hold a combination that cannot be."""
        verdicts = self.verdicts.findings
        assert verdicts is not None
        columns = [codes.pop(name, None) for name in OF_FINDING]
        sizes = [len(self.survey.texts[name].raw) if name in self.survey.texts else 1 for name in OF_FINDING]
        places = self._finding.of(columns, sizes, size)
        codes |= dict.fromkeys(OF_FINDING, places)
        if "severity" in codes:
            # 0 beside no lesion says the same as leaving the severity out.
            none = np.asarray(pd.isna(self.values["lesion"]))
            naught = (pd.Series(self.values["severity"]) == 0).fillna(False).to_numpy(dtype=bool)
            if naught.any():
                codes["severity"] = np.where(naught[codes["severity"]] & none[places], 0, codes["severity"])
        unread = np.zeros(len(verdicts.results), dtype=bool)
        unread[list(verdicts.unread)] = True
        return unread[places] if unread.any() else np.zeros(size, dtype=bool)

    def _place_of(self, codes: Sequence[Codes]) -> npt.NDArray[Any]:
        assert self.verdicts.findings is not None
        places = self.verdicts.findings.places
        return np.array([places[key] for key in zip(*(part.tolist() for part in codes), strict=True)])

    def _fill_scale(self, codes: dict[str, Codes], size: int) -> None:
        """Put the scale that a score is on, where the row does not say, in its place."""
        score, scale = OF_SCALE[self.kind]
        if score not in codes:
            codes.pop(scale, None)
            return
        said = 1 if self._said_scale is None else len(self._said_scale)
        sizes = [len(self.values[score]), said, *self._sizes(["farm"], codes)]
        filled = self._scale.of([codes[score], codes.get(scale), codes.get("farm")], sizes, size)
        codes[scale] = filled.astype(np.int32)

    def _sizes(self, names: Sequence[str], codes: dict[str, Codes]) -> list[int]:
        return [len(self.values[name]) if name in codes else 1 for name in names]

    def _scale_of(self, codes: Sequence[Codes]) -> npt.NDArray[Any]:
        score, _ = OF_SCALE[self.kind]
        frame = self._frame((score, "farm"), (codes[0], codes[2]))
        said = distinct_values([None], field_of(self.kind, "note")) if self._said_scale is None else self._said_scale
        scales = pd.Series(said.take(codes[1]), dtype="str")
        named = self.survey.headings.matches[score].scale
        scales = scales if named is None else scales.fillna(named)
        filled = fill_scales(frame[score], scales, frame["farm"], self.verdicts.scale_of)
        return np.array([self._scales.index(None if pd.isna(one) else one) for one in filled], dtype=np.int8)

    def _holds(self, rule: Contradiction, codes: Sequence[Codes]) -> npt.NDArray[Any]:
        return np.asarray(rule.holds(self._frame(rule.reads, codes)).fillna(False).astype(bool)).astype(np.int8)

    def _frame(self, names: Sequence[str], codes: Sequence[Codes]) -> pd.DataFrame:
        """The values of some fields in combinations of texts."""
        out = {}
        for name, here in zip(names, codes, strict=True):
            values = self.values.get(name)
            if values is None:
                field = self.fields[name]
                values = distinct_values([self.verdicts.farm if field.type == "farm" else None], field)
            out[name] = pd.Series(values.take(here), dtype=dtype_of(self.fields[name]))
        return pd.DataFrame(out)

    def _beyond(self, piece: CodedPiece, suspect: Flags) -> None:
        """Mark the rows with cells beyond the headings, and those with a second finding."""
        headings = self.survey.headings
        for number, column in piece.columns.items():
            if number in headings.second_findings:
                says = [not says_nothing_found(text) for text in column.texts]
            elif number >= headings.width and self.may_be_overlong:
                says = [bool(text.strip()) for text in column.texts]
            else:
                continue
            suspect |= np.array(says, dtype=bool)[column.codes]

    def _arrow_of(self, name: str) -> Any:
        if name not in self._arrows:
            self._arrows[name] = _arrow(self.values[name], self.fields[name])
        return self._arrows[name]


def _out_of_bounds(field: Field, values: Distinct, today: dt.date) -> Flags:
    """Which of the values cannot be, whatever else a row says; where the field is required, also none."""
    column = pd.Series(values)
    wrong = column.isna() if field.required else pd.Series(False, index=column.index)
    if field.name in RANGES:
        low, high, _ = RANGES[field.name]
        wrong |= ((column < low) | (column > high)).fillna(False)
    if field.name in NOT_BEFORE_1980:
        wrong |= column < pd.Timestamp(EARLIEST)
    if field.name in SAME_DAY_OR_EARLIER:
        wrong |= column > pd.Timestamp(today)
    return wrong.to_numpy(dtype=bool, copy=True)


def _arrow(values: Any, field: Field) -> Any:
    import pyarrow as pa

    types = {"datetime64[us]": pa.date32(), "float64": pa.float64(), "Int64": pa.int32(), "boolean": pa.bool_()}
    return pa.array(values, types.get(dtype_of(field), pa.large_string()), from_pandas=True)


def _with_additions(codes: Codes, notes: Any, additions: Sequence[RawColumn]) -> tuple[Codes, Any]:
    """The notes with the additions after them."""
    import pyarrow as pa
    import pyarrow.compute as pc

    out = notes.take(pa.array(codes)).fill_null("")
    for column in additions:
        added = pa.array(column.texts, pa.large_string()).take(pa.array(column.codes))
        both = pc.and_(pc.not_equal(out, ""), pc.not_equal(added, ""))
        blank, between = pa.scalar("", pa.large_string()), pa.scalar("; ", pa.large_string())
        out = pc.binary_join_element_wise(out, pc.if_else(both, between, blank), added, blank)
    encoded = out.dictionary_encode()
    texts = encoded.dictionary
    return encoded.indices.to_numpy(), pc.if_else(pc.equal(texts, ""), pa.scalar(None, pa.large_string()), texts)
