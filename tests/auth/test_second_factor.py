"""Codes beside the password: those of the standard, used once, with recovery codes, and slowed down when guessed."""

from __future__ import annotations

import base64
import re
import sqlite3
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.dashboard.auth import people, second_factor, throttle
from evenfoot.dashboard.auth.history import CODE_WRONG, NOBODY, history
from evenfoot.dashboard.auth.second_factor import STEP_SECONDS, code_at, step_of
from evenfoot.dashboard.cli.main import main
from tests.auth.people import PASSWORD, Browser, Clock, Office, cheap_hashes, staffed
from tests.report.made import herd

SECRET = b"12345678901234567890"
SECRETS = {"sha1": SECRET, "sha256": (SECRET * 2)[:32], "sha512": (SECRET * 4)[:64]}
VECTORS = [
    (59, "sha1", "94287082"), (59, "sha256", "46119246"), (59, "sha512", "90693936"),
    (1111111109, "sha1", "07081804"), (1111111109, "sha256", "68084774"), (1111111109, "sha512", "25091201"),
    (1111111111, "sha1", "14050471"), (1111111111, "sha256", "67062674"), (1111111111, "sha512", "99943326"),
    (1234567890, "sha1", "89005924"), (1234567890, "sha256", "91819424"), (1234567890, "sha512", "93441116"),
    (2000000000, "sha1", "69279037"), (2000000000, "sha256", "90698825"), (2000000000, "sha512", "38618901"),
    (20000000000, "sha1", "65353130"), (20000000000, "sha256", "77737706"), (20000000000, "sha512", "47863826"),
]  # fmt: skip
"""[pub: RFC 6238, appendix B]"""

COUNTED = ["755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489"]
"""Of the counters 0 to 9. [pub: RFC 4226, appendix D]"""


@pytest.mark.parametrize(("moment", "digest", "code"), VECTORS)
def test_codes_are_those_of_the_standard(moment: int, digest: str, code: str) -> None:
    assert code_at(SECRETS[digest], moment, digits=8, digest=digest) == code


def test_codes_of_six_digits_are_those_of_the_standard() -> None:
    assert [code_at(SECRET, counter * STEP_SECONDS) for counter in range(10)] == COUNTED


def test_a_code_counts_one_step_before_and_after() -> None:
    now = 1_800_000_000.0
    for around, right in ((-2, False), (-1, True), (0, True), (1, True), (2, False)):
        code = code_at(SECRET, now + around * STEP_SECONDS)
        assert (step_of(SECRET, f" {code[:3]} {code[3:]} ", now) is not None) is right, around
    for wrong in ("", "000000 ", "12345", "é" * 6, "١٢٣٤٥٦"):
        assert step_of(SECRET, wrong, now) is None


@pytest.fixture
def office(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Office:
    cheap_hashes(monkeypatch)
    clock = Clock()
    staff = {"Olive": ("owner", ()), "Kim": ("trimmer", ("Home Farm",))}
    return Office(open_ledger(tmp_path / "none.duckdb"), staffed(tmp_path / "accounts.sqlite", staff, clock), clock)


def set_up(office: Office, browser: Browser) -> tuple[bytes, list[str]]:
    """Set a second factor up as a person does; gives the secret and the recovery codes."""
    page = browser.post("/account", data={"act": "begin second factor", "password": PASSWORD})
    found = re.search(r"secret=([A-Z2-7]+)&", page.text.replace("&amp;", "&"))
    signed = re.search(r'name="secret" value="([^"]+)"', page.text)
    assert found and signed, page.text
    secret = base64.b32decode(found[1])
    form = {"act": "confirm second factor", "secret": signed[1]}
    answer = browser.post("/account", data=form | {"code": "000000"})
    assert answer.status_code == 400 and "not right" in answer.text
    assert "Ask for the password alone" not in browser.get("/account").text
    done = browser.post("/account", data=form | {"code": code_at(secret, office.clock.now)})
    codes = re.findall(r"<li><code>([a-z2-7-]+)</code>", done.text)
    assert done.status_code == 200 and len(codes) == len(set(codes)) == second_factor.RECOVERY_CODES
    office.clock.now += 10 * STEP_SECONDS
    return secret, codes


def first_step(office: Office, name: str = "Olive") -> tuple[Browser, dict[str, str]]:
    """The password; gives the hidden fields of the form that asks for the code."""
    browser = office.client()
    page = browser.sign_in(name, PASSWORD, "/lesions")
    assert page.status_code == 200 and browser.session is None, page.status_code
    return browser, dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page.text))


def test_the_password_alone_lets_nobody_in(office: Office) -> None:
    secret, _ = set_up(office, office.signed_in("Olive"))
    browser, form = first_step(office)
    assert browser.get("/_dash-layout").status_code == 401
    wrong = browser.post("/login/code", data=form | {"code": "000000"})
    assert wrong.status_code == 401 and "not right" in wrong.text and browser.session is None
    right = browser.post("/login/code", data=form | {"code": code_at(secret, office.clock.now)})
    assert right.status_code == 303 and right.headers["Location"] == "/lesions"
    assert browser.get("/_dash-layout").status_code == 200
    # Nobody else is asked.
    office.signed_in("Kim")


def test_a_code_counts_once(office: Office) -> None:
    secret, _ = set_up(office, office.signed_in("Olive"))
    code = code_at(secret, office.clock.now)
    browser, form = first_step(office)
    assert browser.post("/login/code", data=form | {"code": code}).status_code == 303
    browser, form = first_step(office)
    assert browser.post("/login/code", data=form | {"code": code}).status_code == 401
    office.clock.now += STEP_SECONDS
    assert browser.post("/login/code", data=form | {"code": code}).status_code == 401
    assert browser.post("/login/code", data=form | {"code": code_at(secret, office.clock.now)}).status_code == 303


def test_a_recovery_code_counts_once_and_only_for_its_account(office: Office) -> None:
    _, codes = set_up(office, office.signed_in("Olive"))
    browser, form = first_step(office)
    assert browser.post("/login/code", data=form | {"code": codes[0].upper().replace("-", " ")}).status_code == 303
    assert "9 recovery codes" in browser.get("/account").text
    browser, form = first_step(office)
    assert browser.post("/login/code", data=form | {"code": codes[0]}).status_code == 401
    office.clock.now += 3600
    set_up(office, office.signed_in("Kim"))
    browser, form = first_step(office, "Kim")
    assert browser.post("/login/code", data=form | {"code": codes[1]}).status_code == 401
    noted = history(office.store)[["who", "what"]].to_dict("records")
    lines = [(line["who"], line["what"]) for line in noted if "code" in line["what"]]
    assert lines == [("Olive", "recovery code used"), (NOBODY, CODE_WRONG), (NOBODY, CODE_WRONG)]


def test_guessing_codes_slows_down_and_tells_nothing_without_the_password(office: Office) -> None:
    secret, _ = set_up(office, office.signed_in("Olive"))
    browser, form = first_step(office)
    codes = [browser.post("/login/code", data=form | {"code": f"{n:06}"}).status_code for n in range(8)]
    assert codes == [401] * (throttle.FREE["code"] + 1) + [429] * 2
    assert browser.post("/login/code", data=form | {"code": code_at(secret, office.clock.now)}).status_code == 429
    assert office.client().sign_in("Olive", "wrong words here").status_code == 401


@pytest.mark.parametrize("change", ["ticket", "word", "late", "password"])
def test_the_second_step_needs_the_first(office: Office, change: str) -> None:
    secret, _ = set_up(office, office.signed_in("Olive"))
    browser, form = first_step(office)
    if change == "late":
        office.clock.now += 601
    elif change == "password":
        people.set_password(office.store, "Olive", "other words walk on")
    else:
        form[change] = form[change][:-2] + "xx"
    answer = browser.post("/login/code", data=form | {"code": code_at(secret, office.clock.now)})
    assert answer.status_code == 400 and browser.session is None
    assert office.client().post("/login/code", data={"code": "1"}).status_code == 400


def test_setting_up_and_ending_take_the_password_and_a_code(office: Office) -> None:
    browser = office.signed_in("Olive")
    assert browser.post("/account", data={"act": "begin second factor", "password": "wrong"}).status_code == 400
    page = browser.post("/account", data={"act": "begin second factor", "password": PASSWORD})
    signed = re.search(r'name="secret" value="([^"]+)"', page.text)
    assert signed
    kim = office.signed_in("Kim")
    form = {"act": "confirm second factor", "secret": signed[1], "code": "000000"}
    assert "open too long" in kim.post("/account", data=form).text
    secret, _ = set_up(office, browser)
    for form in ({"password": "wrong", "code": code_at(secret, office.clock.now)}, {"password": PASSWORD, "code": "1"}):
        assert browser.post("/account", data={"act": "end second factor"} | form).status_code == 400
    assert second_factor.in_use(office.store, 1)
    form = {"act": "end second factor", "password": PASSWORD, "code": code_at(secret, office.clock.now)}
    assert browser.post("/account", data=form).status_code == 200
    assert not second_factor.in_use(office.store, 1)
    office.signed_in("Olive")


def test_codes_are_not_kept_and_go_with_the_account(office: Office) -> None:
    _, codes = set_up(office, office.signed_in("Kim"))
    with sqlite3.connect(office.store.path) as connection:
        everything = "\n".join(connection.iterdump())
    assert not [code for code in codes if code in everything or code.replace("-", "") in everything]
    people.remove(office.store, "Kim")
    with office.store.look() as connection:
        for table in ("second_factors", "recovery_codes"):
            assert not connection.execute(f"SELECT * FROM {table}").fetchall()


def test_the_owner_of_the_machine_ends_it_for_who_lost_the_telephone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    cheap_hashes(monkeypatch)
    clock = Clock()
    ledger = herd(tmp_path / "l.duckdb", "Home Farm", 5)
    store = staffed(tmp_path / "l.duckdb.accounts.sqlite", {"Olive": ("owner", ())}, clock)
    secret = second_factor.new_secret()
    second_factor.begin(store, 1, secret, code_at(secret, clock.now))
    with pytest.raises(UserError, match="not right"):
        second_factor.begin(store, 1, secret, code_at(secret, clock.now))
    monkeypatch.delenv("EVENFOOT_ACCOUNTS", raising=False)
    for words, said in ((["list"], "and second factor"), (["end-second-factor", "Olive"], "password alone")):
        monkeypatch.setattr("sys.argv", ["evenfoot", "accounts", *words, "--ledger", ledger.name])
        with pytest.raises(SystemExit) as left:
            main()
        assert not left.value.code and said in capsys.readouterr().out
    assert not second_factor.in_use(store, 1)
