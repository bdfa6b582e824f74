"""What each role may do. Which farms a person may do it on is granted one by one; see :mod:`.people`."""

from __future__ import annotations

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import Message, say

OWNER, TRIMMER, MANAGER, ADVISER = "owner", "trimmer", "manager", "adviser"

ROLES: dict[str, Message] = {
    OWNER: say("Owner of the ledger: every farm, and everything."),
    TRIMMER: say(
        "Trimmer: brings sheets in, corrects and takes back own ones, makes and shares reports of the farms granted."
    ),
    MANAGER: say("Herd manager: reads the farms granted and records what was changed on them."),
    ADVISER: say("Adviser: reads the farms granted."),
}

MAY: dict[str, frozenset[str]] = {
    "read": frozenset(ROLES),
    "import sheets": frozenset({OWNER, TRIMMER}),
    "correct records": frozenset({OWNER, TRIMMER}),
    "record changes": frozenset({OWNER, TRIMMER, MANAGER}),
    "take imports back": frozenset({OWNER, TRIMMER, MANAGER}),
    "set limits": frozenset({OWNER}),
    "write on reports": frozenset({OWNER, TRIMMER}),
    "share reports": frozenset({OWNER, TRIMMER}),
    "see every import": frozenset({OWNER}),
}
"""Every change somebody can make through the dashboard, and who may. There is no other list: a place that changes
something asks :func:`refuse_unless` with one of these words."""

REFUSALS: dict[str, Message] = {
    "read": say("Your account may not read these records; ask the owner of the ledger."),
    "import sheets": say("Your account may not bring sheets in; ask the owner of the ledger."),
    "correct records": say("Your account may not correct records; ask the owner of the ledger."),
    "record changes": say("Your account may not bring anything in; ask the owner of the ledger."),
    "take imports back": say("Your account may not take imports back; ask the owner of the ledger."),
    "set limits": say("Your account may not set limits of horn; ask the owner of the ledger."),
    "write on reports": say(
        "Your account may not put remarks or a letterhead on a report; ask the owner of the ledger."
    ),
    "share reports": say("Your account may not share reports; ask the owner of the ledger."),
    "see every import": say("Your account may not see the imports of others; ask the owner of the ledger."),
}


def may(role: str, act: str) -> bool:
    """Whether a role may do something.

    Examples
    --------
    >>> may("adviser", "read"), may("adviser", "import sheets")
    (True, False)
    """
    return role in MAY[act]


def refuse_unless(role: str, act: str) -> None:
    """Refuse what a role may not do.

    Raises
    ------
    UserError
        The role may not.
    """
    if not may(role, act):
        raise UserError(REFUSALS[act])
