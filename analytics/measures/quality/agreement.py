"""Do people who score the same cows, or look at the same feet, write down the same?"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, messages
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.messages import Message, listed, say
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.analytics.queries.observer_pairs import WITHIN_DAYS, pairs
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.farm_level import with_herd_level
from evenfoot.analytics.stats.kappa import kappa_of_table
from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg
from evenfoot.analytics.stats.random_herd import RandomHerd, random_herd_logit

COLUMNS = ("a", "b", "pairs", "agreement", "kappa", "low", "high", "weights")
MORE = ("what", "agreement_low", "agreement_high", "same_day", "margins_p_value", "symmetry_p_value")
TRIMMERS = ("lesion", "cases", "trims", "trimmers", "farms", "icc", "low", "high", "p_value", "p_adjusted")

FEW_CASES = 20
"""A lesion found fewer times than this says nothing about trimmers. [common practice, no source]"""

WEIGHTS: tuple[tuple[str, Literal["none", "linear", "quadratic"]], ...] = (
    ("unweighted", "none"),
    ("linear", "linear"),
    ("quadratic", "quadratic"),
)


@memoize
def agreement(
    ledger: Ledger,
    selection: Selection,
    *,
    between: tuple[str, ...] | None = None,
    level: float = 0.95,
) -> Answer:
    """Agreement of two people on the same cows, and how much the trimmer shows in the records.

    Scores of a cow by two people no more than three days apart are compared on their scale, with Cohen's
    kappa unweighted and weighted, and as lame or not. Where two trimmers looked at the same foot no more than
    three days apart, having found a lesion there or not is compared.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, period and cows; every kind of visit counts for pairs. Trimmers' records (below) rest on the
        visits asked for.
    between : tuple of two str, optional
        Two people by the name in the sheets; all who have cows in common by default.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: a, b, pairs (scorings or feet), agreement (share given the same), kappa, low, high (of
        kappa), weights (unweighted, linear or quadratic); what (``locomotion 1-5``, ``lame``,
        ``lesion on the foot``, ...), agreement_low, agreement_high (Wilson), same_day (pairs on one day),
        margins_p_value (whether both use the grades equally often, on the same cows: McNemar's exact test for two
        grades, Stuart and Maxwell's for more), symmetry_p_value (whether disagreements are as often one way round as
        the other, for every two grades: Bowker's test of symmetry).
        ``extra["trimmers"]``: lesion (``any`` first), cases, trims, trimmers, farms, icc (share of the latent
        variance between trimmers of one farm), low, high (where told in the notes), p_value, p_adjusted.

    Raises
    ------
    UserError
        *between* is not two people in these records.

    References
    ----------
    Cohen J (1960) Educ Psychol Meas 20:37-46; (1968) Psychol Bull 70:213-220. Fleiss JL, Cohen J, Everitt BS
    (1969) Psychol Bull 72:323-327. McNemar Q (1947) Psychometrika 12:153-157. Stuart A (1955) Biometrika 42:412-416.
    Maxwell AE (1970) Br J Psychiatry 116:651-655. Bowker AH (1948) J Am Stat Assoc 43:572-574. Limits of kappa:
    :func:`evenfoot.analytics.stats.kappa.kappa_limits`.
    """
    found = pairs(ledger, selection)
    names = sorted(found["people"]["name"].tolist())
    wanted = _two(between, names)
    rows: list[dict[str, Any]] = []
    for frame in (found["scores"], found["feet"]):
        kept = frame if wanted is None else frame[(frame["a"] == wanted[0]) & (frame["b"] == wanted[1])]
        for (a, b), group in kept.groupby(["a", "b"]):
            rows += _of_scores(group, level) if "scale" in group else _of_feet(group, level)
            for row in rows:
                row.setdefault("a", a)
                row.setdefault("b", b)
    table = pd.DataFrame(rows, columns=[*COLUMNS, *MORE]).assign(what=messages(row["what"] for row in rows))
    trimmers = _trimmer_effect(ledger, selection, level)
    basis, cautions = basis_of(
        ledger,
        selection.with_(visits=("all",)),
        unit="pair",
        level=level,
        method=listed(
            (
                say("Cohen's kappa, score limits"),
                say("Wilson limits of the agreement"),
                say("McNemar's or Stuart and Maxwell's paired test of grades used equally often"),
                say("Bowker's test of symmetry of the disagreements"),
            ),
            ";",
        ),
        source="scores" if found["feet"].empty and len(found["scores"]) else "trims",
        notes=(_PAIRED, *_trimmer_notes(trimmers, level)),
    )
    # Who is brought does not matter to whether two people agree on a cow.
    cautions = tuple(c for c in cautions if not c.startswith("These figures include"))
    return Answer("agreement", table, basis, cautions + _words(table, wanted), ("a", "b"), {"trimmers": trimmers})


_PAIRED: Message = say(
    "Scores of one cow, or records of one foot, by two people no more than {n} days apart make a pair; every kind of "
    "visit counts.",
    n=WITHIN_DAYS,
)


def _two(between: tuple[str, ...] | None, names: list[str]) -> tuple[str, str] | None:
    if not between:
        return None
    spelled = {name.casefold(): name for name in names}
    known = [spelled.get(name.strip().casefold()) for name in between]
    if len(known) != 2 or None in known or known[0] == known[1]:
        raise UserError(
            say(
                "Agreement is between two people, not '{given}'; name two of: {people}.",
                given=", ".join(between),
                people=", ".join(names) or say("nobody yet"),
            )
        )
    first, second = sorted(str(name) for name in known)
    return first, second


def _of_scores(group: pd.DataFrame, level: float) -> list[dict[str, Any]]:
    rows = []
    for scale, scored in group.groupby("scale"):
        known = SCALES[str(scale)]
        grades = list(range(known.lowest, known.highest + 1))
        square = _square(scored, grades)
        for name, weights in WEIGHTS:
            rows.append(_row(square, say("locomotion {scale}", scale=scale), name, weights, scored, level))
    cut = group["scale"].map(lambda scale: SCALES[scale].lame)
    lame = group.assign(first=(group["first"] >= cut).astype(int), second=(group["second"] >= cut).astype(int))
    rows.append(_row(_square(lame, [0, 1]), "lame", "unweighted", "none", lame, level))
    return rows


def _of_feet(group: pd.DataFrame, level: float) -> list[dict[str, Any]]:
    return [_row(_square(group, [0, 1]), say("lesion on the foot"), "unweighted", "none", group, level)]


def _square(group: pd.DataFrame, grades: list[int]) -> pd.DataFrame:
    counts = group.pivot_table(index="first", columns="second", values="pairs", aggfunc="sum", fill_value=0)
    return counts.reindex(index=grades, columns=grades, fill_value=0)


def _row(
    square: pd.DataFrame,
    what: str,
    name: str,
    weights: Literal["none", "linear", "quadratic"],
    group: pd.DataFrame,
    level: float,
) -> dict[str, Any]:
    found = kappa_of_table(square, weights=weights, level=level)
    return {
        "pairs": found.n,
        "agreement": found.agreement,
        "kappa": found.kappa,
        "low": found.kappa_low,
        "high": found.kappa_high,
        "weights": name,
        "what": what,
        "agreement_low": found.agreement_low,
        "agreement_high": found.agreement_high,
        "same_day": int(group["same_day"].sum()),
        "margins_p_value": found.margins_p_value,
        "symmetry_p_value": found.symmetry_p_value,
    }


def _trimmer_effect(ledger: Ledger, selection: Selection, level: float) -> pd.DataFrame:
    """How unlike trimmers of one farm are in what they write down, lesion by lesion."""
    parts: dict[str, pd.DataFrame] = {}
    for by in (("farm", "trimmer"), ("farm", "trimmer", "lesion")):
        counts = count(ledger, selection, by, "trim").table
        counts = counts[counts["trimmer"] != NOT_RECORDED]
        counts = counts[counts.groupby("farm")["trimmer"].transform("nunique") > 1]
        groups: Any = counts.groupby("lesion") if "lesion" in by else [("any", counts)]
        parts |= {str(lesion): part for lesion, part in groups if part["cases"].sum() >= FEW_CASES}
    fits = {lesion: _fit(part, level, profile=False) for lesion, part in parts.items()}
    fits = {lesion: fitted for lesion, fitted in fits.items() if fitted.converged}
    out = pd.DataFrame({"lesion": list(fits), "p_value": [fitted.sd_p_value for fitted in fits.values()]})
    adjusted = np.array(out["p_value"], dtype=float)
    of_lesion = (out["lesion"] != "any").to_numpy(dtype=bool)
    adjusted[of_lesion] = benjamini_hochberg(adjusted[of_lesion])[0]
    out["p_adjusted"] = adjusted
    # The limits take twenty fits each; they are worked out only for what is going to be told in words.
    for lesion in out.loc[~of_lesion | (adjusted < 1 - level), "lesion"]:
        fits[lesion] = _fit(parts[lesion], level, profile=True)
    for name in ("icc", "icc_low", "icc_high"):
        out[name.replace("icc_", "")] = [getattr(fitted, name) for fitted in fits.values()]
    out["trimmers"] = [fitted.clusters for fitted in fits.values()]
    for name, column in (("cases", "cases"), ("trims", "at_risk")):
        out[name] = [int(parts[lesion][column].sum()) for lesion in fits]
    out["farms"] = [int(parts[lesion]["farm"].nunique()) for lesion in fits]
    return out[list(TRIMMERS)]


def _fit(part: pd.DataFrame, level: float, *, profile: bool) -> RandomHerd:
    part, columns = with_herd_level(part, "cases", "at_risk", "farm")
    return random_herd_logit(part, "cases", columns, "trimmer", n="at_risk", level=level, profile=profile)


def _trimmer_notes(trimmers: pd.DataFrame, level: float) -> tuple[Message, ...]:
    if trimmers.empty:
        return (
            say(
                "How much the trimmer shows in the records cannot be told: no farm has enough cases at visits of two "
                "trimmers."
            ),
        )
    out = []
    shown = trimmers[(trimmers["lesion"] == "any") | (trimmers["p_adjusted"] < 1 - level)]
    for row in shown.to_dict("records"):
        out.append(
            say(
                "Trimmer effect, {lesion}: {icc} of the variance lies between {n} trimmers of the same farms ({low} to "
                "{high}; random-trimmer logistic model with farm, {trims} trims, p = {p}).",
                lesion=say("any lesion") if row["lesion"] == "any" else row["lesion"],
                icc=f"{row['icc']:.1%}",
                low=f"{row['low']:.1%}",
                high=f"{row['high']:.1%}",
                n=row["trimmers"],
                trims=row["trims"],
                p=f"{row['p_adjusted']:.2g}",
            )
        )
    return tuple(out)


def _words(table: pd.DataFrame, wanted: tuple[str, str] | None) -> tuple[Message, ...]:
    if table.empty:
        who = say("{a} and {b}", a=wanted[0], b=wanted[1]) if wanted else say("any two people")
        return (
            say(
                "Not enough to say: no cow was scored, and no foot looked at, by {who} within {n} days. Let two people "
                "score the same 50 cows on one day to find out.",
                who=who,
                n=WITHIN_DAYS,
            ),
        )
    out = []
    if (table["pairs"] < FEW_COWS).any():
        out.append(say("Some pairs of people have fewer than {n} cows in common: not enough to say.", n=FEW_COWS))
    if (table["same_day"] < table["pairs"]).any():
        out.append(
            say("Some pairs are up to {n} days apart; a cow can change, and be trimmed, in between.", n=WITHIN_DAYS)
        )
    if table["kappa"].isna().any():
        out.append(say("Where both gave one and the same grade throughout there is no kappa."))
    out.append(say("Kappa is low where lameness is rare even if people agree; read the agreement beside it."))
    return tuple(out)
