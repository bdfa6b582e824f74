"""From a frame of records or counts to the arrays a model needs: patterns, treatment coding, clusters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd


@dataclass(frozen=True)
class Design:
    """Counts by covariate pattern and cluster, and their design matrix.

    Attributes
    ----------
    x : ndarray, shape (rows, terms)
        Intercept first, then treatment-coded factors and numbers as they stand.
    terms : tuple of str
        ``"intercept"``, ``"column=level"`` for a factor's level, ``"column"`` for a number.
    cases, n : ndarray, shape (rows,)
        Affected and looked at.
    cluster : ndarray of int, shape (rows,)
        Position in ``cluster_names``; rows are sorted by it.
    cluster_names : tuple
        The clusters as they were named.
    levels : dict of str to tuple
        The levels of each factor, reference first.
    patterns : pandas.DataFrame
        The columns of each row, as grouped.
    """

    x: npt.NDArray[np.float64]
    terms: tuple[str, ...]
    cases: npt.NDArray[np.float64]
    n: npt.NDArray[np.float64]
    cluster: npt.NDArray[np.intp]
    cluster_names: tuple[object, ...]
    levels: dict[str, tuple[object, ...]]
    patterns: pd.DataFrame


def is_factor(column: pd.Series) -> bool:
    """Whether a column is coded by its levels (text, categories, yes/no) and not as a number.

    Examples
    --------
    >>> is_factor(pd.Series(["tie stall", "freestall"])), is_factor(pd.Series([1.0, 2.0]))
    (True, False)
    """
    return not pd.api.types.is_numeric_dtype(column) or pd.api.types.is_bool_dtype(column)


def build_design(
    frame: pd.DataFrame,
    outcome: str,
    columns: Sequence[str],
    cluster: str,
    *,
    n: str | None = None,
    references: dict[str, object] | None = None,
    factors: Sequence[str] = (),
) -> Design:
    """Group a frame to counts by pattern and cluster and code it.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a unit (*outcome* 0/1 or boolean), or one row a pattern with *n* naming the units looked at.
        Rows with a missing value in any column used are left out.
    outcome : str
        Column of the outcome or of the cases.
    columns : sequence of str
        Columns of the model. Text, categories and booleans are factors; numbers are numbers.
    cluster : str
        Column of the cluster.
    n : str, optional
        Column of the units looked at.
    references : dict, optional
        Reference level of a factor; the first level in sorted (or categorical) order if not given.
    factors : sequence of str
        Columns taken as factors though they hold numbers.

    Returns
    -------
    Design

    Raises
    ------
    ValueError
        If a column is missing, cases exceed units, or a reference level does not occur.

    Examples
    --------
    >>> frame = pd.DataFrame({"herd": ["a", "a", "b"], "floor": ["soft", "hard", "hard"], "lame": [0, 1, 1]})
    >>> build_design(frame, "lame", ["floor"], "herd").terms
    ('intercept', 'floor=soft')
    """
    used = list(dict.fromkeys([*columns, cluster]))
    wanted = [*used, outcome, *([n] if n else [])]
    missing = [c for c in wanted if c not in frame.columns]
    if missing:
        raise ValueError(f"the frame has no column {missing[0]!r}")
    kept = frame[wanted].dropna()
    kept = kept.assign(_cases=kept[outcome].astype(float), _n=kept[n].astype(float) if n else np.ones(len(kept)))
    counts = kept.groupby(used, observed=True, sort=True)[["_cases", "_n"]].sum().reset_index()
    counts = counts[counts["_n"] > 0]
    codes, names = pd.factorize(counts[cluster], sort=True)
    order = np.argsort(codes, kind="stable")
    counts, codes = counts.iloc[order].reset_index(drop=True), codes[order]
    if bool((counts["_cases"] > counts["_n"]).any()) or bool((counts["_cases"] < 0).any()):
        raise ValueError("cases must lie between 0 and the units looked at")
    parts: list[npt.NDArray[np.float64]] = [np.ones(len(counts), dtype=np.float64)]
    terms, levels = ["intercept"], {}
    for name in columns:
        column = counts[name]
        if not is_factor(column) and name not in factors:
            parts.append(np.asarray(column, dtype=np.float64))
            terms.append(name)
            continue
        found = _levels(column, (references or {}).get(name))
        levels[name] = found
        for level in found[1:]:
            parts.append(np.asarray(column == level, dtype=np.float64))
            terms.append(f"{name}={level}")
    return Design(
        x=np.column_stack(parts) if len(counts) else np.empty((0, len(parts))),
        terms=tuple(terms),
        cases=counts["_cases"].to_numpy(dtype=float),
        n=counts["_n"].to_numpy(dtype=float),
        cluster=np.asarray(codes, dtype=np.intp),
        cluster_names=tuple(names),
        levels=levels,
        patterns=counts[used],
    )


def _levels(column: pd.Series, reference: object | None) -> tuple[object, ...]:
    if isinstance(column.dtype, pd.CategoricalDtype):
        present = set(column.unique())
        found = [c for c in column.cat.categories if c in present]
    else:
        found = sorted(column.unique(), key=str)
    if reference is not None:
        if reference not in found:
            raise ValueError(f"the reference {reference!r} does not occur in column {column.name!r}")
        found = [reference, *(level for level in found if level != reference)]
    return tuple(found)
