"""How many lame cows were sound again at their next scoring, by the days between."""

from __future__ import annotations

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.limits import limits_of
from evenfoot.analytics.measures.recording_changes import recording_changes
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.score_transitions import DAYS_BETWEEN, sound_again_sums
from evenfoot.analytics.queries.selection import Selection


@memoize
def resolution(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """Count the lame cows that were sound at their next scoring, by how long after it was.

    A cow counts once for every scoring at which she was lame and that was followed by another within 200 days. Cows
    that were not scored again, or were culled, are not counted: what is seen is of those who stayed.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Both scorings must lie in it.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: days_between (``1-30``, ``31-60``, ``61-120`` or ``121-200``), cases (sound at the next scoring),
        at_risk (lame at a scoring followed by another so long after), prevalence (their ratio), low and high.

    References
    ----------
    Rao JNK, Scott AJ (1992) Biometrics 48:577-585 (several scorings of one cow).
    """
    sums, kinds, cows = sound_again_sums(ledger, selection)
    limits = limits_of(sums, kinds, level)
    table = sums.assign(
        cases=sums["sum_m"],
        at_risk=sums["sum_n"],
        prevalence=sums["sum_m"] / sums["sum_n"],
        low=limits.table["low"],
        high=limits.table["high"],
    )[["days_between", "cases", "at_risk", "prevalence", "low", "high"]]
    basis, cautions = basis_of(
        ledger, selection, unit="step", level=level, method=limits.method, source="scores", notes=(_COUNTED,)
    )
    if not cows:
        cautions += (say("Not enough to say: no cow was lame at a scoring that was followed by another."),)
    elif cows < FEW_COWS:
        cautions += (say("Not enough to say much: only {n} cows were lame at a scoring followed by another.", n=cows),)
    cautions += limits.cautions + (_STAYED,) + recording_changes(ledger, selection, "scores")
    return Answer("resolution", table, basis, cautions, ("days_between",))


_COUNTED = say(
    "Counted are scorings at which a cow was lame, with her next scoring at most {days} days later.",
    days=max(DAYS_BETWEEN),
)
_STAYED = say(
    "Cows that were not scored again, such as those that were culled, are not counted. Which were treated is not known."
)
