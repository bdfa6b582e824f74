"""Limits of a clustered proportion where cases are so few that only some results are possible at all."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy import special

_HALVINGS = 26
_ALIKE = (1e-6, 1.0 - 1e-6)  # likeness is kept between these, where the beta-binomial is defined

Floats = Any
Limit = Callable[[Floats], Floats]


def few_case_chances(p: Floats, icc: Floats, size: Floats, clusters: Floats) -> tuple[Floats, Floats]:
    """Chance of no case, and of one case at most, among clusters of one size.

    Cases of a cluster follow the beta-binomial: the chance of none is ``B(a, b + size) / B(a, b)`` with
    ``a = p (1 - icc) / icc`` and ``b = (1 - p) (1 - icc) / icc``.

    Parameters
    ----------
    p, icc : array_like
        Risk and likeness within a cluster, 0 to 1.
    size, clusters : array_like
        Units a cluster and clusters; need not be whole.

    Returns
    -------
    none, at_most_one : ndarray
        Broadcast shape.

    References
    ----------
    Skellam JG (1948). A probability distribution derived from the binomial distribution by regarding the
    probability of success as variable between the sets of trials. J R Stat Soc B 10:257-261.

    Examples
    --------
    Forty independent feet at a risk of 5 %:

    >>> none, at_most_one = few_case_chances(0.05, 0.0, 4, 10)
    >>> print(f"{none:.3f} {at_most_one:.3f} by the binomial {0.95**40:.3f} {0.95**40 + 40 * 0.05 * 0.95**39:.3f}")
    0.129 0.399 by the binomial 0.129 0.399
    """
    likeness = np.clip(icc, *_ALIKE)
    strength = (1.0 - likeness) / likeness
    a, b = p * strength, (1.0 - np.asarray(p)) * strength
    whole = special.betaln(a, b)
    none = special.betaln(a, b + size) - whole
    one = np.log(size) + special.betaln(a + 1.0, b + size - 1.0) - whole
    p_none = np.exp(clusters * none)
    return p_none, p_none + clusters * np.exp(one + (clusters - 1.0) * none)


def observed_likeness(p: Floats, latent: float) -> Floats:
    """Likeness of two units on the scale of yes and no, from that on the scale of liability.

    ``latent * z(p)^2 / (p (1 - p))`` with z the height of the normal curve at the threshold that cuts off p.

    References
    ----------
    Dempster ER, Lerner IM (1950). Heritability of threshold characters. Genetics 35:212-236.

    Examples
    --------
    >>> print(f"{observed_likeness(0.5, 0.387):.3f} {observed_likeness(0.05, 0.387):.3f}")
    0.246 0.087
    """
    threshold = special.ndtri(p)
    return latent * np.exp(-threshold * threshold) / (2.0 * np.pi) / (p * (1.0 - p))


def upper_without_cases(size: Floats, clusters: Floats, alpha: float, latent: float) -> Floats:
    """The largest risk at which seeing no case at all has a chance of *alpha*.

    Parameters
    ----------
    size, clusters : ndarray
        Units a cluster, and clusters.
    alpha : float
        Chance, of one side.
    latent : float
        Likeness within a cluster on the scale of liability (`observed_likeness` turns it).

    Examples
    --------
    The rule of three, for units that are nothing alike:

    >>> print(f"{upper_without_cases(np.array(1.0), np.array(100.0), 0.05, 0.0):.4f}, exact {1 - 0.05**0.01:.4f}")
    0.0295, exact 0.0295
    """

    def likely(p: Floats) -> Floats:
        return few_case_chances(p, observed_likeness(p, latent), size, clusters)[0] >= alpha

    shape = np.broadcast_shapes(np.shape(size), np.shape(clusters))
    return _last(likely, np.full(shape, 1e-9), np.full(shape, 1.0 - 1e-9))


def lower_where_few(limit: Limit, tops: tuple[Floats, Floats, Floats], chances: Limit, alpha: float) -> Floats:
    """Lower limits that use the whole error allowed where the other side can hold none.

    Where a risk is so low that even a herd without a case would not have spoken against it, an upper limit can
    never fall below it, and equal tails would leave half of the allowed error unused: 97.5 % and more would be
    covered where 95 % was promised. As in exact methods that order results by their chance (Blaker), the lower limit
    may then err by *alpha* less the chance of those results whose upper limit does fall below.

    Parameters
    ----------
    limit : callable
        Gives the lower limit for an error on its side.
    tops : three ndarrays
        The upper limits that no case, one case and two cases have, or would have, at an error of ``alpha / 2``.
    chances : callable
        Gives, for risks, the chance of no case and of at most one.
    alpha : float
        Error allowed on both sides together.

    Returns
    -------
    ndarray
        Never below ``limit(alpha / 2)`` and never above ``limit(alpha)``.

    References
    ----------
    Blaker H (2000). Confidence curves and improved exact confidence intervals for discrete distributions. Can J Stat
    28:783-798.
    """
    equal_tails, whole = limit(alpha / 2.0), limit(alpha)
    none, one, two = tops
    first = np.minimum(np.minimum(none, one), two)
    second = np.maximum(np.minimum(one, two), first)
    third = np.maximum(two, second)
    found = np.minimum(whole, first)
    for start, end, which in ((first, second, 0), (second, third, 1)):
        refused = np.asarray(found >= start) & (end > start)
        if not refused.any():
            continue

        def against(p: Floats, which: int = which) -> Floats:
            return limit(alpha - np.clip(chances(p)[which], 0.0, alpha / 2.0)) > p

        moved = _last(against, start, end)
        found = np.where(refused & against(start), moved, found)
    return np.maximum(equal_tails, found)


def _last(holds: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """The last point between *low* and *high* at which something holds that holds up to a point and not beyond."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        yes = holds(middle)
        low, high = np.where(yes, middle, low), np.where(yes, high, middle)
    return (low + high) / 2.0
