"""Is lameness rising: the share of cows lame and severely lame, period by period."""

from __future__ import annotations

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lesions.prevalence import one_farm_groups
from evenfoot.analytics.measures.limits import limits_of
from evenfoot.analytics.measures.recording_changes import other_farms, recording_changes
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.lame_counts import count_scorings
from evenfoot.analytics.queries.selection import Selection

PERIODS = ("month", "quarter", "year")


@memoize
def locomotion(
    ledger: Ledger, selection: Selection, *, by: tuple[str, ...] = ("month",), level: float = 0.95
) -> Answer:
    """Share of scorings that were lame and severely lame, with intervals.

    Lame is 3 or more on the 1-5 scale and 2 or more on the 0-3 scale; severely lame 4 or more and 3.
    Scales are compared as lame or not; a mean score is given only where one scale was used, and a change of scale from
    one period to another is said, as the share lame may change with it. The interval
    allows for cows scored more than once in a period and, where several farms are pooled, for cows of one
    farm being alike.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Scores noted at trims count with the kind of that visit, unless few of the herd have one. A day of a scoring
        sheet counts with whole-herd visits where at least 80 % of the herd was scored, else as a part-herd visit.
    by : tuple of str
        A period (month, quarter or year) and any grouping of cows. Without a period, month is put first.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: period (its first day; the year as a number), the other ``by`` columns, scored, lame,
        lame_prevalence, lame_low, lame_high, severe, severe_prevalence, severe_low, severe_high,
        mean_score, scale, cows, n_farms; clusters and design_effect (of the share lame).

    References
    ----------
    Sprecher DJ, Hostetler DE, Kaneene JB (1997) Theriogenology 47:1179-1187 (1-5 scale, cut points).
    Newcombe RG (1998) Statistics in Medicine 17:857-872 (each cow scored once).
    Rao JNK, Scott AJ (1992) Biometrics 48:577-585 (clusters).
    """
    by = tuple(dict.fromkeys(by))
    period = next((name for name in by if name in PERIODS), "month")
    others = tuple(name for name in by if name != period)
    counted = count_scorings(ledger, selection, (period, *others))
    table, kinds = counted.table, counted.kinds
    clustered = {name: limits_of(each, kinds, level) for name, each in counted.sums.items()}
    basis, cautions = basis_of(
        ledger, selection, unit="scoring", level=level, method=clustered["lame"].method, source="scores"
    )
    out = table[[period, *others, "scored"]].rename(columns={period: "period"})
    for name, limits in clustered.items():
        out = out.assign(
            **{
                name: table[name],
                f"{name}_prevalence": table[name] / table["scored"],
                f"{name}_low": limits.table["low"],
                f"{name}_high": limits.table["high"],
            }
        )
    out = out.assign(
        mean_score=table["mean_score"],
        scale=table["scale"],
        cows=table["cows"],
        n_farms=table["n_farms"],
        clusters=clustered["lame"].table["clusters"],
        design_effect=clustered["lame"].table["design_effect"],
    )
    cautions += clustered["lame"].cautions + one_farm_groups(kinds)
    cautions += _mixed(bool(table["scale"].isna().any()), len(table))
    cautions += recording_changes(ledger, selection, "scores")
    cautions += () if others else other_farms(table["n_farms"], basis.farms)
    return Answer("locomotion", out, basis, cautions, ("period", *others))


def _mixed(any_mixed: bool, rows: int) -> tuple[Message, ...]:
    if not rows or not any_mixed:
        return ()
    return (
        say("Some periods mix the 1-5 and 0-3 scales: only lame or not lame is compared there, and no mean is given."),
    )
