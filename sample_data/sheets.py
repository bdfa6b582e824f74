"""Records onto sheets, the same bytes every time."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from pathlib import Path

import pandas as pd
from openpyxl import Workbook

TRIM_COLUMNS = (
    "visit_date",
    "farm",
    "trimmer",
    "visit_kind",
    "herd_size",
    "cow",
    "group",
    "housing",
    "floor",
    "bedding",
    "parity",
    "feet_seen",
    "foot",
    "claw",
    "zone",
    "lesion",
    "lesion_detail",
    "severity",
    "dd_stage",
    "toe_length_mm",
    "toe_length_after_mm",
    "toe_angle_deg",
    "heel_depth_mm",
    "sole_thickness_mm",
    "shed_stage",
    "toe_break_mm",
    "action",
    "recheck_on",
    "locomotion_score",
    "locomotion_scale",
    "note",
)
SCORE_COLUMNS = ("date", "farm", "cow", "score", "scale", "scorer")
_WHOLE = {
    "zone",
    "severity",
    "herd_size",
    "parity",
    "toe_angle_deg",
    "heel_depth_mm",
    "shed_stage",
    "locomotion_score",
    "score",
}


def frame_of(rows: Iterable[dict[str, object]], columns: Sequence[str]) -> pd.DataFrame:
    """Rows as a frame with the columns in order; whole numbers stay whole beside blanks."""
    frame = pd.DataFrame.from_records(list(rows)).reindex(columns=list(columns))
    for column in _WHOLE & set(columns):
        frame[column] = frame[column].astype("Int64")
    return frame


def write_csv(frame: pd.DataFrame, path: Path) -> None:
    """UTF-8, commas, ISO dates, unix line ends."""
    frame.to_csv(path, index=False, encoding="utf-8", lineterminator="\n")


_LONG_AGO = (1980, 1, 1, 0, 0, 0)
_SAVED = datetime(2026, 11, 1)


def write_workbook(tabs: dict[str, pd.DataFrame], path: Path) -> None:
    """An XLSX of several tabs, with real dates and numbers.

    The library stamps the hour of saving into the file; it is put back to a fixed one so that the bytes stay.
    """
    book = Workbook(write_only=True)
    book.properties.creator = "Evenfoot demonstration herds"
    book.properties.created = _SAVED
    for name, frame in tabs.items():
        sheet = book.create_sheet(name)
        sheet.append(list(frame.columns))
        for row in frame.astype(object).itertuples(index=False):
            sheet.append([None if pd.isna(cell) else cell for cell in row])
    saved = io.BytesIO()
    book.save(saved)
    modified = str(book.properties.modified.strftime("%Y-%m-%dT%H:%M:%SZ")).encode()
    with zipfile.ZipFile(saved) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in sorted(old.namelist(), key=lambda member: (member != "[Content_Types].xml", member)):
            content = old.read(name)
            if name == "docProps/core.xml":
                content = content.replace(modified, _SAVED.strftime("%Y-%m-%dT%H:%M:%SZ").encode())
            info = zipfile.ZipInfo(name, _LONG_AGO)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o600 << 16
            new.writestr(info, content)


def said_day(on: date | None) -> str:
    """A day as ISO text, or nothing."""
    return "" if on is None else on.isoformat()
