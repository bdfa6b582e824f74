"""The basis of an answer, and the cautions every measure shares."""

from __future__ import annotations

import datetime as dt
from collections import OrderedDict
from collections.abc import Hashable

import pandas as pd

from evenfoot.analytics.domain.visits import REST_SOUND
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Basis
from evenfoot.analytics.measures.cache import State, remembered, store_of
from evenfoot.analytics.measures.sources import of_records, sources_of
from evenfoot.analytics.messages import N_, Message, say
from evenfoot.analytics.queries.coverage import covered
from evenfoot.analytics.queries.cow_status import record_days
from evenfoot.analytics.queries.selection import Selection

FEW_COWS = 20
"""Below this many cows an answer says that there is not enough to say. [common practice, no source]"""

_KIND = {
    "whole-herd": say("whole-herd"),
    "part-herd": say("part-herd"),
    "lame-cow": say("lame-cow"),
    "recheck": say("recheck"),
    "unknown": say("unknown kind"),
    "scoring": say("scoring"),
}


_CHOSEN_COWS = N_(
    "These figures include {kinds} visits. Lame cows are brought first to such visits, so they overstate how common "
    "lesions are in the herd (Solano and co-authors 2016)."
)
_FEW = N_("Cows looked at: {n}. Not enough to say much about the herd; the intervals show how wide the doubt is.")

CHANGES_THE_READING = frozenset({_CHOSEN_COWS, _FEW})
"""Templates of cautions that change what a figure says of the herd. They stand beside the figure."""


def basis_of(
    ledger: Ledger,
    selection: Selection,
    *,
    unit: str = "cow",
    level: float = 0.95,
    method: str = "",
    source: str = "trims",
    notes: tuple[Message, ...] = (),
) -> tuple[Basis, tuple[Message, ...]]:
    """The basis of a selection and the cautions that follow from it alone.

    Parameters
    ----------
    ledger, selection
        Where the answer comes from.
    unit : str
        What is counted: cow, trim, foot, claw or scoring.
    level : float
        Confidence level of the intervals.
    method : str
        How the interval was worked out, in words.
    source : {"trims", "scores"}
        Which records are counted.

    Returns
    -------
    Basis
    tuple of Message
        Cautions: nothing recorded, visits left out or of unknown kind, selective visits, few cows.
    """
    parts = _parts(ledger, selection, source)
    kept = parts[parts["asked"]]
    dropped = parts[~parts["asked"]]
    doubted = dropped["known"] == "contradicted"
    left_out = tuple(_left_out(str(kind), rows) for kind, rows in dropped[~doubted].groupby("kind"))
    left_out += _doubted(dropped[doubted])
    basis = Basis(
        farms=_first(kept, "farms_all"),
        visits=_first(kept, "visits_all"),
        cows=_first(kept, "cows_all"),
        trims=int(kept["trims"].sum()),
        first=_day(kept, "first"),
        last=_day(kept, "last"),
        unit=unit,
        level=level,
        method=method,
        left_out=left_out,
        notes=notes + _derived(kept),
        sources=sources_of(ledger, selection, source) if len(kept) else (),
    )
    if parts.empty:
        return basis, (_nothing(ledger, selection),)
    return basis, _cautions(basis, selection, kept, dropped)


def _nothing(ledger: Ledger, selection: Selection) -> Message:
    """Why nothing is there: the period lies beside all records, or nothing is known of the choice."""
    first, newest = record_days(ledger, Selection(farms=selection.farms, allowed=selection.allowed, visits=("all",)))
    if newest and selection.since and selection.since > newest:
        return say(
            "Nothing is recorded since {since}: the newest record of these farms is of {newest}.",
            since=f"{selection.since:%Y-%m-%d}",
            newest=f"{newest:%Y-%m-%d}",
        )
    if first and selection.until and selection.until < first:
        return say(
            "Nothing is recorded up to {until}: the first record of these farms is of {first}.",
            until=f"{selection.until:%Y-%m-%d}",
            first=f"{first:%Y-%m-%d}",
        )
    return say("Nothing was recorded for this choice of farms, dates and groups.")


def met(ledger: Ledger, selection: Selection) -> tuple[int, int]:
    """How many farms and visits the trims of a selection are of; asked for once, since every basis tells it."""
    parts = _parts(ledger, selection, "trims")
    asked = parts[parts["asked"]]
    return _first(asked, "farms_all"), _first(asked, "visits_all")


_kept: OrderedDict[tuple[State, Hashable], pd.DataFrame] = store_of(pd.DataFrame)


def _parts(ledger: Ledger, selection: Selection, source: str) -> pd.DataFrame:
    """What is in the farms and period; kept while the ledger stays as it is, since the charts of a page share it."""
    if not ledger.exists:
        return covered(ledger, selection, source)
    whole = of_records(selection)
    return remembered(_kept, ledger, (whole, source), lambda: covered(ledger, whole, source))


def _first(frame: pd.DataFrame, column: str) -> int:
    return int(frame[column].iloc[0]) if len(frame) else 0


def _day(frame: pd.DataFrame, column: str) -> dt.date | None:
    return pd.Timestamp(frame[column].iloc[0]).date() if len(frame) else None


def _left_out(kind: str, rows: pd.DataFrame) -> Message:
    visits, trims = int(rows["visits"].sum()), int(rows["trims"].sum())
    if kind == "unknown":
        return say(
            "Visits of unknown kind left out: {visits} ({trims} cow records); their sheet gives neither the kind of "
            "visit nor the herd size.",
            visits=visits,
            trims=trims,
        )
    return say(
        "Left out: {kind} visits, {visits} ({trims} cow records).",
        visits=visits,
        kind=_KIND.get(kind, kind),
        trims=trims,
    )


def _doubted(rows: pd.DataFrame) -> tuple[Message, ...]:
    """Visits left out although their sheet calls them whole-herd."""
    if rows.empty:
        return ()
    return (
        say(
            "Left out: visits that their sheet calls whole-herd though fewer than 80 % of the herd was looked at, "
            "{visits} ({trims} cow records). If the others were looked at and sound, write '{kind}' as the kind of "
            "visit, with the herd size.",
            visits=int(rows["visits"].sum()),
            trims=int(rows["trims"].sum()),
            kind=REST_SOUND,
        ),
    )


def _derived(kept: pd.DataFrame) -> tuple[Message, ...]:
    """How the kinds of visit are known where their sheet does not say, or is not believed."""
    scored, known = kept["kind"] == "scoring", kept["known"]
    asked = (
        (
            ~scored & (known == "derived"),
            "visits",
            N_(
                "The sheet does not state the kind of {n} of the visits; it was worked out from the share of the "
                "herd trimmed (80 % or more is a whole-herd visit)."
            ),
        ),
        (
            scored & (known == "derived"),
            "visits",
            N_(
                "Scoring days on which at least 80 % of the herd was scored, by the herd size on a trim sheet, the "
                "register or the herd's usual numbers: {n}."
            ),
        ),
        (
            scored & (known == "unknown"),
            "visits",
            N_("Scoring days that count as if the whole herd was scored, as nothing tells how large it was: {n}."),
        ),
        (
            known == "contradicted",
            "visits",
            N_(
                "Visits that count as part-herd though their sheet calls them whole-herd, as fewer than 80 % of the "
                "herd was looked at: {n}."
            ),
        ),
        (
            known == "unlisted",
            "trims",
            N_(
                "Cow records of cows that the sheets do not list, and of whom they say that they were looked at and "
                "sound: {n}."
            ),
        ),
    )
    counts = ((int(kept.loc[rows, column].sum()), said) for rows, column, said in asked)
    return tuple(say(said, n=n) for n, said in counts if n)


def _cautions(basis: Basis, selection: Selection, kept: pd.DataFrame, dropped: pd.DataFrame) -> tuple[Message, ...]:
    out: list[Message] = []
    if basis.cows == 0:
        return (
            say(
                "There is no visit of the kind asked for in this period, but there are others; count all "
                "visits to see them, and remember that they overstate how common lesions are."
            ),
        )
    selective = sorted(set(kept["kind"]) & {"part-herd", "lame-cow", "recheck", "unknown"})
    if selective:
        out.append(
            say(
                _CHOSEN_COWS,
                kinds=", ".join(_KIND[kind] for kind in selective),
            )
        )
    if basis.cows < FEW_COWS:
        out.append(say(_FEW, n=basis.cows))
    return tuple(out)
