"""What the comparison page compares, read from its address."""

from __future__ import annotations

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lesions.comparison import comparison
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.dashboard.ui.view import View

COVARIATES = ("parity", "season", "farm", "housing", "floor", "group", "breed", "trimmer", "year")
GROUPINGS = ("housing", "floor", "wetness", "season", "group", "parity", "breed", "trimmer", "farm", "year")


FIELD_OF = {
    "housing": "housing",
    "floor": "floor",
    "season": "seasons",
    "group": "groups",
    "parity": "parity",
    "breed": "breeds",
    "trimmer": "trimmers",
    "farm": "farms",
}
"""Grouping -> the field of a selection that narrows to one of its groups."""


def grouping(view: View) -> str:
    """The property compared; housing where the address names none that can be."""
    by = view.option("by", "housing")
    return by if by in GROUPINGS else "housing"


def counted(view: View) -> str | None:
    """The unit that the address asks for; None for whichever is fair."""
    per = view.options.get("per")
    return per if per in ("cow", "trim") else None


def groups_at_hand(ledger: Ledger, view: View) -> list[str]:
    """The groups of the property compared that have records, the largest first."""
    by = grouping(view)
    table = prevalence(ledger, view.selection, by=(by,)).table
    if table.empty:
        return []
    table = table[table[by] != NOT_RECORDED].sort_values("at_risk", ascending=False, kind="stable")
    return [str(group) for group in table[by]]


def pair(view: View) -> tuple[str, str] | None:
    """The two groups that the address names; nothing where all groups are compared."""
    one, other = view.option("against", ""), view.option("reference", "")
    return (one, other) if one and other and one != other and grouping(view) in FIELD_OF else None


def compared(ledger: Ledger, view: View) -> Answer:
    """The comparison that the address asks for: of all groups, or of two."""
    by = grouping(view)
    stratify = view.options.get("stratify")
    chosen = pair(view)
    selection = view.selection if chosen is None else view.selection.with_(**{FIELD_OF[by]: chosen})
    return comparison(
        ledger,
        selection,
        by=(by,),
        reference=view.options.get("reference"),
        per=counted(view),
        adjust=tuple(name for name in view.several("adjust") if name in COVARIATES and name != by),
        each_lesion=True,
        stratify=stratify if stratify in COVARIATES and stratify != by else None,
    )
