"""A large file as raw sheets of some rows each, read by Arrow or the engine where they read as Python would."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from evenfoot.analytics.concurrency import Task, submit
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.large_files.text_file import TextFile, first_look, look_through
from evenfoot.analytics.intake.readers.column_builder import gather
from evenfoot.analytics.intake.readers.delimited_text import LONGEST_CELL, SAMPLE_ROWS, delimiter_of, rows_of
from evenfoot.analytics.intake.readers.parquet import kind_of_parquet, text_of_value
from evenfoot.analytics.intake.sheet import RawColumn, RawSheet
from evenfoot.analytics.messages import say

ROWS_A_PIECE = 200_000
READER_MEMORY = "400MB"
"""The most that the engine may hold while it reads a text file."""
BYTES_A_BLOCK = 8_000_000
"""What Arrow reads at a time, of which it holds some in advance: the memory it takes is some thirty times as much."""


class CannotRead(Exception):
    """This way of reading does not suit the file; the next one is tried."""


@dataclass(frozen=True)
class Source:
    """A large file that can be read in pieces, more than once.

    Attributes
    ----------
    head : RawSheet
        Its first rows, among them the headings.
    ways : tuple of callables
        Each gives the pieces anew; a way that raises :class:`CannotRead` gives place to the next. A way takes the
        number of columns that every piece must have.
    headed : bool
        Whether the first piece holds the headings.
    sure : bool
        Whether a mistake found in it is one; otherwise another source of the same file is to be read first.
    """

    head: RawSheet
    ways: tuple[Callable[[int], Iterator[RawSheet]], ...]
    headed: bool
    sure: bool = True


def text_sources(path: Path, name: str) -> Iterator[Source]:
    """A file of delimited text: as its beginning lets hope, then as the whole of it is, if the first cannot be read.

    The whole file is looked through while the first is read, and has the last word on whether it may be read so.

    Raises
    ------
    UserError
        It is no text.
    """
    looking = submit(partial(look_through, path, name))
    hopeful = _hopeful(first_look(path, name), looking)
    if hopeful is not None:
        yield hopeful
    file = looking.result()
    head, delimiter = _head_of(file)
    quick: list[Callable[[int], Iterator[RawSheet]]] = []
    if delimiter in file.tidy:
        quick.append(partial(_by_arrow, file, delimiter))
    if file.plain:
        quick += [partial(_by_engine, file, delimiter, padded=padded) for padded in (True, False)]
    yield Source(head, (*quick, partial(_by_reader, file, delimiter)), True)


def _hopeful(hoped: TextFile | None, looking: Task[TextFile]) -> Source | None:
    if hoped is None:
        return None
    try:
        head, delimiter = _head_of(hoped)
    except (UnicodeDecodeError, UserError):
        # What is wrong with it is told of the file as it is.
        return None

    def check() -> None:
        file = looking.result()
        if file.encoding != hoped.encoding or delimiter not in file.tidy:
            raise CannotRead

    def way(width: int) -> Iterator[RawSheet]:
        for piece in _by_arrow(hoped, delimiter, width):
            if looking.done:
                check()
            yield piece
        check()

    return Source(head, (way,), True, sure=False)


def _head_of(file: TextFile) -> tuple[RawSheet, str]:
    """The first rows of a text file, and what separates its cells."""
    delimiter = delimiter_of(file.head(), file.name)
    with file.open() as text:
        return gather(islice(rows_of(text, delimiter, file.name), SAMPLE_ROWS), file.name), delimiter


def parquet_source(path: Path, name: str) -> Source:
    """A Parquet file.

    Raises
    ------
    UserError
        It is damaged, or holds lists or tables.
    """
    names, kind = kind_of_parquet(path, name)
    head = replace(gather([names], name), first_row=0, kind_hint=kind, has_headings=True)
    return Source(head, (lambda width: _of_parquet(path, head),), False)


def _by_arrow(file: TextFile, delimiter: str, width: int) -> Iterator[RawSheet]:
    """Rows of exactly *width* cells, by the reader that makes codes of texts as it goes."""
    import pyarrow as pa
    import pyarrow.csv as pc

    names = [f"c{number}" for number in range(width)]
    coded = pa.dictionary(pa.int32(), pa.string())
    first_row = 1
    try:
        with pc.open_csv(
            str(file.path),
            pc.ReadOptions(column_names=names, block_size=BYTES_A_BLOCK),
            pc.ParseOptions(delimiter=delimiter, newlines_in_values=True, ignore_empty_lines=False),
            pc.ConvertOptions(column_types=dict.fromkeys(names, coded), null_values=[], check_utf8=False),
        ) as reader:
            for piece in _together(reader):
                coded_columns = [column.combine_chunks() for column in piece.columns]
                columns = [RawColumn(each.indices.to_numpy(), _texts(each.dictionary)) for each in coded_columns]
                yield RawSheet(file.name, columns, np.zeros(len(piece), dtype=np.int32), first_row)
                first_row += len(piece)
        # What it no longer needs it would keep for later.
        pa.default_memory_pool().release_unused()
    except (pa.ArrowException, OSError, UnicodeDecodeError):
        raise CannotRead from None


def _texts(values: Any) -> list[str]:
    """Distinct texts, of which none may be longer than a cell."""
    import pyarrow.compute as pc

    if len(values) and (pc.max(pc.utf8_length(values)).as_py() or 0) > LONGEST_CELL:
        raise CannotRead
    texts: list[str] = values.to_pylist()
    return texts


def _by_engine(file: TextFile, delimiter: str, width: int, *, padded: bool) -> Iterator[RawSheet]:
    import duckdb

    columns = ", ".join(f"'c{number}': 'VARCHAR'" for number in range(width))
    options = (
        f"auto_detect=false, header=false, strict_mode=true, null_padding={str(padded).lower()}, new_line='\\n', "
        f"delim='{delimiter}', quote='\"', escape='\"', nullstr='\\x00\\x00', columns={{{columns}}}"
    )
    place = str(file.path).replace("'", "''")
    first_row = 1
    try:
        with (
            duckdb.connect(config={"memory_limit": READER_MEMORY, "autoload_known_extensions": False}) as connection,
            ThreadPoolExecutor() as pool,
        ):
            connection.execute("SET enable_progress_bar = false")
            # Room for the engine to read on while a piece is looked at.
            connection.execute("SET streaming_buffer_size = '32MB'")
            question = connection.sql(f"SELECT * FROM read_csv('{place}', {options})")
            for piece in _together(question.to_arrow_reader(ROWS_A_PIECE)):
                columns_here = list(pool.map(_encoded, piece.columns))
                yield RawSheet(file.name, columns_here, np.zeros(len(piece), dtype=np.int32), first_row)
                first_row += len(piece)
    except (duckdb.Error, OSError):
        # What the engine finds wrong after the first rows comes by way of Arrow.
        raise CannotRead from None


def _together(batches: Iterable[Any]) -> Iterator[Any]:
    """Batches of the engine's choosing put together to pieces of some size."""
    import pyarrow as pa

    waiting: list[Any] = []
    for batch in batches:
        waiting.append(batch)
        if sum(map(len, waiting)) + len(batch) > ROWS_A_PIECE:
            yield pa.Table.from_batches(waiting).combine_chunks()
            waiting = []
    if waiting:
        yield pa.Table.from_batches(waiting).combine_chunks()


def _by_reader(file: TextFile, delimiter: str, width: int) -> Iterator[RawSheet]:
    first_row = 1
    with file.open() as text:
        rows = rows_of((line.rstrip("\x1a") for line in text), delimiter, file.name)
        while chunk := list(islice(rows, ROWS_A_PIECE)):
            piece = gather(chunk, file.name)
            blank = RawColumn(np.zeros(len(piece), dtype=np.int32), [""])
            filled = [*piece.columns, *[blank] * (width - len(piece.columns))]
            yield replace(piece, columns=filled, first_row=first_row)
            first_row += len(chunk)


def _of_parquet(path: Path, head: RawSheet) -> Iterator[RawSheet]:
    import pyarrow as pa
    import pyarrow.parquet as pq

    first_row = 1
    try:
        with pq.ParquetFile(path) as file:
            for batch in file.iter_batches(ROWS_A_PIECE):
                columns = [_encoded(column, text_of_value) for column in batch.columns]
                widths = np.zeros(batch.num_rows, dtype=np.int32)
                yield replace(head, columns=columns, widths=widths, first_row=first_row)
                first_row += batch.num_rows
    except (pa.ArrowException, OSError):
        raise UserError(
            say("{source} is a Parquet file that is damaged; export it again.", source=head.source)
        ) from None


def _encoded(column: Any, text: Callable[[Any], str] = str) -> RawColumn:
    """An Arrow column as codes of distinct texts."""
    import pyarrow as pa

    if pa.types.is_null(column.type):
        return RawColumn(np.zeros(len(column), dtype=np.int32), [""])
    if pa.types.is_dictionary(column.type):
        column = column.dictionary_decode()
    if hasattr(column, "chunks"):
        column = column.combine_chunks()
    encoded = column.dictionary_encode()
    values, codes = encoded.dictionary, encoded.indices
    blank = len(values)
    if codes.null_count:
        codes = codes.fill_null(blank)
    texts = _texts(values) if text is str else [text(value) for value in values.to_pylist()]
    return RawColumn(codes.to_numpy().astype(np.int32, copy=False), [*texts, ""] if column.null_count else texts)


def padded_head(head: RawSheet, width: int) -> RawSheet:
    """The first rows filled with blank cells to some breadth."""
    blank = RawColumn(np.zeros(len(head), dtype=np.int32), [""])
    return replace(head, columns=[*head.columns, *[blank] * (width - len(head.columns))])
