"""The control charts of many series at once: what :mod:`analytics.methods.baseline_chart` says of one, for each.

A chart by itself takes some milliseconds, which for a thousand farms is many seconds. Here the series lie one under the
other, and every step is made for all of them; what it gives is the same (``tests/methods/test_many_charts.py``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analytics.methods.baseline_chart import (
    FEW_EXPECTED,
    LEAST_BASELINE,
    MOVING_RANGE_DF,
    too_little,
)
from analytics.methods.control import EWMA_WEIGHT, MOVING_RANGE, SIGMAS
from analytics.methods.run_rules import RUN_LENGTH

Array = npt.NDArray[np.float64]
Whole = npt.NDArray[np.intp]


@dataclass(frozen=True)
class ManyCharts:
    """Charts of several series, in the order given.

    Attributes
    ----------
    centre : numpy.ndarray, shape (series,)
        Baseline proportion.
    low, high : numpy.ndarray, shape (series, points)
        Limits from 0 to 1; nan where there are none.
    outside, run, drift : numpy.ndarray of int, shape (series, points)
        Signals: 1 above, -1 below, 0 none.
    reasons : tuple of str
        Why a series has no limits; "" when it has.
    """

    centre: Array
    low: Array
    high: Array
    outside: Whole
    run: Whole
    drift: Whole
    reasons: tuple[str, ...]


def many_charts(cases: Array, n: Array, baseline: int) -> ManyCharts:
    """The chart of every series, its limits from its first points.

    Parameters
    ----------
    cases, n : numpy.ndarray, shape (series, points)
        Affected and looked at, in order of time. Shorter series end in points where n is 0.
    baseline : int
        Number of first points the centre and spread rest on.

    Returns
    -------
    ManyCharts

    Raises
    ------
    ValueError
        There are more cases than units looked at, or a point without units stands before one with.

    Examples
    --------
    >>> found = many_charts(np.full((1, 14), 5.0), np.full((1, 14), 50.0), 12)
    >>> round(float(found.centre[0]), 3), int(np.abs(found.outside).sum())
    (0.1, 0)
    """
    there = n > 0
    if np.any(cases > n) or np.any(there[:, 1:] & ~there[:, :-1]):
        raise ValueError("cases are among the units looked at, and points without any stand at the end")
    inside = np.broadcast_to(np.arange(n.shape[1]) < baseline, n.shape)
    seen = inside & there
    points = seen.sum(axis=1)
    units = np.where(seen, n, 0.0).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = cases / n
        centre = np.where(seen, cases, 0.0).sum(axis=1) / units
        variance = centre * (1 - centre)
        usual = (points >= LEAST_BASELINE) & (centre > 0) & (centre < 1)
        plain = np.sqrt(variance[:, None] / n)
        spread = _spreads((value - centre[:, None]) / plain, seen)
        sigma = spread[:, None] * plain
        shared = (spread * np.sqrt(variance / units))[:, None]
    width = _widths(points, spread)
    past = there & ~inside
    half = width * np.hypot(sigma, np.where(inside, 0.0, shared))
    low, high = _not_inside_exact(centre[:, None] - half, centre[:, None] + half, n, centre, usual)
    with np.errstate(invalid="ignore"):
        outside = np.where(value > high, 1, np.where(value < low, -1, 0))
        away = np.where(np.abs(value - centre[:, None]) > shared, np.sign(value - centre[:, None]), 0.0)
    drift = _drifts(value, centre, sigma, shared, inside, width)
    shown = usual[:, None] & there
    return ManyCharts(
        centre,
        np.where(shown, np.clip(low, 0, 1), np.nan),
        np.where(shown, np.clip(high, 0, 1), np.nan),
        np.where(shown, outside, 0),
        np.where(shown, _runs(away, past), 0),
        np.where(shown, _first_of_each(drift, past), 0),
        tuple(too_little(int(k), float(c)) for k, c in zip(points, centre, strict=True)),
    )


def _spreads(z: Array, seen: npt.NDArray[np.bool_]) -> Array:
    """Laney's spread of the baseline of each series, never below 1."""
    both = seen[:, 1:] & seen[:, :-1]
    steps = np.where(both, np.abs(np.diff(z, axis=1)), 0.0).sum(axis=1)
    return np.asarray(np.fmax(1.0, steps / both.sum(axis=1) / MOVING_RANGE))


def _widths(points: npt.NDArray[np.int_], spread: Array) -> Array:
    df = np.maximum(MOVING_RANGE_DF * (points - 1), 1.0)
    return np.where(spread <= 1.0, SIGMAS, special.stdtrit(df, special.ndtr(SIGMAS)))[:, None]


def _not_inside_exact(
    low: Array, high: Array, n: Array, centre: Array, usual: npt.NDArray[np.bool_]
) -> tuple[Array, Array]:
    from scipy.stats import binom

    with np.errstate(invalid="ignore"):
        few = usual[:, None] & (n > 0) & (n * np.minimum(centre, 1 - centre)[:, None] < FEW_EXPECTED)
    if few.any():
        tail = float(special.ndtr(-SIGMAS))
        units, centres = n[few], np.broadcast_to(centre[:, None], n.shape)[few]
        low[few] = np.minimum(low[few], binom.ppf(tail, units, centres) / units)
        high[few] = np.maximum(high[few], binom.ppf(1 - tail, units, centres) / units)
    return low, high


def _drifts(
    value: Array, centre: Array, sigma: Array, shared: Array, inside: npt.NDArray[np.bool_], width: Array
) -> Whole:
    """On which side of its limits the moving average lies, point by point."""
    out = np.zeros(value.shape, dtype=np.intp)
    average, variance = centre.copy(), np.zeros(len(centre))
    with np.errstate(invalid="ignore"):
        for at in range(value.shape[1]):
            known = np.isfinite(value[:, at])
            average = np.where(known, EWMA_WEIGHT * value[:, at] + (1 - EWMA_WEIGHT) * average, average)
            added = EWMA_WEIGHT**2 * sigma[:, at] ** 2 + (1 - EWMA_WEIGHT) ** 2 * variance
            variance = np.where(np.isfinite(sigma[:, at]), added, variance)
            weighed = 1.0 - (1.0 - EWMA_WEIGHT) ** (at + 1.0)
            theirs = np.where(inside[:, at], 0.0, weighed * shared[:, 0])
            half = width[:, 0] * np.hypot(np.sqrt(variance), theirs)
            out[:, at] = np.where(average > centre + half, 1, np.where(average < centre - half, -1, 0))
    return out


def _runs(sides: Array, counted: npt.NDArray[np.bool_]) -> Whole:
    """The side of a run, at the point that completes it and at every further multiple of its length."""
    out = np.zeros(sides.shape, dtype=np.intp)
    length, before = np.zeros(len(sides), dtype=np.intp), np.zeros(len(sides))
    for at in range(sides.shape[1]):
        here, side = counted[:, at], sides[:, at]
        longer = np.where((side == before) & (side != 0), length + 1, (side != 0).astype(np.intp))
        length, before = np.where(here, longer, length), np.where(here, side, before)
        out[:, at] = np.where(here & (length > 0) & (length % RUN_LENGTH == 0), side, 0)
    return out


def _first_of_each(sides: Whole, counted: npt.NDArray[np.bool_]) -> Whole:
    out, before = np.zeros(sides.shape, dtype=np.intp), np.zeros(len(sides), dtype=np.intp)
    for at in range(sides.shape[1]):
        here, side = counted[:, at], sides[:, at]
        out[:, at] = np.where(here & (side != before), side, 0)
        before = np.where(here, side, before)
    return out
