"""Compare a herd's newest period with what its own earlier visits lead one to expect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import special
from scipy.optimize import elementwise

Array = npt.NDArray[np.float64]

FAMILY_ERROR = 0.07
"""Nominal chance that a herd in which nothing changes gets any verdict. The test is conservative where cases are few:
the chance measured in simulated herds is 0.02 to 0.05 (``python -m tests.scale.false_alarms``)."""

FOCUS = 0.7
"""Share of the error that goes to outcomes common enough to show a change. [common practice, no source]"""

LARGE_CHANGE = 3.0
"""Odds ratio that an outcome must be able to show to count as common enough. [common practice, no source]"""

ABLE_Z = 2.5
"""Standard errors that such a change must be away. [common practice, no source]"""

ALIKE_WITHIN = 0.35
"""Least correlation of visits within one period, which lie a few weeks apart. [common practice, no source]"""

LEVEL_MEAN, LEVEL_SD = -2.5, 2.5
"""Prior of the log odds of an outcome: from 1 in 1,000 to 9 in 10. [common practice, no source]"""

_SDS = np.array([0.0, 0.1, 0.2, 0.3, 0.45, 0.7])
_SDS_PRIOR = np.array([0.2, 0.15, 0.22, 0.22, 0.14, 0.07])

_WAVES = np.array([0.05, 0.15, 0.3])
_WAVES_PRIOR = np.array([0.3, 0.35, 0.35])
"""Standard deviations of the coefficients of a yearly wave, in log odds, and their prior weights. 0.3 is a season
whose odds ratio of peak to trough is 2 to 3. [common practice, no source]"""

SHARED_EVIDENCE = 0.5
"""Weight of the evidence that all outcomes together give about the spread of visits. Outcomes of one visit are written
down by one person on one day and are not independent. [common practice, no source]"""

COW_FACTOR = (0.6, 4.0)
"""Limits of the variance factor for cows seen more than once. [common practice, no source]"""

FOLLOW_YEARS = 0.21
"""Visits so near to each other, 75 days, may go together. [common practice, no source]"""

FEW_VISITS = 8
"""Fewer visits do not tell an autocorrelation. [common practice, no source]"""

MOST_AUTOCORRELATION = 0.8
"""More is taken for this much. [common practice, no source]"""

CORRELATION_CASES = 10.0
"""Pairs of looks with a case that what all outcomes show of the correlation of looks counts as, for each outcome.
[common practice, no source]"""

_VISIT_SD = np.repeat(_SDS, len(_WAVES))
_WAVE_SD = np.tile(_WAVES, len(_SDS))
_PRIOR = np.outer(_SDS_PRIOR, _WAVES_PRIOR).ravel()
_NODES, _NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_NODE_WEIGHTS = _NODE_WEIGHTS / _NODE_WEIGHTS.sum()
_Z = np.linspace(-5.0, 5.0, 31)
_Z_WEIGHTS = np.exp(-(_Z**2) / 2) / np.exp(-(_Z**2) / 2).sum()
_POINTS = 51
_FAR = 8.0
"""Shifts of the log odds are looked for between -8 and 8."""
_ALL = slice(None)


@dataclass(frozen=True)
class Expectation:
    """What the earlier visits lead one to expect, one row an outcome.

    Attributes
    ----------
    logits, weights : array of shape (outcomes, points)
        The predictive distribution of the newest period's log odds.
    cases, looked : array of shape (outcomes,)
        Cases and looks of the newest period, divided by the variance factor of the cows.
    """

    logits: Array
    weights: Array
    cases: Array
    looked: Array

    @property
    def share(self) -> Array:
        """The expected share of cases."""
        mean: Array = (special.expit(self.logits) * self.weights).sum(axis=1)
        return mean

    @property
    def spread(self) -> Array:
        """Standard deviation of the expected log odds."""
        mean = (self.logits * self.weights).sum(axis=1)
        sd: Array = np.sqrt((self.logits**2 * self.weights).sum(axis=1) - mean**2)
        return sd

    def upper(self, cases: Array, shift: Array | float = 0.0, rows: npt.NDArray[Any] | slice = _ALL) -> Array:
        """Mid-p probability of *cases* or more in some rows if the log odds lie *shift* above the expected."""
        p = special.expit(self.logits[rows] + np.asarray(shift, dtype=float)[..., None])
        n = self.looked[rows][:, None]
        y = np.broadcast_to(np.asarray(cases, dtype=float), n.shape[:1])[:, None]
        more = np.where(y > 0, special.betainc(np.maximum(y, 1e-9), n - y + 1, p), 1.0)
        # I_p(a, b) - I_p(a + 1, b - 1) = p^a (1 - p)^(b - 1) / (a B(a, b)) [pub: DLMF 8.17.18], which takes less time.
        log_ab = special.gammaln(y + 1) + special.gammaln(n - y + 1) - special.gammaln(n + 1)
        here = np.exp(special.xlogy(y, p) + special.xlog1py(n - y, -p) - log_ab)
        still_more = np.where(y + 1 <= n, more - here, 0.0)
        out: Array = ((more + still_more) / 2 * self.weights[rows]).sum(axis=1)
        return out

    def lower(self, cases: Array) -> Array:
        """Mid-p probability of *cases* or fewer."""
        return 1.0 - self.upper(cases)


@dataclass(frozen=True)
class Comparison:
    """The newest period against the expected, one entry an outcome.

    Attributes
    ----------
    expected : array
        Expected share.
    difference, low, high : array
        Share of the newest period less the expected, with simultaneous limits: they allow for all outcomes compared.
    p_value : array
        Two-sided, of one outcome alone.
    worse, better : array of bool
        Whether ``low`` is above 0, or ``high`` below it.
    detectable : array
        Smallest rise of the share that would have been called worse.
    """

    expected: Array
    difference: Array
    low: Array
    high: Array
    p_value: Array
    worse: npt.NDArray[np.bool_]
    better: npt.NDArray[np.bool_]
    detectable: Array


def expect(
    cases: Array,
    looked: Array,
    years: Array,
    newest: npt.NDArray[np.bool_],
    cow_factor: Array,
    earlier_factor: Array,
) -> Expectation:
    """Fit the earlier visits and predict the newest period.

    The log odds of an outcome at a visit are a level, a yearly wave and a random visit effect. Level and wave are
    fitted by penalised quasi-likelihood for each of several standard deviations of visits and of the wave (Williams
    1982, model III). These are weighted by their evidence in the herd's own visits and by a prior (a grid posterior).

    Parameters
    ----------
    cases : array of shape (outcomes, visits)
        Cows with the outcome.
    looked : array of shape (visits,)
        Cows looked at.
    years : array of shape (visits,)
        When, in years.
    newest : array of bool, shape (visits,)
        The visits of the newest period; at least one, and not all.
    cow_factor : array of shape (outcomes,)
        Variance of the difference over that of as many independent cows; see :func:`cow_variance_factors`.
    earlier_factor : array of shape (outcomes,)
        Variance of earlier visits about their own mean over that of visits to independent cows; see
        :func:`cow_variance_factors`.

    Returns
    -------
    Expectation

    References
    ----------
    Williams DA (1982) Applied Statistics 31:144-148 (binomial counts that vary beyond chance).
    Breslow NE, Clayton DG (1993) J Am Stat Assoc 88:9-25 (penalised quasi-likelihood).
    Gelman A, Meng XL, Stern H (1996) Statistica Sinica 6:733-807 (predictive p-values).
    """
    x = np.column_stack([np.ones(len(years)), np.cos(2 * np.pi * years), np.sin(2 * np.pi * years)])
    y = cases[:, ~newest] / earlier_factor[:, None]
    n = looked[~newest] / earlier_factor[:, None]
    beta, covariance = _fit(y, n, x[~newest])
    evidence = _evidence(y, n, x[~newest], beta, covariance)
    log_weights = np.log(_PRIOR) + SHARED_EVIDENCE * evidence.sum(axis=0)
    weights = np.exp(log_weights - log_weights.max())
    weights = weights / weights.sum()
    usual = np.einsum("s,jsv->jv", weights, special.expit(beta @ x[~newest].T))
    rho = _autocorrelation((y - n * usual) / np.sqrt(n * usual * (1 - usual)), years[~newest])
    covariance = covariance * (1 + rho) / (1 - rho)
    many = looked[newest].astype(float)
    x_new = (x[newest] * many[:, None]).sum(axis=0) / many.sum()
    visits = int(newest.sum())
    shared = (1 + (visits - 1) * max(rho, ALIKE_WITHIN)) / visits
    variance = np.einsum("k,jskl,l->js", x_new, covariance, x_new) + _VISIT_SD**2 * shared
    logits, mass = _binned(beta @ x_new, np.sqrt(variance), weights)
    return Expectation(logits, mass, cases[:, newest].sum(axis=1) / cow_factor, many.sum() / cow_factor)


def _fit(y: Array, n: Array, x: Array) -> tuple[Array, Array]:
    """Coefficients (outcomes, settings, 3) and their covariance, for each setting of the standard deviations."""
    prior = np.zeros((len(_PRIOR), 3, 3))
    prior[:, 0, 0] = 1 / LEVEL_SD**2
    prior[:, 1, 1] = prior[:, 2, 2] = 1 / _WAVE_SD**2
    beta = np.zeros((len(y), len(_PRIOR), 3))
    beta[..., 0] = special.logit((y.sum(axis=1) + 0.5) / (n.sum(axis=1) + 1))[:, None]
    centre = np.array([LEVEL_MEAN, 0.0, 0.0])
    squares = np.einsum("vk,vl->vkl", x, x).reshape(len(x), 9)
    for _ in range(25):
        p = special.expit(beta @ x.T)
        information = np.maximum(n[:, None, :] * p * (1 - p), 1e-9)
        weight = 1 / (1 / information + (_VISIT_SD**2)[:, None])
        gradient = (weight * (y[:, None, :] - n[:, None, :] * p) / information) @ x
        gradient -= np.einsum("jsk,skl->jsl", beta - centre, prior)
        covariance = np.linalg.inv((weight @ squares).reshape(*weight.shape[:2], 3, 3) + prior)
        step = np.einsum("jskl,jsl->jsk", covariance, gradient)
        beta = beta + np.clip(step, -1.5, 1.5)
        if np.abs(step).max() < 1e-4:
            break
    return beta, covariance


def _evidence(y: Array, n: Array, x: Array, beta: Array, covariance: Array) -> Array:
    """Log evidence of each setting: visits integrated out by quadrature, coefficients by Laplace's method."""
    eta = (beta @ x.T)[..., None] + _VISIT_SD[:, None, None] * _NODES
    log_p = y[:, None, :, None] * special.log_expit(eta) + (n - y)[:, None, :, None] * special.log_expit(-eta)
    top = log_p.max(axis=-1, keepdims=True)
    visits = (np.log(np.exp(log_p - top) @ _NODE_WEIGHTS) + top[..., 0]).sum(axis=-1)
    wave = -(beta[..., 1:] ** 2).sum(axis=-1) / (2 * _WAVE_SD**2) - 2 * np.log(_WAVE_SD)
    out: Array = visits + wave + 0.5 * np.linalg.slogdet(covariance)[1]
    return out


def _autocorrelation(residuals: Array, years: Array) -> float:
    """How alike visits are that follow each other, from the residuals of all outcomes together.

    The first autocorrelation, corrected for the fitted level and wave (Marriott and Pope 1954, Biometrika 41:390-402).
    0 where few visits follow each other within :data:`FOLLOW_YEARS`.
    """
    follow = np.diff(years) <= FOLLOW_YEARS
    visits = int(follow.sum()) + 1
    if visits < FEW_VISITS:
        return 0.0
    # Residuals have a variance of 1 at least; where they are smaller they are rounding.
    raw = (residuals[:, 1:] * residuals[:, :-1])[:, follow].sum() / max((residuals**2).sum(), residuals.size)
    return float(np.clip(raw + (1 + 4 * raw) / visits, 0.0, MOST_AUTOCORRELATION))


def _binned(mean: Array, se: Array, weights: Array) -> tuple[Array, Array]:
    """A mixture of normal distributions as points and weights, one row an outcome."""
    values = (mean[..., None] + se[..., None] * _Z).reshape(len(mean), -1)
    mass = (weights[:, None] * _Z_WEIGHTS).ravel()
    low, high = values.min(axis=1), values.max(axis=1)
    step = (high - low) / (_POINTS - 1)
    place = (values - low[:, None]) / step[:, None]
    left = np.minimum(place.astype(int), _POINTS - 2)
    part = place - left
    rows = np.broadcast_to(np.arange(len(mean))[:, None], left.shape)
    out = np.zeros((len(mean), _POINTS))
    np.add.at(out, (rows, left), mass * (1 - part))
    np.add.at(out, (rows, left + 1), mass * part)
    return low[:, None] + step[:, None] * np.arange(_POINTS), out


def cow_variance_factors(
    ill: npt.NDArray[np.bool_], seen: npt.NDArray[np.bool_], days: Array, newest: npt.NDArray[np.bool_]
) -> tuple[Array, Array]:
    """Variance of the change, and of earlier visits, over that of as many independent cows, one entry an outcome.

    A cow who is in both periods is compared with herself, which makes the change surer. A cow looked at several times
    in the newest period tells less each time. With correlation r between two looks at one cow the variance of a
    difference of two means gains r times (pairs within the one, plus pairs within the other, less twice the pairs
    across), each as a share of all pairs. Looks a few weeks apart are more alike than looks years apart, so that r is
    estimated apart for the pairs within the newest period. Earlier visits to the same cows vary less about their own
    mean, by 1 - r.

    Parameters
    ----------
    ill : array of bool, shape (outcomes, visits, cows)
        Who had what.
    seen : array of bool, shape (visits, cows)
        Who was looked at.
    days : array of shape (visits,)
        When, in days.
    newest : array of bool, shape (visits,)
        The visits of the newest period.

    Returns
    -------
    change, earlier : array of shape (outcomes,)

    Examples
    --------
    Cows seen once in each period, and always the same:

    >>> ill = np.array([[[True, True, False, False], [True, True, False, False]]])
    >>> seen = np.ones((2, 4), dtype=bool)
    >>> cow_variance_factors(ill, seen, np.array([0.0, 180.0]), np.array([False, True]))[0]
    array([0.6])
    """
    looks_now, looks_before = (seen[part].sum(axis=0).astype(float) for part in (newest, ~newest))
    now, before = looks_now.sum(), looks_before.sum()
    within_now = (looks_now * (looks_now - 1)).sum() / now**2
    within_before = (looks_before * (looks_before - 1)).sum() / before**2
    across = (looks_now * looks_before).sum() / (now * before)
    apart = np.abs(days[:, None] - days)
    different = ~np.eye(len(days), dtype=bool)
    alike = _look_correlation(ill, seen, different)
    alike_now = _look_correlation(ill, seen, different & (apart <= np.ptp(days[newest]))) if within_now else alike
    change = 1 + now * (alike_now * within_now + alike * (within_before - 2 * across))
    return np.clip(change, *COW_FACTOR), np.clip(1 - alike, COW_FACTOR[0], 1.0)


def _look_correlation(ill: npt.NDArray[np.bool_], seen: npt.NDArray[np.bool_], pairs: npt.NDArray[np.bool_]) -> Array:
    """Correlation of two looks at one cow, over the *pairs* of visits; 0 where no cow was looked at twice.

    An outcome with few cases is drawn towards what all outcomes together show.
    """
    looked, sick = seen.astype(float), ill.astype(float)
    share = sick.sum(axis=(1, 2)) / looked.sum()
    both_seen = (looked @ looked.T)[pairs].sum()
    either_sick = 2 * (sick @ looked.T)[:, pairs].sum(axis=1)
    both_sick = (sick @ sick.transpose(0, 2, 1))[:, pairs].sum(axis=1)
    together = both_sick - share * either_sick + share**2 * both_seen
    alone = share * (1 - share) * both_seen
    if not alone.sum():
        return np.zeros(len(ill))
    of_all = together.sum() / alone.sum()
    correlation: Array = np.clip((together + CORRELATION_CASES * of_all) / (alone + CORRELATION_CASES), 0.0, 0.9)
    return correlation


Herd = tuple[Sequence[Expectation], Sequence[Array]]
"""All outcomes of one herd, in one or several groups, and how large a share of the error each gets beside the others.
"""


def compare(herds: Sequence[Herd]) -> list[list[Comparison]]:
    """Compare every outcome of each herd with what is expected of it, allowing for how many the herd has.

    The error is shared out by weights that do not depend on the newest cases (weighted Bonferroni): a part equally over
    all outcomes, the rest over those common enough to show a tripling of the odds. Herds say nothing of each other;
    the limits of forty take 0.35 s of processor together and 0.67 s one after the other.

    Parameters
    ----------
    herds : sequence of Herd

    Returns
    -------
    list of list of Comparison
        For each herd one for each group.

    References
    ----------
    Genovese CR, Roeder K, Wasserman L (2006) Biometrika 93:509-524 (weighted p-values).
    Lancaster HO (1961) J Am Stat Assoc 56:223-234 (mid-p).
    """
    groups = [each for expectations, _ in herds for each in expectations]
    if not groups:
        return [[] for _ in herds]
    whole = Expectation(
        *(np.concatenate([getattr(each, field.name) for each in groups]) for field in fields(Expectation))
    )
    compared = _compare(whole, FAMILY_ERROR * np.concatenate([_error_shares(*herd) for herd in herds if herd[0]]))
    ends = np.cumsum([len(each.cases) for each in groups])[:-1]
    parts = zip(*(np.split(getattr(compared, field.name), ends) for field in fields(Comparison)), strict=True)
    return [[Comparison(*next(parts)) for _ in expectations] for expectations, _ in herds]


def _error_shares(expectations: Sequence[Expectation], importance: Sequence[Array]) -> Array:
    able = np.concatenate([_is_able(each) for each in expectations])
    weights = np.concatenate(importance)
    equal, focused = weights / weights.sum(), weights * able
    shares: Array = (1 - FOCUS) * equal + FOCUS * focused / focused.sum() if focused.sum() else equal
    return shares


def _is_able(one: Expectation) -> npt.NDArray[np.bool_]:
    raised = special.expit(special.logit(np.clip(one.share, 1e-6, 1 - 1e-6)) + np.log(LARGE_CHANGE))
    se = np.sqrt(one.spread**2 + 1 / (one.looked * raised * (1 - raised)))
    able: npt.NDArray[np.bool_] = np.log(LARGE_CHANGE) / se >= ABLE_Z
    return able


def _compare(one: Expectation, error: Array) -> Comparison:
    half = error / 2
    p_value = np.minimum(1.0, 2 * np.minimum(one.upper(one.cases), one.lower(one.cases)))
    # The limits are the shifts of the log odds at which the newest cases would just be called.
    lowest, highest = (_shift_at(one, chance) for chance in (half, 1 - half))
    share = one.share
    low, high = (_shifted(one, shift) - share for shift in (lowest, highest))
    low = np.where(one.cases <= 0, -share, low)
    high = np.where(one.cases >= one.looked, 1 - share, high)
    return Comparison(
        expected=share,
        difference=one.cases / one.looked - share,
        low=low,
        high=high,
        p_value=p_value,
        worse=one.upper(one.cases) <= half,
        better=one.lower(one.cases) <= half,
        detectable=_smallest_rise(one, half),
    )


def _shifted(one: Expectation, shift: Array) -> Array:
    share: Array = (special.expit(one.logits + shift[:, None]) * one.weights).sum(axis=1)
    return share


def _shift_at(one: Expectation, chance: Array) -> Array:
    """The shift of the log odds at which the newest cases or more have this chance; -8 or 8 where none has."""

    def gap(shift: Array, row: Array) -> Array:
        rows = row.astype(int)
        above: Array = one.upper(one.cases[rows], shift, rows) - chance[rows]
        return above

    found = elementwise.find_root(gap, (-_FAR, _FAR), args=(np.arange(len(chance)).astype(float),))
    above = one.upper(one.cases, -_FAR) > chance
    shift: Array = np.where(found.success, found.x, np.where(above, -_FAR, _FAR))
    return shift


def _smallest_rise(one: Expectation, half: Array) -> Array:
    """The smallest share above the expected that would be called worse; 1 less the expected where none would."""

    def gap(cases: Array, row: Array) -> Array:
        rows = row.astype(int)
        above: Array = one.upper(cases, np.zeros(len(rows)), rows) - half[rows]
        return above

    found = elementwise.find_root(gap, (0.0, one.looked), args=(np.arange(len(half)).astype(float),))
    rise: Array = np.where(found.success, found.x / one.looked, 1.0) - one.share
    return rise
