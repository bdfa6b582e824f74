"""Which scale locomotion scores are on, where the sheet does not say."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import pandas as pd

from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.intake.sheet import Findings
from evenfoot.analytics.messages import say

USUAL_SCALE = "1-5"
"""Taken when nothing tells: the scale of Sprecher, Hostetler & Kaneene 1997, Theriogenology 47:1179."""
SHOWN_FARMS = 5


def farm_scales(
    scores: pd.Series,
    scales: pd.Series,
    farms: pd.Series,
    findings: Findings,
    known_scales: Mapping[str, str] = MappingProxyType({}),
) -> dict[str, str]:
    """The scale of scores that come without one, farm by farm; says so in the notes.

    A score of 4 or 5 is only on the 1-5 scale, one of 0 only on the 0-3 scale. Without either the scale that the farm
    used before is taken, else the usual one.

    Parameters
    ----------
    scores : Series of Int64
        With ``scales`` and ``farms``: every combination of the three that the sheet holds.
    scales : Series of str
    farms : Series of str
    findings : Findings
    known_scales : mapping of str to str
        Farm -> the scale of its earlier scores.

    Returns
    -------
    dict of str to str
        Farm (empty where the row has none) -> scale.
    """
    open_ = scores.notna() & scales.isna()
    scale_of: dict[str, str] = {}
    if not bool(open_.any()):
        return scale_of
    seen = pd.DataFrame({"farm": farms[open_].fillna(""), "score": scores[open_]}).drop_duplicates()
    told: dict[tuple[str, str], list[str]] = {}
    for farm, group in seen.groupby("farm"):
        values = {int(score) for score in group["score"]}
        high, low = bool(values & {4, 5}), 0 in values
        known = known_scales.get(str(farm))
        scale = "0-3" if low and not high else USUAL_SCALE
        reason = "both" if low and high else "high" if high else "low" if low else "unsure"
        if known is not None and reason == "unsure":
            scale, reason = known, "known"
        elif known not in (None, scale):
            reason = "other"
        scale_of[str(farm)] = scale
        told.setdefault((scale, reason), []).append(str(farm) or "rows without a farm")
    for (scale, reason), names in told.items():
        findings.notes.append(
            say(
                _SENTENCES[reason],
                farms=", ".join(names[:SHOWN_FARMS]) + (" and others" if len(names) > SHOWN_FARMS else ""),
                scale=scale,
            )
        )
    return scale_of


def fill_scales(scores: pd.Series, scales: pd.Series, farms: pd.Series, scale_of: dict[str, str]) -> pd.Series:
    """The scale of every score: the row's own, else that of :func:`farm_scales`. Missing where there is no score."""
    scales = scales.where(scores.notna())
    open_ = scores.notna() & scales.isna()
    if not bool(open_.any()):
        return scales
    return scales.where(~open_, farms.fillna("").map(scale_of)).astype("str")


_SENTENCES = {
    "known": "Locomotion scores of {farms} come without a scale; they were taken to be on the {scale} scale, as "
    "earlier ones are.",
    "other": "Locomotion scores of {farms} were taken to be on the {scale} scale, as some are only on it, though "
    "earlier ones are on another scale. Check whether the scale was changed.",
    "high": "Locomotion scores of {farms} were taken to be on the {scale} scale, as some are 4 or 5.",
    "low": "Locomotion scores of {farms} were taken to be on the {scale} scale, as some are 0.",
    "both": "Locomotion scores of {farms} were taken to be on the {scale} scale, as some are 4 or 5; "
    "a score of 0 is not on it.",
    "unsure": "Locomotion scores of {farms} come without a scale and fit both; they were taken to be on the "
    "{scale} scale. Add a column locomotion_scale if that is wrong.",
}


def is_on_scale(scores: pd.Series, scales: pd.Series) -> pd.Series:
    """Whether each score is on its scale; true where there is no score."""
    fits = scores.isna()
    for name, scale in SCALES.items():
        fits |= (scales == name).fillna(False) & scores.between(scale.lowest, scale.highest).fillna(False)
    return fits.astype(bool)
