"""What the office does with a day from a phone: the same as with a sheet that is imported, and never twice."""

from __future__ import annotations

import concurrent.futures
import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.dashboard.auth import Store
from evenfoot.dashboard.web.app import create_app
from tests.auth.people import Browser, Office
from tests.sheets import checked, ledger_of

FARM = "Home Farm"
TABLES = ("trim_rows", "trims", "findings", "scores", "horn_readings", "cows")
COLUMNS = (
    "visit_date,farm,trimmer,visit_kind,herd_size,cow,feet_seen,foot,claw,zone,lesion,lesion_detail,severity,dd_stage,"
    "toe_length_mm,shed_stage,action,recheck_on,locomotion_score,locomotion_scale,note"
)
DAY = f"""{COLUMNS}
2026-10-30,Home Farm,KV,lame-cow,,1001,,RH,lateral,4,SU,,2,,,,block,2026-11-27,3,1-5,block on inner claw
2026-10-30,Home Farm,KV,lame-cow,,1001,,LH,,10,DD,,1,M2,,,wrap,,,,
2026-10-30,Home Farm,KV,lame-cow,,1002,,,,,none,,,,,,,,,,
2026-10-30,Home Farm,KV,lame-cow,,1003,LH RH,LH,lateral,,,,,,83,2,,,,,
2026-10-30,Home Farm,KV,lame-cow,,1004,,RH,medial,3,WL,WLA,3,,,,refer,,,,
"""
WALK = """date,farm,cow,score,scale,scorer
2026-10-30,Home Farm,1001,3,1-5,KV
2026-10-30,Home Farm,1002,1,1-5,KV
"""


def _herd(path: Path) -> Ledger:
    cows = [f"{1000 + n}" for n in range(1, 31)]
    register = [{"farm": FARM, "cow": cow, "birth_date": "2021-01-05", "entered_on": "2024-01-01"} for cow in cows]
    before = [
        {"visit_date": "2026-09-20", "farm": FARM, "trimmer": "KV", "visit_kind": "whole-herd", "herd_size": 30,
         "cow": cow, "lesion": "SU" if cow == "1001" else None, "foot": "RH", "claw": "lateral", "zone": 4,
         "action": "refer" if cow == "1001" else None, "locomotion_score": 2, "locomotion_scale": "1-5"}
        for cow in cows
    ]  # fmt: skip
    return ledger_of(path, checked("register", register), checked("trims", before))


@pytest.fixture
def office(tmp_path: Path) -> Office:
    from tests.auth.people import Clock

    clock = Clock()
    return Office(_herd(tmp_path / "ledger.duckdb"), Store(tmp_path / "accounts.sqlite", clock), clock)


def _send(browser: Browser, csv: str, **more: Any) -> dict[str, Any]:
    answer = browser.post("/chute/visit", json={"name": "Home Farm.csv", "csv": csv, **more})
    assert answer.status_code in (200, 409), answer.text
    found: dict[str, Any] = json.loads(answer.text)
    return found


def _records(ledger: Ledger) -> dict[str, pd.DataFrame]:
    """Every derived table, in one order; import numbers and row numbers say how records came, not what they are."""
    out = {}
    for table in TABLES:
        frame = ledger.frame(f"SELECT * FROM {table}")
        frame = frame.drop(columns=[name for name in ("import_no", "row_no") if name in frame])
        out[table] = frame.astype(str).sort_values(list(frame.columns), ignore_index=True)
    return out


@pytest.mark.parametrize("csv", [DAY, WALK])
def test_what_comes_in_is_what_an_imported_sheet_gives(office: Office, tmp_path: Path, csv: str) -> None:
    from evenfoot.analytics.ledger.imports.file_import import prepare_import, run_import

    assert _send(office.client(), csv)["state"] == "added"
    other = _herd(tmp_path / "other.duckdb")
    prepared = prepare_import(other, csv.encode(), "sheet.csv")
    assert not prepared.answers.blocking()
    run_import(other, prepared, "1" * 64)
    ours, theirs = _records(office.ledger), _records(other)
    assert len(ours["trims"]) >= 30 and len(ours["scores"]) > 30
    for table, frame in ours.items():
        pd.testing.assert_frame_equal(frame, theirs[table], obj=table)


def test_a_day_sent_again_in_part_or_whole_adds_nothing_twice(office: Office) -> None:
    browser = office.client()
    lines = DAY.splitlines(keepends=True)
    first = _send(browser, "".join(lines[:4]))
    assert (first["added"], first["known"], first["set_aside"]) == (3, 0, 0)
    again = _send(browser, DAY)
    assert (again["state"], again["added"], again["known"]) == ("added", 2, 3)
    assert (_send(browser, DAY)["added"], len(office.ledger.frame("SELECT * FROM trim_rows"))) == (0, 35)


def test_two_phones_at_once(office: Office) -> None:
    browsers = [office.client() for _ in range(4)]
    with concurrent.futures.ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda browser: _send(browser, DAY), browsers))
    assert sorted(each["added"] for each in found) == [0, 0, 0, 5]
    assert len(office.ledger.frame("SELECT * FROM trim_rows")) == 35


def test_another_version_is_asked_about_and_both_can_be_kept(office: Office) -> None:
    browser = office.client()
    _send(browser, DAY)
    other = DAY.replace("SU,,2,", "SU,,3,")
    asked = _send(browser, other)
    assert asked["state"] == "asked"
    [question] = asked["questions"]
    assert [each["value"] for each in question["choices"]] == ["replace", "keep both", "skip"]
    assert [(each["before"], each["now"]) for each in asked["both"]]
    rows = "SELECT severity FROM trim_rows WHERE cow = '1001' AND visit_date = DATE '2026-10-30' AND lesion = 'SU'"
    assert office.ledger.frame(rows)["severity"].tolist() == [2]
    assert _send(browser, other, given={question["id"]: "keep both"})["added"] == 1
    assert sorted(office.ledger.frame(rows)["severity"]) == [2, 3]


def test_a_row_that_cannot_be_right_is_set_aside_with_its_reason(office: Office) -> None:
    found = _send(
        office.client(), DAY.replace("2026-10-30,Home Farm,KV,lame-cow,,1004", ",Home Farm,KV,lame-cow,,1004")
    )
    assert (found["added"], found["set_aside"]) == (4, 1)
    assert found["reasons"][0]["row"] == 6 and found["reasons"][0]["reason"]


@pytest.mark.parametrize(
    "body", [None, [], {"csv": 3}, {"name": "a", "csv": ""}, {"name": "a", "csv": "x", "given": 1}]
)
def test_what_is_no_sheet_is_refused_in_a_sentence(office: Office, body: Any) -> None:
    answer = office.client().post("/chute/visit", json=body)
    assert answer.status_code == 409
    assert json.loads(answer.text) == {
        "state": "refused",
        "sentence": "What the phone sent did not arrive whole; send it again.",
    }


def test_the_herd_says_what_her_own_page_says(office: Office) -> None:
    browser = office.client()
    assert json.loads(browser.get("/chute/farms").text) == {"farms": [FARM], "demo": False}
    herd = json.loads(browser.get("/chute/herd?farm=Home+Farm").text)
    assert (herd["scale"], herd["to_score"], len(herd["cows"])) == ("1-5", 18, 30)
    known = {each["cow"]: each for each in herd["cows"]}
    assert known["1001"]["worst"] == "Referred to the veterinarian at a visit: ask your veterinarian"
    assert known["1001"]["last"] == (
        "Found on 20\xa0Sep\xa02026: right hind, outer, sole ulcer, referred to the veterinarian. "
        "Locomotion score 2 on 20\xa0Sep\xa02026."
    )
    assert herd["list"] == ["1001"]
    assert not known["1002"]["worst"] and known["1002"]["last"].startswith("Last looked at on 20")
    assert browser.get("/chute/herd?farm=Nowhere").status_code == 404
    spanish = json.loads(browser.get("/chute/herd?farm=Home+Farm&language=es").text)["cows"]
    assert "posterior derecha, externa, úlcera de suela" in next(e["last"] for e in spanish if e["cow"] == "1001")


def test_a_farm_of_ones_own_does_not_come_to_stand_among_the_demo_herds(demo_ledger: Ledger, tmp_path: Path) -> None:
    import shutil

    demo_ledger.lease.drop_if_idle()
    shutil.copy(demo_ledger.name, tmp_path / "demo.duckdb")
    ledger = open_ledger(str(tmp_path / "demo.duckdb"))
    server = create_app(ledger, Store(tmp_path / "accounts.sqlite")).server
    headers = {"Host": "localhost", "Origin": "http://localhost"}
    answer = server.test_client().post("/chute/visit", json={"name": "a", "csv": DAY}, headers=headers)
    assert answer.status_code == 409 and "demo herds" in answer.text
    tried = DAY.replace("Home Farm", "Larkmoor")
    answer = server.test_client().post("/chute/visit", json={"name": "a", "csv": tried}, headers=headers)
    assert json.loads(answer.text)["state"] == "added", answer.text


def test_the_files_of_the_page_and_no_others(office: Office) -> None:
    browser = office.client()
    shell = browser.get("/chute")
    assert shell.mimetype == "text/html" and "worker-src 'self'" in shell.headers["Content-Security-Policy"]
    worker = browser.get("/chute/worker.js")
    assert worker.headers["Service-Worker-Allowed"] == "/chute" and "VERSION_OF_FILES" not in worker.text
    for name in ("chute.webmanifest", "chute.css", "chute.js", "dexie.min.js", "dexie-licence.txt", "icon.svg"):
        assert browser.get(f"/chute/{name}").status_code == 200, name
    assert browser.get("/chute/nothing.js").status_code == 404
    for name in ("../web/chute.py", "%2e%2e/web/chute.py", "..%2fweb%2fchute.py", "../../pyproject.toml"):
        text = browser.get(f"/chute/{name}").text
        assert "def serve_chute" not in text and "[project]" not in text, name
