"""The person in front of the page, and the farms that person may see.

Without accounts the only person who can ask sits at this machine and owns the ledger. With accounts,
:mod:`evenfoot.dashboard.auth.login` puts the viewer of the session here before anything else runs. Pages take what may
be seen from the viewer and hand it to the tally, which narrows every question by it.
"""

from __future__ import annotations

from dataclasses import dataclass

from flask import g, has_request_context

from evenfoot.dashboard.auth import roles


@dataclass(frozen=True)
class Viewer:
    """Somebody looking at the dashboard.

    Parameters
    ----------
    name : str
    allowed : tuple of str, optional
        Farms that may be seen; ``None`` is all of them.
    role : str, optional
        One of :data:`evenfoot.dashboard.auth.roles.ROLES`.
    account : int, optional
        Number of the account; ``None`` for this machine's own user.
    """

    name: str
    allowed: tuple[str, ...] | None = None
    role: str = roles.OWNER
    account: int | None = None

    def may(self, act: str) -> bool:
        """Whether the viewer may do something; see :data:`evenfoot.dashboard.auth.roles.MAY`."""
        return roles.may(self.role, act)

    def refuse_unless(self, act: str) -> None:
        """Raise a UserError unless the viewer may do it."""
        roles.refuse_unless(self.role, act)

    def sees(self, farm: str) -> bool:
        """Whether the viewer may see a farm."""
        return self.allowed is None or farm in self.allowed


OWNER = Viewer("owner of the ledger")
NOBODY = Viewer("nobody", (), roles.ADVISER)
"""Who asks when nobody said who does: sees nothing and may change nothing."""


def current_viewer() -> Viewer:
    """Who is asking.

    Outside a request that is this machine's own user. Inside one it is whom the door let in, and nobody when the
    door was not asked.
    """
    if not has_request_context():
        return OWNER
    viewer = g.get("viewer", NOBODY)
    assert isinstance(viewer, Viewer)
    return viewer
