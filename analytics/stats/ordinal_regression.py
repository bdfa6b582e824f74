"""Proportional odds: how an ordered outcome, such as a shed stage, goes with what is known of a unit."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.messages import say
from evenfoot.analytics.stats.intervals import LEVEL, normal_quantile

_FLAT = 5.0  # a standard error this wide, per spread of a term, means that a group sits wholly at one end of the scale


@dataclass(frozen=True)
class OrdinalFit:
    """A proportional-odds fit.

    Attributes
    ----------
    coefficients : pandas.DataFrame
        ``term``, ``estimate`` (log odds of a higher stage), ``se``, ``low``, ``high``, ``p_value``.
    thresholds : ndarray
        Cut points between neighbouring stages: ``logit P(stage <= j) = threshold_j - x b``.
    log_likelihood : float
    n, clusters : int
        Units and clusters fitted.
    converged : bool
        False when there is no answer to give.
    reason : str
        Why not; "" when converged.
    """

    coefficients: pd.DataFrame
    thresholds: npt.NDArray[np.float64]
    log_likelihood: float
    n: int
    clusters: int
    converged: bool
    reason: str = ""


def proportional_odds(
    stage: npt.ArrayLike,
    x: pd.DataFrame,
    cluster: npt.ArrayLike | None = None,
    *,
    level: float = LEVEL,
) -> OrdinalFit:
    """Fit ``logit P(stage <= j) = threshold_j - x b``.

    Parameters
    ----------
    stage : array_like, shape (n,)
        Ordered outcome as numbers; gaps do not matter, only the order.
    x : pandas.DataFrame, shape (n, terms)
        Numeric design without an intercept.
    cluster : array_like, shape (n,), optional
        Cow (or herd) of each unit; standard errors then allow for likeness within it (sandwich).
    level : float, default 0.95
        Confidence level.

    Returns
    -------
    OrdinalFit
        ``converged`` False with a ``reason`` when the stages are all alike, terms cannot be told apart, a
        group sits wholly at one end, or the fit does not settle.

    References
    ----------
    McCullagh P (1980). Regression models for ordinal data. J R Stat Soc B 42:109-142.

    Examples
    --------
    >>> stages = [0, 0, 1, 1, 0, 1, 2, 2, 1, 2, 0, 2]
    >>> wet = pd.DataFrame({"grass": [0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1]})
    >>> fit = proportional_odds(stages, wet)
    >>> print(fit.converged, round(float(fit.coefficients["estimate"].iloc[0]), 2))
    True 2.78
    """
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    z = normal_quantile(level)
    codes = np.unique(np.asarray(stage), return_inverse=True)[1]
    design = x.to_numpy(dtype=np.float64)
    groups = np.arange(len(codes)) if cluster is None else np.unique(np.asarray(cluster), return_inverse=True)[1]
    count = int(groups.max()) + 1 if len(groups) else 0
    if not len(codes) or codes.max() == 0:
        return _nothing(x, len(codes), count, say("Every unit is at the same stage."))
    with_constant = np.column_stack([np.ones(len(codes)), design])
    if design.shape[1] == 0 or np.linalg.matrix_rank(with_constant) <= design.shape[1]:
        return _nothing(x, len(codes), count, say("Two of the terms always go together, or one never changes."))
    if count <= design.shape[1] + codes.max():
        return _nothing(x, len(codes), count, say("There are too few cows for so many terms."))
    # Scaled columns let the search take even steps; the estimates are scaled back.
    scale = np.maximum(design.std(axis=0), 1e-12)
    model = OrderedModel(codes, design / scale, distr="logit")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        first = model.fit(method="bfgs", disp=0, maxiter=500, gtol=1e-6)
        found = first
        if cluster is not None:
            found = model.fit(
                start_params=first.params,
                method="bfgs",
                disp=0,
                maxiter=500,
                gtol=1e-6,
                cov_type="cluster",
                cov_kwds={"groups": groups},
            )
    terms = design.shape[1]
    estimate = np.asarray(found.params)[:terms] / scale
    se = np.asarray(found.bse)[:terms] / scale
    # Judged by the plain errors: those that allow for clusters are no measure of how flat the likelihood is.
    flat = np.asarray(first.bse)[:terms]
    if not first.mle_retvals["converged"] and not np.all(np.isfinite(se)):
        return _nothing(x, len(codes), count, say("The fit did not settle."))
    if not np.all(np.isfinite(se)) or not np.all(flat < _FLAT):
        return _nothing(x, len(codes), count, say("A group is wholly at one end of the scale."))
    from scipy import special

    return OrdinalFit(
        coefficients=pd.DataFrame(
            {
                "term": list(x.columns),
                "estimate": estimate,
                "se": se,
                "low": estimate - z * se,
                "high": estimate + z * se,
                "p_value": 2 * special.ndtr(-np.abs(estimate / se)),
            }
        ),
        thresholds=np.asarray(model.transform_threshold_params(np.asarray(found.params)))[1:-1],
        log_likelihood=float(found.llf),
        n=len(codes),
        clusters=count,
        converged=True,
    )


def _nothing(x: pd.DataFrame, n: int, clusters: int, reason: str) -> OrdinalFit:
    blank = np.full(x.shape[1], np.nan)
    columns = dict.fromkeys(("estimate", "se", "low", "high", "p_value"), blank)
    return OrdinalFit(
        coefficients=pd.DataFrame({"term": list(x.columns), **columns}),
        thresholds=np.array([]),
        log_likelihood=float("nan"),
        n=n,
        clusters=clusters,
        converged=False,
        reason=reason,
    )
