"""Rows of any engine as the pandas frames the embedded one gives: the same types for the same things.

Whole numbers and truths that may be missing come as pandas' own nullable types, days and moments as
``datetime64[us]``, exact decimals (which other engines make of sums) as floats.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    import pyarrow as pa

WHOLE = {"int8": "Int8", "int16": "Int16", "int32": "Int32", "int64": "Int64"}


def column_of(values: Sequence[Any], kind: str) -> pd.Series[Any]:
    """One column of Python values.

    Parameters
    ----------
    values : sequence
        ``None`` where nothing is known.
    kind : {"int16", "int32", "int64", "float", "bool", "date", "text", "other"}
    """
    missing = any(value is None for value in values)
    if kind in WHOLE:
        return pd.Series(values, dtype=WHOLE[kind] if missing else kind)
    if kind == "float":
        return pd.Series([None if value is None else float(value) for value in values], dtype="float64")
    if kind == "bool":
        return pd.Series(values, dtype="boolean" if missing else "bool")
    if kind == "date":
        moments = [value.replace(tzinfo=None) if getattr(value, "tzinfo", None) else value for value in values]
        return pd.Series(pd.array(moments, dtype="datetime64[us]"))
    if kind == "text":
        empty = len(values) > 0 and all(value is None for value in values)
        return pd.Series(values, dtype="object" if empty else "str")
    return pd.Series(values, dtype="object")


def frame_of(names: Sequence[str], kinds: Sequence[str], rows: Sequence[Sequence[Any]]) -> pd.DataFrame:
    """Rows as a frame; see :func:`column_of`."""
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    frame = pd.concat(
        [column_of(column, kind) for column, kind in zip(columns, kinds, strict=True)],
        axis=1,
    )
    frame.columns = pd.Index(names)
    return frame


def frame_of_arrow(table: pa.Table) -> pd.DataFrame:
    """An Arrow table as a frame; see :func:`column_of`."""
    columns = [_of_arrow(column) for column in table.columns]
    frame = pd.concat(columns, axis=1) if columns else pd.DataFrame()
    frame.columns = pd.Index(table.column_names)
    return frame


def _of_arrow(column: pa.ChunkedArray) -> pd.Series[Any]:
    import pyarrow as pa

    kind = column.type
    missing = column.null_count > 0
    if pa.types.is_decimal(kind) or pa.types.is_floating(kind):
        return pd.Series(column.cast(pa.float64()).to_pandas())
    if pa.types.is_integer(kind):
        nullable = pd.Series(column.to_pandas(types_mapper=lambda each: pd.api.types.pandas_dtype(WHOLE[str(each)])))
        return nullable if missing else nullable.astype(np.dtype(str(kind)))
    if pa.types.is_boolean(kind):
        nullable = pd.Series(column.to_pandas(types_mapper=lambda _: pd.BooleanDtype()))
        return nullable if missing else nullable.astype("bool")
    if pa.types.is_date(kind) or pa.types.is_timestamp(kind):
        return pd.Series(column.cast(pa.timestamp("us")).to_pandas().astype("datetime64[us]"))
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        return column_of(column.to_pylist(), "text")
    return pd.Series(column.to_pylist(), dtype="object")
