"""Who becomes lame, who stays lame and who recovers, from one scoring of a cow to her next."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.limits import limits_of
from evenfoot.analytics.measures.recording_changes import recording_changes
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.filters import OF_TRIM
from evenfoot.analytics.queries.score_transitions import step_sums
from evenfoot.analytics.queries.selection import Selection

LONGEST_GAP_DAYS = 200
"""Scorings further apart are not called consecutive: half a year, the usual time between two trims, and
some slack. [common practice, no source]"""

NAMES = {
    ("sound", "sound"): "sound",
    ("sound", "lame"): "new",
    ("lame", "lame"): "chronic",
    ("lame", "sound"): "recovered",
}
"""What each step is called. Chronic is lame at two scorings in a row. [common practice, no source]"""

COLUMNS = ("from_state", "to_state", "cows", "share", "low", "high", "transition", "of", "animals")


@memoize
def transitions(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = (),
    gap_days: int = LONGEST_GAP_DAYS,
    level: float = 0.95,
) -> Answer:
    """Steps between consecutive scorings of a cow: new, chronic, recovered and sound.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Both scorings must lie in it.
    by : tuple of str
        Groupings of the later scoring, month for instance.
    gap_days : int
        Scorings further apart than this are not called consecutive.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: the ``by`` columns, from_state and to_state (sound or lame), cows (steps: a cow counts
        once for every pair of scorings), share (of the steps that began in from_state), low, high,
        transition (new, chronic, recovered, sound), of (steps that began in from_state) and animals
        (different cows with a step from from_state). Shares of one from_state add to 1.

    Raises
    ------
    UserError
        A grouping that does not apply to scores, or a gap that is not positive.

    References
    ----------
    Sprecher DJ, Hostetler DE, Kaneene JB (1997) Theriogenology 47:1179-1187 (cut points of lameness).
    Rao JNK, Scott AJ (1992) Biometrics 48:577-585 (several steps of one cow).
    """
    by = tuple(dict.fromkeys(by))
    for name in by:
        if name not in OF_TRIM:
            raise UserError(
                say(
                    "Locomotion scores cannot be grouped by '{name}'; use any of {listed}.",
                    name=name,
                    listed=", ".join(OF_TRIM),
                )
            )
    if gap_days < 1:
        raise UserError(
            say("A gap of {gap_days} days between scorings makes no sense; give 1 or more.", gap_days=gap_days)
        )
    sums, kinds, too_far, cows = step_sums(ledger, selection, by, gap_days)
    steps, per_step = _both_ends(sums, kinds)
    limits = limits_of(steps, per_step, level)
    steps = steps.assign(
        animals=steps["cows"],
        cows=steps["sum_m"],
        of=steps["sum_n"],
        share=steps["sum_m"] / steps["sum_n"],
        low=limits.table["low"],
        high=limits.table["high"],
        transition=[NAMES[key] for key in zip(steps["from_state"], steps["to_state"], strict=True)],
    )
    basis, cautions = basis_of(
        ledger,
        selection,
        unit="step",
        level=level,
        method=limits.method,
        source="scores",
        notes=_notes(too_far, gap_days),
    )
    cautions += limits.cautions + _few(sums, cows) + recording_changes(ledger, selection, "scores")
    return Answer("transitions", steps[[*by, *COLUMNS]], basis, cautions, by)


def _both_ends(sums: pd.DataFrame, kinds: list[str]) -> tuple[pd.DataFrame, list[str]]:
    """Each group twice: the steps that ended lame and those that ended sound."""
    lame = sums.assign(to_state="lame")
    m, n, mm, mn, nn = (sums[f"sum_{name}"] for name in ("m", "n", "mm", "mn", "nn"))
    sound = sums.assign(to_state="sound", sum_m=n - m, sum_mm=nn - 2 * mn + mm, sum_mn=nn - mn)
    both = pd.concat([sound, lame], ignore_index=True)
    state = both["from_lame"].map({0: "sound", 1: "lame"}).astype("str")
    both = both.assign(from_state=state, order=list(range(len(sums))) * 2, kind=kinds * 2)
    both = both.sort_values(["order", "to_state"], ascending=[True, False], kind="stable")
    return both.reset_index(drop=True), both["kind"].tolist()


def _notes(too_far: int, gap_days: int) -> tuple[Message, ...]:
    notes = [
        say(
            "A step is a scoring of a cow with the scoring before, at most {days} days apart: new is sound then "
            "lame, chronic is lame both times, recovered is lame then sound.",
            days=gap_days,
        )
    ]
    if too_far:
        notes.append(say("{n} steps were further apart than that and are not counted.", n=too_far))
    return tuple(notes)


def _few(sums: pd.DataFrame, cows: int) -> tuple[Message, ...]:
    if not cows:
        return (say("Not enough to say: no cow was scored twice within the time allowed."),)
    out = []
    if cows < FEW_COWS:
        out.append(say("Not enough to say much: only {n} cows were scored twice or more.", n=cows))
    if not (sums["from_lame"] == 1).any():
        out.append(say("No cow was lame at a scoring that was followed by another, so nothing shows recovery."))
    return tuple(out)
