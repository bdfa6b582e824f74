"""The ledger's own note that it has accounts, so that a missing accounts file never opens the records to everybody.

The note is a line of the ledger's history. It goes with the ledger wherever the ledger goes: into backups, under
another name, to another machine.
"""

from __future__ import annotations

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth.store import Store

BEGUN, ENDED = "accounts begun", "accounts ended"
"""What the history says of accounts: the newer of the two lines holds."""


def has_note(ledger: Ledger) -> bool:
    """Whether the ledger says that it has accounts.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    if not ledger.exists:
        return False
    found = ledger.frame("SELECT what FROM history WHERE what IN (?, ?) ORDER BY history_no DESC", [BEGUN, ENDED])
    return not found.empty and found["what"].iloc[0] == BEGUN


def write_note(ledger: Ledger, store: Store) -> None:
    """Bring the ledger's note to what the accounts file says; make the ledger where there is none yet.

    Only the command that takes the last account away ends the note. A file without accounts that turns up later does
    not.

    Raises
    ------
    UserError
        The ledger cannot be written.
    """
    if store.in_use and not has_note(ledger):
        with ledger.writing(()) as connection:
            note(connection, BEGUN, subject="ledger")


def end_note(ledger: Ledger) -> None:
    """Note that the last account is gone; the ledger is open on this machine again.

    Raises
    ------
    UserError
        The ledger cannot be written.
    """
    if has_note(ledger):
        with ledger.writing(()) as connection:
            note(connection, ENDED, subject="ledger")


def is_lost(ledger: Ledger, store: Store) -> bool:
    """Whether the ledger says that it has accounts, and their file is not there or holds none.

    Raises
    ------
    UserError
        The ledger or the file cannot be read.
    """
    return not store.in_use and has_note(ledger)


def refuse_lost(ledger: Ledger, store: Store) -> None:
    """Refuse to go on where the accounts file of the ledger is lost; see :func:`is_lost`.

    Raises
    ------
    UserError
        It is lost, or one of the two cannot be read.
    """
    if is_lost(ledger, store):
        raise UserError(
            say(
                "The ledger {name} has accounts, but there are none in {file}; put their file back there, name its "
                "place in EVENFOOT_ACCOUNTS, or make a new owner with `evenfoot accounts add NAME --role owner`.",
                name=ledger.name,
                file=store.path,
            )
        )
