"""Photos of sheets as files that go along with exported records."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.photos import photos_of, read_photo

FOLDER = "photos"
"""Of the photos, in the folder of an export."""


def write_photos(ledger: Ledger, out: Path, farms: Sequence[str] = ()) -> int:
    """Write the photos of sheets into a folder of their own, each named by its import; how many there are.

    Parameters
    ----------
    ledger : Ledger
    out : Path
        The folder of the export.
    farms : sequence of str
        Only theirs.
    """
    photos = [photo for photo in photos_of(ledger) if not farms or photo.farm in farms]
    if photos:
        (out / FOLDER).mkdir()
    for photo in photos:
        (out / FOLDER / photo.file).write_bytes(read_photo(ledger, photo))
    return len(photos)
