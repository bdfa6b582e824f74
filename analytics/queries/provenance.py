"""Which imports, and whose hand, the records of a selection come from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.import_farms import imports_beyond
from evenfoot.analytics.queries.engine import Question, built_once, fetch, question_of, table
from evenfoot.analytics.queries.filters import of_farm_and_period, of_visits
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

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


@built_once
def _question(selection: Selection, source: str) -> Question:
    met = of_visits(of_farm_and_period(source, selection), selection)
    days = met.select("farm", "visit_date").distinct()
    trims = table("trim_rows")
    if source == "scores":
        trims = trims.filter(trims.locomotion_score.notnull())
    rows: ir.Table = _counted(trims, selection, "visit_date", "trimmer")
    if source == "scores":
        rows = ibis.union(rows, _counted(table("score_rows"), selection, "date", "scorer"))
    kept = rows.semi_join(days, ["farm", "visit_date"])
    return question_of(kept.group_by(["import_no", "person"]).agg(rows=kept.rows.sum().cast("int64")))


def _counted(rows: ir.Table, selection: Selection, day: str, person: str) -> ir.Table:
    """Rows of sheets by import, farm, day and person: of few visits, so that they are matched before many rows are.

    Farms and period are narrowed here too, to spare the engine rows that no visit of the selection can have.
    """
    rows = rows.mutate(visit_date=rows[day], person=rows[person])
    keep = [rows.farm.isin(farms) for farms in (selection.farms, selection.allowed) if farms]
    keep += [rows.visit_date >= selection.since] if selection.since else []
    keep += [rows.visit_date <= selection.until] if selection.until else []
    rows = rows.filter(*keep) if keep else rows
    return rows.group_by(["import_no", "farm", "visit_date", "person"]).agg(rows=rows.count())
