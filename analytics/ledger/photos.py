"""Photos and scans of filled sheets, kept with the import that was typed from them.

They stand in a table of the ledger, ``sheet_photos``, and not in a folder beside it. So a backup, a copy before a
change, a move to another engine, an export and the erasing of a farm take them along by what is there already, and a
server or a registry, which has no folder of its own, keeps them as a file does. A picture is text (base64) in parts of
:data:`PART` bytes: every engine and every sum of rows knows text, and an engine that reads rows by the thousand then
holds some megabytes and not all pictures. The price is a third more bytes, and a file that is copied with every change;
so pictures are made small before they come. With 200 of half a megabyte the file has 0.2 GB, one more takes a second,
verifying four [measured].

They are only looked at: nothing is read from them.
"""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.checksums import changing, come
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.imports.import_farms import farms_of_import
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    from evenfoot.analytics.ledger.ledger import Ledger

LARGEST = 5 * 1024 * 1024
"""Bytes of one photo or scan; one of 2,000 pixels has some 500,000. [common practice, no source]"""

MOST = 6
"""Photos of one import: both sides of three sheets. [common practice, no source]"""

PART = 24 * 1024
"""Bytes in a row of the table."""

JPEG, PDF = "jpeg", "pdf"
BEGINNINGS = {JPEG: b"\xff\xd8\xff", PDF: b"%PDF-"}
"""Kind -> the bytes it begins with [pub: ITU-T T.81, annex B; ISO 32000-1, 7.5.2]."""

_APP1, _SCAN = 0xE1, 0xDA
"""Markers of the segment that holds EXIF and XMP, and of the one that the picture itself follows."""

TOO_LARGE = say("A photo or scan may have {n} MB; take it with fewer pixels.", n=LARGEST // 2**20)


@dataclass(frozen=True)
class Photo:
    """A photo that is kept, without its bytes.

    Attributes
    ----------
    import_no, number : int
        Its import, and its number within that, from 1.
    farm : str
    kind : {"jpeg", "pdf"}
    """

    import_no: int
    number: int
    farm: str
    kind: str

    @property
    def file(self) -> str:
        """A name for its file."""
        return f"import-{self.import_no}-photo-{self.number}.{'pdf' if self.kind == PDF else 'jpg'}"


def add_photo(ledger: Ledger, import_no: int, data: bytes) -> Photo:
    """Keep a photo or scan with an import; one that is kept with it already stays as it is.

    Parameters
    ----------
    ledger : Ledger
    import_no : int
    data : bytes
        A JPEG, of which EXIF and XMP are left out (they may say where it was taken), or a PDF.

    Raises
    ------
    UserError
        It is too large or of another kind, the import keeps :data:`MOST` already, or is not of one farm.
    """
    kind, data = checked(data)
    farms = sorted(farms_of_import(ledger, import_no)) if ledger.exists else []
    if len(farms) != 1:
        raise UserError(
            say(
                "Import {number} has no rows of its own of one farm, so that no photo can be kept with it.",
                number=import_no,
            )
        )
    [farm], digest = farms, hashlib.sha256(data).hexdigest()
    with ledger.writing([farm]) as connection:
        there = connection.execute(
            "SELECT photo_no, sha256 FROM sheet_photos WHERE import_no = ? AND part_no = 1", [import_no]
        ).fetchall()
        for number, known in there:
            if known == digest:
                return Photo(import_no, int(number), farm, kind)
        if len(there) >= MOST:
            raise UserError(
                say("Import {number} keeps {n} photos already, and more are not taken.", number=import_no, n=MOST)
            )
        photo = Photo(import_no, 1 + max((int(number) for number, _ in there), default=0), farm, kind)
        moment = dt.datetime.now(dt.UTC).replace(tzinfo=None)
        for part, start in enumerate(range(0, len(data), PART), start=1):
            text = base64.b64encode(data[start : start + PART]).decode()
            connection.execute(
                "INSERT INTO sheet_photos VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                [import_no, photo.number, part, farm, kind, digest, moment, text],
            )
        come(connection, ["sheet_photos"], f"photo_no = {photo.number} AND import_no = ?", import_no)
        note(
            connection,
            "photo added",
            subject=f"import {import_no}",
            farm=farm,
            after={"photo": photo.number, "kind": kind, "bytes": len(data)},
        )
    return photo


def remove_photo(ledger: Ledger, photo: Photo) -> None:
    """Take a photo out for good; that it was there stays in the history.

    Raises
    ------
    UserError
        The ledger cannot be written.
    """
    of = [photo.import_no, photo.number]
    with ledger.writing([photo.farm]) as connection:
        with changing(connection, "sheet_photos", "import_no = ? AND photo_no = ?", of):
            connection.execute("DELETE FROM sheet_photos WHERE import_no = ? AND photo_no = ?", of)
        before = {"photo": photo.number, "kind": photo.kind}
        note(connection, "photo removed", subject=f"import {photo.import_no}", farm=photo.farm, before=before)


def photos_of(ledger: Ledger, import_no: int | None = None) -> list[Photo]:
    """The photos of an import, or all of them, by import and number.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    if not ledger.exists:
        return []
    frame = ledger.frame(
        "SELECT import_no, photo_no, farm, kind FROM sheet_photos WHERE part_no = 1"
        + (" AND import_no = ?" if import_no is not None else "")
        + " ORDER BY import_no, photo_no",
        [import_no] if import_no is not None else [],
    )
    return [Photo(int(row[0]), int(row[1]), str(row[2]), str(row[3])) for row in frame.itertuples(index=False)]


def read_photo(ledger: Ledger, photo: Photo) -> bytes:
    """The bytes of a photo.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    parts = ledger.frame(
        "SELECT content FROM sheet_photos WHERE import_no = ? AND photo_no = ? ORDER BY part_no",
        [photo.import_no, photo.number],
    )
    return b"".join(base64.b64decode(text) for text in parts["content"])


def checked(data: bytes) -> tuple[str, bytes]:
    """The kind of a photo by its content, and its bytes as they are kept.

    Raises
    ------
    UserError
        It is too large, empty, broken, or neither JPEG nor PDF.
    """
    if len(data) > LARGEST:
        raise UserError(TOO_LARGE)
    for kind, beginning in BEGINNINGS.items():
        if data.startswith(beginning):
            return kind, without_exif(data) if kind == JPEG else data
    raise UserError(say("This is neither a JPEG nor a PDF; choose a photo or a scan of the sheet."))


def without_exif(jpeg: bytes) -> bytes:
    """A JPEG without its APP1 segments, which hold EXIF and XMP; all else stays.

    Raises
    ------
    UserError
        Its segments cannot be told apart.

    References
    ----------
    ITU-T Recommendation T.81 (1992), annex B: segments and their lengths.

    Example
    -------
    >>> exif, scan = bytes.fromhex("ffe1 0006 45786966"), bytes.fromhex("ffda 0002 00 ffd9")
    >>> without_exif(bytes.fromhex("ffd8") + exif + scan).hex()
    'ffd8ffda000200ffd9'
    """
    kept, place = bytearray(jpeg[:2]), 2
    while jpeg[place : place + 1] == b"\xff" and place + 4 <= len(jpeg):
        marker = jpeg[place + 1]
        if marker == _SCAN:
            return bytes(kept + jpeg[place:])
        if marker == 0xFF:  # One that only fills up.
            place += 1
            continue
        end = place + 2 + int.from_bytes(jpeg[place + 2 : place + 4])
        if end < place + 4:
            break
        if marker != _APP1:
            kept += jpeg[place:end]
        place = end
    raise UserError(say("This photo is broken and cannot be shown; take it again."))
