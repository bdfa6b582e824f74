"""Photos or a scan of the paper that is being typed: chosen, kept in the browser, and looked at beside the rows."""

from __future__ import annotations

from dash import html

from evenfoot.analytics.ledger.photos import LARGEST, MOST
from evenfoot.dashboard.i18n.translation import _
from evenfoot.dashboard.ui.sheet_photo import photo_viewer

MEGABYTES = LARGEST // 2**20


def photo_fold() -> html.Details:
    """Where photos are chosen and seen. The browser's part opens it where there is room beside the rows."""
    return html.Details(
        [
            html.Summary(_("Photo of the sheet")),
            html.P(
                _(
                    "A photo or scan of the paper (JPEG, PNG, WebP or PDF) to look at while you type. It is kept with "
                    "the import. Nothing is read from it."
                ),
                className="basis",
            ),
            html.Div(
                [
                    html.Button(_("Choose photos"), id="typing-photo-choose", className="take thumb"),
                    html.Button(_("Take this photo out"), id="typing-photo-out", className="take thumb", hidden=True),
                ],
                className="takeaway",
            ),
            photo_viewer((), id="typing-photo-viewer"),
        ],
        id="typing-photos",
        className="fold sheet-photos",
    )


def photo_words() -> dict[str, str]:
    """What the browser's part says of photos: name -> sentence; the browser fills the gaps itself."""
    gap = {name: f"{{{name}}}" for name in ("n", "name", "number")}
    return {
        "photo kept": _("Photos kept with what you type: {n}.", **gap),
        "photo unkept": _(
            "This browser has no room for the photo. It is shown until you leave the page; choose it again then."
        ),
        "photo kind": _("'{name}' is no JPEG, PNG, WebP or PDF; choose a photo or a scan.", **gap),
        "photo broken": _("'{name}' cannot be shown here; take the photo again, as JPEG.", **gap),
        "photo large": _(
            "'{name}' is larger than {most} MB; scan it with fewer pixels.", name="{name}", most=LARGEST // 2**20
        ),
        "photo many": _("A visit may have {most} photos; take one out first.", most=MOST),
        "photo pdf": _(
            "'{name}' is kept, but cannot be shown beside the rows; open the file itself to look at it.", **gap
        ),
        "photo sending": _("Sending the photo to import {number} ...", **gap),
        "photo sent": _("The photo is kept with import {number}.", **gap),
        "photo again": _("Send again", **gap),
        "photo waits": _(
            "The photo did not reach import {number}. It stays in this browser, and is sent when this page is opened "
            "again.",
            **gap,
        ),
        "photo pick": _("Photo {n} of the sheet", **gap),
    }
