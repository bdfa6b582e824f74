"""What a phone at the chute knows of a herd: every cow, the worst thing known of her, what is due, and what was last
found; and who is to be seen first."""

from __future__ import annotations

from typing import Any

import pandas as pd

from evenfoot.analytics.domain.feet import CLAW_NAMES
from evenfoot.analytics.domain.lesions import SEVERITIES
from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.domain.visits import ACTIONS
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.planning.due_reasons import URGENT
from evenfoot.analytics.measures.planning.worklist import day_of, everybody_due, worklist
from evenfoot.analytics.queries.cows import findings_each
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.lameness_sample import cows_to_score
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import small
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.pages.cow_now import AHEAD_DAYS

USUAL_SCALE = "1-5"
"""Of a farm where nothing was scored yet. [common practice, no source]"""

MOST_FOUND = 3
"""Findings of a cow that stand on the phone, the worst first. [common practice, no source]"""


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
        farm, scale, to_score (cows to score), list (numbers of the cows to be seen now, the most pressing first) and
        cows: each with cow, worst and due (sentences, or empty) and last (her newest look, what was last found and her
        newest score). What is worst and due is what her own page and the list of all cows say.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    selection = Selection(farms=(farm,), visits=("all",), allowed=allowed)
    answer = worklist(ledger, selection, ahead_days=AHEAD_DAYS)
    day = day_of(answer)
    if not day.near:
        return {"farm": farm, "scale": USUAL_SCALE, "to_score": 0, "list": [], "cows": []}
    herd = everybody_due(ledger, selection, day.on).herd
    said: dict[str, dict[str, str]] = {str(cow): {"worst": "", "due": ""} for cow in herd["cow"]}
    for row in records(answer.extra["reasons"]) if not answer.empty else ():
        hers = said[str(row["cow"])]
        due = pd.Timestamp(row["due_on"])
        if row["kind"] in URGENT and due <= pd.Timestamp(day.on):
            hers["worst"] = hers["worst"] or told(row["words"])
        elif not hers["due"]:
            hers["due"] = _("Next on {day}: {reason}.", day=words().date(due), reason=told(row["words"]))
    now = answer.table[answer.table["due_on"] <= pd.Timestamp(day.on)] if not answer.empty else answer.table
    found = _last_found(ledger, selection)
    scales = herd["scale"].dropna()
    return {
        "farm": farm,
        "scale": str(scales.mode().iloc[0]) if len(scales) and scales.mode().iloc[0] in SCALES else USUAL_SCALE,
        "to_score": cows_to_score(len(herd)),
        "list": [str(cow) for cow in now["cow"]] if not answer.empty else [],
        "cows": [
            {"cow": str(row["cow"]), **said[str(row["cow"])], "last": _last(row, found.get(str(row["cow"])))}
            for row in records(herd)
        ],
    }


def _last_found(ledger: Ledger, selection: Selection) -> dict[str, tuple[pd.Timestamp, str]]:
    """Cow -> the newest day on which something was found, and what: place, lesion, severity and what was done."""
    rows = findings_each(ledger, selection)
    rows = rows[rows["visit_date"] == rows.groupby("cow")["visit_date"].transform("max")]
    found: dict[str, list[str]] = {}
    days = {str(cow): pd.Timestamp(day) for cow, day in zip(rows["cow"], rows["visit_date"], strict=True)}
    for row in records(rows.sort_values(["cow", "severity"], ascending=[True, False], kind="stable")):
        found.setdefault(str(row["cow"]), []).append(_in_words(row))
    return {
        cow: (days[cow], "; ".join([*each[:MOST_FOUND], *(["..."] if len(each) > MOST_FOUND else [])]))
        for cow, each in found.items()
    }


def _in_words(found: dict[str, Any]) -> str:
    """A finding in few words, as the band of a phone has room for: a trim goes without saying."""
    parts = (
        ("foot", words().foot),
        ("claw", lambda claw: told(CLAW_NAMES[claw])),
        ("lesion", words().lesion),
        ("severity", lambda number: told(SEVERITIES[int(number)])),
        ("action", lambda action: "" if action == "trim" else told(ACTIONS[action])),
    )
    said = (name_of(found[name]) for name, name_of in parts if pd.notna(found[name]))
    return ", ".join(small(part) for part in said if part)


def _last(cow: dict[str, Any], found: tuple[pd.Timestamp, str] | None) -> str:
    """When she was last looked at, what was last found, and how she was last scored."""
    parts = []
    looked = pd.Timestamp(cow["looked_on"]) if pd.notna(cow["looked_on"]) else None
    if looked is not None and (found is None or looked != found[0]):
        parts.append(_("Last looked at on {day}.", day=words().date(looked)))
    if found is not None:
        parts.append(_("Found on {day}: {found}.", day=words().date(found[0]), found=found[1]))
    if pd.notna(cow["score"]):
        day = words().date(pd.Timestamp(cow["scored_on"]))
        parts.append(_("Locomotion score {score} on {day}.", score=int(cow["score"]), day=day))
    return " ".join(parts)
