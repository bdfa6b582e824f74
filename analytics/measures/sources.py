"""Where the records of an answer come from, in words: the files read and the people who wrote them down."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable, Iterable

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.cache import State, remembered, store_of
from evenfoot.analytics.messages import Message, listed, say
from evenfoot.analytics.queries.provenance import written_in
from evenfoot.analytics.queries.selection import Selection

MOST_NAMED = 6
"""Files, or people, told by name; with more the rest are counted."""

_OF_FINDINGS = ("lesions", "families", "feet", "claws", "zones", "severity")

_kept: OrderedDict[tuple[State, Hashable], tuple[Message, ...]] = store_of(tuple)


def of_records(selection: Selection) -> Selection:
    """The selection without what narrows findings: a cow without the lesion is part of the answer too."""
    return selection.with_(**{name: () for name in _OF_FINDINGS})


def sources_of(ledger: Ledger, selection: Selection, source: str) -> tuple[Message, ...]:
    """The files, with the numbers of their imports, and the trimmers or scorers; nothing where there are no records.

    Kept while the ledger stays as it is, since the charts of a page share it.
    """
    if not ledger.exists:
        return ()
    whole = of_records(selection)
    return remembered(_kept, ledger, (whole, source), lambda: _words(ledger, whole, source))


def _words(ledger: Ledger, selection: Selection, source: str) -> tuple[Message, ...]:
    frame = written_in(ledger, selection, source)
    if frame.empty:
        return ()
    files = frame.groupby("import_no", as_index=False).agg(file=("file", "first"), rows=("rows", "sum"))
    named = [
        say("{file} (import {import_no})", file=row.file, import_no=row.import_no)
        if isinstance(row.file, str)
        else say("a sheet of several farms (import {number})", number=row.import_no)
        for row in files.sort_values("rows", ascending=False).itertuples()
    ]
    out = [say("Read from {sheets}.", sheets=_listed(named))]
    people = frame.dropna(subset=["person"]).groupby("person")["rows"].sum().sort_values(ascending=False)
    if len(people):
        names = _some(str(name) for name in people.index)
        scored = source == "scores"
        out.append(say("Scored by {people}.", people=names) if scored else say("Trimmed by {people}.", people=names))
    return tuple(out)


def _listed(sheets: list[Message]) -> Message:
    """Names of sheets after each other, each of which can still be said in another language."""
    whole = listed(sheets[:MOST_NAMED])
    more = len(sheets) - MOST_NAMED
    return say("{sheets} and {n} more", sheets=whole, n=more) if more > 0 else whole


def _some(names: Iterable[str]) -> str:
    every = list(names)
    some = ", ".join(every[:MOST_NAMED])
    more = len(every) - MOST_NAMED
    return say("{people} and {n} more", people=some, n=more) if more > 0 else some
