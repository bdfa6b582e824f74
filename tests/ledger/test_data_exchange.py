"""Diagnosis events keep what the standard can carry, name what it cannot, and are as its schemas say.

The schemas are those of the ICAR Animal Data Exchange, release 1.3 (Apache 2.0). They are no part of this project:
where they lie beside it the events are validated against them, and everywhere against the rules of theirs that
are written out here.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft7Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT7

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lesions import DD_STAGES, LESIONS, PARENTS
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.exports.data_exchange import CARRIED, exchange_of, write_exchange
from evenfoot.analytics.ledger.imports.add import add_sheets
from tests.effort import tries
from tests.sheets import checked, ledger_of

SCHEMAS = Path(__file__).parents[3] / "shared" / "ade"

# [pub: ICAR Animal Data Exchange, release 1.3: icarResource, icarAnimalEventCoreResource, icarIdentifierType,
# icarMetaDataType, icarPositionOnAnimalType, icarDiagnosisSeverityType, icarDiagnosisStageType]
IDENTIFIER = {"type": "object", "required": ["id", "scheme"], "properties": {"id": {"type": "string", "minLength": 1}}}
MOMENT = {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$"}
RULES = {
    "type": "object",
    "required": ["member"],
    "properties": {
        "member": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["resourceType", "animal", "location", "meta", "eventDateTime", "id"],
                "properties": {
                    "resourceType": {"const": "DiagnosisEvent"},
                    "animal": IDENTIFIER,
                    "location": IDENTIFIER,
                    "eventDateTime": MOMENT,
                    "meta": {
                        "required": ["source", "modified"],
                        "properties": {"source": {"type": "string"}, "modified": MOMENT, "created": MOMENT},
                    },
                    "responsible": {"type": "string"},
                    "contemporaryGroup": {"type": "string"},
                    "remark": {"type": "string"},
                    "diagnoses": {
                        "type": "array",
                        "items": {
                            "properties": {
                                "diagnosisCode": IDENTIFIER,
                                "site": {"type": "string"},
                                "severityScore": {"type": "number"},
                                "severity": {"enum": ["Light", "Moderate", "Severe"]},
                                "stage": {"enum": ["Early", "Acute", "SubAcute", "Chronic", "AcuteOnChronic"]},
                                "positions": {
                                    "type": "array",
                                    "items": {
                                        "properties": {
                                            "position": {
                                                "enum": [
                                                    "LegsFrontLeft",
                                                    "LegsFrontRight",
                                                    "LegsRearLeft",
                                                    "LegsRearRight",
                                                ]
                                            }
                                        }
                                    },
                                },
                            }
                        },
                    },
                },
            },
        }
    },
}


def published_schema() -> tuple[dict[str, Any], Registry[Any]] | None:
    """The schema of a collection, where the published ones are at hand."""
    place = SCHEMAS / "collections" / "icarDiagnosisEventCollection.json"
    if not place.is_file():
        return None

    def read(uri: str) -> Resource[Any]:
        path = Path(uri.removeprefix("file://"))
        return Resource.from_contents(json.loads(path.read_text(encoding="utf-8-sig")), DRAFT7)

    return {"$ref": place.resolve().as_uri()}, Registry(retrieve=read)  # type: ignore[call-arg]


def complaints(collection: dict[str, Any]) -> list[str]:
    """What is wrong with a collection, by our copy of the rules and by the published schemas."""
    found = [error.message for error in Draft7Validator(RULES).iter_errors(collection)]
    published = published_schema()
    if published is not None:
        schema, registry = published
        validator = Draft7Validator(schema, registry=registry, format_checker=Draft7Validator.FORMAT_CHECKER)
        found += [error.message for error in validator.iter_errors(collection)]
    return found


def carried(ledger: Ledger, farm: str) -> list[tuple[Any, ...]]:
    """What the standard can carry of a farm: distinct diagnosed rows, and cows looked at."""
    columns = ", ".join(f'"{name}"' for name in CARRIED)
    frame = ledger.frame(f"SELECT DISTINCT {columns} FROM trim_rows WHERE farm = ? AND lesion IS NOT NULL", [farm])
    looked = ledger.frame(
        'SELECT DISTINCT visit_date, farm, cow, trimmer, "group", note FROM trim_rows WHERE farm = ?', [farm]
    )
    return sorted(map(str, [*frame.itertuples(index=False), *looked.itertuples(index=False)]))  # type: ignore[return-value]


def back_again(collection: dict[str, Any], place: Path) -> Ledger:
    """A new ledger with a collection in it, through the ordinary import."""
    place.unlink(missing_ok=True)
    ledger = open_ledger(str(place))
    sheets = check_file(json.dumps(collection).encode(), "herd.json")
    result = add_sheets(ledger, sheets, "herd.json", "0" * 64)
    assert result.set_aside == 0
    return ledger


def test_the_rules_can_complain() -> None:
    assert complaints({"member": [{"resourceType": "DiagnosisEvent"}]})
    assert complaints({"member": [{"diagnoses": [{"severity": "Awful"}]}]})


@pytest.mark.parametrize("farm", ["Larkmoor", "Long Heath", "Nether Ash"])
def test_the_demo_herds_are_as_the_schemas_say_and_come_back(demo_ledger: Ledger, tmp_path: Path, farm: str) -> None:
    made = exchange_of(demo_ledger, farm)
    assert complaints(made.collection) == []
    ids = [event["id"] for event in made.collection["member"]]
    assert len(set(ids)) == len(ids) == made.collection["view"]["totalItems"]
    again = back_again(made.collection, tmp_path / "again.duckdb")
    assert carried(again, farm) == carried(demo_ledger, farm)


@st.composite
def trim(draw: st.DrawFn) -> dict[str, Any]:
    """A row of a trim sheet that the intake takes."""
    lesion = draw(st.sampled_from([None, *PARENTS]))
    foot = draw(st.sampled_from([None, *FEET]))
    details = LESIONS[lesion].details if lesion else ()
    return {
        "visit_date": draw(st.dates(pd.Timestamp("2020-01-01").date(), pd.Timestamp("2025-12-31").date())),
        "farm": "Home Farm",
        "cow": str(draw(st.integers(1, 9))),
        "trimmer": draw(st.sampled_from([None, "KV", "J. Moss"])),
        "group": draw(st.sampled_from([None, "High", "dry cows"])),
        "note": draw(st.none() | st.sampled_from(["walks well", "ask in May; left hind", "zone 4 again", "Ñandú"])),
        "foot": foot,
        "claw": draw(st.sampled_from([None, *CLAWS])) if foot else None,
        "zone": draw(st.none() | st.integers(0, 12)) if lesion else None,
        "lesion": lesion,
        "lesion_detail": draw(st.sampled_from([None, *details])) if details else None,
        "severity": draw(st.sampled_from([None, 1, 2, 3])) if lesion else None,
        "dd_stage": draw(st.sampled_from([None, *DD_STAGES])) if lesion == "DD" else None,
        "action": draw(st.sampled_from([None, "block"])),
    }


@given(st.lists(trim(), min_size=1, max_size=8))
@settings(
    max_examples=tries(25),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
def test_a_round_trip_loses_nothing_the_standard_can_carry(tmp_path: Path, rows: list[dict[str, Any]]) -> None:
    place = tmp_path / "one.duckdb"
    place.unlink(missing_ok=True)
    ledger = ledger_of(place, checked("trims", rows))
    made = exchange_of(ledger, "Home Farm")
    assert complaints(made.collection) == []
    again = back_again(made.collection, tmp_path / "two.duckdb")
    assert carried(again, "Home Farm") == carried(ledger, "Home Farm")
    ledger.lease.drop_if_idle()
    again.lease.drop_if_idle()


def test_what_is_left_behind_is_listed_and_counted(tmp_path: Path) -> None:
    rows = [
        {"visit_date": "2026-03-02", "farm": "Home Farm", "cow": "1", "lesion": "SU", "foot": "LH", "action": "block"},
        {"visit_date": "2026-03-02", "farm": "Home Farm", "cow": "2", "foot": "LH", "shed_stage": 3, "herd_size": 80},
    ]
    scores = [{"date": "2026-03-02", "farm": "Home Farm", "cow": "1", "score": 3, "scale": "1-5"}]
    ledger = ledger_of(tmp_path / "one.duckdb", checked("trims", rows), checked("locomotion", scores))
    beside, _ = write_exchange(ledger, "Home Farm", tmp_path / "home.json")
    told = json.loads(beside.read_text(encoding="utf-8"))
    listed = {(one["sheet"], one["field"]): one["rows"] for one in told["leftBehind"]}
    assert listed == {
        ("trims", "herd_size"): 1,
        ("trims", "shed_stage"): 1,
        ("trims", "action"): 1,
        ("trims", "foot (in rows without a lesion)"): 1,
        ("locomotion", "date"): 1,
        ("locomotion", "cow"): 1,
        ("locomotion", "score"): 1,
        ("locomotion", "scale"): 1,
    }


def test_a_farm_without_trims_has_nothing_to_export(tmp_path: Path) -> None:
    scores = [{"date": "2026-03-02", "farm": "Home Farm", "cow": "1", "score": 3, "scale": "1-5"}]
    ledger = ledger_of(tmp_path / "one.duckdb", checked("locomotion", scores))
    with pytest.raises(UserError, match="no trim records"):
        exchange_of(ledger, "Home Farm")


def event(**changes: Any) -> dict[str, Any]:
    """An event as another program might send it."""
    return {
        "resourceType": "icar:DiagnosisEvent",
        "animal": {"id": "NL 123", "scheme": "nl.rvo"},
        "location": {"id": "Home Farm", "scheme": "nl.ubn"},
        "eventDateTime": "2026-03-02T09:41:00Z",
        "meta": {"source": "org.example", "modified": "2026-03-02T10:00:00Z"},
        "diagnoses": [
            {
                "name": "Sole ulcer",
                "diagnosisCode": {"id": "X99", "scheme": "org.example"},
                "positions": [{"position": "LegsRearLeft"}, {"position": "LegsRearRight"}],
                "severity": "Severe",
            }
        ],
        **changes,
    }


def read(*events: dict[str, Any]) -> tuple[pd.DataFrame, pd.DataFrame]:
    [sheet] = check_file(json.dumps({"member": list(events)}).encode(), "herd.json")
    assert sheet.rows_read == len(sheet.records) + sheet.set_aside["row"].nunique()
    return sheet.records, sheet.set_aside


def test_another_programs_event_is_understood_by_its_name_one_row_a_position() -> None:
    records, held = read(event())
    assert held.empty
    assert records[["foot", "lesion", "severity"]].values.tolist() == [["LH", "SU", 3], ["RH", "SU", 3]]
    assert records["visit_date"].dt.strftime("%Y-%m-%d").unique().tolist() == ["2026-03-02"]


@pytest.mark.parametrize(
    "changes",
    [
        {"diagnoses": [{"name": "Mastitis", "positions": [{"position": "UdderFrontLeft"}]}]},
        {"meta": {"source": "org.example", "modified": "2026-03-02T10:00:00Z", "isDeleted": True}},
        {"eventDateTime": "soon"},
        {"animal": {}},
    ],
    ids=["no foot lesion", "deleted", "no date", "no animal"],
)
def test_what_is_not_understood_is_set_aside_with_its_reason(changes: dict[str, Any]) -> None:
    records, held = read(event(), event(animal={"id": "7", "scheme": "x"}) | changes)
    assert len(records) == 2
    assert held["row"].nunique() >= 1
    assert held["reason"].str.len().gt(0).all()


@pytest.mark.parametrize(
    "member",
    [[], [event(diagnoses="SU")], [event(meta=3)], [event(diagnoses=[{"positions": "LH"}])], [event(animal="7")]],
    ids=["empty", "diagnoses", "meta", "positions", "animal"],
)
def test_another_shape_is_refused_in_one_sentence(member: list[Any]) -> None:
    with pytest.raises(UserError, match=r"herd\.json"):
        check_file(json.dumps({"member": member}).encode(), "herd.json")
