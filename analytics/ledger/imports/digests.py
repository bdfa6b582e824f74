"""Digests of rows on their way into the ledger, and which of them were certainly not met before.

A digest is that of :func:`evenfoot.analytics.ledger.schema.key_of`, put together from the texts of distinct values,
which are far fewer than rows.
"""

from __future__ import annotations

from types import TracebackType
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.ledger.engines.engine import NO_BAR
from evenfoot.analytics.ledger.schema import half_as_number

BITS_A_ROW = 32
MOST_BITS = 1 << 30
"""Of what is remembered of the digests: one row in 150 is looked at twice at 45 million rows, and fewer below."""

Numbers = npt.NDArray[np.uint64]
Flags = npt.NDArray[np.bool_]


class Digests:
    """Works digests out in an engine of its own, piece by piece."""

    def __init__(self, fields: dict[str, str]) -> None:
        import duckdb

        self.fields = fields
        self._engine = duckdb.connect(config={"autoload_known_extensions": False})
        self._engine.execute(NO_BAR)
        self._texts: dict[str, tuple[Any, Any, Any]] = {}

    def __enter__(self) -> Digests:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._engine.close()

    def of(self, table: Any) -> tuple[Any, Numbers]:
        """The digest of every row of an Arrow table of dictionaries, and its lower half as a number."""
        import pyarrow as pa

        parts: list[str] = []
        columns: dict[str, Any] = {}
        literal = ""
        for place, name in enumerate(self.fields):
            column = table.column(name).combine_chunks()
            texts = self._texts_of(name, column.dictionary)
            literal += "\x1f" if place else ""
            if len(texts) == 1 and not column.null_count:
                # A column that says the same in every row, as those do that the sheet does not have.
                literal += texts[0].as_py()
                continue
            if literal:
                parts.append("'" + literal.replace("'", "''") + "'")
                literal = ""
            parts.append(f'"{name}"')
            columns[name] = pa.DictionaryArray.from_arrays(column.indices, texts)
        parts.append("'" + literal.replace("'", "''") + "'")
        columns["row"] = table.column("row")
        self._engine.register("piece", pa.table(columns))
        found = self._engine.sql(
            f"SELECT row_key, {half_as_number('row_key')} AS number "
            f"FROM (SELECT MD5(CONCAT({', '.join(parts)})) AS row_key FROM piece)"
        ).to_arrow_table()
        self._engine.unregister("piece")
        return found.column("row_key").combine_chunks(), found.column("number").to_numpy()

    def _texts_of(self, name: str, values: Any) -> Any:
        """The values as the digest has them; worked out once for as long as they stay the same."""
        import pyarrow as pa

        # While an array is kept no other can lie where it does.
        place = values.offset, len(values), [buffer and buffer.address for buffer in values.buffers()]
        kept = self._texts.get(name)
        if kept is not None and kept[0] == place:
            return kept[2]
        if self.fields[name] == "VARCHAR":
            texts = values.fill_null("")
        else:
            self._engine.register("distinct_values", pa.table({"value": values, "place": range(len(values))}))
            texts = self._engine.sql(
                f"SELECT COALESCE(CAST(CAST(value AS {self.fields[name]}) AS VARCHAR), '') AS value "
                "FROM distinct_values ORDER BY place"
            ).to_arrow_table()
            texts = texts.column("value").combine_chunks().cast(pa.large_string())
            self._engine.unregister("distinct_values")
        self._texts[name] = (place, values, texts)
        return texts


class Seen:
    """What is remembered of the digests that came by: enough to tell those that are certainly new.

    A filter after Bloom 1970, Communications of the ACM 13:422, with two hashes.
    """

    def __init__(self, rows: int) -> None:
        size = min(MOST_BITS, max(1 << 16, rows * BITS_A_ROW))
        self._places = 1 << (size - 1).bit_length()
        self._bits = np.zeros(self._places // 8, dtype=np.uint8)

    def add(self, numbers: Numbers) -> None:
        """Remember digests."""
        for byte, bit in self._where(numbers):
            np.bitwise_or.at(self._bits, byte, bit)

    def new(self, numbers: Numbers) -> Flags:
        """Which digests are certainly met for the first time; all are remembered."""
        before = np.ones(len(numbers), dtype=bool)
        for byte, bit in self._where(numbers):
            before &= (self._bits[byte] & bit) != 0
        self.add(numbers)
        return ~before & ~pd.Series(numbers).duplicated().to_numpy()

    def _where(self, numbers: Numbers) -> list[tuple[npt.NDArray[np.int64], npt.NDArray[np.uint8]]]:
        mask = np.uint64(self._places - 1)
        return [
            ((place >> np.uint64(3)).astype(np.int64), (1 << (place & np.uint64(7))).astype(np.uint8))
            for place in (numbers & mask, (numbers >> np.uint64(32)) & mask)
        ]
