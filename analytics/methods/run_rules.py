"""Rules for reading a control chart: a point outside, a run on one side, a drift, two of three near a limit."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

RUN_LENGTH = 8  # points in a row on one side of the centre [pub: NIST/SEMATECH e-Handbook 6.3.2, WECO rules]
TREND_LENGTH = 6  # points in a row rising or falling [pub: NIST/SEMATECH e-Handbook 6.3.2]

OUTSIDE = "outside the limits"
SHIFT = f"{RUN_LENGTH} in a row on one side"
DRIFT = f"{TREND_LENGTH} in a row rising or falling"
NEAR = "2 of 3 near the same limit"
RULES = (OUTSIDE, SHIFT, DRIFT, NEAR)


def run_rules(values: npt.ArrayLike, centre: float, low: npt.ArrayLike, high: npt.ArrayLike) -> pd.DataFrame:
    """Which points break which rule.

    A run counts at the point that completes it and at every further point of it. Points equal to the centre
    end a run; nan points are passed over.

    Parameters
    ----------
    values, low, high : array_like, shape (points,)
        The chart, in order of time.
    centre : float
        Centre line.

    Returns
    -------
    pandas.DataFrame
        One row a point, one boolean column a rule of `RULES`.

    References
    ----------
    NIST/SEMATECH e-Handbook 6.3.2 (Western Electric rules).

    Examples
    --------
    >>> rules = run_rules([1] * 8, 0.0, [-3] * 8, [3] * 8)
    >>> list(rules.columns[rules.any()]), int(rules[SHIFT].idxmax())
    (['8 in a row on one side'], 7)
    """
    v = np.atleast_1d(np.asarray(values, dtype=float))
    lo = np.broadcast_to(np.asarray(low, dtype=float), v.shape)
    hi = np.broadcast_to(np.asarray(high, dtype=float), v.shape)
    found = pd.DataFrame(False, index=range(len(v)), columns=list(RULES))
    known = np.flatnonzero(~np.isnan(v))
    if not len(known):
        return found
    x, lo, hi = v[known], lo[known], hi[known]
    found.loc[known, OUTSIDE] = (x < lo) | (x > hi)
    found.loc[known, SHIFT] = _run(np.sign(x - centre)) >= RUN_LENGTH
    steps = np.concatenate([[0.0], np.sign(np.diff(x))])
    # Six points in a row rising are five steps in a row.
    found.loc[known, DRIFT] = _run(steps) >= TREND_LENGTH - 1
    near = np.where(x > centre + 2 / 3 * (hi - centre), 1, np.where(x < centre - 2 / 3 * (centre - lo), -1, 0))
    for side in (1, -1):
        hit = (near == side).astype(int)
        of_three = hit + np.concatenate([[0], hit[:-1]]) + np.concatenate([[0, 0], hit[:-2]])[: len(hit)]
        found.loc[known, NEAR] |= (of_three >= 2) & (hit == 1)
    return found


def _run(signs: npt.NDArray[np.float64]) -> npt.NDArray[np.intp]:
    length, answer, before = 0, [], 0.0
    for s in signs:
        length = 0 if s == 0 else (length + 1 if s == before else 1)
        before = s
        answer.append(length)
    return np.asarray(answer, dtype=np.intp)
