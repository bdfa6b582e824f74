"""The natural shedding of horn: how far it has gone, what it goes with, and where records break its order."""

from __future__ import annotations

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.horn_limits import HornLimits
from evenfoot.analytics.domain.shedding import EXPECTED, STANDING, stage_name
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, messages
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.farm_sample import part_of_farms
from evenfoot.analytics.measures.horn.horn_state import nothing_measured, pooled, selective_horn
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.farm_sample import FarmSample, farm_sample
from evenfoot.analytics.queries.horn import horn_sums, known_groupings
from evenfoot.analytics.queries.horn_shedding import count_stages, out_of_order, stages_for_model
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.cluster import ClusterProportion, cluster_proportion
from evenfoot.analytics.stats.cluster_mean import cluster_mean
from evenfoot.analytics.stats.ordinal_regression import proportional_odds

COLUMNS = ("shed_stage", "feet", "share", "low", "high", "seen", "cows")
MODEL = ("term", "odds_ratio", "low", "high", "p_value", "feet", "note")

READINGS_FOR_MODEL = 100_000
"""A model is fitted to the readings of whole farms that have no more than this together, which changes the figures less
than their intervals. [common practice, no source]"""

FEET_FOR_MODEL = 50_000
"""Of one farm with more feet than this every so many cows are taken. [common practice, no source]"""

BEYOND_READING = 1000.0
"""Odds ratios beyond this come of terms that nearly go together, not of so strong an effect.
[common practice, no source]"""

NEARLY_ONE: Message = say(
    "Some terms of the model nearly go together here, such as season and weeks on grass, so their odds ratios are far "
    "apart and mean little one by one."
)

CYCLES: Message = say(
    "Shedding can run its course and start again within one season, so a foot at stage 0 late in the season may be "
    "before its cycle or after it."
)


@memoize
def shedding(
    ledger: Ledger, selection: Selection, *, by: tuple[str, ...] = ("housing",), level: float = 0.95
) -> Answer:
    """Share of feet at every stage of shedding, and what the stage goes with.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Groupings of trims and places, as in ``horn``. Grouped by claw, claws are counted and not feet.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: the ``by`` columns, shed_stage (0 to 5), feet (at the stage, once a day), share, low, high
        (proportions; cows are clusters), seen (feet with a stage in the group), cows.
        ``extra``: ``model`` (term, odds_ratio of a higher stage with low, high and p_value, feet, note),
        ``standing`` (shed_stage, name, zones shed, partly, standing), ``out_of_order`` (rows naming a zone as shed that
        should still stand at their stage), ``expected`` (wetness, expected in words, feet, share at stage 0 with low
        and high, and the mean differences between the claws of a foot in sole and stage with theirs).

    Raises
    ------
    UserError
        A grouping that horn readings do not have.

    References
    ----------
    McCullagh P (1980) Journal of the Royal Statistical Society B 42:109-142 (proportional odds).
    Rao JNK, Scott AJ (1992) Biometrics 48:577-585 (clustered proportions).
    """
    by = known_groupings(by)
    counts = count_stages(ledger, selection, by)
    basis, cautions = basis_of(
        ledger,
        selection,
        unit="claw" if "claw" in by else "foot",
        level=level,
        method=say("logit limits with cows as clusters"),
        source="horn_readings",
    )
    if counts.empty:
        return nothing_measured("shedding", (*by, *COLUMNS), basis, by)
    found = _shares(counts, level)
    table = counts.assign(feet=counts["sum_m"], seen=counts["sum_n"], share=found.p, low=found.low, high=found.high)
    sample = farm_sample(ledger, selection, "horn_readings", most=READINGS_FOR_MODEL)
    model, why = _model(stages_for_model(ledger, sample.selection), level)
    listed = farm_sample(ledger, selection, "horn_readings")
    wrong = out_of_order(ledger, listed.selection)
    cautions = (
        selective_horn(cautions)
        + _of_some_farms(sample, listed)
        + (CYCLES, *why, *_few(counts, by), *pooled(counts["n_farms"]))
    )
    if len(wrong):
        cautions += (
            say(
                "{n} rows name horn as shed that should still stand at the stage they give; look at them first.",
                n=len(wrong),
            ),
        )
    extra = {
        "model": model,
        "standing": standing(),
        "out_of_order": wrong,
        "expected": _expected(ledger, selection, level),
    }
    return Answer("shedding", table[[*by, *COLUMNS]].reset_index(drop=True), basis, cautions, by, extra)


def _of_some_farms(model: FarmSample, listed: FarmSample) -> tuple[Message, ...]:
    """Which farms the model, and the list of rows out of order, rest on; the shares always rest on all."""
    out = [say("The model of what the stage goes with: {part}", part=part) for part in part_of_farms(model)]
    out += [say("Rows out of order: {part}", part=part) for part in part_of_farms(listed)]
    return tuple(out)


def standing() -> pd.DataFrame:
    """Zones of a claw shed, shed in part and standing at each stage: shed_stage, name, shed, partly, standing.

    Examples
    --------
    >>> standing().loc[3, ["name", "shed", "standing"]].tolist()
    ['heel left high, wall standing', '4, 5', '6, 2, 3, 8, 1, 7']
    """
    rows = [
        (
            each.stage,
            stage_name(each.stage),
            *(", ".join(map(str, part)) for part in (each.shed, each.partly, each.standing)),
        )
        for each in STANDING.values()
    ]
    return pd.DataFrame(rows, columns=["shed_stage", "name", "shed", "partly", "standing"])


def _shares(counts: pd.DataFrame, level: float) -> ClusterProportion:
    return cluster_proportion(
        counts["sum_m"], counts["sum_n"], counts["sum_mm"], counts["sum_mn"], counts["sum_nn"], counts["cows"], level
    )


def _model(frame: pd.DataFrame, level: float) -> tuple[pd.DataFrame, tuple[Message, ...]]:
    """The proportional-odds model of stage on housing, season and weeks on grass."""
    cows = frame["farm"] + "|" + frame["cow"]
    thinned: tuple[Message, ...] = ()
    if len(frame) > FEET_FOR_MODEL:
        codes = cows.astype("category").cat.codes
        every = len(frame) // FEET_FOR_MODEL + 1
        frame, cows = frame[codes % every == 0], cows[codes % every == 0]
        thinned = (say("The model of what the stage goes with takes one cow in {n}, as there are many.", n=every),)
    notes: list[tuple[str, int, str]] = []
    kept = pd.Series(True, index=frame.index)
    for name in ("housing", "season"):
        # A group all of whose feet are at one stage has odds of nought or without end: it is told and taken out.
        stages = frame[kept].groupby(name)["stage"].agg(["nunique", "size", "max"])
        for group, row in stages[stages["nunique"] == 1].iterrows():
            notes.append(
                (f"{name}={group}", int(row["size"]), say("every foot is at stage {max}", max=int(row["max"])))
            )
            kept &= frame[name] != group
    frame, cows = frame[kept], cows[kept]
    design = pd.DataFrame(index=frame.index)
    references = []
    for name in ("housing", "season"):
        ordered = [str(value) for value in frame[name].value_counts().sort_index().sort_values().index[::-1]]
        references += ordered[:1]
        for group in ordered[1:]:
            design[f"{name}={group}"] = (frame[name] == group).astype(float)
    if frame["weeks"].notna().any():
        # About their own mean, so that cows indoors are set against cows in the middle of their time out.
        weeks = frame["weeks"].astype(float)
        design["weeks on grass"] = (weeks - weeks.mean()).fillna(0.0)
    design, twins = _told_apart(design)
    notes += [(term, len(frame), say("cannot be told from the other terms here")) for term in twins]
    fit = proportional_odds(frame["stage"].to_numpy(), design, cows.to_numpy(), level=level)
    found = fit.coefficients
    rows = pd.DataFrame(
        {
            "term": found["term"],
            "odds_ratio": np.exp(found["estimate"]),
            "low": np.exp(found["low"]),
            "high": np.exp(found["high"]),
            "p_value": found["p_value"],
            "feet": fit.n,
            "note": "" if fit.converged else fit.reason,
        }
    )
    extra = pd.DataFrame([{"term": term, "feet": feet} for term, feet, _ in notes], columns=["term", "feet"])
    extra = extra.assign(note=messages(note for *_, note in notes))
    model = pd.concat([rows, extra], ignore_index=True).reindex(columns=list(MODEL)) if notes else rows[list(MODEL)]
    if fit.converged:
        against = say(
            "The model compares with {references}; it is an association within these herds, not a cause.",
            references=" in ".join(map(str, references)),
        )
        told = fit.coefficients["estimate"].abs() > np.log(BEYOND_READING)
        return model, (*thinned, against, NEARLY_ONE) if told.any() else (*thinned, against)
    return model, (say("Not enough to say what shedding goes with: {reason}", reason=fit.reason),)


def _told_apart(design: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """The terms that say what the earlier ones do not, and the others: out all summer, grass and summer are one."""
    kept: list[str] = []
    for name in design.columns:
        tried = np.column_stack([np.ones(len(design)), design[[*kept, name]]])
        if np.linalg.matrix_rank(tried) == len(kept) + 2:
            kept.append(name)
    return design[kept], [name for name in design.columns if name not in kept]


def _expected(ledger: Ledger, selection: Selection, level: float) -> pd.DataFrame:
    """What the wetness of the ground lets one expect beside what was seen."""
    counts = count_stages(ledger, selection, ("wetness",))
    none = counts[counts["shed_stage"] == 0]
    kept = _shares(none, level)
    seen = pd.DataFrame(
        {
            "wetness": none["wetness"],
            "feet": none["sum_n"],
            "share_stage_0": kept.p,
            "low": kept.low,
            "high": kept.high,
        }
    )
    sums = horn_sums(ledger, selection, ("wetness",), HornLimits())
    for measure in ("sole_difference_mm", "shed_difference"):
        part = sums[sums["measure"] == measure]
        found = cluster_mean(
            part["sum_y"], part["sum_n"], part["sum_yy"], part["sum_yn"], part["sum_nn"], part["cows"], level
        )
        uneven = pd.DataFrame(
            {
                "wetness": part["wetness"],
                measure: found.mean,
                f"{measure}_low": found.low,
                f"{measure}_high": found.high,
            }
        )
        seen = seen.merge(uneven, on="wetness", how="left")
    words = pd.DataFrame([(each.wetness, each.words) for each in EXPECTED.values()], columns=["wetness", "expected"])
    return words.merge(seen, on="wetness", how="left")


def _few(counts: pd.DataFrame, by: tuple[str, ...]) -> tuple[Message, ...]:
    whole = counts[counts["shed_stage"] == 0]
    small = whole[whole["cows"] < FEW_COWS]
    if small.empty:
        return ()
    return (
        say(
            "Not enough to say about {n} of {all} groups: fewer than {few} cows have a shed stage.",
            n=len(small),
            all=len(whole),
            few=FEW_COWS,
        ),
    )
