"""Changes of accounts and links, written into the ledger's history: who may see what is part of what happened to it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence

from analytics.ledger import Ledger
from analytics.ledger.history import note


@contextlib.contextmanager
def noted(ledger: Ledger, what: str, subject: str, farms: Sequence[str] = ()) -> Iterator[None]:
    """Do a change and note it, both or neither; without a ledger yet there is no history to write to.

    Parameters
    ----------
    ledger : Ledger
    what : str
        The change in a few plain words, such as "farm granted".
    subject : str
        On what, such as "account Kim". Never a password or a link's token.
    farms : sequence of str
        The farms concerned, a line each; a line without a farm when there is none.
    """
    if not ledger.exists:
        yield
        return
    with ledger.writing() as connection:
        for farm in farms or (None,):
            note(connection, what, subject=subject, farm=farm)
        yield
