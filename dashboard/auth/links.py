"""Links that show one farm's report to somebody without an account: signed, ending by themselves, revocable."""

from __future__ import annotations

import contextlib
import secrets
from dataclasses import dataclass

from itsdangerous import BadSignature, URLSafeSerializer

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth.history import LINK_MADE, note
from evenfoot.dashboard.auth.people import viewer_of
from evenfoot.dashboard.auth.roles import OWNER
from evenfoot.dashboard.auth.store import Store, Unwritable
from evenfoot.dashboard.auth.viewer import Viewer

DAYS = 14
"""How long a link lasts unless told otherwise. [common practice, no source]"""

MOST_DAYS = 366
DAY = 86400.0


@dataclass(frozen=True)
class Link:
    """A link as it is listed; times are seconds since 1970."""

    id: str
    farm: str
    made_at: float
    ends_at: float
    revoked_at: float | None
    opened: int
    made_by: str
    language: str


def make(store: Store, viewer: Viewer, farm: str, *, days: int = DAYS, language: str = "en") -> str:
    """Make a link; gives the signed token that stands in its address.

    Raises
    ------
    UserError
        The viewer may not share, or not this farm, or the days make no sense.
    """
    viewer.refuse_unless("share reports")
    if not viewer.sees(farm):
        raise UserError(say("Your account may not share that farm; ask the owner of the ledger."))
    if not 1 <= days <= MOST_DAYS:
        raise UserError(say("A link can last 1 to {most} days, not {days}.", most=MOST_DAYS, days=days))
    if language not in ("en", "es"):
        raise UserError(say("'{language}' is not a language of the report; use en or es.", language=language))
    number, now = secrets.token_urlsafe(12), store.clock()
    ends_at = now + days * DAY
    with store.open() as connection:
        connection.execute(
            "INSERT INTO links (id, farm, made_by, made_at, ends_at, language) VALUES (?, ?, ?, ?, ?, ?)",
            [number, farm, viewer.account, now, ends_at, language],
        )
        note(connection, now, f"{LINK_MADE}, for {days} days", f"link {number}", [farm])
    return _signer(store).dumps({"id": number, "farm": farm, "ends": int(ends_at)})


def follow(store: Store, token: str) -> Link | None:
    """The link behind a token, or ``None``: forged, ended, revoked, or its maker may no longer share the farm."""
    if not store.exists:
        return None
    try:
        said = _signer(store).loads(token)
    except BadSignature:
        return None
    with store.look() as connection:
        row = connection.execute(
            "SELECT l.*, a.name AS maker FROM links l LEFT JOIN accounts a ON a.id = l.made_by WHERE l.id = ?",
            [said["id"]],
        ).fetchone()
        if row is None or row["farm"] != said["farm"] or row["revoked_at"] is not None:
            return None
        if store.clock() > min(row["ends_at"], said["ends"]):
            return None
        if row["made_by"] is not None:
            maker = viewer_of(connection, row["made_by"])
            if maker is None or not maker.may("share reports") or not maker.sees(row["farm"]):
                return None
    return _link(row)


def count_opening(store: Store, link: Link) -> None:
    """Note that a link was followed, so that its maker sees whether it was; not where the disk takes nothing."""
    with contextlib.suppress(Unwritable), store.open() as connection:
        connection.execute("UPDATE links SET opened = opened + 1 WHERE id = ?", [link.id])


def listed(store: Store, viewer: Viewer) -> list[Link]:
    """Links that the viewer made, newest first; an owner sees everybody's."""
    if not store.exists:
        return []
    with store.look() as connection:
        rows = connection.execute(
            "SELECT l.*, a.name AS maker FROM links l LEFT JOIN accounts a ON a.id = l.made_by "
            "WHERE ? OR l.made_by = ? ORDER BY l.made_at DESC",
            [viewer.role == OWNER, viewer.account],
        ).fetchall()
    return [_link(row) for row in rows]


def revoke(store: Store, viewer: Viewer, number: str) -> Link:
    """Make a link useless from now on.

    Raises
    ------
    UserError
        There is no such link among those the viewer made.
    """
    viewer.refuse_unless("share reports")
    found = next((link for link in listed(store, viewer) if link.id == number), None)
    if found is None:
        raise UserError(say("There is no such link; it may have been revoked already."))
    with store.open() as connection:
        gone = connection.execute(
            "UPDATE links SET revoked_at = ? WHERE id = ? AND revoked_at IS NULL", [store.clock(), number]
        )
        if gone.rowcount:
            note(connection, store.clock(), "link revoked", f"link {number}", [found.farm])
    return found


def path_of(token: str) -> str:
    """Where a link leads on the server."""
    return f"/shared/{token}"


def _signer(store: Store) -> URLSafeSerializer:
    return URLSafeSerializer(store.secret(), salt="evenfoot report link")


def _link(row) -> Link:  # type: ignore[no-untyped-def]
    return Link(
        row["id"], row["farm"], row["made_at"], row["ends_at"], row["revoked_at"], row["opened"], row["maker"] or "",
        row["language"],
    )  # fmt: skip
