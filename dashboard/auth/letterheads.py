"""The letterhead of reports, typed once: each account's own name, address and logo, and what it wrote of each farm."""

from __future__ import annotations

from dataclasses import dataclass

from evenfoot.dashboard.auth.store import LAYOUT, Store
from evenfoot.dashboard.auth.viewer import Viewer

LONGEST = 500
"""Letters of a name or an address."""


@dataclass(frozen=True)
class Letterhead:
    """What stands at the head of a report, and where a farm's reports are mailed.

    Parameters
    ----------
    name, address : str
        Of the account's holder, or of the farmer.
    logo : bytes, optional
        A PNG, already checked.
    mail : str
        Address that the farm's reports go to.
    """

    name: str = ""
    address: str = ""
    logo: bytes | None = None
    mail: str = ""


def kept(store: Store, viewer: Viewer, farm: str = "") -> Letterhead:
    """What the viewer typed before: of themselves, or of a *farm*. Empty for who may not write on reports."""
    if not viewer.may("write on reports") or not store.exists or (farm and not viewer.sees(farm)):
        return Letterhead()
    with store.look() as connection:
        if connection.execute("PRAGMA user_version").fetchone()[0] < LAYOUT:
            return Letterhead()
        row = connection.execute(
            "SELECT name, address, logo, mail FROM letterheads WHERE account IS ? AND farm = ?", [viewer.account, farm]
        ).fetchone()
    return Letterhead(*row) if row is not None else Letterhead()


def keep(store: Store, viewer: Viewer, letterhead: Letterhead, farm: str = "") -> None:
    """Keep what the viewer typed, in place of what was kept before; an empty one is forgotten.

    Raises
    ------
    UserError
        The viewer may not write on reports, or the disk takes nothing.
    """
    viewer.refuse_unless("write on reports")
    if letterhead == kept(store, viewer, farm) or (farm and not viewer.sees(farm)):
        return
    texts = [text[:LONGEST] for text in (letterhead.name, letterhead.address, letterhead.mail)]
    with store.open() as connection:
        connection.execute("DELETE FROM letterheads WHERE account IS ? AND farm = ?", [viewer.account, farm])
        if letterhead != Letterhead():
            connection.execute(
                "INSERT INTO letterheads (account, farm, name, address, mail, logo) VALUES (?, ?, ?, ?, ?, ?)",
                [viewer.account, farm, *texts, letterhead.logo],
            )
