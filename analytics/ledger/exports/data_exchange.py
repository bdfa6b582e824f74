"""Findings as diagnosis events of the ICAR Animal Data Exchange, one collection a farm, and what that leaves behind."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.data_exchange import (
    ANIMAL_SCHEME,
    FARM_SCHEME,
    LESION_SCHEME,
    OTHER_LESION_SCHEME,
    POSITIONS,
    RESOURCE,
    SEVERITIES,
    SOURCE,
    STAGES,
    site_of,
)
from evenfoot.analytics.domain.lesions import LESIONS, OTHER_LESION
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import ROW_TABLES, TRIM_FIELDS

OF_EVENT = ("visit_date", "farm", "cow", "trimmer", "group", "note")
"""Fields that an event says; rows alike in them are one event."""

OF_DIAGNOSIS = ("foot", "claw", "zone", "lesion", "lesion_detail", "severity", "dd_stage")
CARRIED = (*OF_EVENT, *OF_DIAGNOSIS)

NAMESPACE = uuid.UUID("6c1c2e53-33a1-5a8e-b7b5-8b0a4e6a9f10")
"""Makes an event the same event every time it is exported."""


@dataclass(frozen=True)
class Exchange:
    """One farm's collection and what it leaves behind.

    Attributes
    ----------
    collection : dict
        An ``icarDiagnosisEventCollection``.
    left_behind : pandas.DataFrame
        sheet, field, rows: cells with something in them that the standard's diagnosis event has no place for.
    """

    collection: dict[str, Any]
    left_behind: pd.DataFrame


def exchange_of(ledger: Ledger, farm: str) -> Exchange:
    """The trim records of one farm as diagnosis events.

    A cow looked at with nothing found is an event without diagnoses. The day of a visit is its first moment in UTC,
    since sheets keep no time of day.

    Raises
    ------
    UserError
        The farm has no trim records.
    """
    columns = ", ".join(f't."{name}"' for name in CARRIED)
    rows = ledger.frame(
        f"SELECT {columns}, i.imported_at FROM trim_rows t JOIN imports i ON i.import_no = t.import_no "
        "WHERE t.farm = ? ORDER BY t.visit_date, t.cow, t.import_no, t.row_no",
        [farm],
    )
    if rows.empty:
        raise UserError(f"There are no trim records of {farm} to export.")
    records = rows.astype(object).where(rows.notna(), None).to_dict("records")
    events: dict[tuple[Any, ...], dict[str, Any]] = {}
    for row in records:
        key = tuple(row[name] for name in OF_EVENT)
        event = events.setdefault(key, _event({str(k): v for k, v in row.items()}))
        modified = _moment(row["imported_at"])
        event["meta"]["modified"] = max(event["meta"]["modified"], modified)
        if row["lesion"]:
            event["diagnoses"].append(_diagnosis({str(k): v for k, v in row.items()}, event))
    members = list(events.values())
    collection = {"view": {"totalItems": len(members), "totalPages": 1, "currentPage": 1}, "member": members}
    return Exchange(collection, left_behind(ledger, farm))


def _event(row: dict[str, Any]) -> dict[str, Any]:
    identity = str(uuid.uuid5(NAMESPACE, json.dumps([str(row[name] or "") for name in OF_EVENT])))
    moment = _moment(row["imported_at"])
    event = {
        "resourceType": RESOURCE,
        "id": identity,
        "meta": {"source": SOURCE, "sourceId": identity, "modified": moment, "created": moment},
        "location": {"id": row["farm"], "scheme": FARM_SCHEME},
        "animal": {"id": row["cow"], "scheme": ANIMAL_SCHEME},
        "eventDateTime": f"{pd.Timestamp(row['visit_date']):%Y-%m-%d}T00:00:00Z",
        "responsible": row["trimmer"],
        "contemporaryGroup": row["group"],
        "remark": row["note"],
        "diagnoses": [],
    }
    return {key: value for key, value in event.items() if value is not None}


def _diagnosis(row: dict[str, Any], event: dict[str, Any]) -> dict[str, Any]:
    code = row["lesion_detail"] or row["lesion"]
    stage = row["dd_stage"]
    severity = None if row["severity"] is None else int(row["severity"])
    diagnosis = {
        "id": f"{event['id']}-{len(event['diagnoses']) + 1}",
        "name": LESIONS[code].name,
        "description": f"{LESIONS[code].name}, stage {stage}" if stage else None,
        "diagnosisCode": {"id": code, "scheme": OTHER_LESION_SCHEME if code == OTHER_LESION else LESION_SCHEME},
        "site": site_of(row["claw"], None if row["zone"] is None else int(row["zone"])),
        "stage": STAGES.get(stage) if stage else None,
        "severity": SEVERITIES.get(severity) if severity else None,
        "severityScore": severity,
        "positions": [{"position": POSITIONS[row["foot"]]}] if row["foot"] else None,
    }
    return {key: value for key, value in diagnosis.items() if value is not None}


def _moment(value: Any) -> str:
    return f"{pd.Timestamp(value):%Y-%m-%dT%H:%M:%SZ}"


def left_behind(ledger: Ledger, farm: str) -> pd.DataFrame:
    """Filled cells of a farm's sheets that have no place in a diagnosis event: sheet, field, rows.

    A foot or a stage in a row without a lesion has none either: nothing was diagnosed there.
    """
    asked = {name: f'COUNT("{name}")' for name in TRIM_FIELDS if name not in CARRIED}
    asked |= {
        f"{name} (in rows without a lesion)": f'COUNT("{name}") FILTER (lesion IS NULL)'
        for name in OF_DIAGNOSIS
        if name != "lesion"
    }
    found = []
    with ledger.reading() as cursor:
        counts = cursor.execute(f"SELECT {', '.join(asked.values())} FROM trim_rows WHERE farm = ?", [farm]).fetchone()
        found += [("trims", name, int(n)) for name, n in zip(asked, counts or (), strict=True) if n]
        for kind, (table, fields) in ROW_TABLES.items():
            if kind == "trims":
                continue
            asked = {name: f'COUNT("{name}")' for name in fields if name != "farm"}
            counts = cursor.execute(
                f"SELECT {', '.join(asked.values())} FROM {table} WHERE farm = ?", [farm]
            ).fetchone()
            found += [(kind, name, int(n)) for name, n in zip(asked, counts or (), strict=True) if n]
    return pd.DataFrame(found, columns=["sheet", "field", "rows"])


LEFT_BEHIND = ".left-behind.json"
"""What ends the name of the file of what is left behind."""


def write_exchange(ledger: Ledger, farm: str, out: Path) -> tuple[Path, pd.DataFrame]:
    """Write a farm's collection to *out*, and beside it what the standard cannot carry.

    Returns
    -------
    Path
        The file of what is left behind: the same name, ending in ``.left-behind.json``.
    pandas.DataFrame
        What is in it; see :class:`Exchange`.

    Raises
    ------
    UserError
        The farm has no trim records, or the files cannot be written.
    """
    made = exchange_of(ledger, farm)
    beside = out.with_name(out.name.removesuffix(".json") + LEFT_BEHIND)
    note = {
        "farm": farm,
        "file": out.name,
        "written": f"{dt.datetime.now(dt.UTC):%Y-%m-%dT%H:%M:%SZ}",
        "why": "A diagnosis event of the ICAR Animal Data Exchange has no place for these fields; rows are the cells "
        "with something in them. Export Parquet or CSV to take everything along.",
        "leftBehind": made.left_behind.to_dict("records"),
    }
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(json.dumps(made.collection, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        beside.write_text(json.dumps(note, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise UserError(f"{out} cannot be written ({error.strerror}); choose another place.") from None
    return beside, made.left_behind
