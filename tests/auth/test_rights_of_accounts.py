"""Roles change, names cannot be taken for others, sessions are seen and ended, a removed account ends its upload."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports import add
from evenfoot.dashboard.auth import people, sessions
from evenfoot.dashboard.auth.common_passwords import WORDS
from evenfoot.dashboard.auth.passwords import refuse_weak
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.cli.main import main
from tests.auth.asking import ask
from tests.auth.people import PASSWORD, Clock, Office, cheap_hashes, staffed
from tests.auth.test_walk import OF, brought, sheet, sheet_keys
from tests.report.made import herd

CLOCK = Clock()


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    cheap_hashes(monkeypatch)
    staff = {"Olive": ("owner", ()), "Kim": ("trimmer", ("Home Farm",))}
    return staffed(tmp_path / "accounts.sqlite", staff, CLOCK)


@pytest.fixture
def office(store: Store, tmp_path: Path) -> Office:
    return Office(herd(tmp_path / "l.duckdb", "Home Farm", 5), store, CLOCK)


def role_of(office: Office, name: str) -> tuple[str, tuple[str, ...] | None]:
    [found] = [(each.role, each.farms) for each in people.listed(office.store) if each.name == name]
    return found


def test_a_role_changes_in_open_sessions_too(office: Office) -> None:
    browser = office.signed_in("Kim")
    assert "Trimmer" in browser.get("/account").text
    people.set_role(office.store, "kim", "adviser")
    assert role_of(office, "Kim") == ("adviser", ("Home Farm",))
    assert "Adviser" in browser.get("/account").text
    people.set_role(office.store, "Kim", "owner")
    assert role_of(office, "Kim") == ("owner", None)
    with pytest.raises(UserError, match="name at least one"):
        people.set_role(office.store, "Kim", "manager")
    assert role_of(office, "Kim") == ("owner", None)
    people.set_role(office.store, "Kim", "manager", farms=["Next Farm"])
    assert role_of(office, "Kim") == ("manager", ("Next Farm",))


@pytest.mark.parametrize(
    ("name", "role", "farms", "told"),
    [
        ("Olive", "adviser", ("Home Farm",), "last owner"),
        ("Kim", "king", (), "not a role"),
        ("Kim", "trimmer", (), "already"),
        ("Kim", "owner", ("Home Farm",), "sees every farm"),
        ("Nobody", "owner", (), "no account"),
    ],
)
def test_a_role_is_changed_only_properly(store: Store, name: str, role: str, farms: tuple[str, ...], told: str) -> None:
    before = people.listed(store)
    with pytest.raises(UserError, match=told):
        people.set_role(store, name, role, farms=farms)
    assert people.listed(store) == before


def test_the_command_changes_a_role(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    cheap_hashes(monkeypatch)
    herd(tmp_path / "l.duckdb", "Home Farm", 5)
    store = staffed(
        tmp_path / "l.duckdb.accounts.sqlite", {"Olive": ("owner", ()), "Kim": ("trimmer", ("Home Farm",))}, Clock()
    )
    monkeypatch.delenv("EVENFOOT_ACCOUNTS", raising=False)
    words = ["evenfoot", "accounts", "role", "Kim", "manager", "--ledger", str(tmp_path / "l.duckdb")]
    monkeypatch.setattr("sys.argv", words)
    with pytest.raises(SystemExit) as left:
        main()
    assert not left.value.code and "Kim: Herd manager" in capsys.readouterr().out
    assert [each.role for each in people.listed(store)] == ["manager", "owner"]


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("K\N{CYRILLIC SMALL LETTER BYELORUSSIAN-UKRAINIAN I}m", "alphabets"),
        ("\N{CYRILLIC CAPITAL LETTER O}live", "alphabets"),
        ("\N{FULLWIDTH LATIN CAPITAL LETTER K}im", "already"),
        ("K1m", "looks like Kim"),
        ("0live", "looks like Olive"),
        ("OIive", "looks like Olive"),
        ("Kím", "looks like Kim"),
        ("K-i-m", "looks like Kim"),
        ("K\N{ZERO WIDTH SPACE}im", "can be printed"),
        ("admin", "reserved"),
        ("Adm1n", "reserved"),
        ("R00T", "reserved"),
        ("Owner of the ledger", "reserved"),
        ("a link", "reserved"),
        ("EVENFOOT", "reserved"),
        ("...", "reserved"),
    ],
)
def test_names_that_can_be_taken_for_others_are_refused(store: Store, name: str, told: str) -> None:
    with pytest.raises(UserError, match=told):
        people.add(store, name, "owner", PASSWORD)
    assert len(people.listed(store)) == 2


@pytest.mark.parametrize(
    "name", ["Tim", "José Núñez", "王伟", "Ольга", "Ανδρέας", "Kim Vale", "Anne-Marie O'Dell", "Ali"]
)
def test_names_of_people_are_taken(office: Office, name: str) -> None:
    people.add(office.store, name, "owner", PASSWORD)
    assert name in [each.name for each in people.listed(office.store)]


@pytest.mark.parametrize(
    "password",
    ["123456789012345", "passwordpassword", "Password-2026-Dairy", "qwertyuiop12345", "iloveyou iloveyou",
     "P@$$w0rd P@$$w0rd", "monkey dragon 1987!!", "letmein-letmein-1", "correct horse battery staple",
     "Olive12345678901", "zxcvbnmasdfghjkl"],
)  # fmt: skip
def test_common_passwords_are_refused(password: str) -> None:
    with pytest.raises(UserError, match="easily guessed"):
        refuse_weak(password, "Olive")


@pytest.mark.parametrize(
    "password", [PASSWORD, "stove ladder kettle moss", "Grauer Kater liest Zeitung", "h7Fq-x2Lm-9wRt-p4Ks"]
)  # fmt: skip
def test_other_passwords_are_taken(password: str) -> None:
    refuse_weak(password, "Olive")
    assert len(WORDS) > 250


FIREFOX = "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"
PHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1 Version/18.0 Mobile/15E148 Safari/604.1"
)


def test_every_session_is_listed_and_ended_by_its_owner_alone(office: Office) -> None:
    browsers = []
    for said in (FIREFOX, PHONE):
        browser = office.client()
        browser.client.environ_base["HTTP_USER_AGENT"] = said
        assert browser.sign_in("Kim", PASSWORD).status_code == 303
        browsers.append(browser)
    here, there = browsers
    page = here.get("/account").text
    assert "Firefox, Linux" in page and "Safari, iPhone" in page and "127.0.0.1" in page and "this one" in page
    assert here.session and there.session
    assert here.session not in page and there.session not in page
    [mark] = re.findall(r'name="session" value="([0-9a-f]+)"', page)
    other = office.signed_in("Olive")
    assert "has ended" in other.post("/account", data={"act": "end session", "session": mark}).text
    assert there.get("/_dash-layout").status_code == 200
    answer = here.post("/account", data={"act": "end session", "session": mark})
    assert answer.status_code == 200 and "was ended" in answer.text and "Safari" not in answer.text
    assert there.get("/_dash-layout").status_code == 401 and here.get("/_dash-layout").status_code == 200
    assert [each.browser for each in sessions.listed(office.store, people.number_of(office.store, "Kim"))] == [FIREFOX]


def import_as(office: Office, name: str) -> tuple[int, str]:
    """Bring one sheet in on the page."""
    return ask(office, office.signed_in(name), sheet_keys(office)[1], brought(sheet("Home Farm")), OF)


def test_a_sheet_comes_in(office: Office) -> None:
    code, text = import_as(office, "Kim")
    assert code == 200, text
    assert len(open_ledger(office.ledger.address).imports()) == 2


@pytest.mark.parametrize("change", ["removed", "role", "farm", "signed out"])
def test_an_account_that_is_changed_during_an_upload_ends_it(
    office: Office, monkeypatch: pytest.MonkeyPatch, change: str
) -> None:
    rows = add._add_rows

    def add_rows(*given: object) -> object:
        done = rows(*given)  # type: ignore[arg-type]
        if change == "removed":
            people.remove(office.store, "Kim")
        elif change == "role":
            people.set_role(office.store, "Kim", "adviser")
        elif change == "farm":
            people.revoke(office.store, "Kim", ["Home Farm"])
        else:
            sessions.end_all(office.store, people.number_of(office.store, "Kim"))
        return done

    monkeypatch.setattr(add, "_add_rows", add_rows)
    code, text = import_as(office, "Kim")
    assert code == 200 and "nothing of this was kept" in text, text
    assert len(office.ledger.imports()) == 1
