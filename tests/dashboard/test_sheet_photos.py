"""What the server does with photos of sheets: what it takes, what it refuses in a sentence, what it gives back."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.analytics.ledger.photos import LARGEST, MOST
from evenfoot.dashboard.auth import Store
from tests.auth.asking import ask, panel
from tests.auth.people import Clock, Office
from tests.ledger.test_photos import EXIF, JPEG, SCANNED, START
from tests.sheets import checked, ledger_of

ROWS = [{"visit_date": "2026-03-02", "farm": "Home Farm", "cow": cow, "lesion": None} for cow in "12"]


@pytest.fixture
def office(tmp_path: Path) -> Office:
    clock = Clock()
    return Office(ledger_of(tmp_path / "l.duckdb", checked("trims", ROWS)), Store(tmp_path / "a.sqlite", clock), clock)


def sent(office: Office, data: bytes, number: int = 1) -> tuple[int, str]:
    headers = {"Content-Type": "image/svg+xml", "Sec-Fetch-Site": "same-origin"}
    answer = office.client().post(f"/imports/{number}/photos", data=data, headers=headers)
    return answer.status_code, answer.text


def test_a_photo_is_given_back_as_what_it_is_and_nothing_in_it_runs(office: Office) -> None:
    assert sent(office, START + EXIF + JPEG[2:]) == (200, "/imports/1/photos/1")
    assert sent(office, SCANNED) == (200, "/imports/1/photos/2")
    assert sent(office, SCANNED) == (200, "/imports/1/photos/2")
    for number, kind, data in ((1, "image/jpeg", JPEG), (2, "application/pdf", SCANNED)):
        answer = office.client().get(f"/imports/1/photos/{number}")
        assert (answer.mimetype, answer.data) == (kind, data)
        assert answer.headers["Content-Disposition"].startswith("inline")
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'; script-src 'self'")
        assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"%PDF-" + bytes(LARGEST), "A photo or scan may have 5 MB; take it with fewer pixels.\n"),
        (b"<svg onload='x()'/>", "This is neither a JPEG nor a PDF; choose a photo or a scan of the sheet.\n"),
        (START + EXIF, "This photo is broken and cannot be shown; take it again.\n"),
    ],
)
def test_what_is_refused_is_refused_in_one_sentence(office: Office, data: bytes, sentence: str) -> None:
    assert sent(office, data) == (409, sentence)
    answer = office.client().get("/imports/1/photos/1")
    assert (answer.status_code, answer.text.count("\n")) == (404, 1)


def test_an_import_that_is_not_there_or_has_enough_takes_none(office: Office) -> None:
    assert sent(office, JPEG, 99)[1] == (
        "Import 99 has no rows of its own of one farm, so that no photo can be kept with it.\n"
    )
    for turn in range(MOST):
        assert sent(office, SCANNED + bytes([turn]))[0] == 200
    assert sent(office, JPEG)[0] == 409


def test_the_list_of_imports_and_the_corrections_show_it_also_after_it_was_taken_back(office: Office) -> None:
    browser = office.client()
    key = next(key for key in office.app.callback_map if "imports-list" in key)

    def listed() -> str:
        return ask(office, browser, key, {"address.pathname": "/import"})[1]

    assert "Photo" not in listed() + panel(office, browser, "corrections-list", "?brought=1")
    sent(office, JPEG)
    assert "Photo of the sheet of import 1" in listed()
    beside = panel(office, browser, "corrections-list", "?brought=1")
    assert "photo-pane" in beside and "/imports/1/photos/1" in beside
    assert "photo-pane" not in panel(office, browser, "corrections-list", "?farms=Home+Farm")
    sent(office, SCANNED)
    assert "Photo 2 of the sheet of import 1" in listed()
    undo_import(office.ledger, 1, copy=False)
    assert "/imports/1/photos/2" in listed()
