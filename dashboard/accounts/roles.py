"""What each role may do. Which farms a person may do it on is granted one by one; see :mod:`.people`."""

from __future__ import annotations

from analytics.mistake import Mistake

OWNER, TRIMMER, MANAGER, ADVISER = "owner", "trimmer", "manager", "adviser"

ROLES: dict[str, str] = {
    OWNER: "owner of the ledger: every farm, and everything",
    TRIMMER: "brings sheets in, takes own imports back, makes and shares reports of the farms granted",
    MANAGER: "herd manager: reads the farms granted and writes down what was changed on them",
    ADVISER: "reads the farms granted",
}

MAY: dict[str, frozenset[str]] = {
    "read": frozenset(ROLES),
    "import sheets": frozenset({OWNER, TRIMMER}),
    "record changes": frozenset({OWNER, TRIMMER, MANAGER}),
    "take imports back": frozenset({OWNER, TRIMMER, MANAGER}),
    "set limits": frozenset({OWNER}),
    "write on reports": frozenset({OWNER, TRIMMER}),
    "share reports": frozenset({OWNER, TRIMMER}),
    "see every import": frozenset({OWNER}),
}
"""Every change somebody can make through the dashboard, and who may. There is no other list: a place that changes
something asks :func:`refuse_unless` with one of these words."""

REFUSALS: dict[str, str] = {
    "read": "read these records",
    "import sheets": "bring sheets in",
    "record changes": "record changes",
    "take imports back": "take imports back",
    "set limits": "set limits of horn",
    "write on reports": "put remarks or a letterhead on a report",
    "share reports": "share reports",
    "see every import": "see the imports of others",
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
    Mistake
        The role may not.
    """
    if not may(role, act):
        raise Mistake(f"Your account may not {REFUSALS[act]}; ask the owner of the ledger.")
