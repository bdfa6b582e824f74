"""What the comparison page compares, read from its address."""

from __future__ import annotations

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lesions.comparison import comparison
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


def compared(ledger: Ledger, view: View) -> Answer:
    """The comparison that the address asks for."""
    by = grouping(view)
    stratify = view.options.get("stratify")
    return comparison(
        ledger,
        view.selection,
        by=(by,),
        reference=view.options.get("reference"),
        per=counted(view),
        adjust=tuple(name for name in view.several("adjust") if name in COVARIATES and name != by),
        each_lesion=True,
        stratify=stratify if stratify in COVARIATES and stratify != by else None,
    )
