"""Who may bring in what, and see and take back which imports. Asked by every callback of the import page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import ImportResult
from evenfoot.analytics.ledger.imports.file_import import PreparedImport
from evenfoot.analytics.ledger.imports.import_farms import farms_of_import
from evenfoot.analytics.ledger.limited_import import prepare_limited
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.auth.viewer import Viewer, current_viewer

ACT_OF_KIND = {"changes": "record changes", "limits": "set limits"}
"""What somebody must be allowed to do to bring a sheet of a kind in; any other kind is ``import sheets``."""

EVERY_FARM = "every farm"
"""Whose a row is that names no farm, such as a limit that holds everywhere."""

NO_SUCH = say("There is no such import among those you brought in.")


def known_to(ledger: Ledger, viewer: Viewer) -> list[str]:
    """Farms by whose spelling a sheet of the viewer's is read; one granted but not yet in the ledger is among them."""
    return ledger.farms() if viewer.allowed is None else list(viewer.allowed)


def refuse_sheets(viewer: Viewer, farms_of: Mapping[str, Sequence[str | None]]) -> None:
    """Refuse sheets that the viewer may not bring in, before anything is looked up for them.

    Parameters
    ----------
    viewer : Viewer
    farms_of : mapping of str to sequence of str
        Kind of sheet -> farms of its rows; ``None`` for rows of no farm.

    Raises
    ------
    UserError
        The role may bring in no such sheet, or a row is of a farm that was not granted.
    """
    for kind in farms_of:
        viewer.refuse_unless(ACT_OF_KIND.get(kind, "import sheets"))
    farms = {EVERY_FARM if farm is None else farm for some in farms_of.values() for farm in some}
    beyond = sorted(farm for farm in farms if not viewer.sees(farm))
    if beyond:
        named = ", ".join(beyond[:5])
        raise UserError(
            say(
                "The sheet has rows of farms that your account was not granted: {named}. Take them out, or ask the "
                "owner of the ledger.",
                named=named,
            )
        )


def prepared_for_viewer(
    ledger: Ledger, data: bytes, name: str, given: Mapping[str, str], *, count: bool = False
) -> tuple[PreparedImport, ImportResult | None]:
    """A file read with the answers given and compared with the ledger, as far as whoever asks may bring it in.

    Parameters
    ----------
    ledger : Ledger
    data : bytes
    name : str
    given : mapping of str to str
        Question -> answer.
    count : bool
        Whether to count what would be added.

    Returns
    -------
    PreparedImport
    ImportResult or None
        Of a dry run, if asked for.

    Raises
    ------
    UserError
        The viewer may not, the file cannot be read, or an answer cannot be used.
    """
    viewer = current_viewer()
    viewer.refuse_unless("record changes")
    return prepare_limited(
        ledger,
        data,
        name,
        given=given,
        accept=False,
        farms=None if viewer.allowed is None else known_to(ledger, viewer),
        screen=lambda farms_of: refuse_sheets(viewer, farms_of),
        count=count,
    )


def remember(store: Store, viewer: Viewer, number: int | None, digest: str) -> None:
    """Note whose import it was; this machine's own user sees all of them anyway."""
    if viewer.account is None or not number:
        return
    with store.open() as connection:
        connection.execute("INSERT OR REPLACE INTO brought VALUES (?, ?, ?)", [number, digest, viewer.account])


def own_imports(ledger: Ledger, store: Store, viewer: Viewer) -> set[int] | None:
    """Numbers of the imports that the viewer may see; ``None`` is all of them.

    An import counts as somebody's only while its file is the one that was brought: after a backup was restored the
    same number may be another's.
    """
    if viewer.may("see every import"):
        return None
    if viewer.account is None or not store.exists or not ledger.exists:
        return set()
    with store.look() as connection:
        rows = connection.execute(
            "SELECT import_no, sha256 FROM brought WHERE account = ?", [viewer.account]
        ).fetchall()
    brought = {(int(row["import_no"]), str(row["sha256"])) for row in rows}
    frame = ledger.imports()
    return {
        int(number)
        for number, digest in zip(frame["import_no"], frame["sha256"], strict=True)
        if (int(number), str(digest)) in brought
    }


def refuse_import(ledger: Ledger, store: Store, viewer: Viewer, number: int) -> None:
    """Refuse an import that is not the viewer's own, in the same words whether or not there is one of that number.

    Raises
    ------
    UserError
        It is not the viewer's, or holds rows of a farm that is no longer granted.
    """
    own = own_imports(ledger, store, viewer)
    if own is None:
        return
    if number not in own or not all(viewer.sees(farm) for farm in farms_of_import(ledger, number)):
        raise UserError(NO_SUCH)
