"""Everything the sheets said, as a folder of Parquet or CSV files with a data dictionary.

The files go back in through the ordinary import, which reads both.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.fields import KIND_NAMES, KINDS
from evenfoot.analytics.intake.readers.parquet import KIND_KEY
from evenfoot.analytics.intake.rejected_rows import safe_text
from evenfoot.analytics.ledger.exports.agreements_file import FILE as AGREEMENTS
from evenfoot.analytics.ledger.exports.agreements_file import HEADINGS as AGREED
from evenfoot.analytics.ledger.exports.agreements_file import KIND as AGREED_KIND
from evenfoot.analytics.ledger.exports.agreements_file import write_agreements
from evenfoot.analytics.ledger.exports.data_exchange import LEFT_BEHIND
from evenfoot.analytics.ledger.exports.photos_folder import FOLDER as PHOTOS
from evenfoot.analytics.ledger.exports.photos_folder import write_photos
from evenfoot.analytics.ledger.exports.saved_answers import FILE as REMEMBERED
from evenfoot.analytics.ledger.exports.saved_answers import write_remembered
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.limits import EVERY_LIMIT, IN_ORDER
from evenfoot.analytics.ledger.schema import BOOKKEEPING, ROW_TABLES
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    import pyarrow as pa

FORMATS = ("parquet", "csv")
DICTIONARY = "datapackage.json"
"""The data dictionary, in the open form of a data package [pub: Frictionless Data, Data Package]."""

PACKAGE = "evenfoot-records"
"""What the data dictionary calls a folder of records."""

BATCH = 100_000
"""Rows that leave the engine at a time."""

TYPES = {
    "DATE": "date",
    "VARCHAR": "string",
    "INTEGER": "integer",
    "DOUBLE": "number",
    "BOOLEAN": "boolean",
    "TIMESTAMP": "datetime",
}
"""Types of the columns as a data package names them [pub: Frictionless Data, Table Schema]."""


def export_folder(ledger: Ledger, out: Path, *, format: str = "parquet", farms: Sequence[str] = ()) -> dict[str, int]:
    """Write the records to a folder: one file a kind of sheet, in the order they were imported.

    Names and answers that were told go along in a file of their own, see
    :mod:`evenfoot.analytics.ledger.exports.saved_answers`, and so does what was agreed, as CSV, see
    :mod:`evenfoot.analytics.ledger.exports.agreements_file`. Photos of sheets go along as files in a folder of their
    own; they are for looking at, and do not come back in.

    Parameters
    ----------
    ledger : Ledger
    out : Path
        A folder that is absent or empty.
    format : {"parquet", "csv"}
        CSV has the headings that the import knows; text that a spreadsheet would take for a formula gets an
        apostrophe, which the import takes off again.
    farms : sequence of str
        Only these.

    Returns
    -------
    dict of str to int
        File name -> rows.

    Raises
    ------
    UserError
        The folder holds something, cannot be written, or the format is another one.
    """
    if format not in FORMATS:
        raise UserError(f"'{format}' is not a format of a folder; use parquet or csv.")
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise UserError(f"{out} is not an empty folder; give a new one, so that nothing is overwritten.")
    written: dict[str, int] = {}
    try:
        out.mkdir(parents=True, exist_ok=True)
        with ledger.reading() as cursor:
            for kind in ROW_TABLES:
                batches = _batches(ledger, cursor, kind, farms)
                name = f"{kind}.{format}"
                rows = (
                    _write_parquet(out / name, batches, kind)
                    if format == "parquet"
                    else _write_csv(out / name, batches)
                )
                if rows:
                    written[name] = rows
            lines = write_remembered(cursor, out, farms)
            if lines:
                written[REMEMBERED] = lines
            lines = write_agreements(cursor, out, farms)
            if lines:
                written[AGREEMENTS] = lines
        photos = write_photos(ledger, out, farms)
        if photos:
            written[PHOTOS] = photos
        _write_dictionary(out / DICTIONARY, format, written)
    except OSError as error:
        raise UserError(f"{out} cannot be written ({error.strerror}); choose another folder.") from None
    return written


def files_of_export(folder: Path) -> list[Path]:
    """The files of a folder that an export wrote, in the order in which they are brought in.

    Names and answers come first, so that nothing they tell is asked, and the register before the visits; what was
    agreed comes last.

    Parameters
    ----------
    folder : Path
        Of CSV or Parquet files with their data dictionary, or of farms in the form of the data exchange.

    Raises
    ------
    UserError
        It is no such folder, or a file that its dictionary names is not there.
    """
    try:
        names = {path.name for path in folder.iterdir()}
        package = json.loads((folder / DICTIONARY).read_bytes()) if DICTIONARY in names else {}
    except (OSError, ValueError, RecursionError):
        raise UserError(say("{folder} cannot be read; export the records anew.", folder=str(folder))) from None
    if isinstance(package, dict) and package.get("name") == PACKAGE:
        told = [str(one.get("path")) for one in package.get("resources", ()) if isinstance(one, dict)]
        lost = [name for name in told if name not in names]
        if lost:
            raise UserError(
                say("{folder} has no file {names}, which its {dictionary} names; export the records anew.",
                    folder=str(folder), names=", ".join(lost), dictionary=DICTIONARY)
            )  # fmt: skip
        told.sort(key=lambda name: (name == AGREEMENTS, not name.startswith("register.")))
        return [folder / name for name in ([REMEMBERED] if REMEMBERED in names else []) + told]
    exchanged = sorted(name for name in names if f"{name.removesuffix('.json')}{LEFT_BEHIND}" in names)
    if exchanged:
        return [folder / name for name in exchanged]
    raise UserError(
        say("{folder} is a folder, and not one that `evenfoot export` wrote; give the files in it.", folder=str(folder))
    )


def _batches(ledger: Ledger, cursor: Any, kind: str, farms: Sequence[str]) -> Iterator[pa.RecordBatch]:
    table, fields = ROW_TABLES[kind]
    columns = ", ".join(f'"{name}"' for name in fields)
    where = "WHERE farm IN (SELECT UNNEST(?))" if farms else ""
    sql = f"SELECT {columns} FROM {table} {where} ORDER BY import_no, row_no"
    if kind == "limits":
        # Those set by hand go too, and those of every farm with any farm, so that the answers are the same elsewhere.
        where = "WHERE farm IS NULL OR farm IN (SELECT UNNEST(?))" if farms else ""
        sql = (
            'SELECT farm, breed, parity_first, parity_last, "limit", value, CAST(NULL AS VARCHAR) AS note '
            f"FROM {EVERY_LIMIT} {where} {IN_ORDER}"
        )
    yield from ledger.engine.batches(cursor, sql, BATCH, [list(farms)] if farms else None)


def _write_parquet(path: Path, batches: Iterator[pa.RecordBatch], kind: str) -> int:
    import pyarrow.parquet as pq

    writer, rows = None, 0
    for batch in batches:
        if not batch.num_rows:
            continue
        if writer is None:
            schema = batch.schema.with_metadata({KIND_KEY: kind.encode()})
            writer = pq.ParquetWriter(path, schema)
        writer.write_batch(batch.cast(schema))
        rows += batch.num_rows
    if writer:
        writer.close()
    return rows


def _write_csv(path: Path, batches: Iterator[pa.RecordBatch]) -> int:
    rows = 0
    file = None
    try:
        for batch in batches:
            if not batch.num_rows:
                continue
            if file is None:
                file = path.open("w", encoding="utf-8-sig", newline="")
                writer = csv.writer(file, lineterminator="\n")
                writer.writerow(batch.schema.names)
            columns = [[_cell(value) for value in column.to_pylist()] for column in batch.columns]
            writer.writerows(zip(*columns, strict=True))
            rows += batch.num_rows
    finally:
        if file:
            file.close()
    return rows


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return safe_text(value)
    return repr(value) if isinstance(value, float) else str(value)


def _write_dictionary(path: Path, format: str, written: dict[str, int]) -> None:
    resources = []
    for kind, fields in KINDS.items():
        name = f"{kind}.{format}"
        if name not in written:
            continue
        types = ROW_TABLES[kind][1]
        described = [
            {
                "name": field.name,
                "type": TYPES[types[field.name]],
                "description": field.what,
                "example": field.example,
                **({"constraints": {"required": True}} if field.required else {}),
                **({"trueValues": ["yes"], "falseValues": ["no"]} if types[field.name] == "BOOLEAN" else {}),
            }
            for field in fields
        ]
        resources.append(
            {
                "name": kind,
                "title": KIND_NAMES[kind],
                "path": name,
                "format": format,
                "encoding": "utf-8",
                "rows": written[name],
                "schema": {"fields": described, "missingValues": [""]},
            }
        )
    if AGREEMENTS in written:
        resources.append(_agreements_described(written[AGREEMENTS]))
    package = {"name": PACKAGE, "title": "Hoof trimming records", "resources": resources}
    path.write_text(json.dumps(package, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


def _agreements_described(rows: int) -> dict[str, Any]:
    types = BOOKKEEPING[AGREED_KIND]
    described = [
        {"name": name, "type": TYPES[types[name]], "description": says}
        | ({"constraints": {"required": True}} if name in ("farm", "agreed_on", "text", "added_at") else {})
        for name, says in AGREED.items()
    ]
    return {
        "name": AGREED_KIND,
        "title": "What was agreed",
        "path": AGREEMENTS,
        "format": "csv",
        "encoding": "utf-8",
        "rows": rows,
        "schema": {"fields": described, "missingValues": [""]},
    }
