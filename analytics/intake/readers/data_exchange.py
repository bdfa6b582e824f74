"""Diagnosis events of the ICAR Animal Data Exchange as rows of a trim sheet, for the ordinary checks.

One diagnosis and position is one row; an event without diagnoses is a cow looked at with nothing found. What is
not understood stays in its cell as it was written, so that the row is set aside with its reason.
"""

from __future__ import annotations

from typing import Any

from evenfoot.analytics.domain.data_exchange import POSITIONS, RESOURCE_NAMES, SEVERITIES, read_site
from evenfoot.analytics.domain.lesions import LESIONS, OTHER_LESION, understand_lesion, understand_stage
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

_FEET = {position: foot for foot, position in POSITIONS.items()}
_SEVERITIES = {said.casefold(): grade for grade, said in SEVERITIES.items()}

COLUMNS = ("foot", "claw", "zone", "lesion", "lesion_detail", "severity", "dd_stage")
"""Columns that a row has even when its event has no diagnosis."""

DELETED = "deleted in the program it comes from"


def is_diagnosis_collection(said: Any) -> bool:
    """Whether a JSON value is a collection of diagnosis events."""
    if not isinstance(said, dict) or not isinstance(said.get("member"), list):
        return False
    return all(
        isinstance(one, dict) and (one.get("resourceType") in RESOURCE_NAMES or {"animal", "diagnoses"} <= set(one))
        for one in said["member"]
    )


def trim_rows(collection: dict[str, Any], name: str) -> list[dict[str, Any]]:
    """The events of a collection as rows under the headings of a trim sheet.

    Raises
    ------
    UserError
        The collection is empty, or a part of it has another shape than the standard gives it.
    """
    if not collection["member"]:
        raise UserError(say("{name} is a collection of diagnosis events with no event in it.", name=name))
    rows: list[dict[str, Any]] = []
    for place, event in enumerate(collection["member"], start=1):
        where = f"{name}: event {place}"
        base = dict.fromkeys(COLUMNS) | {
            "visit_date": str(event.get("eventDateTime") or "")[:10],
            "farm": _identifier(event, "location", where),
            "cow": _identifier(event, "animal", where),
            "trimmer": event.get("responsible"),
            "group": event.get("contemporaryGroup"),
            "note": event.get("remark"),
        }
        diagnoses = event.get("diagnoses") or []
        if not isinstance(diagnoses, list) or not all(isinstance(one, dict) for one in diagnoses):
            raise UserError(say("{where}: its diagnoses are not a list of objects.", where=where))
        if _part(event, "meta", where).get("isDeleted") is True:
            rows.append({**base, "lesion": DELETED})
        elif not diagnoses:
            rows.append(base)
        for diagnosis in diagnoses if not _part(event, "meta", where).get("isDeleted") else ():
            rows += [{**base, **_lesion(diagnosis, where), "foot": foot} for foot in _feet(diagnosis, where)]
    return rows


def _part(of: dict[str, Any], key: str, where: str) -> dict[str, Any]:
    part = of.get(key) or {}
    if not isinstance(part, dict):
        raise UserError(say("{where}: its {key} is not an object.", where=where, key=key))
    return part


def _identifier(event: dict[str, Any], key: str, where: str) -> Any:
    return _part(event, key, where).get("id")


def _feet(diagnosis: dict[str, Any], where: str) -> list[str | None]:
    positions = diagnosis.get("positions") or []
    if not isinstance(positions, list) or not all(isinstance(one, dict) for one in positions):
        raise UserError(say("{where}: the positions of a diagnosis are not a list of objects.", where=where))
    said = [str(one.get("position") or "") for one in positions]
    return [_FEET.get(one, one) for one in said] or [None]


def _lesion(diagnosis: dict[str, Any], where: str) -> dict[str, Any]:
    code = str(_part(diagnosis, "diagnosisCode", where).get("id") or "")
    named = str(diagnosis.get("name") or "")
    lesion = understand_lesion(code) or understand_lesion(named)
    # The words of a diagnosis outside the atlas say more than its code.
    written = named if lesion == OTHER_LESION and understand_lesion(code) is None else lesion
    described = str(diagnosis.get("description") or "")
    claw, zone = read_site(str(diagnosis.get("site") or ""))
    row: dict[str, Any] = {
        "lesion": written or code or named or described or "not named",
        "claw": claw,
        "zone": zone,
        "severity": _severity(diagnosis),
    }
    if lesion and LESIONS[lesion].parent != lesion:
        row |= {"lesion": LESIONS[lesion].parent, "lesion_detail": lesion}
    if lesion == "DD":
        row["dd_stage"] = understand_stage(described) or understand_stage(named)
    return row


def _severity(diagnosis: dict[str, Any]) -> Any:
    said = diagnosis.get("severity")
    return None if said is None else _SEVERITIES.get(str(said).casefold(), said)
