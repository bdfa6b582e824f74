"""Every callback, download, report and address, as every role, asking for a farm that was not granted.

Two things must hold. Nothing of the other farm stands in any answer; whatever is of it begins with zz. And an answer
does not depend on it: with other records of the other farm, the answers are the same to the letter.
"""

from __future__ import annotations

import base64
import io
import json
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from pypdf import PdfReader

from evenfoot.analytics.ledger import agreements, photos
from evenfoot.analytics.ledger.corrections import list_records
from evenfoot.analytics.ledger.imports.import_farms import farms_of_import
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import links, people
from evenfoot.dashboard.auth.viewer import OWNER, Viewer
from evenfoot.dashboard.pages import PAGES, PANELS
from evenfoot.dashboard.pages.agreed import ACTS
from evenfoot.dashboard.pages.imports_rights import NO_SUCH, remember
from evenfoot.dashboard.pages.report import FIELDS
from evenfoot.dashboard.ui import progress
from tests.auth.asking import ask, marks, panel, settled
from tests.auth.people import Browser, Clock, Office, cheap_hashes, staffed
from tests.auth.two_farms import MINE, OTHER, two_farms
from tests.effort import some
from tests.report.made import has_browser

STAFF: dict[str, tuple[str, tuple[str, ...]]] = {
    "Olive": ("owner", ()),
    "Kim": ("trimmer", (MINE,)),
    "Max": ("manager", (MINE,)),
    "Ada": ("adviser", (MINE,)),
    "New": ("trimmer", ("Empty Farm",)),
}
NARROWED = ("Kim", "Max", "Ada")
ASKED = "?farms=Zzother+Farm"
FORCED = (
    "?farms=Home+Farm&farms=Zzother+Farm&by=farm&cow=zz3&against=Zzother+Farm&reference=Zzother+Farm"
    "&allowed=Zzother+Farm&stratify=farm&adjust=farm&visits=all"
)
SAID = ("zzother+farm", "zzother%20farm", "zzother farm", "zz3")
"""What the one who asks says, and may be told again."""


@pytest.fixture(scope="module")
def offices(tmp_path_factory: pytest.TempPathFactory) -> list[Office]:
    """Two ledgers that differ in the other farm alone, with the same people."""
    patch = pytest.MonkeyPatch()
    cheap_hashes(patch)
    folder = tmp_path_factory.mktemp("walk")
    store = staffed(folder / "accounts.sqlite", STAFF, Clock())
    patch.undo()
    return [Office(two_farms(folder / f"{n}.duckdb", other=n), store, store.clock) for n in (1, 2)]  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def people_in(offices: list[Office]) -> list[dict[str, Browser]]:
    return [{name: office.signed_in(name) for name in STAFF} for office in offices]


def key_of(office: Office, part: str) -> str:
    """The one callback that has *part* in its name, in the beginning of it where there are several."""
    found = [key for key in office.app.callback_map if part in key]
    [key] = found if len(found) == 1 else [key for key in found if key.strip(".").startswith(part)]
    return key


def test_no_panel_depends_on_the_other_farm(offices: list[Office], people_in: list[dict[str, Browser]]) -> None:
    for name in some(PANELS, 2):
        one, two = (panel(office, people["Kim"], name, "") for office, people in zip(offices, people_in, strict=True))
        assert not marks(one), name
        assert settled(one) == settled(two), name


@pytest.mark.parametrize(
    # The manager and the adviser may see the trimmer's farms; what they may change is walked below.
    ("turn", "who", "search"),
    [(0, "Kim", ASKED), (1, "Kim", FORCED), (2, "New", "")],
)
def test_no_panel_shows_the_other_farm_to_any_role(
    offices: list[Office], people_in: list[dict[str, Browser]], turn: int, who: str, search: str
) -> None:
    for name in some(PANELS, start=turn):
        assert not marks(panel(offices[0], people_in[0][who], name, search), *SAID), name


def test_the_marks_would_be_seen(offices: list[Office], people_in: list[dict[str, Browser]]) -> None:
    """An owner sees the other farm in the same panels, so the tests above can fail."""
    seen = [
        name
        for name in (
            "lesion-cows",
            "worklist-cows",
            "farms-table",
            "change-recorded",
            "records-scores",
            "cow-who",
            "today-ask",
        )
        if marks(
            panel(
                offices[0],
                people_in[0]["Olive"],
                name,
                "?visits=all" + ("&cow=zz3&farms=Zzother+Farm" if name in ("cow-who", "today-ask") else ""),
            )
        )
    ]
    assert len(seen) == 7, seen


@pytest.mark.parametrize("who", NARROWED)
def test_the_frame_of_every_page(offices: list[Office], people_in: list[dict[str, Browser]], who: str) -> None:
    for path in [*PAGES, "/nowhere", "/../import"]:
        for search in ("", ASKED, FORCED):
            answers = []
            for office, staff in zip(offices, people_in, strict=True):
                values = {"address.pathname": path, "address.search": search, "seen-version.data": "x"}
                values |= {"ready.data": True, "find-cow.value": "3", "find.n_clicks": 1}
                keys = ("content.children", "navigation.children", "trail.children", "address.href")
                answers.append([ask(office, staff[who], key_of(office, part), values) for part in keys])
            for (code, text), (_, other) in zip(*answers, strict=True):
                assert code in (200, 204), (path, search, text)
                assert not marks(text, *(SAID if search else ())), (path, search)
                assert text == other, (path, search)


def test_the_first_view_ends_with_the_records_one_may_see(people_in: list[dict[str, Browser]]) -> None:
    until = re.compile(r"until=([\d-]+)")
    mine, all_of_it = (until.findall(people_in[0][who].get("/").headers["Location"]) for who in ("Kim", "Olive"))
    assert mine and mine != all_of_it


def filled(search: str, pressed: str, **more: Any) -> dict[str, Any]:
    values = {
        "report-sections.value": [
            "summary",
            "agreed",
            "visit",
            "cows",
            "lesions",
            "locomotion",
            "horn",
            "changes",
            "benchmark",
        ],
        "report-language.value": "en",
        "report-units.value": "mm",
        "report-paper.value": "A4",
        "address.search": search,
        f"report-{pressed}.n_clicks": 1,
        "changed": [f"report-{pressed}.n_clicks"],
    }
    return values | {f"report-{name}.value": value for name, value in more.items()}


@pytest.mark.parametrize("kind", ["show", "html", "xlsx", "pdf"])
def test_reports_are_of_farms_granted(offices: list[Office], people_in: list[dict[str, Browser]], kind: str) -> None:
    key = key_of(offices[0], "report-preview")
    for who in NARROWED:
        for search in (ASKED, FORCED):
            _, text = ask(offices[0], people_in[0][who], key, filled(search, kind))
            assert not marks(text, *SAID) and "content" not in json.loads(text)["response"].get(
                "report-download", {}
            ), text
    if kind == "pdf" and not has_browser():
        return
    code, text = ask(offices[0], people_in[0]["Ada"], key, filled("?farms=Home+Farm", kind))
    assert code == 200 and "may not" not in text
    if kind == "show":
        assert "Home Farm" in text and not marks(text)
        return
    data = base64.b64decode(json.loads(text)["response"]["report-download"]["data"]["content"])
    if kind == "xlsx":
        book = openpyxl.load_workbook(io.BytesIO(data))
        words = " ".join(str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row)
    elif kind == "pdf":
        words = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)
    else:
        words = data.decode()
    assert "Home Farm" in words and not marks(re.sub(r"data:[^\"')]+", "", words))


def test_remarks_and_letterhead_are_for_who_may(offices: list[Office], people_in: list[dict[str, Browser]]) -> None:
    key = key_of(offices[0], "report-preview")
    for name in ("remarks", "trimmer", "address", "owner"):
        assert name in FIELDS
        values = filled("?farms=Home+Farm", "show", sections=["basis", "remarks"], **{name: "Well kept."})
        allowed = {
            who: "Your account may not" not in ask(offices[0], people_in[0][who], key, values)[1] for who in STAFF
        }
        assert {who for who in NARROWED if allowed[who]} == {"Kim"}, name


def test_imports_of_others_are_neither_seen_nor_taken_back(
    offices: list[Office], people_in: list[dict[str, Browser]]
) -> None:
    office, staff = offices[0], people_in[0]
    for who in NARROWED:
        _, text = ask(office, staff[who], key_of(office, "imports-list"), {"address.pathname": "/import"})
        assert "No sheet has been imported" in text and not marks(text)
        said = set()
        for number in (1, 2, 3, 99, -1):
            pressed = {"number": number, "type": "undo"}
            values = {'{"number":["ALL"],"type":"undo"}.n_clicks': [(pressed, 1)]}
            _, text = ask(office, staff[who], key_of(office, "imports-changed.data..."), values)
            said.add(text)
            values = {'{"number":["ALL"],"type":"set-aside"}.n_clicks': [({"number": number, "type": "set-aside"}, 1)]}
            _, text = ask(office, staff[who], key_of(office, "set-aside-download"), values)
            assert not marks(text) and ("no such import" in text or "may not" in text), text
        assert len(said) == 1, said
    assert office.ledger.imports()["undone_at"].isna().all()


def sheet(farm: str, kind: str = "trims") -> str:
    if kind == "limits":
        return (
            "data:text/csv;base64," + base64.b64encode(f"farm,limit,value\n{farm},long_toe_mm,71\n".encode()).decode()
        )
    text = f"farm,date,what\n{farm},2026-01-05,New floor\n"
    if kind == "trims":
        text = f"visit_date,farm,cow,lesion,foot\n2026-01-05,{farm},7001,SU,LH\nsoon,{farm},7002,SU,LH\n"
    return "data:text/csv;base64," + base64.b64encode(text.encode()).decode()


OF = {"of": "1"}
PRESSED = '{"of":["MATCH"],"type":"add"}.n_clicks'


def brought(contents: str) -> dict[str, Any]:
    return {
        '{"of":["MATCH"],"type":"sheet"}.data': {"name": "a.csv", "contents": contents},
        '{"of":["MATCH"],"type":"answers"}.data': {"given": {"rest:Home Farm:2026-01-05": "not known"}, "fold": False},
        PRESSED: 1,
    }


def sheet_keys(office: Office) -> tuple[str, str]:
    """The callbacks that read a dropped sheet and that add it."""
    of_body = [key for key in office.app.callback_map if '"type":"body"' in key]
    [add] = [key for key in of_body if '"type":"done"' in key]
    [read] = [key for key in of_body if key != add]
    return read, add


def test_sheets_of_other_farms_are_refused_before_anything_is_looked_up(
    offices: list[Office], people_in: list[dict[str, Browser]]
) -> None:
    before = len(offices[0].ledger.imports())
    for who in (*NARROWED, "New"):
        for farm in (OTHER, "zzOTHER farm", "Zznew Farm", "Zzother Frm"):
            for turn in (0, 1):
                answers = [
                    ask(office, staff[who], sheet_keys(office)[turn], brought(sheet(farm)), OF)[1]
                    for office, staff in zip(offices, people_in, strict=True)
                ]
                assert all("was not granted" in text or "may not" in text for text in answers), answers
                assert len(set(answers)) == 1
                assert not marks(answers[0], farm) and "Already known" not in answers[0]
    assert len(offices[0].ledger.imports()) == before


def test_a_sheet_of_a_farm_that_was_granted_is_read_without_the_others(
    offices: list[Office], people_in: list[dict[str, Browser]]
) -> None:
    answers = [
        ask(office, staff["Kim"], sheet_keys(office)[0], brought(sheet("home  FARM")), OF)[1]
        for office, staff in zip(offices, people_in, strict=True)
    ]
    assert "Already known" in answers[0] and not marks(answers[0])
    assert len(set(answers)) == 1


def test_rows_of_anothers_import_are_not_mended_and_nothing_remembered_is_seen_or_forgotten(
    offices: list[Office], people_in: list[dict[str, Browser]]
) -> None:
    office, staff = offices[0], people_in[0]
    for who in NARROWED:
        opening = {'{"number":["ALL"],"type":"mend"}.n_clicks': [({"number": 1, "type": "mend"}, 1)]}
        _, text = ask(office, staff[who], key_of(office, "mending.children...mend-of.data.."), opening)
        assert not marks(text) and ("no such import" in text or "may not" in text), text
        others = [key for key in office.app.callback_map if "mending.children@" in key]
        [again] = [key for key in others if "imports-changed" in key]
        [added] = [key for key in others if key != again]
        done = {'{"of":["ALL"],"type":"done"}.data': [({"of": "x", "type": "done"}, {"number": 1, "held": True})]}
        _, text = ask(office, staff[who], added, done)
        assert not marks(text) and ("no such import" in text or "may not" in text), text
        values = {
            "mend-again.n_clicks": 1, "imports-changed.data": 0,
            "mend-of.data": {
                "number": 1, "headings": ["visit_date", "farm", "cow", "lesion"], "given": {},
                "lines": [{"row": 2, "c0": "2026-01-05", "c1": "Home Farm", "c2": "9", "c3": "SU"}],
            },
        }  # fmt: skip
        _, text = ask(office, staff[who], again, values)
        assert not marks(text) and ("no such import" in text or "may not" in text), text
        _, text = ask(office, staff[who], key_of(office, "imports-list"), {})
        assert "What is remembered" not in text and not marks(text)
        forget = next(key for key in office.app.callback_map if "imports-said.children@" in key)
        named = {"type": "forget", "what": "layout", "name": "1", "farm": ""}
        pattern = '{"farm":["ALL"],"name":["ALL"],"type":"forget","what":["ALL"]}.n_clicks'
        _, text = ask(office, staff[who], forget, {pattern: [(named, 1)]})
        assert "may not" in text, text
    assert len(office.ledger.imports()) == len(offices[1].ledger.imports())


def test_each_role_brings_in_what_it_may(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cheap_hashes(monkeypatch)
    store = staffed(tmp_path / "a.sqlite", STAFF | {"Kit": ("trimmer", (MINE,))}, Clock())
    office = Office(two_farms(tmp_path / "l.duckdb"), store, Clock())
    staff = {name: office.signed_in(name) for name in (*STAFF, "Kit")}
    _, add = sheet_keys(office)
    first = len(office.ledger.imports())
    for who, kind, may in (
        ("Ada", "trims", False), ("Ada", "changes", False), ("Max", "trims", False), ("Max", "changes", True),
        ("Kim", "trims", True), ("New", "trims", False), ("Kim", "limits", False), ("Max", "limits", False),
    ):  # fmt: skip
        _, text = ask(office, staff[who], add, brought(sheet("home farm", kind)), OF)
        assert ("added as import" in text) == may, (who, kind, text)
    for farm in ("home farm", ""):
        assert "may not set limits" in ask(office, staff["Kim"], add, brought(sheet(farm, "limits")), OF)[1]
    assert len(office.ledger.imports()) == first + 2
    undo, mine = key_of(office, "imports-changed.data..."), first + 2
    pressed = {'{"number":["ALL"],"type":"undo"}.n_clicks': [({"number": mine, "type": "undo"}, 1)]}
    pressed |= {"imports-changed.data": 0}
    listing = key_of(office, "imports-list")
    assert "a.csv" in ask(office, staff["Kim"], listing, {})[1]
    assert "a.csv" not in ask(office, staff["Kit"], listing, {})[1]
    for who in ("Kit", "Max", "Ada", "New"):
        assert "taken back" not in ask(office, staff[who], undo, pressed)[1], who
    people.revoke(store, "Kim", [MINE])
    assert "taken back" not in ask(office, staff["Kim"], undo, pressed)[1]
    people.grant(store, "Kim", [MINE])
    assert "taken back" in ask(office, staff["Kim"], undo, pressed)[1]
    lines = office.ledger.frame("SELECT who, what FROM history ORDER BY history_no")
    assert ("Kim", "import added") in set(lines.itertuples(index=False, name=None))


def test_a_change_is_written_down_by_who_may_where_it_may(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cheap_hashes(monkeypatch)
    office = Office(two_farms(tmp_path / "l.duckdb"), staffed(tmp_path / "a.sqlite", STAFF, Clock()), Clock())
    key, before = key_of(office, "note-said"), len(office.ledger.imports())
    for who, search, may in (
        ("Max", ASKED, False), ("Kim", FORCED, False), ("Ada", "?farms=Home+Farm", False), ("New", ASKED, False),
        ("New", "?farms=Home+Farm", False), ("Max", "?farms=Home+Farm", True),
    ):  # fmt: skip
        values = {"note-add.n_clicks": 1, "note-day.value": "2025-05-05", "note-what.value": "New floor"}
        values |= {"address.pathname": "/change", "address.search": search}
        _, text = ask(office, office.signed_in(who), key, values)
        assert ("Written down as import" in text) == may, (who, search, text)
        assert not marks(text, *SAID)
    assert len(office.ledger.imports()) == before + 1


def test_what_was_agreed_is_written_down_and_marked_by_who_may_where_it_may(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cheap_hashes(monkeypatch)
    office = Office(two_farms(tmp_path / "l.duckdb"), staffed(tmp_path / "a.sqlite", STAFF, Clock()), Clock())
    theirs = agreements.add(office.ledger, OTHER, "zz theirs")
    mine = agreements.add(office.ledger, MINE, "ours")
    gone = agreements.add(office.ledger, OTHER, "zz gone")
    agreements.remove(office.ledger, gone)
    write, press = key_of(office, "agreed-said"), key_of(office, "written.data")

    def state() -> list[Any]:
        return [agreements.read(office.ledger, removed=gone).fillna("").to_dict("records") for gone in (False, True)]

    def pressed(who: str, act: str, number: int) -> str:
        button = {"act": act, "number": number, "type": "agreed"}
        values = {'{"act":["ALL"],"number":["ALL"],"type":"agreed"}.n_clicks': [(button, 1)]}
        return ask(office, office.signed_in(who), press, values)[1]

    before = state()
    for who, search in (("Max", ASKED), ("Kim", FORCED), ("Ada", "?farms=Home+Farm"), ("New", ASKED),
                        ("New", "?farms=Home+Farm"), ("Max", "")):  # fmt: skip
        values = {"agreed-add.n_clicks": 1, "agreed-text.value": "New floor", "agreed-day.value": "2025-05-05"}
        values |= {"address.pathname": "/today", "address.search": search}
        _, text = ask(office, office.signed_in(who), write, values)
        assert "Written down." not in text and not marks(text, *SAID), (who, search, text)
    for act in ACTS:
        number = gone if act == "restore" else theirs
        told = {pressed("Kim", act, each).replace(str(each), "N") for each in (number, 987)}
        assert len(told) == 1 and "There is no agreement" in told.pop()
        for who, each in (("Max", number), ("New", number), ("New", mine), ("Ada", mine)):
            text = pressed(who, act, each)
            assert ("There is no agreement" in text or "may not" in text) and not marks(text), (who, act, text)
    assert "no such button" in pressed("Kim", "burn", mine)
    assert state() == before
    values = {"agreed-add.n_clicks": 1, "agreed-text.value": "New floor", "agreed-day.value": "2025-05-05"}
    values |= {"address.pathname": "/today", "address.search": "?farms=Home+Farm"}
    assert "Written down." in ask(office, office.signed_in("Max"), write, values)[1]
    assert "It is done." in pressed("Kim", "done", mine) and "It is open again." in pressed("Max", "reopen", mine)
    assert "Put it back" in pressed("Max", "remove", mine) and "It is back." in pressed("Max", "restore", mine)
    assert {"New floor", "ours"} < set(agreements.read(office.ledger, [MINE])["text"])
    panels = {who: panel(office, office.signed_in(who), "today-ask", "?farms=Home+Farm") for who in ("Max", "Ada")}
    assert all("ours" in text and not marks(text) for text in panels.values())
    assert [who for who, text in panels.items() if "agreed-add" in text and "Not done" not in text] == ["Max"]


def test_records_are_corrected_by_who_brought_them_and_by_owners(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cheap_hashes(monkeypatch)
    store = staffed(tmp_path / "a.sqlite", STAFF, Clock())
    office = Office(two_farms(tmp_path / "l.duckdb"), store, Clock())
    listed = {farm: list_records(office.ledger, farm=farm) for farm in (MINE, OTHER)}
    of_import = {number: rows["id"].iloc[0] for number, rows in listed[MINE].groupby("import_no")}
    theirs = listed[OTHER]["id"].iloc[0]
    remember(store, Viewer("Kim", (MINE,), "trimmer", people.number_of(store, "Kim")), 1, "1" * 64)

    def pressed(who: str, button: str, ids: list[str], **given: str) -> str:
        values = {f"correct-{button}.n_clicks": 1, "correct-ids.value": ids, "changed": [f"correct-{button}.n_clicks"]}
        values |= {"correct-field.value": "note", "correct-value.value": "seen again", "correct-why.value": "why"}
        values |= {f"correct-{name}.value": value for name, value in given.items()}
        return ask(office, office.signed_in(who), key_of(office, "correct-said"), values)[1]

    before = {farm: list_records(office.ledger, farm=farm).astype(str).to_dict() for farm in listed}
    for button in ("change", "remove"):
        for who in ("Max", "Ada"):
            assert "may not correct" in pressed(who, button, [of_import[1]])
        told = {pressed("Kim", button, [each]).replace(each, "N") for each in (theirs, of_import[2], "0" * 12)}
        assert len(told) == 1 and "There is no record" in told.pop()
        assert "There is no record" in pressed("New", button, [of_import[1]])
        assert "Say why" in pressed("Kim", button, [of_import[1]], why=" ")
        assert "Mark the records first" in pressed("Kim", button, [])
    assert "may not write records of that farm" in pressed("Kim", "change", [of_import[1]], field="farm", value=OTHER)
    assert {farm: list_records(office.ledger, farm=farm).astype(str).to_dict() for farm in listed} == before
    assert "1 record was corrected" in pressed("Kim", "change", [of_import[1]])
    assert "1 record was removed" in pressed("Olive", "remove", [theirs])
    shown = {who: panel(office, office.signed_in(who), "corrections-list", "?farms=Home+Farm") for who in STAFF}
    assert {who for who, text in shown.items() if "correct-ids" in text} == {"Kim", "Olive"}
    assert "correct-ids" not in panel(office, office.signed_in("Kim"), "corrections-list", FORCED.replace("Home", "Zz"))
    mine, hers = (int(number) for number in office.ledger.imports()["import_no"].sort_values().tail(2))

    def taken_back(who: str, number: int) -> str:
        button = {"number": number, "type": "uncorrect"}
        values = {'{"number":["ALL"],"type":"uncorrect"}.n_clicks': [(button, 1)]}
        [key] = [key for key, entry in office.app.callback_map.items() if "uncorrect" in str(entry["inputs"])]
        return ask(office, office.signed_in(who), key, values)[1]

    assert "as they were" not in taken_back("Kim", hers) + taken_back("Max", mine)
    assert "as they were" in taken_back("Kim", mine) and "as they were" in taken_back("Olive", hers)
    after = {farm: list_records(office.ledger, farm=farm).astype(str).to_dict() for farm in listed}
    assert after == before


def test_a_visit_is_typed_by_who_may_bring_sheets_in_and_knows_no_cow_of_other_farms(
    offices: list[Office], people_in: list[dict[str, Browser]]
) -> None:
    office = offices[0]
    begin, read, hand = (key_of(office, part) for part in ("typing-begin", "typing-answer", "typing-refused"))
    take = key_of(office, "..typing-download")
    row = ["zz3", "", "", "", "SU", "3", ""]
    for who in (*NARROWED, "New"):
        opened = ask(office, people_in[0][who], begin, {"address.pathname": "/typing", "address.search": ASKED})
        assert not marks(opened[1], *SAID) and ('"farms"' in opened[1]) == (who in ("Kim", "New")), who
        for farm in (MINE, OTHER, "Nowhere"):
            asked = {"farm": farm, "n": 1, "rows": [{"id": "r1", "cells": row, "twin": None}]}
            typed = {"farm": farm, "day": "2026-01-05", "rows": [row]}
            printed = {"typing-print.n_clicks": 1, "typing-farm.value": farm, "typing-day.value": "2026-04-20"}
            printed |= {"typing-due.checked": True, "typing-paper.value": "A4"}
            answers = [
                [
                    ask(one, staff[who], read, {"typing-ask.data": asked})[1],
                    ask(one, staff[who], hand, {"typing-sheet.data": typed})[1],
                ]
                for one, staff in zip(offices, people_in, strict=True)
            ]
            # The section of a sheet has a name of its own each time.
            shown = re.sub('base64,[^"]*', "", "".join(answers[0]))
            assert answers[0][0] == answers[1][0] and not marks(shown, *SAID, "zzother-farm"), (who, farm)
            assert ("may not bring sheets in" in answers[0][1]) == (who in ("Max", "Ada")), (who, farm)
            if farm != MINE or who == "New":
                assert "No cows of this farm are known" in ask(office, people_in[0][who], take, printed)[1]


def test_photos_of_sheets_are_for_who_brought_the_sheet_and_for_owners(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cheap_hashes(monkeypatch)
    store = staffed(tmp_path / "a.sqlite", STAFF, Clock())
    office = Office(two_farms(tmp_path / "l.duckdb"), store, Clock())
    digests = dict(office.ledger.imports()[["import_no", "sha256"]].itertuples(index=False))
    of = {number: farms_of_import(office.ledger, number) for number in digests}
    mine, theirs = (next(int(number) for number in of if of[number] == {farm}) for farm in (MINE, OTHER))
    for number in (mine, theirs):  # Kim brought both while both farms were granted.
        remember(store, Viewer("Kim", (MINE,), "trimmer", people.number_of(store, "Kim")), number, digests[number])
    photos.add_photo(office.ledger, theirs, b"%PDF-1.4 zz")
    staff = {name: office.signed_in(name) for name in STAFF}

    def sent(who: str, number: int) -> tuple[int, str]:
        answer = staff[who].post(f"/imports/{number}/photos", data=b"%PDF-1.4 ours", content_type="application/pdf")
        return answer.status_code, answer.text

    refused = {who: sent(who, mine) for who in ("Max", "Ada", "New")} | {"Kim": sent("Kim", theirs)}
    assert {code for code, _ in refused.values()} == {409}
    assert all("may not bring sheets in" in refused[who][1] for who in ("Max", "Ada"))
    assert {refused["New"], refused["Kim"], sent("Kim", 987)} == {(409, f"{NO_SUCH}\n")}
    assert len(photos.photos_of(office.ledger)) == 1
    assert sent("Kim", mine) == (200, f"/imports/{mine}/photos/1")
    seen = {
        (who, number): staff[who].get(f"/imports/{number}/photos/1") for who in STAFF for number in (mine, theirs, 987)
    }
    assert {key for key, answer in seen.items() if answer.status_code == 200} == {
        ("Kim", mine), ("Olive", mine), ("Olive", theirs)
    }  # fmt: skip
    for who in (*NARROWED, "New"):
        assert not marks(seen[who, theirs].text) and seen[who, theirs].text == seen[who, 987].text, who
    assert office.client().get(f"/imports/{mine}/photos/1").status_code == 303
    for who in STAFF:
        _, listed = ask(office, staff[who], key_of(office, "imports-list"), {"address.pathname": "/import"})
        beside = panel(office, staff[who], "corrections-list", f"?brought={mine}")
        assert (f"/imports/{mine}/photos/1" in listed) == (who in ("Kim", "Olive")), who
        assert (f"/imports/{mine}/photos/1" in beside) == (who in ("Kim", "Olive")), who
        assert (f"/imports/{theirs}/photos/1" in listed) == (who == "Olive"), who
    [remove] = [key for key, entry in office.app.callback_map.items() if "photo-out" in str(entry["inputs"])]

    def removed(who: str, number: int) -> str:
        button = {"import": number, "number": 1, "type": "photo-out"}
        values = {'{"import":["ALL"],"number":["ALL"],"type":"photo-out"}.n_clicks': [(button, 1)]}
        return ask(office, staff[who], remove, values)[1]

    assert all("may not correct" in removed(who, mine) for who in ("Max", "Ada"))
    assert all("no such import" in text for text in (removed("New", mine), removed("Kim", theirs), removed("Kim", 987)))
    assert len(photos.photos_of(office.ledger)) == 2
    assert "The photo was removed" in removed("Kim", mine) and "no such photo" in removed("Kim", mine)
    assert "The photo was removed" in removed("Olive", theirs) and not photos.photos_of(office.ledger)


def test_how_far_somebodys_work_is_is_told_to_nobody_else(
    offices: list[Office], people_in: list[dict[str, Browser]], monkeypatch: pytest.MonkeyPatch
) -> None:
    for work in ("import", "report"):
        monkeypatch.setitem(progress._now, ("Kim", work), (0.0, say("Reading zz.csv")))
        key = key_of(offices[0], f"{work}-progress")
        seen = {who: marks(ask(offices[0], people_in[0][who], key, {})[1]) for who in STAFF}
        assert {who for who in STAFF if seen[who]} == {"Kim"}


def test_links_are_made_seen_and_revoked_by_who_may(offices: list[Office], people_in: list[dict[str, Browser]]) -> None:
    office, staff = offices[0], people_in[0]
    make, listing = key_of(office, "link-made"), key_of(office, "link-list")

    def made(who: str, search: str) -> str:
        values = {
            "link-make.n_clicks": 1,
            "link-days.value": "7",
            "report-language.value": "en",
            "address.search": search,
        }
        return ask(office, staff[who], make, values)[1]

    assert "/shared/" in made("Kim", "?farms=Home+Farm")
    for who, search in (("Kim", ASKED), ("Kim", FORCED), ("Max", "?farms=Home+Farm"), ("Ada", "?farms=Home+Farm"),
                        ("New", "?farms=Home+Farm"), ("Kim", "?farms=Nowhere")):  # fmt: skip
        assert "/shared/" not in made(who, search), (who, search)
    links.make(office.store, OWNER, OTHER)
    [others] = [link for link in links.listed(office.store, OWNER) if link.farm == OTHER]
    for who in (*NARROWED, "New"):
        assert not marks(ask(office, staff[who], listing, {})[1])
        assert not marks(staff[who].get("/account").text)
        revoke = {'{"id":["ALL"],"type":"link-revoke"}.n_clicks': [({"id": others.id, "type": "link-revoke"}, 1)]}
        values = revoke | {
            "changed": [json.dumps({"id": others.id, "type": "link-revoke"}, separators=(",", ":")) + ".n_clicks"]
        }
        assert not marks(ask(office, staff[who], make, values)[1])
        staff[who].post("/account", data={"act": "revoke link", "link": others.id})
    assert next(link for link in links.listed(office.store, OWNER) if link.id == others.id).revoked_at is None


def test_a_letterhead_is_kept_for_who_may_and_told_to_nobody_else(
    offices: list[Office], people_in: list[dict[str, Browser]]
) -> None:
    office, staff = offices[0], people_in[0]
    keep, fill, to = (key_of(office, name) for name in ("report-kept", "..report-trimmer", "mail-to"))
    for who in STAFF:
        values = {"report-trimmer.value": f"Firm of {who}", "report-owner.value": f"Farmer of {who}"}
        for search in ("?farms=Home+Farm", ASKED):
            ask(office, staff[who], keep, values | {"address.search": search})
    for who in STAFF:
        text = ask(office, staff[who], fill, {"address.search": "?farms=Home+Farm"})[1]
        assert ("Firm of" in text) == (f"Firm of {who}" in text) == (who in ("Olive", "Kim", "New")), who
        assert not marks(ask(office, staff[who], fill, {"address.search": ASKED})[1])
        assert not marks(ask(office, staff[who], to, {"address.search": ASKED})[1])
    with office.store.open() as connection:
        assert {row["farm"] for row in connection.execute("SELECT farm FROM letterheads WHERE account != 1")} <= {
            "", "Home Farm"
        }  # fmt: skip
        connection.execute("DELETE FROM letterheads")


def test_reports_are_mailed_by_who_may(offices: list[Office], people_in: list[dict[str, Browser]]) -> None:
    key = key_of(offices[0], "mail-said")
    for who in NARROWED:
        for search in (ASKED, FORCED, "?farms=Home+Farm"):
            values = filled(search, "show") | {"mail-send.n_clicks": 1, "mail-to.value": "x@example.org"}
            text = ask(offices[0], people_in[0][who], key, values)[1]
            assert not marks(text, *SAID) and "was mailed" not in text
            if who != "Kim" and search == "?farms=Home+Farm":
                assert "may not share reports" in text, who


def test_every_address_as_every_role_and_as_nobody(offices: list[Office], people_in: list[dict[str, Browser]]) -> None:
    office = offices[0]
    paths = {
        rule.rule.replace("<path:path>", "zz").replace("<path:filename>", "zz").replace("<token>", "zz")
        .replace("<name>", "lesion-cows").replace("<int:import_no>", "1").replace("<int:number>", "1")
        .replace("<string:package_name>/<path:fingerprinted_path>", "dash/zz")
        for rule in office.app.server.url_map.iter_rules()
    }  # fmt: skip
    paths |= {*PAGES, "/assets/../../accounts.sqlite", "/assets/%2e%2e/app.py", "/assets//etc/passwd", "/data.duckdb"}
    for who, browser in {**people_in[0], "nobody": office.client()}.items():
        for path in sorted(paths - {"/logout"}):
            answer = browser.get(path + ASKED)
            text = answer.get_data().decode("utf-8", "replace")
            known = (200, 204, 302, 303, 308, 400, 401, 403, 404, 405, 409)
            assert answer.status_code in known, (who, path, answer.status_code)
            if who != "Olive" and not path.startswith(("/_dash-component-suites", "/_favicon")):
                assert not marks(text, *SAID, "Zzother%2BFarm", path.strip("/")), (who, path)
            if who == "nobody" and answer.status_code == 200:
                wiping = ("/chute/wiping.js", "/chute/signed-out.js")
                assert path in ("/login", "/health", "/_favicon.ico", *wiping), path
            assert "Traceback" not in text and "SQLite" not in text


def test_nobody_reaches_any_callback(offices: list[Office]) -> None:
    office, nobody = offices[0], offices[0].client()
    for key in office.app.callback_map:
        assert nobody.post("/_dash-update-component", json={"output": key, "inputs": []}).status_code == 401, key
    stranger = office.client()
    stranger.client.set_cookie(office.store.cookie("evenfoot-session"), "made up", domain="localhost")
    assert stranger.post("/_dash-update-component", json={}).status_code == 401


@pytest.mark.parametrize("who", NARROWED)
def test_no_list_of_the_other_farm_is_given(
    offices: list[Office], people_in: list[dict[str, Browser]], who: str
) -> None:
    key = key_of(offices[0], "plan-download.data")
    place = {"type": "take-plan", "day": "2026-04-20", "farm": OTHER}
    values = {
        '{"day":["ALL"],"farm":["ALL"],"type":"take-plan"}.n_clicks': [(place, 1)],
        "address.search": ASKED,
    }
    code, text = ask(offices[0], people_in[0][who], key, values)
    assert code == 200 and not marks(text, *SAID)
    assert "The plan has no visit to" in text


def test_every_callback_is_walked(offices: list[Office]) -> None:
    """Whoever adds a callback adds it to these tests, and says who may use it."""
    server_side = {each["output"] for each in offices[0].app._callback_list if each.get("clientside_function") is None}
    walked = {
        "content.children", "..navigation.children", "..trail.children", "..done.children", "..plan-download",
        '{"name":["MATCH"],"type":"panel"}', '{"name":["MATCH"],"type":"certainty"}',
        "link-made", "link-list", "..report-preview", "..report-logo-told", "..report-trimmer", "report-kept",
        "mail-said", "mail-to",
        "..sheets.children", '..{"of":["MATCH"],"type":"body"}', '{"of":["MATCH"],"type":"answers"}', "..imports-list",
        "..imports-changed", "set-aside-download", "..mending",
        "..note-said",
        "..agreed-said", "..written.data",
        "correct-ids", "..correct-said", "import-progress",
        "typing-begin", "typing-answer", "..typing-download",
        "report-progress",
    }  # fmt: skip
    assert {key for key in server_side if not key.startswith(tuple(walked))} == set()
