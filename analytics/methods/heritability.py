"""How far a lesion runs in families: heritability from daughters of sires, on the scale of liability."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from analytics.methods.intervals import LEVEL
from analytics.methods.random_herd import LATENT_VARIANCE, random_herd_logit
from analytics.words import say

LEAST_SIRES = 10  # below this a variance between sires is not worth telling [common practice, no source]
KINSHIP = 4.0  # half sisters share a quarter of their genes [pub: Falconer & Mackay 1996, chapter 10]


@dataclass(frozen=True)
class Heritability:
    """Heritability of liability from a sire model.

    Attributes
    ----------
    h2, low, high : float
        ``4 s2 / (s2 + pi^2/3)``, 0 to 1, and profile-likelihood limits; s2 is the variance of sires (logit).
    p_value : float
        Likelihood-ratio test of no difference between sires.
    sd : float
        Standard deviation of sires on the logit scale.
    sires, daughters, cases : int
        What it rests on.
    effects : pandas.DataFrame
        ``cluster`` (sire), ``effect`` (log odds against the average sire, shrunken), ``sd``.
    reason : str
        Why there is no answer; "" when there is.
    """

    h2: float
    low: float
    high: float
    p_value: float
    sd: float
    sires: int
    daughters: int
    cases: int
    effects: pd.DataFrame
    reason: str = ""


def sire_heritability(
    frame: pd.DataFrame,
    outcome: str,
    sire: str,
    columns: Sequence[str] = (),
    *,
    n: str | None = None,
    level: float = LEVEL,
    least_sires: int = LEAST_SIRES,
) -> Heritability:
    """Heritability on the liability scale from a logistic sire model.

    Sires are a random factor; herd, parity and season should stand in *columns*, or what daughters share by
    living together is taken for genes. ``h2 = 4 s2 / (s2 + pi^2/3)``, capped at 1.

    Parameters
    ----------
    frame : pandas.DataFrame
        One row a daughter, or one row a pattern with *n* naming the column of daughters.
    outcome : str
        Column of the outcome (0/1) or the cases.
    sire : str
        Column of the sire; rows without one are left out.
    columns : sequence of str
        Columns held alike.
    n : str, optional
        Column of the daughters looked at.
    level : float, default 0.95
        Confidence level.
    least_sires : int, default 10
        Fewer give a ``reason`` in place of a figure.

    Returns
    -------
    Heritability

    Raises
    ------
    ValueError
        If a column is missing or counts are impossible.

    References
    ----------
    Falconer DS, Mackay TFC (1996). Introduction to Quantitative Genetics, 4th ed., chapters 10 and 18.
    Gilmour AR, Anderson RD, Rae AL (1985). Biometrika 72:593-599.
    Nakagawa S, Schielzeth H (2010). Biol Rev 85:935-956.

    Examples
    --------
    >>> frame = pd.DataFrame({"sire": range(12), "lesion": [3, 9, 5, 12, 2, 7, 6, 14, 4, 8, 5, 10],
    ...                       "daughters": [30] * 12})
    >>> found = sire_heritability(frame, "lesion", "sire", n="daughters")
    >>> 0 <= found.low <= found.h2 <= found.high <= 1
    True
    """
    fit = random_herd_logit(frame, outcome, list(columns), sire, n=n, level=level)
    kept = frame[[outcome, sire, *columns, *([n] if n else [])]].dropna()
    daughters = int(kept[n].sum()) if n else len(kept)
    cases = int(kept[outcome].sum()) if len(kept) else 0
    reason = fit.reason
    if not reason and fit.clusters < least_sires:
        reason = say(
            "Heritability needs daughters of at least {least_sires} sires; there are {clusters}.",
            least_sires=least_sires,
            clusters=fit.clusters,
        )
    if reason:
        nan = float("nan")
        return Heritability(nan, nan, nan, nan, nan, fit.clusters, daughters, cases, fit.effects, reason)
    return Heritability(
        h2=liability_h2(fit.sd),
        low=liability_h2(fit.sd_low),
        high=liability_h2(fit.sd_high),
        p_value=fit.sd_p_value,
        sd=fit.sd,
        sires=fit.clusters,
        daughters=daughters,
        cases=cases,
        effects=fit.effects,
    )


def liability_h2(sd: float) -> float:
    """Heritability from the standard deviation of sires on the logit scale, capped at 1.

    Examples
    --------
    >>> round(liability_h2(0.3), 3)
    0.107
    """
    if sd == float("inf"):
        return 1.0
    return float(min(KINSHIP * sd**2 / (sd**2 + LATENT_VARIANCE), 1.0))


def observed_to_liability(h2: float, prevalence: float) -> float:
    """Turn a heritability of the 0/1 record into one of liability: ``h2 * p (1 - p) / z^2``.

    z is the height of the normal curve at the threshold that cuts off *prevalence*.

    Raises
    ------
    ValueError
        If *prevalence* is not between 0 and 1.

    References
    ----------
    Dempster ER, Lerner IM (1950). Heritability of threshold characters. Genetics 35:212-236.

    Examples
    --------
    >>> round(observed_to_liability(0.05, 0.10), 3)
    0.146
    """
    if not 0 < prevalence < 1:
        raise ValueError("the prevalence must lie between 0 and 1")
    from math import exp, pi

    from scipy.special import ndtri

    height = exp(-0.5 * float(ndtri(prevalence)) ** 2) / (2 * pi) ** 0.5
    return float(h2 * prevalence * (1 - prevalence) / height**2)
