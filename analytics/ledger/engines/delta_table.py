"""One Delta table as its log has it: which files make it up now, and what they hold.

Files of older versions lie beside those that count, so only the log can say; it also says what a file holds in the
columns that the table is dealt out by, which are not in the file.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

FEATURES = {"timestampNtz", "v2Checkpoint", "vacuumProtocolCheck", "deletionVectors"}
"""What a table may ask of who reads it: kinds and logs that are read here, and deletion vectors as long as no file has
one [pub: Delta Transaction Log Protocol, Table Features]."""

KINDS = {
    "VARCHAR": ("string",),
    "INTEGER": ("integer", "short", "byte", "long"),
    "BIGINT": ("long", "integer", "short", "byte"),
    "DOUBLE": ("double", "float", "integer", "long"),
    "BOOLEAN": ("boolean",),
    "DATE": ("date",),
    "TIMESTAMP": ("timestamp", "timestamp_ntz"),
}
"""Kinds of a ledger's columns, and what a Delta table may call them [pub: the same, Primitive Types]."""


@dataclass(frozen=True)
class DeltaFile:
    """One Parquet file of a table.

    Attributes
    ----------
    path : str
    values : dict
        Column -> what every row of the file has in it; such columns are not in the file.
    in_path : bool
        Whether the names of its folders say the same.
    """

    path: str
    values: dict[str, Any]
    in_path: bool


def without_deltalake() -> UserError:
    """What to tell where the package for Delta tables is missing."""
    return UserError(say("Delta tables need the package deltalake; install Evenfoot with its 'spark' extra."))


class DeltaTableNow:
    """One table as its log has it.

    Raises
    ------
    UserError
        The log cannot be read, or asks for something that is not done here.
    """

    def __init__(self, path: Path, columns: dict[str, str]) -> None:
        self.path = path
        table = self._open()
        self._refuse_what_is_not_read(table)
        self.version = int(table.version())
        self.kinds = self._kinds(json.loads(table.schema().to_json())["fields"], columns)
        self.files = tuple(self._files(table))

    def _open(self) -> Any:
        try:
            from deltalake import DeltaTable
            from deltalake.exceptions import DeltaError
        except ImportError:
            raise without_deltalake() from None
        try:
            return DeltaTable(str(self.path))
        except (DeltaError, OSError) as error:
            raise UserError(
                say(
                    "The Delta table {path} cannot be read: {error}",
                    path=str(self.path),
                    error=(str(error).strip() or type(error).__name__).splitlines()[0][:300],
                )
            ) from None

    def _refuse_what_is_not_read(self, table: Any) -> None:
        asked = set(table.protocol().reader_features or ())
        unread = asked - FEATURES
        if table.metadata().configuration.get("delta.columnMapping.mode", "none") != "none":
            unread.add("columnMapping")
        if unread:
            raise UserError(
                say(
                    "The Delta table {path} uses {features}, which Evenfoot does not read; write the table anew "
                    "without.",
                    path=str(self.path),
                    features=", ".join(sorted(unread)),
                )
            )
        if "deletionVectors" in asked and _marks_rows(table):
            raise UserError(
                say(
                    "Rows of the Delta table {path} are, or may be, marked as deleted beside its files (deletion "
                    "vectors), which Evenfoot does not read; have the files written anew without those rows.",
                    path=str(self.path),
                )
            )

    def _kinds(self, fields: list[dict[str, Any]], columns: dict[str, str]) -> dict[str, str]:
        found = {field["name"]: field["type"] for field in fields}
        missing = [name for name in columns if name not in found]
        if missing:
            raise UserError(
                say(
                    "The Delta table {path} lacks the columns {missing}; write it anew with `evenfoot export --format "
                    "delta` of this version.",
                    path=str(self.path),
                    missing=", ".join(missing),
                )
            )
        for name, kind in columns.items():
            if found[name] not in KINDS[kind]:
                raise UserError(
                    say(
                        "The column {column} of the Delta table {path} holds {found}, and has to hold {kind}.",
                        column=name,
                        path=str(self.path),
                        found=json.dumps(found[name]).strip('"'),
                        kind=KINDS[kind][0],
                    )
                )
        return {name: found[name] for name in columns}

    def _files(self, table: Any) -> Iterator[DeltaFile]:
        import pyarrow as pa

        added = pa.table(table.get_add_actions())
        by = [name for name in table.metadata().partition_columns if name in self.kinds]
        values = added.column("partition").to_pylist() if by else [{}] * added.num_rows
        for path, known in zip(added.column("path").to_pylist(), values, strict=True):
            place = self._place(path)
            # An empty text stands for a missing value [pub: the same, Partition Value Serialization].
            own = {name: None if known[name] == "" else known[name] for name in by}
            yield DeltaFile(place, own, _said_by_path(place, own))

    def _place(self, path: str) -> str:
        """Where a file lies; the log has names below the table, or whole addresses of files elsewhere."""
        parts = urlsplit(path) if path.startswith(("file:", "/")) or "://" in path else None
        if parts is None:
            return str(self.path / unquote(path))
        if parts.scheme not in ("", "file"):
            raise UserError(
                say(
                    "The Delta table {path} has files elsewhere ({file}), which Evenfoot does not read; copy the table "
                    "whole.",
                    path=str(self.path),
                    file=path,
                )
            )
        return unquote(parts.path)


def _marks_rows(table: Any) -> bool:
    """Whether any file of a table has a deletion vector, or the package cannot say."""
    from deltalake.exceptions import DeltaError

    try:
        return any(len(batch) for batch in table.deletion_vectors())
    except DeltaError:
        return True


NOTHING = "__HIVE_DEFAULT_PARTITION__"
"""What a folder is called whose rows have nothing in the column it is named after [pub: Apache Hive]."""


def _said_by_path(place: str, values: dict[str, Any]) -> bool:
    """Whether the folders of a file are named after what the log says of it, as is usual and nowhere promised."""
    folders = place.split("/")[:-1][-len(values) :] if values else []
    told = dict(part.split("=", 1) for part in map(unquote, folders) if "=" in part)
    return told == {name: NOTHING if value is None else str(value) for name, value in values.items()}
