"""The records of a checked stream on their way to the engine: new ones, perhaps known ones, and rows set aside."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenfoot.analytics.intake.checks.records import SET_ASIDE_COLUMNS
from evenfoot.analytics.intake.large_files.stream import CheckedStream
from evenfoot.analytics.ledger.imports.digests import Digests, Seen
from evenfoot.analytics.ledger.schema import ROW_TABLES

if TYPE_CHECKING:
    import pyarrow as pa

ROWS_A_BATCH = 64_000
"""What one thread of the engine stores at a time: little enough that none waits long for another."""


class Taken:
    """What goes by while the pieces of a stream are handed to the engine.

    Rows set aside go to a file, and so do those that may have been met before, for a second look.
    """

    def __init__(self, stream: CheckedStream, folder: Path) -> None:
        self.stream = stream
        self.records = self.held = self.read = self.added = 0
        self.aside = folder / "set-aside.arrows"
        self.again = folder / "again.arrows"
        self.seen = Seen(stream.rows_read)
        self.failed: BaseException | None = None
        _, fields = ROW_TABLES[stream.kind]
        self.coded, self.plain = schemas(fields)

    def batches(self) -> Iterator[pa.RecordBatch]:
        """The new records as the engine takes them. An error is kept, as the engine would wrap it in its own words."""
        import pyarrow as pa

        aside = pa.schema([(name, pa.int64() if name == "row" else pa.large_string()) for name in SET_ASIDE_COLUMNS])
        _, fields = ROW_TABLES[self.stream.kind]
        try:
            with (
                pa.OSFile(str(self.aside), "wb") as file,
                pa.ipc.new_stream(file, aside) as writer,
                pa.OSFile(str(self.again), "wb") as other,
                pa.ipc.new_stream(other, self.plain) as twice,
                Digests(fields) as digests,
            ):
                for piece in self.stream.pieces():
                    self.read += piece.rows_read
                    self.records += len(piece)
                    self.held += piece.rows_read - len(piece)
                    if len(piece.set_aside):
                        writer.write_table(pa.Table.from_pandas(piece.set_aside, aside, preserve_index=False))
                    if not len(piece):
                        continue
                    table = piece.table(pa.schema(list(self.coded)[:-1]))
                    keys, numbers = digests.of(table)
                    table = table.append_column(self.coded.field("row_key"), keys.cast(pa.large_string()))
                    new = self.seen.new(numbers)
                    if not new.all():
                        twice.write_table(decoded(table.filter(pa.array(~new)), self.plain))
                        table, numbers = table.filter(pa.array(new)), numbers[new]
                    self.added += len(numbers)
                    yield from table.to_batches(ROWS_A_BATCH)
        except BaseException as error:
            self.failed = error
            raise


def schemas(fields: dict[str, str]) -> tuple[pa.Schema, pa.Schema]:
    """Row number, fields and digest in Arrow: the fields as dictionaries, and as they are."""
    import pyarrow as pa

    types = {
        "DATE": pa.date32(),
        "VARCHAR": pa.large_string(),
        "INTEGER": pa.int32(),
        "DOUBLE": pa.float64(),
        "BOOLEAN": pa.bool_(),
    }
    plain = {name: types[kind] for name, kind in fields.items()}
    coded = {name: pa.dictionary(pa.int32(), kind) for name, kind in plain.items()}
    row, key = ("row", pa.int64()), ("row_key", pa.large_string())
    return pa.schema([row, *coded.items(), key]), pa.schema([row, *plain.items(), key])


def decoded(table: Any, schema: Any) -> Any:
    """A table without dictionaries."""
    import pyarrow as pa

    columns = [
        column.cast(one.type) if pa.types.is_dictionary(column.type) else column
        for column, one in zip(table.columns, schema, strict=True)
    ]
    return pa.Table.from_arrays(columns, schema=schema)
