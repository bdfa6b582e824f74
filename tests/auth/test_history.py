"""Who changed what of accounts and links: noted with the change, by page or command, and never with a secret."""

from __future__ import annotations

import datetime as dt
import getpass
import re
import sqlite3
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.dashboard.auth import history as history_module
from evenfoot.dashboard.auth import links, people, second_factor
from evenfoot.dashboard.auth import store as store_module
from evenfoot.dashboard.auth.history import (
    CODE_WRONG,
    NAME_UNKNOWN,
    NO_ACCOUNT,
    NOBODY,
    PASSWORD_WRONG,
    REFUSED,
    REPORT_MAILED,
    SIGNED_IN,
    TRIES,
    history,
    last_reports,
    newest,
    note,
    note_report,
)
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.auth.viewer import OWNER
from evenfoot.dashboard.pages.start import farm_rows
from tests.auth.people import PASSWORD, Clock, Office, cheap_hashes, staffed

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
        if not line["what"].startswith("account made") and line["what"] not in TRIES
    ]


def tries(store: Store) -> list[tuple[str, str, str, str]]:
    return [
        (line["who"], line["what"], line["subject"], line["address"])
        for line in history(store).to_dict("records")
        if line["what"] in TRIES
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


def test_sign_ins_and_tries_that_fail_are_noted_with_where_they_are_from(office: Office) -> None:
    """Who, when, from where; never a password, and no name that was typed and is nobody's."""
    typed = "four words walk alone"
    office.clock.now += 10
    office.signed_in("Kim")
    assert office.client().sign_in("kim", typed).status_code == 401
    assert office.client().sign_in(typed, PASSWORD).status_code == 401
    place = "127.0.0.1"
    assert tries(office.store) == [
        ("Kim", SIGNED_IN, "account Kim", place),
        (NOBODY, PASSWORD_WRONG, "account Kim", place),
        (NOBODY, NAME_UNKNOWN, NO_ACCOUNT, place),
    ]
    lines = history(office.store)
    assert lines["noted_at"].iloc[-1].timestamp() == office.clock.now and lines["through"].iloc[-1] == "page"
    assert typed not in lines.to_csv() and PASSWORD not in lines.to_csv()
    with sqlite3.connect(office.store.path) as connection:
        assert typed not in "\n".join(connection.iterdump())
    connection.close()


def test_guesses_that_are_locked_out_are_noted_once_a_minute(office: Office) -> None:
    for _ in range(12):
        office.client().sign_in("Kim", "wrong words all along")
    told = [what for _, what, *_ in tries(office.store)]
    assert told == [PASSWORD_WRONG] * 4 + [REFUSED]
    for _ in range(9):
        office.client().sign_in("Nobody Here", "wrong words all along")
    told = [what for _, what, *_ in tries(office.store)][5:]
    assert told == [NAME_UNKNOWN] * 4 + [REFUSED]
    office.clock.now += 61
    for _ in range(6):
        office.client().sign_in("Kim", "wrong words all along")
    assert [what for _, what, *_ in tries(office.store)][10:] == [PASSWORD_WRONG, REFUSED]


def test_changes_of_role_password_and_second_factor_say_where_they_are_from(office: Office) -> None:
    kim = office.signed_in("Kim")
    for password in ("wrong", PASSWORD):
        kim.post("/account", data={"act": "change password", "password": password, "new": NEW, "again": NEW})
    secret = second_factor.new_secret()
    number = people.number_of(office.store, "Kim")
    second_factor.begin(office.store, number, secret, second_factor.code_at(secret, office.clock.now))
    browser = office.client()
    page = browser.sign_in("Kim", NEW).text
    form = dict(re.findall(r'name="(word|ticket|next)" value="([^"]*)"', page))
    assert browser.post("/login/code", data=form | {"code": "000000"}).status_code == 401
    people.set_role(office.store, "Kim", "adviser")
    second_factor.end(office.store, number)
    told = [(line["what"], line["who"], line["address"]) for line in history(office.store).to_dict("records")][2:]
    here, place = getpass.getuser(), "127.0.0.1"
    assert told == [
        (SIGNED_IN, "Kim", place),
        (PASSWORD_WRONG, "Kim", place),
        ("password changed", "Kim", place),
        ("second factor begun", here, ""),
        (CODE_WRONG, NOBODY, place),
        ("role changed to adviser", here, ""),
        ("second factor ended", here, ""),
    ]


def test_lines_are_limited_and_strangers_push_out_nothing_but_their_own(
    office: Office, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(history_module, "MOST_TRIES", 6)
    monkeypatch.setattr(history_module, "MOST_CHANGES", 8)
    office.signed_in("Kim")
    for number in range(20):
        office.client().sign_in(f"stranger {number}", "wrong words all along")
    lines = history(office.store)
    assert lines["what"].value_counts().to_dict() == {
        NAME_UNKNOWN: 6, SIGNED_IN: 1, "account made, owner": 1, "account made, trimmer": 1,
    }  # fmt: skip
    for number in range(20):
        people.grant(office.store, "Kim", [f"Farm {number}"])
    lines = history(office.store)
    assert len(lines) == 6 + 1 + 8
    assert lines["farm"].dropna().tolist() == [f"Farm {number}" for number in range(12, 20)]


def test_the_owner_alone_reads_them_on_the_account_page(office: Office) -> None:
    office.client().sign_in("Kim", "wrong words all along")
    kim, olive = office.signed_in("Kim"), office.signed_in("Olive")
    title = "Who signed in, and what was changed"
    assert title not in kim.get("/account").text
    text = olive.get("/account").text
    assert title in text and "<td>password wrong</td><td>Kim</td><td>127.0.0.1</td>" in text
    assert text.index("<td>Olive</td><td>signed in</td>") < text.index("<td>Kim</td><td>signed in</td>")


def test_where_the_disk_takes_nothing_lines_come_later(office: Office, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise store_module.Unwritable("full")

    with monkeypatch.context() as patch:
        patch.setattr(store_module, "_make", full)
        office.client().sign_in("Kim", "wrong words all along")
        office.signed_in("Kim")
        assert not {line["what"] for line in newest(office.store, 9)} & set(TRIES)
    office.signed_in("Olive")
    assert [(what, subject) for _, what, subject, _ in tries(office.store)] == [
        (PASSWORD_WRONG, "account Kim"),
        (SIGNED_IN, "account Kim"),
        (SIGNED_IN, "account Olive"),
    ]


def test_what_is_refused_leaves_no_line(office: Office) -> None:
    before = len(history(office.store))
    for refused in (
        lambda: people.grant(office.store, "Olive", ["Home Farm"]),
        lambda: people.revoke(office.store, "Kim", ["Home Farm", "Next Farm"]),
        lambda: people.remove(office.store, "Olive"),
        lambda: people.set_password(office.store, "Kim", "short"),
        lambda: people.add(office.store, "Kim", "adviser", PASSWORD, farms=["Home Farm"]),
    ):
        with pytest.raises(UserError):
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


def test_a_file_whose_lines_say_no_address_gets_addresses(office: Office) -> None:
    with sqlite3.connect(office.store.path) as connection:
        connection.executescript("ALTER TABLE history DROP COLUMN address; PRAGMA user_version = 2")
    connection.close()
    before = newest(office.store, 9)
    assert len(before) == 2 and {line["address"] for line in before} == {""}
    office.signed_in("Kim")
    assert history(office.store)["address"].tolist() == ["", "", "127.0.0.1"]


def test_the_first_sign_in_elsewhere_is_noted(office: Office) -> None:
    people.add(office.store, "Ann", "adviser", None, farms=["Home Farm"], email="ann@example.org")
    for _ in range(2):
        assert people.of_identity(office.store, "https://issuer 7", "ann@example.org") is not None
    assert noted(office.store) == [("Ann", "command", "bound to a sign-in elsewhere", "account Ann")]
    assert not re.search("example.org|issuer", history(office.store).to_csv())


def test_the_farms_say_when_the_last_report_was_made(tmp_path: Path) -> None:
    clock = Clock()
    clock.now = dt.datetime(2026, 10, 1, 12).timestamp()
    store = Store(tmp_path / "accounts.sqlite", clock)
    assert last_reports(store) == {} and not store.exists
    note_report(store, ["Home Farm", "Far Farm"])
    clock.now += 86400
    with store.open() as connection:
        note(connection, store.clock(), REPORT_MAILED, "report", ["Home Farm"])
        note(connection, store.clock(), "farm granted", "account Kim", ["Far Farm"])
    assert last_reports(store) == {"Home Farm": dt.date(2026, 10, 2), "Far Farm": dt.date(2026, 10, 1)}
    herd = pd.DataFrame(
        [{"farm": "Home Farm", "verdict": "worse", "what": "lame", "now": 0.2, "expected": 0.1, "last": "2026-09-30"}]
    )
    rows = farm_rows(herd, pd.DataFrame(), pd.DataFrame(), last_reports(store))
    assert list(rows["last_report"].dt.date) == [dt.date(2026, 10, 2)]


def test_a_report_is_made_where_nothing_can_be_noted(tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("in the way")
    note_report(Store(tmp_path / "a file" / "accounts.sqlite"), ["Home Farm"])
