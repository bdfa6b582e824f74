"""Which notices a farm was given: a line of the history each.

The history is the place: a line is written in a transaction, is kept by a backup, tells who sent what when, and goes
when the farm is erased. A file beside the ledger would do none of that.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenfoot.analytics.ledger.history import note

if TYPE_CHECKING:
    from evenfoot.analytics.ledger.ledger import Ledger

GIVEN = "notice given"
"""What such a line of the history says."""


@dataclass(frozen=True)
class Given:
    """What a farm was told of.

    Attributes
    ----------
    on : date
        The day of its last notice.
    worse_at : date, optional
        The newest visit whose verdict worse it was told of.
    cows_at : date, optional
        The newest record by which it was told of cows for the veterinarian.
    """

    on: dt.date
    worse_at: dt.date | None = None
    cows_at: dt.date | None = None


def given(ledger: Ledger) -> dict[str, Given]:
    """What every farm was told of, by farm; farms that got no notice are missing."""
    if not ledger.exists:
        return {}
    lines = ledger.frame("SELECT farm, after FROM history WHERE what = ? ORDER BY history_no", [GIVEN])
    out: dict[str, Given] = {}
    for farm, after in lines.itertuples(index=False):
        if not isinstance(after, str):
            continue  # What it said was erased.
        said = {name: dt.date.fromisoformat(day) for name, day in json.loads(after).items()}
        before = out.get(farm, Given(said["on"]))
        out[farm] = Given(said["on"], said.get("worse_at", before.worse_at), said.get("cows_at", before.cows_at))
    return out


@contextlib.contextmanager
def giving(ledger: Ledger, farm: str, notice: Given) -> Iterator[bool]:
    """Whether a farm is still to be given a notice this month; it is written down when what is done inside went well.

    The ledger is held meanwhile, so that of two runs at the same moment one gives it and the other finds it given.
    """
    said = {"on": notice.on, "worse_at": notice.worse_at, "cows_at": notice.cows_at}
    with ledger.writing() as connection:
        lines = connection.execute(
            "SELECT after FROM history WHERE what = ? AND farm = ? AND after IS NOT NULL ORDER BY history_no DESC",
            [GIVEN, farm],
        ).fetchall()
        last = dt.date.fromisoformat(json.loads(lines[0][0])["on"]) if lines else None
        if last and (last.year, last.month) == (notice.on.year, notice.on.month):
            yield False
            return
        yield True
        note(
            connection,
            GIVEN,
            subject="notice",
            farm=farm,
            after={name: day.isoformat() for name, day in said.items() if day is not None},
        )
