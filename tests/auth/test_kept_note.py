"""A ledger that has accounts is never open because their file is missing."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.dashboard.auth import people, store_of
from evenfoot.dashboard.auth.kept_note import has_note
from evenfoot.dashboard.cli.main import main
from evenfoot.dashboard.web import server
from tests.auth.people import PASSWORD, Clock, Office, cheap_hashes
from tests.ports import free_port
from tests.report.made import herd

LOST = "has accounts, but there are none in"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    cheap_hashes(monkeypatch)
    monkeypatch.delenv("EVENFOOT_ACCOUNTS", raising=False)


def command(monkeypatch: pytest.MonkeyPatch, ledger: Path, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["evenfoot", *words, "--ledger", str(ledger)])
    monkeypatch.setattr(sys, "stdin", io.StringIO(PASSWORD + "\n"))
    try:
        main()
    except SystemExit as left:
        return int(str(left.code or 0))
    return 0


@pytest.fixture
def ledger(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ledger:
    made = herd(tmp_path / "l.duckdb", "Home Farm", 5)
    assert command(monkeypatch, tmp_path / "l.duckdb", "accounts", "add", "Olive", "--role", "owner") == 0
    made.lease.drop_if_idle()
    return made


def accounts_file(ledger: Ledger) -> Path:
    return Path(f"{ledger.name}.accounts.sqlite")


def serves(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    """Start the server as far as it listens."""

    def stop(*_app: object, **_how: object) -> None:
        raise InterruptedError

    monkeypatch.setattr("waitress.server.create_server", stop)
    with pytest.raises(InterruptedError):
        server.run(ledger, "127.0.0.1", free_port())


def refused(ledger: Ledger) -> str:
    with pytest.raises(UserError) as told:
        server.run(ledger, "127.0.0.1", free_port())
    return str(told.value)


def test_the_server_does_not_start_when_the_file_was_moved_away(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    serves(ledger, monkeypatch)
    accounts_file(ledger).rename(accounts_file(ledger).with_name("elsewhere.sqlite"))
    told = refused(ledger)
    assert LOST in told and "accounts add" in told
    monkeypatch.setenv("EVENFOOT_ACCOUNTS", str(accounts_file(ledger).with_name("elsewhere.sqlite")))
    serves(ledger, monkeypatch)


def test_the_server_does_not_start_on_a_renamed_or_copied_or_restored_ledger(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    restore(open_ledger(tmp_path / "restored.duckdb"), copy)
    Path(ledger.name).rename(tmp_path / "renamed.duckdb")
    for name in ("renamed", "copy", "restored"):
        assert LOST in refused(open_ledger(tmp_path / f"{name}.duckdb")), name


def test_an_empty_accounts_file_opens_nothing(ledger: Ledger) -> None:
    accounts_file(ledger).unlink()
    store_of(ledger).secret()
    assert accounts_file(ledger).exists()
    assert LOST in refused(ledger)


def test_a_running_server_stays_closed_when_the_file_goes(ledger: Ledger) -> None:
    office = Office(ledger, store_of(ledger), Clock())
    assert office.client().get("/_dash-layout").status_code == 401
    accounts_file(ledger).unlink()
    assert office.client().get("/_dash-layout").status_code == 401
    assert office.client().get("/health").text == "ok\n"


def test_a_ledger_with_accounts_that_is_put_in_the_place_of_an_open_one_is_closed(
    ledger: Ledger, tmp_path: Path
) -> None:
    other = herd(tmp_path / "other.duckdb", "Open Farm", 6)
    office = Office(other, store_of(other), Clock())
    assert office.client().get("/_dash-layout").status_code == 200
    restore(other, back_up(ledger, tmp_path / "copy.duckdb"), replace=True)
    assert office.client().get("/_dash-layout").status_code == 401


def test_a_new_owner_or_taking_the_last_account_away_opens_it_again(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    accounts_file(ledger).unlink()
    path = Path(ledger.name)
    assert command(monkeypatch, path, "accounts", "list") == 2
    assert command(monkeypatch, path, "accounts", "grant", "Kim", "--farm", "Home Farm") == 2
    assert LOST in capsys.readouterr().err
    assert command(monkeypatch, path, "accounts", "add", "Ann", "--role", "owner") == 0
    serves(ledger, monkeypatch)
    assert command(monkeypatch, path, "accounts", "remove", "Ann") == 0
    assert not has_note(ledger)
    serves(ledger, monkeypatch)
    assert Office(ledger, store_of(ledger), Clock()).client().get("/_dash-layout").status_code == 200


def test_accounts_made_before_the_first_sheet_and_those_from_before_are_noted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert command(monkeypatch, tmp_path / "new.duckdb", "accounts", "add", "Olive", "--role", "owner") == 0
    new = open_ledger(tmp_path / "new.duckdb")
    assert has_note(new) and new.farms() == []
    older = herd(tmp_path / "older.duckdb", "Home Farm", 5)
    people.add(store_of(older), "Olive", "owner", PASSWORD)
    assert not has_note(older)
    serves(older, monkeypatch)
    assert has_note(older)


def test_a_backup_from_before_there_were_accounts_is_noted_when_it_is_put_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = herd(tmp_path / "l.duckdb", "Home Farm", 5)
    copy = back_up(ledger, tmp_path / "copy.duckdb")
    assert command(monkeypatch, tmp_path / "l.duckdb", "accounts", "add", "Olive", "--role", "owner") == 0
    assert command(monkeypatch, tmp_path / "l.duckdb", "restore", "--replace", str(copy)) == 0
    assert has_note(ledger)


def test_the_command_says_it_in_one_sentence(ledger: Ledger) -> None:
    accounts_file(ledger).unlink()
    ledger.lease.drop_if_idle()
    run = [
        sys.executable,
        "-c",
        "from evenfoot.dashboard.cli.main import main; main()",
        "serve",
        "--ledger",
        ledger.name,
    ]
    done = subprocess.run([*run, "--port", str(free_port())], capture_output=True, text=True, timeout=120)
    assert done.returncode == 2 and LOST in done.stderr and len(done.stderr.splitlines()) == 1
