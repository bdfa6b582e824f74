"""Text of a sheet stays text: in no answer, file, report or message does it become markup, a formula, SQL or a path."""

from __future__ import annotations

import base64
import csv
import datetime as dt
import io
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import openpyxl
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.exports.folder import export_folder
from evenfoot.analytics.measures.planning.plan import plan
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.pages import PANELS, report
from evenfoot.dashboard.report.calendar import icalendar
from evenfoot.dashboard.report.chute_list import chute_list
from evenfoot.dashboard.ui.file_names import file_name
from evenfoot.dashboard.ui.tables import csv_text
from tests.auth.asking import ask, panel
from tests.auth.people import Clock, Office
from tests.effort import some
from tests.hostile import FARMS, TEXTS, hostile_ledger

pytestmark = pytest.mark.long

FILLED: dict[str, Any] = {
    "sections": ["summary", "agreed", "visit", "cows", "lesions", "locomotion", "horn", "changes", "remarks"],
    "language": "en", "units": "mm", "paper": "A4", "remarks": "\n".join(TEXTS), "trimmer": TEXTS[0],
    "address": "\n".join(TEXTS), "owner": TEXTS[1],
}  # fmt: skip


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    return hostile_ledger(tmp_path_factory.mktemp("hostile") / "l.duckdb")


@pytest.fixture(scope="module")
def office(ledger: Ledger, tmp_path_factory: pytest.TempPathFactory) -> Office:
    return Office(ledger, Store(tmp_path_factory.mktemp("none") / "none.sqlite"), Clock())


class Marks(HTMLParser):
    """Tags of a document that could run or fetch something, and attributes that could."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "iframe", "object", "embed", "form", "base", "link"):
            self.found.append(tag)
        for name, value in attrs:
            plain = re.sub(r"\s", "", value or "").casefold()
            if name.startswith("on") or plain.startswith(("javascript:", "data:text")):
                self.found.append(f"{tag} {name}={value}")


def marks_of(document: str) -> list[str]:
    reader = Marks()
    reader.feed(document)
    return reader.found


def formulas(text: str) -> list[str]:
    """Cells of a CSV that a spreadsheet would take for a formula."""
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    return [cell for cell in cells if re.match(r"[=+\-@\t\r]", cell) and not re.fullmatch(r"[+-]?[\d.,e+-]+", cell)]


def test_everything_came_in_as_it_was_and_nothing_else_happened(ledger: Ledger) -> None:
    assert set(ledger.farms()) == set(FARMS)
    cows = set(ledger.frame("SELECT DISTINCT cow FROM trims")["cow"])
    assert {"<img src=x onerror=window.struck=1>", "'; DROP TABLE trims; --", "{{7*7}}${7*7}#{7*7}"} <= cows


def test_no_panel_fails_and_every_csv_is_harmless(office: Office) -> None:
    from urllib.parse import urlencode

    seen = 0
    for place, name in some(enumerate(PANELS), 2):
        search = "?" + urlencode({"farms": FARMS[place % 3], "visits": "all", "cow": TEXTS[place % 4], "by": "group"})
        text = panel(office, office.client(), name, search)
        assert "49" not in re.findall(r"\{\{7\*7\}\}|49\$49", text)
        for found in re.findall(r"data:text/csv;charset=utf-8,([^\"]*)", text):
            seen += 1
            assert formulas(unquote(found)) == [], name
    assert seen > 7


def test_a_table_for_a_spreadsheet_keeps_numbers_and_marks_formulas() -> None:
    import pandas as pd

    text = csv_text(pd.DataFrame({"cow": list(TEXTS), "gap": [-1.5] * len(TEXTS)}))
    assert formulas(text) == [] and "'=cmd" in text and ",-1.5" in text


@pytest.mark.parametrize(("farm", "kind"), [(FARMS[0], "html"), (FARMS[1], "xlsx"), (FARMS[2], "xlsx")])
def test_reports_hold_text_alone(ledger: Ledger, farm: str, kind: str) -> None:
    from urllib.parse import urlencode

    request = report.request_from(FILLED, None, "?" + urlencode({"farms": farm}), ledger)
    _, download = report.made(ledger, request, kind)
    assert re.fullmatch(r"[a-z0-9-]+\.(html|xlsx)", download["filename"])
    data = base64.b64decode(download["content"])
    if kind == "html":
        document = data.decode()
        assert marks_of(document) == []
        assert document.count("<style>") == document.count("</style>")
        return
    book = openpyxl.load_workbook(io.BytesIO(data))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert [cell.value for cell in cells if cell.data_type == "f"] == []
    assert [cell.hyperlink.target for cell in cells if cell.hyperlink] == []


def test_the_preview_of_a_report_is_in_a_frame_that_runs_nothing(ledger: Ledger) -> None:
    request = report.request_from(FILLED | {"owner": ""}, None, "?farms=" + "%3Dcmd%7C%27%2FC%20calc%27%21A0", ledger)
    frame, _ = report.made(ledger, request, "show")
    assert frame.sandbox == "" and marks_of(frame.srcDoc) == []


def test_calendars_and_lists_hold_text_alone(ledger: Ledger) -> None:
    answer = plan(ledger, Selection(), on=dt.date(2026, 4, 20))
    assert len(answer.table)
    calendar = icalendar(answer)
    names = {re.split("[:;]", line)[0] for line in calendar.splitlines() if not line.startswith(" ")}
    assert names <= {"BEGIN", "VERSION", "PRODID", "CALSCALE", "UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY",
                         "LAST-MODIFIED", "SEQUENCE",
                     "DESCRIPTION", "TRANSP", "END"}  # fmt: skip
    assert formulas(csv_text(answer.table)) == []
    for row in answer.table.head(4).to_dict("records"):
        assert marks_of(chute_list(answer, row["date"].date(), str(row["farm"]))) == []


def test_a_folder_of_sheets_is_harmless_and_comes_back_the_same(ledger: Ledger, tmp_path: Path) -> None:
    from evenfoot.analytics.intake import check_file

    export_folder(ledger, tmp_path / "out", format="csv")
    text = (tmp_path / "out" / "trims.csv").read_text()
    assert formulas(text) == []
    [sheet] = check_file(text.encode(), "trims.csv", known_farms=ledger.farms())
    kept = ledger.frame("SELECT DISTINCT cow FROM trim_rows")["cow"]
    assert set(sheet.records["cow"]) == set(kept)


def test_no_name_becomes_a_path() -> None:
    assert len({file_name(text) for text in (*FARMS, *TEXTS)}) == len({*FARMS, *TEXTS})
    for text in (*FARMS, *TEXTS):
        assert re.fullmatch(r"[a-z0-9-]+", file_name(text))


def test_a_subject_of_a_message_stays_one_line() -> None:
    from evenfoot.dashboard.report.mail import message

    for text in (*FARMS, *TEXTS):
        raw = message("a@example.org", ["b@example.org"], text, text, []).as_bytes()
        head = raw.replace(b"\r\n", b"\n").partition(b"\n\n")[0]
        names = {line.split(b":")[0] for line in head.split(b"\n") if line[:1] not in b" \t"}
        assert b"Bcc" not in names and b"X-Struck" not in names, head


@pytest.mark.parametrize("text", [*FARMS, *TEXTS, "nul\x00byte"])
def test_text_in_an_address_is_only_text(office: Office, text: str) -> None:
    from urllib.parse import urlencode

    values = {"address.pathname": "/lesions", "seen-version.data": "x"}
    values["address.search"] = "?" + urlencode(
        {"farms": text, "lesions": text, "groups": text, "cow": text, "on": text}
    )
    for part in ("trail.children", "navigation.children"):
        key = next(key for key in office.app.callback_map if part in key)
        code, said = ask(office, office.client(), key, values)
        assert code == 200, said
        for found in re.findall(r'"href": ?"([^"]*)"', said):
            assert found.startswith("/") and not found.startswith("//"), found
    page = office.client().get("/lesions" + values["address.search"]).text
    assert "struck" not in page


def test_errors_reveal_nothing(office: Office) -> None:
    browser = office.client()
    bodies: list[Any] = [
        None,
        {},
        [],
        {"output": "x"},
        {"output": "content.children", "inputs": "x"},
        {"output": TEXTS[0]},
    ]
    bodies += [{"output": "content.children", "outputs": {}, "inputs": [{"id": "a", "property": "b", "value": {}}]}]
    for body in bodies:
        answer = browser.post("/_dash-update-component", json=body)
        assert answer.status_code in (200, 204, 400, 415, 500)
        assert not re.search(r"Traceback|File \"|\.py|/dash/|duckdb|sqlite", answer.text, re.IGNORECASE), answer.text
    for path, code in (("/_dash-component-suites/x/y.js", 404), ("/assets/none.css", 404), ("/shared/x", 404)):
        answer = browser.get(path)
        assert answer.status_code == code and len(answer.text) < 300 and "\n" in answer.text
    assert browser.post("/").status_code == 405
    huge = browser.post(
        "/_dash-update-component", data=b"x", content_type="application/json", headers={"Content-Length": str(10**10)}
    )
    assert huge.status_code in (400, 413)
