"""A photo of a sheet to look at while one works beside it: larger, smaller, turned. The script is assets/photos.js."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from evenfoot.dashboard.i18n.translation import _


def photo_viewer(addresses: Sequence[str], **given: Any) -> html.Div:
    """The place where photos are shown, one at a time.

    Parameters
    ----------
    addresses : sequence of str
        Of the photos. Without any the browser's part puts them in, and it is hidden until then.
    **given
        Of the place itself, such as its ``id``.
    """
    acts = (("larger", _("Larger")), ("smaller", _("Smaller")), ("turn", _("Turn")))
    picks = [
        html.Button(
            str(number),
            className="take",
            **{
                "data-photo": "pick",
                "data-address": address,
                "aria-label": _("Photo {n} of the sheet", n=number),
                "aria-pressed": "true" if number == 1 else "false",
            },
        )
        for number, address in enumerate(addresses, start=1)
    ]
    return html.Div(
        [
            html.Div(
                [
                    *(html.Button(said, className="take", **{"data-photo": act}) for act, said in acts),
                    html.Span(picks if len(picks) > 1 else [], className="photo-picks"),
                ],
                className="takeaway",
            ),
            html.Div(
                html.Div(html.Img(src=addresses[0] if addresses else None, alt=_("Photo of the sheet"))),
                className="photo-pane",
                tabIndex=0,
                role="region",
                **{"aria-label": _("Photo of the sheet; arrow keys move it")},
            ),
        ],
        className="photo-viewer",
        hidden=not addresses,
        **given,
    )
