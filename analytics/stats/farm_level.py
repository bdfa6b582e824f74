"""A herd's own level as one number, for models that would otherwise need a term for each of very many herds."""

from __future__ import annotations

import pandas as pd
from scipy import special

MOST_TERMS = 8
"""Up to so many herds each get a term of their own; beyond, their level stands in. [common practice, no source]"""


def with_herd_level(
    frame: pd.DataFrame, cases: str, n: str, herd: str, *, most_terms: int = MOST_TERMS
) -> tuple[pd.DataFrame, list[str]]:
    """Columns that hold herds alike: the herd itself where there are few, its level where there are many.

    The level is the empirical logit of the herd's cases, ``log((cases + 1/2) / (n - cases + 1/2))``. It stands
    in for the herd's own term, which would be close to it; with very small herds it holds them less alike.

    Parameters
    ----------
    frame : pandas.DataFrame
        Counts by pattern.
    cases, n, herd : str
        Columns of cases, units looked at and herd.
    most_terms : int
        How many herds may have a term each.

    Returns
    -------
    frame : pandas.DataFrame
        With a column ``herd_level`` where it is needed.
    columns : list of str
        What to put in the model: nothing for one herd, *herd*, or ``herd_level``.

    References
    ----------
    Haldane JBS (1956). Ann Hum Genet 20:309-311 (the half added). Neuhaus JM, Kalbfleisch JD (1998). Biometrics
    54:638-645 (cluster level as a covariate).

    Examples
    --------
    >>> frame = pd.DataFrame({"herd": ["a", "b"], "cases": [2, 5], "cows": [20, 20]})
    >>> with_herd_level(frame, "cases", "cows", "herd")[1]
    ['herd']
    >>> made, columns = with_herd_level(frame, "cases", "cows", "herd", most_terms=1)
    >>> columns, made["herd_level"].round(2).tolist()
    (['herd_level'], [-2.0, -1.04])
    """
    herds = frame[herd].nunique()
    if herds <= 1:
        return frame, []
    if herds <= most_terms:
        return frame, [herd]
    sums = frame.groupby(herd)[[cases, n]].transform("sum").astype("float64")
    odds = (sums[cases] + 0.5) / (sums[n] - sums[cases] + 0.5)
    # Rounded, so that herds of nearly one level make one pattern.
    level = special.logit((odds / (1 + odds)).to_numpy(dtype=float)).round(2)
    return frame.assign(herd_level=level), ["herd_level"]
