"""Photos of sheets on the pages of their imports: a link in the list of imports, and the photo beside its records."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.photos import PDF, Photo, photos_of
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.pages import imports_rights
from evenfoot.dashboard.ui.sheet_photo import photo_viewer

NO_PHOTO = say("There is no such photo among those of imports that you may see.")


def photo_address(photo: Photo) -> str:
    """Where a photo is shown by itself."""
    return f"/imports/{photo.import_no}/photos/{photo.number}"


def seen_photo(ledger: Ledger, store: Store, import_no: int, number: int) -> Photo:
    """A photo that the viewer may see.

    Raises
    ------
    UserError
        There is none, or the viewer may not; in the same words.
    """
    viewer = current_viewer()
    viewer.refuse_unless("read")
    imports_rights.refuse_import(ledger, store, viewer, import_no)
    for photo in photos_of(ledger, import_no):
        if photo.number == number and viewer.sees(photo.farm):
            return photo
    raise UserError(NO_PHOTO)


def photos_seen(ledger: Ledger) -> dict[int, list[Photo]]:
    """Number of an import -> its photos, of the farms that the viewer may see."""
    found: dict[int, list[Photo]] = {}
    viewer = current_viewer()
    for photo in photos_of(ledger):
        if viewer.sees(photo.farm):
            found.setdefault(photo.import_no, []).append(photo)
    return found


def photo_links(photos: Sequence[Photo]) -> list[html.A]:
    """A link to each photo of an import, which opens it in a window of its own."""
    links = []
    for photo in photos:
        said, whole = _("Photo of the sheet"), _("Photo of the sheet of import {number}", number=photo.import_no)
        if len(photos) > 1:
            said = _("Photo {n} of the sheet", n=photo.number)
            whole = _("Photo {n} of the sheet of import {number}", n=photo.number, number=photo.import_no)
        links.append(
            html.A(said, href=photo_address(photo), target="_blank", className="take thumb", **{"aria-label": whole})
        )
    return links


def photos_beside(ledger: Ledger, import_no: int) -> list[Any]:
    """The photos of an import, for who may see the import, to look at while its records are put right."""
    photos = photos_seen(ledger).get(import_no, [])
    if not photos:
        return []
    pictures = [photo_address(photo) for photo in photos if photo.kind != PDF]
    return [
        html.Details(
            [
                html.Summary(_("Photo of the sheet")),
                photo_viewer(pictures) if pictures else None,
                html.P(photo_links(photos), className="acts"),
                *map(_take_out, photos),
            ],
            className="fold sheet-photos",
            open=True,
        )
    ]


def _take_out(photo: Photo) -> html.Details:
    """The way to take a photo out, which asks first."""
    return html.Details(
        [
            html.Summary(_("Remove photo {n}", n=photo.number), className="take thumb"),
            html.P(_("It is gone from here for good; the records stay. Sure?")),
            html.Button(
                _("Yes, remove photo {n}", n=photo.number),
                id={"type": "photo-out", "import": photo.import_no, "number": photo.number},
                className="take thumb",
            ),
        ],
        className="asks-first",
    )
