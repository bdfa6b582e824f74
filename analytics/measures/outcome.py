"""What a monthly series is about: lameness, or the lesions of the selection."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Basis
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.recording_changes import recording_changes
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.monthly_series import monthly, narrows_lesions
from evenfoot.analytics.queries.selection import Selection


@dataclass(frozen=True)
class Outcome:
    """A kind of case: ``name`` (lameness or lesion), the ``unit`` looked at, where it is recorded, in words."""

    name: str
    unit: str
    source: str
    words: str


LAMENESS = Outcome("lameness", "scoring", "scores", say("share of scorings that were lame"))
LESION = Outcome("lesion", "trim", "trims", say("share of trims with the lesion"))


def outcome_of(selection: Selection) -> Outcome:
    """Lameness, unless the selection narrows the findings."""
    return LESION if narrows_lesions(selection) else LAMENESS


def series_basis(
    ledger: Ledger,
    selection: Selection,
    outcome: Outcome,
    level: float,
    method: str,
    notes: tuple[Message, ...] = (),
) -> tuple[Basis, tuple[Message, ...]]:
    """The basis of a monthly series; says what is counted, and when somebody else began to record, or another scale."""
    words = say(
        "Counted is the {words}, month by month; a cow counts once for every time she was looked at.",
        words=outcome.words,
    )
    basis, cautions = basis_of(
        ledger,
        selection,
        unit=outcome.unit,
        level=level,
        method=method,
        source=outcome.source,
        notes=(words, *notes),
    )
    if not basis.cows and not basis.left_out and outcome is LAMENESS:
        cautions += (say("No cow was scored here. To see a lesion over time, choose it."),)
    return basis, cautions + recording_changes(ledger, selection, outcome.source)


def months_of(ledger: Ledger, selection: Selection, outcome: Outcome, *, cows: bool = True) -> pd.DataFrame:
    """farm, month, cases, at_risk, cows (where asked for), one row a farm and month with records."""
    return monthly(ledger, selection, outcome.name, cows=cows)


def outcome_named(selection: Selection, name: str | None) -> Outcome:
    """The outcome asked for by name; that of the selection without one.

    Raises
    ------
    UserError
        There is no such outcome.
    """
    if name is None:
        return outcome_of(selection)
    for outcome in (LAMENESS, LESION):
        if outcome.name == name:
            return outcome
    raise UserError(say("'{name}' is not an outcome; use lameness or lesion.", name=name))


def cluster_months(ledger: Ledger, selection: Selection, outcome: Outcome) -> tuple[pd.DataFrame, str]:
    """cluster, month, cases, at_risk; and what a cluster is: a cow where one farm is in the records, else a farm."""
    farms = months_of(ledger, selection, outcome)
    if farms["farm"].nunique() > 1:
        return farms.assign(cluster=farms["farm"])[["cluster", "month", "cases", "at_risk"]], "farm"
    cows = monthly(ledger, selection, outcome.name, keys=("cow",))
    return cows.assign(cluster=cows["cow"])[["cluster", "month", "cases", "at_risk"]], "cow"
