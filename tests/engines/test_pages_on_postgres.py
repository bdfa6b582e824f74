"""The dashboard over a ledger on a server: every panel as over a file, imports, and changes that others make."""

from __future__ import annotations

import base64
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.engines.postgres import PostgresEngine
from evenfoot.analytics.ledger.transfer import move
from evenfoot.dashboard.pages import PAGES, PANELS
from tests.auth.asking import ask, asked, settled
from tests.auth.people import Office
from tests.auth.two_farms import MINE, two_farms
from tests.effort import WHOLE, some
from tests.engines.conftest import Maker
from tests.engines.panels import drawn, office_of, shown_by, unlike

pytestmark = pytest.mark.long

SEARCH = f"?farms={MINE.replace(' ', '+')}&visits=all&cow=1"

SHEET = "date,farm,cow,foot,claw,lesion\n2026-03-04,Home Farm,901,RH,outer,SU\n2026-03-04,Home Farm,902,,,gremlins\n"


@pytest.fixture(scope="module")
def farms(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    return two_farms(tmp_path_factory.mktemp("farms") / "farms.duckdb")


@pytest.fixture(scope="module")
def pair(farms: Ledger, postgres_ledger: Maker, tmp_path_factory: pytest.TempPathFactory) -> tuple[Office, Office]:
    """The same records in a file and on the server."""
    server = postgres_ledger()
    move(farms, server)
    folder = tmp_path_factory.mktemp("offices")
    return office_of(farms, folder), office_of(server, folder)


FIRST = some(page.panels[0].name for page in PAGES.values() if page.panels)


def test_the_first_panel_of_a_page_is_the_same(pair: tuple[Office, Office]) -> None:
    """All measures are compared in test_measures_on_postgres.py."""
    ours, theirs = (shown_by(each, SEARCH, FIRST) for each in pair)
    for name in FIRST:
        assert unlike(ours[name], theirs[name]) == [], name


@pytest.mark.skipif(not WHOLE, reason="`make test-whole` draws them, which takes some minutes")
def test_every_panel_of_the_demo_herds_is_the_same(demo_ledger: Ledger, postgres_ledger: Maker, tmp_path: Path) -> None:
    server = postgres_ledger()
    move(demo_ledger, server)
    for search in ("", "?farms=Larkmoor&since=2025-03-01&cow=1420"):
        ours, theirs = (shown_by(office_of(each, tmp_path), search) for each in (demo_ledger, server))
        assert {name: unlike(ours[name], theirs[name]) for name in PANELS if unlike(ours[name], theirs[name])} == {}


@pytest.fixture
def office(farms: Ledger, postgres_ledger: Maker, tmp_path: Path) -> Iterator[Office]:
    ledger = postgres_ledger()
    move(farms, ledger)
    yield office_of(ledger, tmp_path)
    assert isinstance(ledger.engine, PostgresEngine)
    ledger.engine.close()


def key_of(office: Office, part: str) -> str:
    return next(key for key in office.app.callback_map if key.strip(".").startswith(part))


def frame(office: Office) -> str:
    """The frame of the lesion page, with the version it was made from."""
    answer = office.client().post(
        "/_dash-update-component",
        json=asked(office, key_of(office, "navigation.children"), {"address.pathname": "/lesions"}),
    )
    assert answer.status_code == 200
    version: str = answer.json["response"]["seen-version"]["data"]
    return version


def stale(office: Office, version: str) -> bool:
    """Whether a page made from a version says that the ledger has changed since."""
    answer = office.client().get("/_ledger-state")
    assert answer.status_code == 200
    return answer.json["version"] not in (None, version)


def test_what_another_program_imports_is_told_and_drawn(office: Office, tmp_path: Path) -> None:
    seen = frame(office)
    _, before = drawn(office, "lesion-cows", "?visits=all&rows=all")
    assert not stale(office, seen) and "901" not in before
    sheet = tmp_path / "sheet.csv"
    sheet.write_text(SHEET)
    importing = "from evenfoot.dashboard.cli.main import main; main()"
    command = [sys.executable, "-c", importing, "import", str(sheet), "--accept", "--ledger", office.ledger.address]
    done = subprocess.run(command, check=False, capture_output=True)
    assert done.returncode == 4, "all but the row that cannot be read is in"
    assert stale(office, seen) and not stale(office, frame(office))
    _, after = drawn(office, "lesion-cows", "?visits=all&rows=all")
    assert "901" in after


def test_the_import_page_adds_lists_and_takes_back(office: Office) -> None:
    browser = office.client()
    contents = "data:text/csv;base64," + base64.b64encode(SHEET.encode()).decode()
    values = {
        '{"of":["MATCH"],"type":"sheet"}.data': {"name": "new.csv", "contents": contents},
        '{"of":["MATCH"],"type":"answers"}.data': {
            "given": {"word:gremlins": "aside", "rest:Home Farm:2026-03-04": "not known"},
            "fold": False,
        },
        '{"of":["MATCH"],"type":"add"}.n_clicks': 1,
    }
    of_body = [key for key in office.app.callback_map if '"type":"body"' in key]
    [add] = [key for key in of_body if '"type":"done"' in key]
    [read] = [key for key in of_body if key != add]
    code, text = ask(office, browser, read, values, {"of": "1"})
    assert code == 200 and "gremlins" in text
    code, text = ask(office, browser, add, values, {"of": "1"})
    assert code == 200 and "added as import" in text, text
    number = int(office.ledger.imports()["import_no"].max())
    assert office.ledger.imports()["file"].iloc[-1] == "new.csv"
    listed = key_of(office, "imports-list.children")
    code, text = ask(office, browser, listed, {"imports-changed.data": 1, "address.pathname": "/import"})
    assert code == 200 and "new.csv" in text
    undo = next(key for key in office.app.callback_map if "imports-changed.data..." in key)
    told = '{"number":["ALL"],"type":"undo"}.n_clicks'
    code, text = ask(
        office, browser, undo, {told: [({"type": "undo", "number": number}, 1)], "imports-changed.data": 1}
    )
    assert code == 200 and f"Import {number} was taken back" in text, text


def test_a_server_that_is_away_is_told_on_the_page(office: Office) -> None:
    """The page stands, every panel says why it is empty, and nothing answers with a failure."""
    engine = office.ledger.engine
    assert isinstance(engine, PostgresEngine)
    seen = frame(office)
    away = office_of(open_ledger("postgres://postgres@127.0.0.1:1/nowhere"), office.store.path.parent)
    values = {
        "address.pathname": "/lesions",
        "address.search": "",
        "seen-version.data": seen,
        "imports-changed.data": 0,
        "ready.data": True,
    }
    for part in ("navigation.children", "content.children", "imports-list.children", "trail.children"):
        code, text = ask(away, away.client(), key_of(away, part), values)
        assert code == 200, (part, text)
        if part in ("navigation.children", "imports-list.children"):
            assert "cannot be reached" in text
    assert not stale(away, seen)
    for name in ("lesion-types", "herd-review", "locomotion-trend"):
        code, text = drawn(away, name, "")
        assert code == 200 and "cannot be reached" in settled(text), (name, text)
