"""Who changed what of accounts and links: noted with the change, by page or command, and never with a secret."""

from __future__ import annotations

import getpass
import re
import sqlite3
from pathlib import Path

import pytest

from analytics.ledger import open_ledger
from analytics.mistake import Mistake
from dashboard.accounts import links, people
from dashboard.accounts.history import history
from dashboard.accounts.store import Store
from dashboard.accounts.viewer import OWNER
from tests.accounts.people import PASSWORD, Clock, Office, cheap_hashes, staffed

NEW = "another four words here"
ME = (getpass.getuser(), "command")


@pytest.fixture
def office(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Office:
    cheap_hashes(monkeypatch)
    clock = Clock()
    staff = {"Olive": ("owner", ()), "Kim": ("trimmer", ("Home Farm",))}
    store = staffed(tmp_path / "accounts.sqlite", staff, clock)
    return Office(open_ledger(tmp_path / "none.duckdb"), store, clock)


def noted(store: Store) -> list[tuple[str, str, str, str]]:
    return [
        (line["who"], line["through"], line["what"], line["subject"])
        for line in history(store).to_dict("records")
        if not line["what"].startswith("account made")
    ]


def test_what_is_done_on_the_account_page_is_noted_under_the_readers_name(office: Office) -> None:
    token = links.make(office.store, OWNER, "Home Farm")
    [link] = links.listed(office.store, OWNER)
    kim, olive = office.signed_in("Kim"), office.signed_in("Olive")
    wrong = {"act": "change password", "password": "wrong", "new": NEW, "again": NEW}
    assert kim.post("/account", data=wrong).status_code == 400
    assert kim.post("/account", data=wrong | {"password": PASSWORD}).status_code == 303
    assert kim.post("/account", data={"act": "revoke link", "link": link.id}).status_code == 400
    assert olive.post("/account", data={"act": "revoke link", "link": link.id}).status_code == 200
    assert olive.post("/account", data={"act": "revoke link", "link": link.id}).status_code == 200
    assert olive.post("/account", data={"act": "sign out everywhere"}).status_code == 303
    assert noted(office.store) == [
        (*ME, f"link made, for {links.DAYS} days", f"link {link.id}"),
        ("Kim", "page", "password changed", "account Kim"),
        ("Olive", "page", "link revoked", f"link {link.id}"),
        ("Olive", "page", "signed out everywhere", "account Olive"),
    ]
    lines = history(office.store)
    assert lines["noted_at"].iloc[-1].timestamp() == office.clock.now
    text = lines.to_csv()
    with office.store.look() as connection:
        hashes = [row["password"] for row in connection.execute("SELECT password FROM accounts")]
    for secret in (PASSWORD, NEW, token, *token.split("."), *hashes):
        assert secret not in text


def test_what_is_refused_leaves_no_line(office: Office) -> None:
    before = len(history(office.store))
    for refused in (
        lambda: people.grant(office.store, "Olive", ["Home Farm"]),
        lambda: people.revoke(office.store, "Kim", ["Home Farm", "Next Farm"]),
        lambda: people.remove(office.store, "Olive"),
        lambda: people.set_password(office.store, "Kim", "short"),
        lambda: people.add(office.store, "Kim", "adviser", PASSWORD, farms=["Home Farm"]),
    ):
        with pytest.raises(Mistake):
            refused()
    assert len(history(office.store)) == before
    people.revoke(office.store, "Kim", ["Home Farm"])
    assert history(office.store)["farm"].tolist()[-1] == "Home Farm"


def test_a_file_from_before_there_was_a_history_gets_one(office: Office, tmp_path: Path) -> None:
    with sqlite3.connect(office.store.path) as connection:
        connection.executescript(
            "PRAGMA journal_mode = WAL; DROP TABLE history; DROP TABLE sessions; DROP TABLE second_factors; "
            "CREATE TABLE sessions (token BLOB PRIMARY KEY, account INTEGER NOT NULL, made_at REAL, seen_at REAL); "
            "PRAGMA user_version = 0"
        )
    connection.close()
    assert history(office.store).empty
    people.grant(office.store, "Kim", ["Next Farm"])
    assert noted(office.store) == [(*ME, "farm granted", "account Kim")]
    assert history(Store(tmp_path / "none.sqlite")).empty and not (tmp_path / "none.sqlite").exists()


def test_the_first_sign_in_elsewhere_is_noted(office: Office) -> None:
    people.add(office.store, "Ann", "adviser", None, farms=["Home Farm"], email="ann@example.org")
    for _ in range(2):
        assert people.of_identity(office.store, "https://issuer 7", "ann@example.org") is not None
    assert noted(office.store) == [("Ann", "command", "bound to a sign-in elsewhere", "account Ann")]
    assert not re.search("example.org|issuer", history(office.store).to_csv())
