"""Many questions asked at once: how many of the answers may be luck."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FALSE_DISCOVERY = 0.05  # share of called differences that may be luck [common practice, no source]


def benjamini_hochberg(
    p: npt.ArrayLike, q: float = FALSE_DISCOVERY
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_]]:
    """Adjust p-values so that on average no more than *q* of those called are luck.

    The adjusted value of the i-th smallest of m is ``min over j >= i of p_(j) * m / j``.

    Parameters
    ----------
    p : array_like
        p-values, 0 to 1. nan values stay nan, are never called and do not count in m.
    q : float, default 0.05
        False discovery rate.

    Returns
    -------
    adjusted : ndarray
        Adjusted p-values in the order given.
    called : ndarray of bool
        Where the adjusted value is at most *q*.

    Raises
    ------
    ValueError
        If a p-value is not between 0 and 1.

    References
    ----------
    Benjamini Y, Hochberg Y (1995). J R Stat Soc B 57:289-300.

    Examples
    --------
    >>> adjusted, called = benjamini_hochberg([0.01, 0.02, 0.9])
    >>> [round(float(x), 3) for x in adjusted], int(called.sum())
    ([0.03, 0.03, 0.9], 2)
    """
    values = np.atleast_1d(np.asarray(p, dtype=np.float64))
    known = ~np.isnan(values)
    if np.any((values[known] < 0) | (values[known] > 1)):
        raise ValueError("p-values must lie between 0 and 1")
    adjusted = np.full(values.shape, np.nan)
    # scipy.stats has the same few lines, but loading it takes a third of a second that every comparison on the
    # command line would wait for; the tests hold this to scipy's.
    found = values[known]
    order = np.argsort(found, kind="stable")[::-1]
    scaled = found[order] * found.size / np.arange(found.size, 0, -1)
    falling = np.minimum(np.minimum.accumulate(scaled), 1.0)
    adjusted[known] = falling[np.argsort(order, kind="stable")]
    with np.errstate(invalid="ignore"):
        return adjusted, adjusted <= q
