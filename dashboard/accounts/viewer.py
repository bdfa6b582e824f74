"""The person in front of the page, and the farms that person may see.

On this machine alone the person is the owner of the ledger and sees every farm. There are no accounts yet,
so the server refuses every address that another machine could reach. Pages take what may be seen from the
viewer and hand it to the tally, which narrows every question by it.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass

from analytics.mistake import Mistake


@dataclass(frozen=True)
class Viewer:
    """Somebody looking at the dashboard.

    Parameters
    ----------
    name : str
    allowed : tuple of str, optional
        Farms that may be seen; ``None`` is all of them.
    """

    name: str
    allowed: tuple[str, ...] | None = None


OWNER = Viewer("owner of the ledger")


def current_viewer() -> Viewer:
    """Who is asking. Only this machine's own user can, so it is the owner of the ledger."""
    return OWNER


def refuse_other_machines(host: str) -> None:
    """Refuse to serve on an address that other machines can reach.

    Raises
    ------
    Mistake
        The address is not this machine's own loopback.
    """
    if host == "localhost":
        return
    try:
        if ipaddress.ip_address(host.strip("[]")).is_loopback:
            return
    except ValueError:
        pass
    raise Mistake(
        f"Serving on {host} would show the records to other machines, and there are no accounts yet to say who may "
        "see them; use --host 127.0.0.1."
    )
