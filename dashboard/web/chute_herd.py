"""What a phone at the chute knows of a herd: every cow, the worst thing known of her, and what is due."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.planning.due_reasons import URGENT
from evenfoot.analytics.measures.planning.worklist import day_of, everybody_due, worklist
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.lameness_sample import cows_to_score
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.pages.cow_now import AHEAD_DAYS

USUAL_SCALE = "1-5"
"""Of a farm where nothing was scored yet. [common practice, no source]"""


def herd_of(ledger: Ledger, farm: str, allowed: tuple[str, ...] | None) -> dict[str, Any]:
    """The herd of a farm as a phone keeps it.

    Parameters
    ----------
    ledger : Ledger
    farm : str
    allowed : tuple of str, optional
        Farms that may be seen.

    Returns
    -------
    dict
        farm, scale, to_score (cows to score), cows: each with cow, worst and due (sentences, or empty) and last (what
        was found at her newest look). What is worst and due is what her own page and the list of all cows say.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    selection = Selection(farms=(farm,), visits=("all",), allowed=allowed)
    answer = worklist(ledger, selection, ahead_days=AHEAD_DAYS)
    day = day_of(answer)
    if not day.near:
        return {"farm": farm, "scale": USUAL_SCALE, "to_score": 0, "cows": []}
    herd = everybody_due(ledger, selection, day.on).herd
    said: dict[str, dict[str, str]] = {str(cow): {"worst": "", "due": ""} for cow in herd["cow"]}
    for row in records(answer.extra["reasons"]) if not answer.empty else ():
        hers = said[str(row["cow"])]
        due = pd.Timestamp(row["due_on"])
        if row["kind"] in URGENT and due <= pd.Timestamp(day.on):
            hers["worst"] = hers["worst"] or told(row["words"])
        elif not hers["due"]:
            hers["due"] = _("Next on {day}: {reason}.", day=words().date(due), reason=told(row["words"]))
    scales = herd["scale"].dropna()
    return {
        "farm": farm,
        "scale": str(scales.mode().iloc[0]) if len(scales) and scales.mode().iloc[0] in SCALES else USUAL_SCALE,
        "to_score": cows_to_score(len(herd)),
        "cows": [{"cow": str(row["cow"]), **said[str(row["cow"])], "last": _last(row)} for row in records(herd)],
    }


def _last(cow: dict[str, Any]) -> str:
    """When she was last looked at and how she was last scored."""
    parts = []
    if pd.notna(cow["looked_on"]):
        parts.append(_("Last looked at on {day}.", day=words().date(pd.Timestamp(cow["looked_on"]))))
    if pd.notna(cow["score"]):
        day = words().date(pd.Timestamp(cow["scored_on"]))
        parts.append(_("Locomotion score {score} on {day}.", score=int(cow["score"]), day=day))
    return " ".join(parts)
