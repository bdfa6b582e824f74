"""The rows that were set aside, as a CSV a person can mend and import again."""

from __future__ import annotations

import csv
import io
import json
import re

import pandas as pd

from evenfoot.analytics.intake.fields import OWN_COLUMNS

_RISKY = re.compile(r"'*[=+\-@\t\r]")
_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)*")


def safe_text(text: str) -> str:
    """A cell that a spreadsheet would take for a formula gets an apostrophe before it.

    Example
    -------
    >>> safe_text("=1+1"), safe_text("-3,5"), safe_text("LH")
    ("'=1+1", '-3,5', 'LH')
    """
    return f"'{text}" if _RISKY.match(text) and not _NUMBER.fullmatch(text) else text


def bare_text(text: str) -> str:
    """A cell as it was before :func:`safe_text`.

    Example
    -------
    >>> bare_text("'=1+1"), bare_text("'tis")
    ('=1+1', "'tis")
    """
    return text[1:] if text[:1] == "'" and _RISKY.match(text) else text


def _cell(text: str) -> str:
    # The writer does not quote a bare carriage return, and a reader would start a new row at it.
    return safe_text(re.sub(r"\r\n?", "\n", text))


def write_set_aside(frame: pd.DataFrame) -> str:
    """The set-aside rows with their own headings and cells, and three columns that say what is wrong.

    Sheets whose headings differ stand one under the other, each with its headings. The three columns are
    ignored when the mended file is read.

    Parameters
    ----------
    frame : pandas.DataFrame
        Of :attr:`CheckedSheet.set_aside`, or as the ledger keeps it (``row_no`` for row, with import_no and
        source).

    Returns
    -------
    str
        CSV; empty if nothing was set aside.
    """
    if frame.empty:
        return ""
    row = "row" if "row" in frame.columns else "row_no"
    keys = [name for name in ("import_no", "source", row, "original") if name in frame.columns]
    # One entry a row of the file, in the order in which they come; its lines need not be neighbours.
    lines: dict[tuple[object, ...], tuple[list[str], dict[str, None]]] = {}
    of_row = zip(*(frame[name].to_list() for name in keys), strict=True)
    for key, column, reason, remedy in zip(
        of_row, *(frame[name].fillna("").astype(str).to_list() for name in ("column", "reason", "remedy")), strict=True
    ):
        problems, remedies = lines.setdefault(key, ([], {}))
        problems.append(f"{column}: {reason}" if column else reason)
        remedies[remedy] = None
    tables: dict[tuple[str, ...], list[list[str]]] = {}
    for key, (problems, remedies) in lines.items():
        cells: dict[str, str] = json.loads(str(key[-1]))
        said = [*cells.values(), str(key[-2]), " ".join(problems), " ".join(remedies)]
        tables.setdefault(tuple(cells), []).append([_cell(text) for text in said])
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    for number, (headings, rows) in enumerate(tables.items()):
        if number:
            writer.writerow([])
        writer.writerow([*(_cell(heading) for heading in headings), *OWN_COLUMNS])
        writer.writerows(rows)
    return out.getvalue()
