"""How many cows a comparison needs, and what difference a given number can show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

ALPHA = 0.05  # two-sided [common practice, no source]
POWER = 0.80  # [common practice, no source]


@dataclass(frozen=True)
class SampleSize:
    """Units needed in each group.

    Attributes
    ----------
    n1, n2 : float
        Units in the first and second group, not rounded.
    clusters1, clusters2 : float
        Clusters in each, when a cluster size was given; nan otherwise.
    design_effect : float
        By which independent units were multiplied.
    """

    n1: float
    n2: float
    clusters1: float
    clusters2: float
    design_effect: float


def design_effect(icc: float, size: float, cv: float = 0.0) -> float:
    """Units needed for one independent unit: ``1 + ((1 + cv^2) * size - 1) * icc``.

    Parameters
    ----------
    icc : float
        Likeness of two units of one cluster, 0 to 1.
    size : float
        Mean units a cluster.
    cv : float, default 0
        Coefficient of variation of the cluster sizes.

    Raises
    ------
    ValueError
        If *icc* is not between 0 and 1, or *size* is below 1, or *cv* is negative.

    References
    ----------
    Eldridge SM, Ashby D, Kerry S (2006). Int J Epidemiol 35:1292-1300.

    Examples
    --------
    >>> design_effect(0.1, 50)
    5.9
    """
    if not 0 <= icc <= 1 or size < 1 or cv < 0:
        raise ValueError("icc must lie between 0 and 1, size be at least 1, and cv not negative")
    return 1.0 + ((1.0 + cv**2) * size - 1.0) * icc


def sample_size(
    p1: float,
    p2: float,
    *,
    power: float = POWER,
    alpha: float = ALPHA,
    ratio: float = 1.0,
    icc: float = 0.0,
    size: float | None = None,
    cv: float = 0.0,
) -> SampleSize:
    """Units needed to tell two proportions apart.

    ``n1 = (z_a sqrt((1 + 1/r) p q) + z_b sqrt(p1 q1 + p2 q2 / r))^2 / (p1 - p2)^2``, r = n2/n1,
    p = (p1 + r p2) / (1 + r), times the design effect.

    Parameters
    ----------
    p1, p2 : float
        Proportions expected, different, each between 0 and 1.
    power : float, default 0.8
        Chance of finding the difference.
    alpha : float, default 0.05
        Two-sided significance.
    ratio : float, default 1
        Units in group 2 for one in group 1.
    icc, size, cv : float
        Likeness within clusters, mean cluster size and its variation, when whole clusters belong to a group.

    Returns
    -------
    SampleSize

    Raises
    ------
    ValueError
        If a proportion, *power* or *alpha* is not between 0 and 1, the proportions are equal, or *ratio* is
        not above 0.

    References
    ----------
    Fleiss JL, Levin B, Paik MC (2003). Statistical Methods for Rates and Proportions, 3rd ed., chapter 4.
    R documentation, stats::power.prop.test.

    Examples
    --------
    >>> round(sample_size(0.5, 0.75, power=0.9).n1, 1)
    76.7
    >>> round(sample_size(0.30, 0.20, icc=0.1, size=50).clusters1)
    35
    """
    _check(p1, p2, alpha, power)
    if p1 == p2:
        raise ValueError("there is no difference to find between equal proportions")
    if ratio <= 0:
        raise ValueError("ratio must be above 0")
    deff = design_effect(icc, size, cv) if size is not None else 1.0
    za, zb = -special.ndtri(alpha / 2), special.ndtri(power)
    p = (p1 + ratio * p2) / (1 + ratio)
    spread = za * np.sqrt((1 + 1 / ratio) * p * (1 - p))
    spread += zb * np.sqrt(p1 * (1 - p1) + p2 * (1 - p2) / ratio)
    n1 = float((spread / (p1 - p2)) ** 2) * deff
    per = size if size is not None else float("nan")
    return SampleSize(n1, n1 * ratio, n1 / per, n1 * ratio / per, deff)


def power_of(p1: float, p2: float, n1: float, n2: float, *, alpha: float = ALPHA, deff: float = 1.0) -> float:
    """Chance of telling two proportions apart with n1 and n2 units.

    Parameters
    ----------
    p1, p2 : float
        True proportions.
    n1, n2 : float
        Units looked at.
    alpha : float, default 0.05
        Two-sided significance.
    deff : float, default 1
        Design effect.

    Returns
    -------
    float
        0 to 1; alpha/2 for equal proportions (the wrong tail is not counted).

    Raises
    ------
    ValueError
        If a proportion or *alpha* is not between 0 and 1, or a number of units is not above 0.

    Examples
    --------
    >>> round(power_of(0.50, 0.75, 50, 50), 3)
    0.74
    """
    _check(p1, p2, alpha, 0.5)
    if n1 <= 0 or n2 <= 0:
        raise ValueError("both groups need units")
    m1, m2 = n1 / deff, n2 / deff
    p = (m1 * p1 + m2 * p2) / (m1 + m2)
    null = np.sqrt(p * (1 - p) * (1 / m1 + 1 / m2))
    real = np.sqrt(p1 * (1 - p1) / m1 + p2 * (1 - p2) / m2)
    return float(special.ndtr((abs(p1 - p2) + special.ndtri(alpha / 2) * null) / real))


def detectable(
    p1: float, n1: float, n2: float, *, power: float = POWER, alpha: float = ALPHA, deff: float = 1.0
) -> tuple[float, float]:
    """The nearest proportions below and above *p1* that n1 and n2 units can tell from it.

    Returns
    -------
    below, above : float
        Proportions of group 2; nan where even 0 (or 1) could not be told apart.

    Raises
    ------
    ValueError
        As in `power_of`, and if *power* is not between 0 and 1.

    Examples
    --------
    >>> below, above = detectable(0.30, 200, 200)
    >>> print(f"{below:.3f} {above:.3f}")
    0.181 0.435
    """
    _check(p1, p1, alpha, power)
    edge = 1e-9

    def gap(p2: float) -> float:
        return power_of(p1, p2, n1, n2, alpha=alpha, deff=deff) - power

    below = above = float("nan")
    if gap(edge) > 0:
        below = float(optimize.brentq(gap, edge, p1))
    if gap(1 - edge) > 0:
        above = float(optimize.brentq(gap, p1, 1 - edge))
    return below, above


def _check(p1: float, p2: float, alpha: float, power: float) -> None:
    if not all(0 < x < 1 for x in (p1, p2, alpha, power)):
        raise ValueError("proportions, alpha and power must lie between 0 and 1")
