"""A sheet beside what the ledger has of the same visits: which records are new, the same, or another version."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.ledger.imports.record_linkage import (
    DIFFERS,
    IDENTITIES,
    MOVED,
    NEW,
    SAME,
    STATES,
    TWICE,
    Matches,
    comparable,
    differing_fields,
    join_notes,
    match_records,
)
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import ROW_TABLES
from evenfoot.analytics.ledger.staging_table import in_memory, stage_records
from evenfoot.analytics.messages import Message, say, say_n

Choice = Literal["replace", "keep both", "skip"]
CHOICES: tuple[Choice, ...] = ("replace", "keep both", "skip")
"""What becomes of records that differ: they take the place of the ledger's, stand beside them, or are left out."""

SHOWN = ("source", "kind", "state", "row", "field", "before", "now")
"""Columns of :attr:`Revision.frame`."""


@dataclass(frozen=True)
class Comparison:
    """The records of one sheet beside those of the ledger.

    Attributes
    ----------
    states : array of str
        For each record of the sheet: new, same, differs, moved or twice.
    records : pandas.DataFrame
        The records that the ledger has not word for word, of visits that it has: place (among the sheet's records),
        row_no, row_key and the fields of the kind.
    ledger : pandas.DataFrame
        The ledger's records of the same visits: import_no, row_no, row_key and the fields.
    matches : Matches
        What each of ``records`` is to ``ledger``.
    """

    states: npt.NDArray[np.object_]
    records: pd.DataFrame
    ledger: pd.DataFrame
    matches: Matches

    def pairs(self, *states: str) -> tuple[pd.DataFrame, pd.DataFrame, Matches]:
        """Records in some states and their partners, row beside row, and what they are to each other."""
        return self.rows(np.isin(self.matches.state, states))

    def rows(self, chosen: npt.NDArray[np.bool_]) -> tuple[pd.DataFrame, pd.DataFrame, Matches]:
        """Those of ``records`` that are chosen, all of which have a partner; as :meth:`pairs`."""
        partner = self.matches.partner[chosen]
        matches = Matches(self.matches.state[chosen], partner, self.matches.corrected[chosen])
        ours, theirs = self.records[chosen], self.ledger.iloc[partner]
        return ours.reset_index(drop=True), theirs.reset_index(drop=True), matches


@dataclass(frozen=True)
class Plan:
    """What becomes of the records of a comparison; for each one whether it

    Attributes
    ----------
    left_out : array of bool
        is not added as it is,
    seen_again : array of bool
        is the ledger's record, which stays,
    noted : array of bool
        is the ledger's record, whose note says more now,
    replacing : array of bool
        takes the place of the ledger's record.
    """

    left_out: npt.NDArray[np.bool_]
    seen_again: npt.NDArray[np.bool_]
    noted: npt.NDArray[np.bool_]
    replacing: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class SheetRevision:
    """What one sheet would change.

    Attributes
    ----------
    source, kind : str
        As in the sheet.
    states : array of str
        For each record of the sheet: new, same (nothing that matters is different), differs (the same record, another
        value), moved (the ledger's record with another cow number, foot or lesion), or twice (equal to a record
        further up).
    frame : pandas.DataFrame
        One line a field that differs, of records that differ or moved, and of notes that records add which are the
        same: state, row (in the file), field, before, now.
    """

    source: str
    kind: str
    states: npt.NDArray[np.object_]
    frame: pd.DataFrame


@dataclass(frozen=True)
class Revision:
    """What the sheets of one file would change.

    Attributes
    ----------
    sheets : tuple of SheetRevision
    default : str
        What is best done where nobody says: the newer version takes the earlier one's place; but a version that was
        itself replaced by an import is left out.
    """

    sheets: tuple[SheetRevision, ...]
    default: Choice = "replace"

    @property
    def counts(self) -> dict[str, int]:
        """State -> records of all sheets."""
        return {state: sum(int((sheet.states == state).sum()) for sheet in self.sheets) for state in STATES}

    @property
    def is_open(self) -> bool:
        """Whether there is something to ask."""
        counts = self.counts
        return counts[DIFFERS] + counts[MOVED] > 0

    @property
    def frame(self) -> pd.DataFrame:
        """Both versions beside each other, one line a field: source, kind, state, row, field, before, now."""
        frames = [sheet.frame.assign(source=sheet.source, kind=sheet.kind) for sheet in self.sheets]
        return pd.concat(frames, ignore_index=True)[list(SHOWN)] if frames else pd.DataFrame(columns=list(SHOWN))

    @property
    def sentence(self) -> Message:
        """The counts in words."""
        counts = self.counts
        return say(
            "Records of visits that are here already: {differs}, {new}, {same}.",
            differs=say_n("{n} differs", "{n} differ", counts[DIFFERS] + counts[MOVED]),
            new=say_n("{n} is new", "{n} are new", counts[NEW]),
            same=say_n("{n} is the same", "{n} are the same", counts[SAME] + counts[TWICE]),
        )


def compare_with_ledger(ledger: Ledger, sheets: Sequence[CheckedSheet]) -> Revision:
    """Compare the records of one file with what the ledger has of the same visits. Nothing is changed.

    Only visits that are in both are looked at: a farm and day, or a cow of the register.

    Parameters
    ----------
    ledger : Ledger
    sheets : sequence of CheckedSheet

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    compared = compare_sheets(ledger, sheets)
    revised = tuple(
        SheetRevision(sheet.source, sheet.kind, one.states, _shown(sheet.kind, one))
        for sheet, one in zip(sheets, compared, strict=True)
    )
    return Revision(revised, "skip" if _is_older(ledger, sheets, compared) else "replace")


def compare_sheets(ledger: Ledger, sheets: Sequence[CheckedSheet]) -> list[Comparison]:
    """The :class:`Comparison` of every sheet with a ledger that is only read."""
    out = []
    met: dict[str, set[str]] = {}
    with in_memory() as memory:
        for sheet in sheets:
            stage_records(memory, sheet.kind, sheet.records)
            earlier = met.setdefault(sheet.kind, set())
            if ledger.exists:
                with ledger.reading() as cursor:
                    out.append(compare_staged(memory, cursor, sheet.kind, met=earlier))
            else:
                out.append(compare_staged(memory, None, sheet.kind, met=earlier))
            earlier |= {key for (key,) in memory.execute("SELECT row_key FROM incoming").fetchall()}
    return out


def compare_staged(
    staged: Any, ledger: Any, kind: str, number: int = 0, met: Collection[str] = frozenset()
) -> Comparison:
    """Compare the records of a temporary table ``incoming`` with those of a ledger.

    Parameters
    ----------
    staged : connection
        Has the table; see :func:`~evenfoot.analytics.ledger.staging_table.stage_records`.
    ledger : connection or None
        On the ledger, the same one or another; without one, everything is new.
    kind : str
    number : int
        Records of this import are not looked at: the sheets of one file are not versions of each other.
    met : collection of str
        Keys of the records of earlier sheets of the file.
    """
    table, fields = ROW_TABLES[kind]
    columns = ", ".join(f'"{name}"' for name in fields)
    identity = IDENTITIES.get(kind)
    visit = _visit(kind) if identity else "''"
    ours: pd.DataFrame = staged.execute(f"SELECT row_key, turn, {visit} AS visit FROM incoming ORDER BY place").df()
    twice = (ours["turn"] > 1) | ours["row_key"].isin(met)
    states = np.where(twice, TWICE, NEW).astype(object)
    nothing = Comparison(
        states,
        pd.DataFrame(columns=["place", "row_no", "row_key", *fields]),
        pd.DataFrame(columns=["import_no", "row_no", "row_key", *fields]),
        Matches(*(np.empty(0, dtype=kind) for kind in (object, np.int64, object))),
    )
    if ledger is None or ours.empty:
        return nothing
    if identity is None:
        found = ledger.execute(
            f"SELECT row_key FROM {table} WHERE row_key IN (SELECT UNNEST(?)) AND import_no <> ?",
            [sorted(set(ours["row_key"])), number],
        ).fetchall()
        states[ours["row_key"].isin([key for (key,) in found]).to_numpy() & (states == NEW)] = SAME
        return nothing
    there = _of_visits(ledger, table, f"row_key, {visit} AS visit", kind, ours["visit"], number)
    fresh = ours["visit"].isin(set(there["visit"])) & ~ours["row_key"].isin(set(there["row_key"]))
    states[ours["row_key"].isin(set(there["row_key"])).to_numpy() & (states == NEW)] = SAME
    fresh &= ~twice
    if not bool(fresh.any()):
        return nothing
    records = staged.execute(
        f"SELECT place, row_no, row_key, {columns} FROM incoming "
        "WHERE turn = 1 AND row_key IN (SELECT UNNEST(?)) ORDER BY place",
        [ours.loc[fresh, "row_key"].tolist()],
    ).df()
    theirs = _of_visits(ledger, table, f"import_no, row_no, row_key, {columns}", kind, ours.loc[fresh, "visit"], number)
    matches = match_records(kind, records, theirs, theirs["row_key"].isin(set(ours["row_key"])).to_numpy())
    states[records["place"].to_numpy(dtype=np.int64)] = matches.state
    return Comparison(states, records, theirs, matches)


def _visit(kind: str) -> str:
    """SQL of a text that names the visit of a record."""
    one, other = IDENTITIES[kind].visit
    return f'CONCAT("{one}", CHR(31), CAST("{other}" AS VARCHAR))'


def _of_visits(ledger: Any, table: str, columns: str, kind: str, visits: pd.Series, number: int) -> pd.DataFrame:
    """Columns of the ledger's records of some visits, in the order they came in."""
    named = sorted(set(visits))
    farms = sorted({visit.partition("\x1f")[0] for visit in named})
    found: pd.DataFrame = ledger.execute(
        f"SELECT {columns} FROM {table} WHERE farm IN (SELECT UNNEST(?)) AND {_visit(kind)} IN (SELECT UNNEST(?)) "
        "AND import_no <> ? ORDER BY import_no, row_no, row_key",
        [farms, named, number],
    ).df()
    return found


def _shown(kind: str, compared: Comparison) -> pd.DataFrame:
    """The fields in which two versions differ; see :class:`SheetRevision`."""
    ours, theirs, matches = compared.pairs(SAME, DIFFERS, MOVED)
    lines: list[tuple[object, ...]] = []
    columns = ["state", "row", "field", "before", "now"]
    if ours.empty:
        return pd.DataFrame(columns=columns, dtype=object)
    plain_ours, plain_theirs = (comparable(kind, frame).to_dict("records") for frame in (ours, theirs))
    for place, (one, other) in enumerate(zip(plain_ours, plain_theirs, strict=True)):
        state = matches.state[place]
        names = differing_fields(kind, one, other) if state != SAME else []
        before, now = _text(theirs["note"].iloc[place]), _text(ours["note"].iloc[place])
        if join_notes(before, now) != before:
            names.append("note")
        elif matches.corrected[place] == "lesion" and not one["lesion"]:
            names.append("lesion")
        row = ours["row_no"].iloc[place]
        lines += [
            (state, int(row), name, _value(kind, name, theirs, place), _value(kind, name, ours, place))
            for name in dict.fromkeys(names)
        ]
    return pd.DataFrame(lines, columns=columns, dtype=object)


def _value(kind: str, name: str, frame: pd.DataFrame, place: int) -> object:
    """A field of one record as a person reads it."""
    value = frame[name].iloc[place]
    if _text(value) is None:
        return None
    sql = ROW_TABLES[kind][1][name]
    if sql == "DATE":
        return f"{pd.Timestamp(value):%Y-%m-%d}"
    return int(value) if sql == "INTEGER" else value


def _text(value: Any) -> Any:
    return None if pd.isna(value) else value


def plan_rows(ledger: Any, kind: str, compared: Comparison, choice: Choice | None) -> Plan:
    """What becomes of the records of a comparison; see :func:`~evenfoot.analytics.ledger.imports.add.add_sheets`.

    Parameters
    ----------
    ledger : connection
    kind : str
    compared : Comparison
    choice : {"replace", "keep both", "skip"}, optional
    """
    state = compared.matches.state
    same, other = state == SAME, np.isin(state, (DIFFERS, MOVED))
    noted = np.zeros(len(state), dtype=bool)
    ours, theirs, _ = compared.pairs(SAME)
    notes = zip(theirs["note"], ours["note"], strict=True)
    noted[same] = [join_notes(_text(before), _text(now)) != _text(before) for before, now in notes]
    left_out = same | (other if choice in ("replace", "skip") else False)
    if choice is None and other.any():
        before = replaced_before(ledger, kind, compared.records.loc[other, "row_key"].tolist())
        left_out = same | (other & compared.records["row_key"].isin(before).to_numpy())
    replacing = other if choice == "replace" else np.zeros(len(state), dtype=bool)
    return Plan(left_out, (left_out & ~noted & ~replacing & (state != MOVED)).astype(bool), noted, replacing)


def replaced_before(ledger: Any, kind: str, keys: list[str]) -> set[str]:
    """Those of some keys whose rows an import has replaced."""
    found = ledger.execute(
        "SELECT DISTINCT row_key FROM replaced_rows WHERE kind = ? AND row_key IN (SELECT UNNEST(?))", [kind, keys]
    ).fetchall()
    return {key for (key,) in found}


def _is_older(ledger: Ledger, sheets: Sequence[CheckedSheet], compared: Sequence[Comparison]) -> bool:
    """Whether every record that differs is a version that an import took out."""
    keys: dict[str, set[str]] = {}
    for sheet, one in zip(sheets, compared, strict=True):
        other = one.records.loc[np.isin(one.matches.state, (DIFFERS, MOVED)), "row_key"]
        if len(other):
            keys[sheet.kind] = keys.get(sheet.kind, set()) | set(other)
    if not keys:
        return False
    with ledger.reading() as cursor:
        return all(replaced_before(cursor, kind, sorted(some)) == some for kind, some in keys.items())
