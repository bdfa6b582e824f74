"""Control chart of a monthly proportion whose limits rest on a baseline and are kept for the months after it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from analytics.methods.control import EWMA_WEIGHT, SIGMAS, ewma, ewma_limits, p_chart
from analytics.methods.intervals import as_counts
from analytics.methods.run_rules import RUN_LENGTH
from analytics.words import say

Array = npt.NDArray[np.float64]

LEAST_BASELINE = 6  # months; fewer give limits that say nothing [common practice, no source]
FEW_EXPECTED = 5.0  # cases a month below which exact limits are looked at too [common practice, no source]

# Degrees of freedom a moving range of k points is worth, over k - 1: its efficiency against the standard
# deviation [from memory: Cryer & Ryan 1990, J Qual Technol 22:187]
MOVING_RANGE_DF = 0.605


@dataclass(frozen=True)
class BaselineChart:
    """A chart with limits from its baseline.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a point, in order: ``cases``, ``n``, ``value``, ``centre``, ``low``, ``high``, ``ewma``,
        ``ewma_low``, ``ewma_high`` (0 to 1; nan where n is 0, and limits nan before the baseline begins for
        the moving average), ``baseline`` (boolean) and the signals ``outside``, ``run``, ``drift``: 1 above,
        -1 below, 0 none.
    centre : float
        Baseline proportion.
    spread : float
        How much more the baseline points vary than independent cows would; 1 = as they would.
    method : str
        ``"laney"`` where they vary more, else ``"p"``; "" when there is no answer.
    points : int
        Baseline points with n > 0.
    reason : str
        Why there are no limits; "" when there are.
    """

    table: pd.DataFrame
    centre: float
    spread: float
    method: str
    points: int
    reason: str = ""


def baseline_chart(
    cases: npt.ArrayLike,
    n: npt.ArrayLike,
    baseline: npt.ArrayLike,
    *,
    sigmas: float = SIGMAS,
    weight: float = EWMA_WEIGHT,
) -> BaselineChart:
    """p-chart, Laney's p'-chart where months vary more than cows explain, and moving average.

    The standard error of a point of n units is ``spread * sqrt(c (1 - c) (1/n + 1/N))``, N the units of the
    baseline, because the centre c is an estimate itself; inside the baseline the 1/N is left out. Where the
    spread is estimated (above 1) the limits lie as many of these away as a t value has the same tail, which
    for a year's baseline is about 4 instead of 3. Where fewer than 5 cases are expected the limits are not
    inside the exact binomial ones, since rare cases are skew.

    Signals: *outside* the limits; a *run* of 8 points on one side of the centre by more than its standard
    error; *drift*, the moving average outside its own limits. In the baseline only *outside* is looked for. A
    drift is given at the point where the average leaves its limits and again only after it came back, a run
    at its eighth point, its sixteenth, and so on.

    On simulated herds in which nothing changes (``python -m tests.scale.false_alarms``) 7 to 16 in 100 give a
    signal in two years after a year's baseline. With textbook limits it was 22 to 40.

    Parameters
    ----------
    cases, n : array_like, shape (points,)
        Affected and looked at, in order of time.
    baseline : array_like of bool, shape (points,)
        Points the centre and spread rest on.
    sigmas : float, default 3
        Width of the limits.
    weight : float, default 0.2
        Weight of the newest point in the moving average.

    Returns
    -------
    BaselineChart

    Raises
    ------
    ValueError
        If counts are impossible.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 and 6.3.3.2.
    Laney DB (2002). Improved control charts for attributes. Qual Eng 14:531-537.

    Examples
    --------
    >>> chart = baseline_chart([9, 11, 10, 8, 12, 10, 11, 9, 24], [50] * 9, [True] * 8 + [False])
    >>> print(f"{chart.centre:.2f} {chart.method} {chart.table.outside.iloc[-1]}")
    0.20 p 1
    """
    c, total = (np.atleast_1d(x) for x in as_counts(cases, n))
    if np.any(c > total):
        raise ValueError("there cannot be more cases than units looked at")
    inside = np.broadcast_to(np.asarray(baseline, dtype=bool), c.shape)
    seen = inside & (total > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = c / total
    table = pd.DataFrame({"cases": c, "n": total, "value": value})
    units = float(total[seen].sum())
    centre = float(c[seen].sum()) / units if units else float("nan")
    points = int(seen.sum())
    reason = too_little(points, centre)
    if reason:
        for name in ("low", "high", "ewma", "ewma_low", "ewma_high"):
            table[name] = float("nan")
        table = table.assign(centre=centre, baseline=inside, outside=0, run=0, drift=0)
        return BaselineChart(table[_COLUMNS], centre, float("nan"), "", points, reason)
    spread = p_chart(c[seen], total[seen], method="laney").spread
    width = _width(sigmas, points, spread)
    with np.errstate(divide="ignore", invalid="ignore"):
        sigma = spread * np.sqrt(centre * (1 - centre) / total)
    # The centre is an estimate too; its error is shared by all months that are held against it.
    shared = spread * float(np.sqrt(centre * (1 - centre) / units))
    half = width * np.hypot(sigma, np.where(inside, 0.0, shared))
    low, high = centre - half, centre + half
    low, high = _not_inside_exact(low, high, total, centre, sigmas)
    # The moving average begins with the baseline: what came before is not what it is held against.
    start = int(np.flatnonzero(seen)[0])
    average, average_low, average_high = (np.full(len(c), np.nan) for _ in range(3))
    average[start:] = ewma(value[start:], centre, weight)
    _, top = ewma_limits(centre, sigma[start:], weight, 1.0)
    weighed = 1.0 - (1.0 - weight) ** np.cumsum((total > 0)[start:])
    half = width * np.hypot(top - centre, np.where(inside[start:], 0.0, weighed * shared))
    average_low[start:], average_high[start:] = centre - half, centre + half
    past = (total > 0) & ~inside & (np.arange(len(c)) >= start)
    table = table.assign(
        centre=centre,
        low=np.where(total > 0, np.clip(low, 0, 1), np.nan),
        high=np.where(total > 0, np.clip(high, 0, 1), np.nan),
        ewma=average,
        ewma_low=np.clip(average_low, 0, 1),
        ewma_high=np.clip(average_high, 0, 1),
        baseline=inside,
        outside=np.where(value > high, 1, np.where(value < low, -1, 0)),
        run=_runs(np.where(np.abs(value - centre) > shared, value - centre, 0.0), past),
        drift=_first_of_each(np.where(average > average_high, 1, np.where(average < average_low, -1, 0)), past),
    )
    return BaselineChart(table[_COLUMNS], centre, spread, "laney" if spread > 1 else "p", points)


_COLUMNS = [
    "cases", "n", "value", "centre", "low", "high", "ewma", "ewma_low", "ewma_high", "baseline", "outside",
    "run", "drift",
]  # fmt: skip


def too_little(points: int, centre: float) -> str:
    if points < LEAST_BASELINE:
        return say(
            "Limits need a baseline of at least {LEAST_BASELINE} months with records; there are {points}.",
            LEAST_BASELINE=LEAST_BASELINE,
            points=points,
        )
    if not 0 < centre < 1:
        return say(
            "Nobody, or everybody, was a case in the baseline, so there is no usual spread to hold months against."
        )
    return ""


def _width(sigmas: float, points: int, spread: float) -> float:
    """Standard errors for the same false alarms when the spread is itself an estimate from few points."""
    if spread <= 1.0:
        return sigmas
    df = max(MOVING_RANGE_DF * (points - 1), 1.0)
    return float(special.stdtrit(df, special.ndtr(sigmas)))


def _not_inside_exact(low: Array, high: Array, total: Array, centre: float, sigmas: float) -> tuple[Array, Array]:
    from scipy.stats import binom

    few = (total > 0) & (total * min(centre, 1 - centre) < FEW_EXPECTED)
    if few.any():
        tail = float(special.ndtr(-sigmas))
        units = total[few]
        low, high = low.copy(), high.copy()
        low[few] = np.minimum(low[few], binom.ppf(tail, units, centre) / units)
        high[few] = np.maximum(high[few], binom.ppf(1 - tail, units, centre) / units)
    return low, high


def _runs(gap: Array, counted: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    """The side of a run, at the point that completes it and at every further multiple of its length."""
    out, length, before = np.zeros(len(gap), dtype=np.intp), 0, 0.0
    for i in np.flatnonzero(counted):
        side = float(np.sign(gap[i]))
        length = length + 1 if side == before and side else int(side != 0)
        before = side
        if length and length % RUN_LENGTH == 0:
            out[i] = int(side)
    return out


def _first_of_each(sides: npt.NDArray[np.int_], counted: npt.NDArray[np.bool_]) -> npt.NDArray[np.intp]:
    out, before = np.zeros(len(sides), dtype=np.intp), 0
    for i in np.flatnonzero(counted):
        if sides[i] != before:
            out[i] = sides[i]
        before = int(sides[i])
    return out
