"""Parquet: the typed columns of an export, or of any other program, as a raw sheet."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.fields import KINDS
from evenfoot.analytics.intake.readers.column_builder import gather
from evenfoot.analytics.intake.readers.excel import cell_text
from evenfoot.analytics.intake.rejected_rows import safe_text
from evenfoot.analytics.intake.sheet import RawSheet
from evenfoot.analytics.messages import say

KIND_KEY = b"evenfoot.kind"
"""Under this key of its metadata a file may name the kind of sheet it holds."""

MOST_ROWS = 20_000_000
"""More rows than this in one file are not a herd's records. [common practice, no source]"""

BATCH = 100_000
_DAMAGED = "{name} is a Parquet file that is damaged; export it again."


def looks_like_parquet(data: bytes) -> bool:
    """Whether the first bytes are those of a Parquet file."""
    return data.startswith(b"PAR1")


def read_parquet(data: bytes, name: str) -> list[RawSheet]:
    """The rows of a Parquet file as text; row numbers count from 1.

    Raises
    ------
    UserError
        The file is damaged, or a column holds lists or tables.
    """
    import pyarrow as pa

    try:
        file, kind = _opened(io.BytesIO(data), name)
        sheet = gather(_rows(file, file.schema_arrow.names), name)
    except (pa.ArrowException, OSError, ValueError) as error:
        if isinstance(error, UserError):
            raise
        raise UserError(_DAMAGED.format(name=name)) from None
    return [replace(sheet, first_row=0, kind_hint=kind, has_headings=True)]


def kind_of_parquet(path: Path, name: str) -> tuple[list[str], str | None]:
    """The columns of a Parquet file, and the kind of sheet it says it holds.

    Raises
    ------
    UserError
        As for :func:`read_parquet`.
    """
    import pyarrow as pa

    try:
        file, kind = _opened(path, name)
        with file:
            return list(file.schema_arrow.names), kind
    except (pa.ArrowException, OSError) as error:
        raise UserError(_DAMAGED.format(name=name)) from error


def _opened(source: Any, name: str) -> tuple[Any, str | None]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    file = pq.ParquetFile(source)
    for column in file.schema_arrow:
        if pa.types.is_nested(column.type) or pa.types.is_binary(column.type):
            raise UserError(
                say(
                    "{name}, column {column}: it holds {type}, not plain values; leave it out.",
                    name=name,
                    column=column.name,
                    type=column.type,
                )
            )
    if isinstance(source, io.BytesIO) and file.metadata.num_rows > MOST_ROWS:
        raise UserError(
            say(
                "{name} has more than {MOST_ROWS:,} rows. Split it, by year for instance.",
                name=name,
                MOST_ROWS=MOST_ROWS,
            )
        )
    kind = (file.schema_arrow.metadata or {}).get(KIND_KEY, b"").decode(errors="replace")
    return file, kind if kind in KINDS else None


def _rows(file: Any, names: list[str]) -> Iterator[list[str]]:
    yield list(names)
    for batch in file.iter_batches(BATCH):
        columns = [[text_of_value(value) for value in column.to_pylist()] for column in batch.columns]
        for row in zip(*columns, strict=True):
            yield list(row)


def text_of_value(value: Any) -> str:
    """Typed text is never a formula: the apostrophe that later checks take off is put on first."""
    return safe_text(value) if isinstance(value, str) else cell_text(value)
