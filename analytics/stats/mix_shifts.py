"""Whether what is found has changed its mixture from one period to the next, for many series of counts at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Shifts:
    """Chi-square tests of pairs of counts.

    Attributes
    ----------
    chi2, p_value : numpy.ndarray, shape (pairs,)
    df : numpy.ndarray of int, shape (pairs,)
        0 where there is nothing to compare; the p value is then nan.
    moved : numpy.ndarray of int, shape (pairs,)
        The kind whose share moved most; of two that moved alike the one that grew, then the later one. Of those that
        are common enough to be a column of their own; -1 where none is.
    """

    chi2: Array
    p_value: Array
    df: npt.NDArray[np.intp]
    moved: npt.NDArray[np.intp]


def mix_shifts(was: Array, now: Array, least_expected: float) -> Shifts:
    """Compare each row of counts with the row before it.

    Kinds of which fewer are expected are put together.

    Parameters
    ----------
    was, now : numpy.ndarray, shape (pairs, kinds)
    least_expected : float
        In the smaller of the two rows.

    Examples
    --------
    >>> shifts = mix_shifts(np.array([[30.0, 10, 1]]), np.array([[10.0, 30, 1]]), 5)
    >>> print(round(float(shifts.chi2[0]), 2), shifts.df[0], shifts.moved[0])
    20.0 2 1
    """
    sums = np.stack([was.sum(axis=1), now.sum(axis=1)])
    with np.errstate(divide="ignore", invalid="ignore"):
        common = (was + now) * sums.min(axis=0)[:, None] / sums.sum(axis=0)[:, None] >= least_expected
        columns = [
            np.column_stack([np.where(common, each, 0.0), np.where(common, 0.0, each).sum(axis=1)])
            for each in (was, now)
        ]
        both = columns[0] + columns[1]
        chi2 = np.zeros(len(was))
        for each, total in zip(columns, sums, strict=True):
            expected = both * (total / sums.sum(axis=0))[:, None]
            chi2 += np.where(both > 0, (each - expected) ** 2 / expected, 0.0).sum(axis=1)
        by = now / sums[1][:, None] - was / sums[0][:, None]
    kinds = (both > 0).sum(axis=1)
    df = np.where((kinds > 1) & (sums > 0).all(axis=0), kinds - 1, 0)
    p_value = np.where(df > 0, special.chdtrc(np.maximum(df, 1).astype(float), chi2), np.nan)
    return Shifts(np.where(df > 0, chi2, 0.0), p_value, df, _most(by, common))


def _most(by: Array, common: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    far = np.where(common, np.round(np.abs(by), 9), -1.0)
    likely = common & (far == far.max(axis=1, keepdims=True))
    up = np.where(likely, by, -np.inf)
    likely &= up == up.max(axis=1, keepdims=True)
    last = likely.shape[1] - 1 - likely[:, ::-1].argmax(axis=1)
    return np.where(likely.any(axis=1), last, -1)
