"""The records of a sheet between its two readings: codes of texts, kept in a file, so that the sheet is read once."""

from __future__ import annotations

import tempfile
import weakref
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import IO, Any

import numpy as np

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.sheet import Codes, Positions, RawColumn, RawSheet
from evenfoot.analytics.messages import say

_ROWS = "rows"
_FIELD = "field "
_COLUMN = "column "


@dataclass(frozen=True)
class CodedPiece:
    """Some records of a sheet as codes; titles, headings and blank rows are gone.

    Attributes
    ----------
    rows : array of int
        Row numbers, as a person sees them.
    numbers : dict of str to array of int
        Field -> which text of the survey stands in each row.
    columns : dict of int to RawColumn
        Every column of the sheet whose texts the survey does not gather, by its place.
    """

    rows: Positions
    numbers: dict[str, Codes]
    columns: dict[int, RawColumn]

    def __len__(self) -> int:
        return len(self.rows)

    def among(self, positions: Positions) -> CodedPiece:
        """The same at some positions only."""
        return CodedPiece(
            self.rows[positions],
            {name: codes[positions] for name, codes in self.numbers.items()},
            {number: column.among(positions) for number, column in self.columns.items()},
        )


class SpillFile:
    """Coded pieces in a file of its own, which goes when the stash does."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._file: IO[bytes] = tempfile.TemporaryFile(prefix="evenfoot-")  # noqa: SIM115
        # The file goes with the pieces, whoever drops them last.
        weakref.finalize(self, self._file.close)
        self._ends: list[int] = []

    def empty(self) -> None:
        """Forget the pieces."""
        self._file.seek(0)
        self._file.truncate()
        self._ends = []

    def put(self, piece: CodedPiece) -> None:
        """Keep one more piece.

        Raises
        ------
        UserError
            There is no room for it.
        """
        import pyarrow as pa

        arrays: dict[str, Any] = {_ROWS: pa.array(_narrow(piece.rows))}
        arrays |= {_FIELD + name: pa.array(_narrow(codes)) for name, codes in piece.numbers.items()}
        for number, column in piece.columns.items():
            texts = pa.array(column.texts, pa.large_string())
            arrays[f"{_COLUMN}{number}"] = pa.DictionaryArray.from_arrays(column.codes, texts)
        batch = pa.record_batch(list(arrays.values()), names=list(arrays))
        sink = pa.BufferOutputStream()
        with pa.ipc.new_stream(sink, batch.schema, options=pa.ipc.IpcWriteOptions(compression="lz4")) as writer:
            writer.write_batch(batch)
        try:
            self._file.write(sink.getvalue())
            self._file.flush()
        except OSError as error:
            raise UserError(
                say(
                    "There is no room in {folder} to read {name} ({error}). Make room there, or set TMPDIR to a "
                    "folder that has some.",
                    folder=tempfile.gettempdir(),
                    name=self.name,
                    error=error.strerror,
                )
            ) from None
        self._ends.append(self._file.tell())

    def pieces(self) -> Iterator[CodedPiece]:
        """The pieces again, in the order in which they came."""
        import pyarrow as pa

        start = 0
        for end in self._ends:
            self._file.seek(start)
            with pa.ipc.open_stream(self._file.read(end - start)) as reader:
                batch = reader.read_next_batch()
            start = end
            yield _taken_apart(batch)


def _taken_apart(batch: Any) -> CodedPiece:
    rows: Positions = np.empty(0, np.int64)
    numbers: dict[str, Codes] = {}
    columns: dict[int, RawColumn] = {}
    for name, array in zip(batch.schema.names, batch.columns, strict=True):
        if name == _ROWS:
            rows = array.to_numpy().astype(np.int64)
        elif name.startswith(_FIELD):
            numbers[name.removeprefix(_FIELD)] = array.to_numpy().astype(np.int32)
        else:
            column = RawColumn(array.indices.to_numpy().astype(np.int32), array.dictionary.to_pylist())
            columns[int(name.removeprefix(_COLUMN))] = column
    return CodedPiece(rows, numbers, columns)


def _narrow(codes: Any) -> Any:
    """Codes in as few bytes each as hold them."""
    top = int(codes.max(initial=0))
    for kind in (np.uint8, np.uint16, np.uint32):
        if top <= np.iinfo(kind).max:
            return codes.astype(kind)
    return codes


def sheet_of(
    piece: CodedPiece, like: RawSheet, place_of: dict[str, int], texts: Mapping[str, Sequence[str]]
) -> RawSheet:
    """The records as a raw sheet again, without headings.

    Parameters
    ----------
    piece : CodedPiece
    like : RawSheet
        Whose name and sort it takes.
    place_of : mapping of str to int
        Field -> the place of its column.
    texts : mapping of str to sequence of str
        Field -> its texts, as the cells have them.
    """
    columns = dict(piece.columns)
    columns |= {place_of[name]: RawColumn(codes, texts[name]) for name, codes in piece.numbers.items()}
    return RawSheet(
        like.source,
        [columns[number] for number in sorted(columns)],
        np.zeros(len(piece), dtype=np.int32),
        from_workbook=like.from_workbook,
        kind_hint=like.kind_hint,
        has_headings=like.has_headings,
    )
