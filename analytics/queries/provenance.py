"""Which imports, and whose hand, the records of a selection come from."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.import_farms import imports_beyond
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.engine import fetch
from evenfoot.analytics.queries.filters import of_selection
from evenfoot.analytics.queries.selection import Selection

COLUMNS = ("import_no", "file", "person", "rows")


def written_in(ledger: Ledger, selection: Selection, source: str = "trims") -> pd.DataFrame:
    """The imports that hold the visits of a selection.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Its farms, period, kinds of visit and whatever else narrows trims; what narrows findings does not count,
        because a cow without the lesion is part of the answer too.
    source : {"trims", "scores"}
        Scores stand on scoring sheets and in the column of a trim sheet.

    Returns
    -------
    pandas.DataFrame
        import_no, file, person (trimmer or scorer, missing where the sheet does not say), rows; one row an import
        and person, in the order of imports. The name of a file is missing where the file also holds farms that may
        not be seen: people name files after farms.
    """
    frame = fetch(ledger, _question(selection, source))
    files = ledger.imports()[["import_no", "file"]]
    if selection.allowed is not None:
        files = files[~files["import_no"].isin(imports_beyond(ledger, selection.allowed))]
    frame = frame.merge(files, on="import_no", how="left").astype({"rows": "int64", "import_no": "int64"})
    return frame[list(COLUMNS)].sort_values(["import_no", "rows"], ascending=[True, False]).reset_index(drop=True)


def _question(selection: Selection, source: str) -> str:
    """A question: import_no, person and ``rows``."""
    met = of_selection(source, selection)
    if source == "scores":
        in_trims = _counted("trim_rows", selection, "visit_date", "trimmer", "locomotion_score IS NOT NULL")
        sheets = sql.union(in_trims, _counted("score_rows", selection, "date", "scorer"))
    else:
        sheets = _counted("trim_rows", selection, "visit_date", "trimmer")
    return f"""
        SELECT import_no, person, {sql.total("n")} AS "rows"
        FROM ({sheets}) AS s
        SEMI JOIN (SELECT DISTINCT farm, visit_date FROM ({met}) AS met) AS d
            ON s.farm = d.farm AND s.visit_date = d.visit_date
        GROUP BY import_no, person"""


def _counted(table: str, selection: Selection, day: str, person: str, kept: str = "") -> str:
    """Rows of sheets by import, farm, day and person: of few visits, so that they are matched before many rows are.

    Farms and period are narrowed here too, to spare the engine rows that no visit of the selection can have. *day* and
    *person* are the columns that say them; *kept* is a further condition on the rows.
    """
    farms = [sql.among("farm", wanted) for wanted in (selection.farms, selection.allowed) if wanted]
    since = f"{sql.name(day)} >= {sql.literal(selection.since)}" if selection.since else ""
    until = f"{sql.name(day)} <= {sql.literal(selection.until)}" if selection.until else ""
    return f"""
        SELECT import_no, farm, visit_date, person, COUNT(*) AS n
        FROM (
            SELECT import_no, farm, {sql.name(day)} AS visit_date, {sql.name(person)} AS person
            FROM {table}{sql.where(kept, *farms, since, until)}
        ) AS written
        GROUP BY import_no, farm, visit_date, person"""
