"""What moves a figure though no cow changed: another person, another scale, other farms."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import N_, Message, say
from evenfoot.analytics.queries.recorders import recorders
from evenfoot.analytics.queries.selection import Selection

_SAID = {
    ("scores", "who"): (
        N_("Since {when} somebody else scores the cows, which alone can move the figure."),
        N_(
            "Somebody else scores the cows on {n} of the farms, such as on {farm} since {when}; that alone can move "
            "the figure."
        ),
    ),
    ("scores", "scale"): (
        N_(
            "Since {when} cows are scored on the {now} scale, before on the {before} scale: a step in the share lame "
            "there may come from the scale and not from the cows."
        ),
        N_(
            "The scale changed on {n} of the farms, such as on {farm} since {when}: a step in the share lame there may "
            "come from the scale and not from the cows."
        ),
    ),
    ("trims", "who"): (
        N_("Since {when} somebody else trims the cows, and may note other things."),
        N_(
            "Somebody else trims the cows on {n} of the farms, such as on {farm} since {when}, and may note other "
            "things."
        ),
    ),
}
"""What changed -> what is said of one farm, and of several."""

TEMPLATES = frozenset(template for pair in _SAID.values() for template in pair)
"""The sentences that :func:`recording_changes` gives."""


def recording_changes(ledger: Ledger, selection: Selection, source: str) -> tuple[Message, ...]:
    """One sentence where the scale changed for good, one where the people did.

    A change for good is a day before which only some people (or scales) are met, and from which on only others are. The
    newest such day of a farm counts.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    source : {"trims", "scores"}

    Returns
    -------
    tuple of Message
    """
    rows = recorders(ledger, selection, source)
    several = rows["farm"].nunique() > 1
    said = []
    for column in ("scale", "who") if source == "scores" else ("who",):
        changes = _changes(rows, column)
        if changes.empty:
            continue
        newest = changes.sort_values("when").iloc[-1]
        values = {"when": f"{newest['when']:%Y-%m-%d}", "farm": newest["farm"], "n": len(changes)}
        if column == "scale" and not several:
            values |= {"now": newest["now"], "before": newest["before"]}
        said.append(say(_SAID[source, column][several], **values))
    return tuple(said)


def _changes(rows: pd.DataFrame, column: str) -> pd.DataFrame:
    """farm, when, before, now: the newest change for good of each farm that has one."""
    known = rows.dropna(subset=[column])
    spans = known.groupby(["farm", column], as_index=False).agg(first=("first", "min"), last=("last", "max"))
    spans = spans.sort_values(["farm", "first", "last"])
    earlier = spans.groupby("farm")
    ended, before = earlier["last"].cummax().groupby(spans["farm"]).shift(), earlier[column].shift()
    changes = spans.assign(when=spans["first"], before=before, now=spans[column])[ended < spans["first"]]
    return changes.groupby("farm", as_index=False).tail(1)[["farm", "when", "before", "now"]]


def other_farms(n_farms: pd.Series, farms: int) -> tuple[Message, ...]:
    """Say where the periods of a series are not all of the same farms.

    Parameters
    ----------
    n_farms : pandas.Series of int
        Farms with records in each period.
    farms : int
        Farms with records in any of them.
    """
    some = int((n_farms < farms).sum())
    if not some:
        return ()
    return (
        say(
            "In {n} of {of} periods some of the {farms} farms have no records: the share may change because other "
            "farms were looked at. Choose one farm to see it change for its cows.",
            n=some,
            of=len(n_farms),
            farms=farms,
        ),
    )
