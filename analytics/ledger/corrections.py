"""Corrections of single records: what it was is kept, and a correction is taken back as an import is.

A correction is an import of its own: the record as it should be takes the place of the one that was wrong, as a
corrected sheet's would. A removal puts nothing in its place.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from evenfoot.analytics.clock import today
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.intake.pipeline import check_records
from evenfoot.analytics.ledger.derive import rebuild
from evenfoot.analytics.ledger.engines.engine import next_number
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.imports.add import come_with_import, executor, insert_incoming
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import ROW_TABLES, TRIM_FIELDS
from evenfoot.analytics.ledger.staging_table import stage_records
from evenfoot.analytics.ledger.superseded_rows import REMOVED, replace_rows
from evenfoot.analytics.messages import say

KINDS = ("trims", "locomotion")
"""Kinds of sheet whose records can be corrected one by one."""
OF_SCORES = {"date": "visit_date", "score": "locomotion_score", "scale": "locomotion_scale", "scorer": "trimmer"}
"""Fields of a scoring -> what the same is called in a trim."""
ID_LETTERS = 12
"""Letters of a record's digest that are shown as its id; so many are enough for 10^7 records."""
FEWEST_LETTERS = 6
LONGEST_REASON = 500
CORRECTION = "correction"
"""What an import that is a correction has for the name of its file."""


@dataclass(frozen=True)
class Corrected:
    """What a correction did.

    Attributes
    ----------
    number : int
        Under which it is taken back, as an import is.
    records : int
    digest : str
        What tells it from another ledger's correction of that number.
    """

    number: int
    records: int
    digest: str


def list_records(
    ledger: Ledger,
    *,
    farm: str,
    cow: str | None = None,
    since: dt.date | None = None,
    allowed: tuple[str, ...] | None = None,
) -> pd.DataFrame:
    """The records of a farm as they were written down, with the id under which each is corrected.

    Parameters
    ----------
    ledger : Ledger
    farm : str
    cow : str, optional
    since : datetime.date, optional
        The first day.
    allowed : tuple of str, optional
        Farms that who asks may see; all without it.

    Returns
    -------
    pandas.DataFrame
        id, kind (trims or locomotion), import_no, and the fields of a trim sheet; a scoring has its score, scale and
        scorer as locomotion_score, locomotion_scale and trimmer. The newest day comes first.

    Raises
    ------
    UserError
        The farm is not there or may not be seen.
    """
    if farm not in ledger.farms(allowed):
        raise UserError(say("The farm '{farm}' is not in the ledger.", farm=farm))
    parts = []
    for kind in KINDS:
        table, fields = ROW_TABLES[kind]
        day = "visit_date" if kind == "trims" else "date"
        where, values = "farm = ?", [farm]
        if cow is not None:
            where, values = f"{where} AND cow = ?", [*values, cow]
        if since is not None:
            where, values = f"{where} AND {day} >= ?", [*values, f"{since:%Y-%m-%d}"]
        columns = ", ".join(f'"{name}"' for name in fields)
        frame = ledger.frame(f"SELECT row_key, import_no, {columns} FROM {table} WHERE {where}", values)
        frame = frame.rename(columns=OF_SCORES if kind == "locomotion" else {})
        parts.append(frame.assign(kind=kind, id=frame["row_key"].str[:ID_LETTERS]))
    out = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    out = out.reindex(columns=["id", "kind", "import_no", *TRIM_FIELDS])
    for name, sql in TRIM_FIELDS.items():
        if sql == "INTEGER":
            out[name] = pd.to_numeric(out[name]).astype("Int64")
        elif sql == "VARCHAR":
            out[name] = out[name].astype(object).where(out[name].notna(), None)
    order = ["visit_date", "cow", "kind", "foot", "claw", "zone", "lesion", "id"]
    return out.sort_values(order, ascending=[name != "visit_date" for name in order], kind="stable", ignore_index=True)


def farms_of_import(ledger: Ledger, number: int, allowed: tuple[str, ...] | None = None) -> list[str]:
    """The farms of the records that an import brought, among those *allowed*, by name."""
    tables = [ROW_TABLES[kind][0] for kind in KINDS]
    each = " UNION ".join(f"SELECT farm FROM {table} WHERE import_no = ?" for table in tables)
    found = set(ledger.frame(each, [number] * len(tables))["farm"])
    return [farm for farm in ledger.farms(allowed) if farm in found]


def correct_records(
    ledger: Ledger,
    ids: Sequence[str],
    changes: Mapping[str, str],
    why: str,
    *,
    allowed: tuple[str, ...] | None = None,
    own: Collection[int] | None = None,
) -> Corrected:
    """Write records anew with some fields changed, in one transaction.

    Parameters
    ----------
    ledger : Ledger
    ids : sequence of str
        As :func:`list_records` gives them; the first letters are enough where no other record has them.
    changes : mapping of str to str
        Field of a trim sheet -> what it should be, as a sheet would say it; a blank text takes it out.
    why : str
        The reason, which the history keeps.
    allowed : tuple of str, optional
        Farms that who corrects may change; all without it.
    own : collection of int, optional
        Numbers of the imports whose records who corrects may change; all without it.

    Returns
    -------
    Corrected

    Raises
    ------
    UserError
        There is no such record, several have the id, a field is none of a record's, a value cannot be, nothing would
        change, or no reason is given.
    """
    reason = _reason(why)
    if not changes:
        raise UserError(say("Nothing is to be changed: name a field and what it should be, such as cow=1042."))
    found = _found(ledger, ids, allowed, own)
    sheets = {kind: _as_they_should_be(kind, rows, changes, ledger.farms(allowed)) for kind, rows in found.items()}
    before, after = _differences(found, sheets)
    if not after:
        raise UserError(say("Nothing would change: the records say so already."))
    farms = {str(farm) for frame in (*found.values(), *(sheet.records for sheet in sheets.values()))
             for farm in frame["farm"].dropna()}  # fmt: skip
    if allowed is not None and not farms <= set(allowed):
        raise UserError(say("You may not write records of that farm."))
    with ledger.writing(farms) as connection:
        number = next_number(connection, "imports", "import_no")
        added = 0
        for kind, rows in found.items():
            _refuse_changed(connection, kind, rows)
            stage_records(connection, kind, sheets[kind].records)
            keys = [key for (key,) in connection.execute("SELECT row_key FROM incoming ORDER BY place").fetchall()]
            moves = [new != old for new, old in zip(keys, rows["row_key"], strict=True)]
            kept = [key for key, moved in zip(keys, moves, strict=True) if not moved]
            connection.execute("DELETE FROM incoming WHERE row_key IN (SELECT UNNEST(?))", [kept])
            new = [key for key, moved in zip(keys, moves, strict=True) if moved]
            replace_rows(connection, kind, number, rows[moves], new)
            added += insert_incoming(connection, kind, number)
        records = len(after)
        digest = _enter(connection, number, found, reason, read=records, added=added, known=records - added)
        note(connection, "records corrected", subject=f"import {number}", farm=_one(farms), before=before,
             after={"why": reason, **after})  # fmt: skip
        rebuild(executor(connection), farms)
    return Corrected(number, records, digest)


def remove_records(
    ledger: Ledger,
    ids: Sequence[str],
    why: str,
    *,
    allowed: tuple[str, ...] | None = None,
    own: Collection[int] | None = None,
) -> Corrected:
    """Take records out, in one transaction; a sheet that brings one again is asked about.

    Parameters, raises : as for :func:`correct_records`.
    """
    reason = _reason(why)
    found = _found(ledger, ids, allowed, own)
    farms = {str(farm) for rows in found.values() for farm in rows["farm"].dropna()}
    with ledger.writing(farms) as connection:
        number = next_number(connection, "imports", "import_no")
        for kind, rows in found.items():
            _refuse_changed(connection, kind, rows)
            replace_rows(connection, kind, number, rows, [REMOVED] * len(rows))
        digest = _enter(connection, number, found, reason, read=0, added=0, known=0)
        before = {str(row["id"]): _said(kind, row) for kind, rows in found.items() for row in rows.to_dict("records")}
        note(connection, "records removed", subject=f"import {number}", farm=_one(farms), before=before,
             after={"why": reason})  # fmt: skip
        rebuild(executor(connection), farms)
    return Corrected(number, sum(len(rows) for rows in found.values()), digest)


def _reason(why: str) -> str:
    reason = " ".join(why.split())
    if not reason:
        raise UserError(say("Say why: the history keeps the reason of every correction."))
    if len(reason) > LONGEST_REASON:
        raise UserError(say("The reason is longer than {n} letters; say it in fewer.", n=LONGEST_REASON))
    return reason


def _found(
    ledger: Ledger, ids: Sequence[str], allowed: tuple[str, ...] | None, own: Collection[int] | None
) -> dict[str, pd.DataFrame]:
    """Kind -> its records with these ids: row_key, import_no, row_no, id and the fields."""
    wanted = list(dict.fromkeys(id.strip().casefold() for id in ids))
    if not wanted:
        raise UserError(say("No record is named; `evenfoot records` lists them with their ids."))
    out: dict[str, list[pd.DataFrame]] = {}
    for id in wanted:
        if len(id) < FEWEST_LETTERS or not all(letter in "0123456789abcdef" for letter in id):
            raise UserError(say("'{id}' is no id of a record; `evenfoot records` lists them.", id=id))
        met = []
        for kind in KINDS:
            table, fields = ROW_TABLES[kind]
            columns = ", ".join(f'"{name}"' for name in fields)
            rows = ledger.frame(
                f"SELECT import_no, row_no, row_key, {columns} FROM {table} WHERE row_key LIKE ?", [f"{id}%"]
            )
            if allowed is not None:
                rows = rows[rows["farm"].isin(allowed)]
            if own is not None:
                rows = rows[rows["import_no"].isin(own)]
            if len(rows):
                met.append((kind, rows.assign(id=id)))
        if sum(len(rows) for _, rows in met) > 1:
            raise UserError(say("Several records have an id that begins with '{id}'; give more of its letters.", id=id))
        if not met:
            raise UserError(say("There is no record '{id}'; `evenfoot records` lists them with their ids.", id=id))
        out.setdefault(met[0][0], []).append(met[0][1])
    return {kind: pd.concat(rows, ignore_index=True) for kind, rows in out.items()}


def _as_they_should_be(kind: str, rows: pd.DataFrame, changes: Mapping[str, str], farms: Sequence[str]) -> CheckedSheet:
    """The records with the changes, read and checked as those of a sheet are."""
    _, fields = ROW_TABLES[kind]
    named = {theirs: ours for ours, theirs in OF_SCORES.items()} if kind == "locomotion" else {}
    wanted = {named.get(name, name): " ".join(value.split()) for name, value in changes.items()}
    for name, given in zip(wanted, changes, strict=True):
        if name not in fields:
            raise UserError(
                say("A record has no field '{field}'. Its fields are: {fields}.", field=given,
                    fields=", ".join(OF_SCORES.get(each, each) if kind == "locomotion" else each for each in fields))
            )  # fmt: skip
    texts = [{**_said(kind, row), **wanted} for row in rows.to_dict("records")]
    said = [{name: row.get(name, "") for name in fields} for row in texts]
    sheet = check_records(said, kind, CORRECTION, today=today(), known_farms=farms)
    if len(sheet.set_aside):
        first = sheet.set_aside.iloc[0]
        raise UserError(
            say("'{value}' cannot be {field}: {reason}", value=str(first["value"]), field=str(first["column"]),
                reason=str(first["reason"]))
        )  # fmt: skip
    if len(sheet.records) != len(rows):
        raise UserError(say("These cannot be read as {n} records; correct them one by one.", n=len(rows)))
    return replace(sheet, records=sheet.records.assign(row=rows["row_no"].to_numpy()))


def _said(kind: str, row: Mapping[Any, Any]) -> dict[str, str]:
    """The fields of a record as texts, without those that say nothing."""
    _, fields = ROW_TABLES[kind]
    out = {}
    for name, sql in fields.items():
        value = row.get(name)
        if value is None or pd.isna(value):
            continue
        if sql == "DATE":
            out[name] = f"{pd.Timestamp(value):%Y-%m-%d}"
        elif sql in ("INTEGER", "DOUBLE"):
            out[name] = f"{float(value):g}"
        else:
            out[name] = str(value)
    return out


def _differences(
    found: Mapping[str, pd.DataFrame], sheets: Mapping[str, CheckedSheet]
) -> tuple[dict[str, object], dict[str, object]]:
    """Id -> the fields that differ, as they were and as they are."""
    before: dict[str, object] = {}
    after: dict[str, object] = {}
    for kind, rows in found.items():
        news = sheets[kind].records.to_dict("records")
        for old, new in zip(rows.to_dict("records"), news, strict=True):
            was, now = _said(kind, old), _said(kind, new)
            names = [name for name in {**was, **now} if was.get(name) != now.get(name)]
            if names:
                before[str(old["id"])] = {name: was.get(name) for name in names}
                after[str(old["id"])] = {name: now.get(name) for name in names}
    return before, after


def _refuse_changed(connection: Any, kind: str, rows: pd.DataFrame) -> None:
    """Refuse to correct records that somebody has changed meanwhile."""
    table, _ = ROW_TABLES[kind]
    [(there,)] = connection.execute(
        f"SELECT COUNT(*) FROM {table} WHERE row_key IN (SELECT UNNEST(?))", [rows["row_key"].tolist()]
    ).fetchall()
    if there != len(rows):
        raise UserError(say("A record was changed meanwhile; look at it again."))


def _enter(
    connection: Any, number: int, found: Mapping[str, pd.DataFrame], reason: str, *, read: int, added: int, known: int
) -> str:
    """Enter the correction as a line of ``imports``; its digest."""
    digest = hashlib.sha256(f"{number} {reason}".encode()).hexdigest()
    now, kinds = dt.datetime.now(dt.UTC).replace(tzinfo=None), ", ".join(found)
    notes = json.dumps([reason], ensure_ascii=False)
    connection.execute(
        "INSERT INTO imports VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, NULL, ?)",
        [number, now, CORRECTION, digest, kinds, read, added, known, 0, notes],
    )
    come_with_import(connection, number, [ROW_TABLES[kind][0] for kind in found])
    return digest


def _one(farms: set[str]) -> str | None:
    return next(iter(farms)) if len(farms) == 1 else None
