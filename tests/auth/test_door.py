"""Signing in and out: who is let in, for how long, and what a guesser learns."""

from __future__ import annotations

import re
import sqlite3
import stat
import time
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import open_ledger
from evenfoot.dashboard.auth import passwords, people, sessions, throttle
from evenfoot.dashboard.auth.access import Access
from evenfoot.dashboard.auth.store import Store
from tests.auth.people import HOST, ORIGIN, PASSWORD, Clock, Office, cheap_hashes, staffed


@pytest.fixture
def office(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Office:
    cheap_hashes(monkeypatch)
    clock = Clock()
    staff = {"Olive": ("owner", ()), "Kim Vale": ("trimmer", ("Home Farm",))}
    store = staffed(tmp_path / "accounts.sqlite", staff, clock)
    return Office(open_ledger(tmp_path / "none.duckdb"), store, clock)


def test_without_accounts_this_machine_needs_no_session(tmp_path: Path) -> None:
    office = Office(open_ledger(tmp_path / "none.duckdb"), Store(tmp_path / "none.sqlite"), Clock())
    assert office.client().get("/").status_code == 200
    assert office.client().get("/_dash-layout").status_code == 200
    assert not (tmp_path / "none.sqlite").exists()


def test_the_first_account_closes_the_door_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cheap_hashes(monkeypatch)
    store = Store(tmp_path / "accounts.sqlite")
    office = Office(open_ledger(tmp_path / "none.duckdb"), store, Clock())
    assert office.client().get("/_dash-layout").status_code == 200
    people.add(store, "Olive", "owner", PASSWORD)
    assert office.client().get("/_dash-layout").status_code == 401


def test_only_the_sign_in_page_is_open(office: Office) -> None:
    nobody = office.client()
    answer = nobody.get("/lesions?farms=A&lesions=SU")
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/login?next=%2Flesions%3Ffarms%3DA%26lesions%3DSU"
    for path in ("/_dash-layout", "/_dash-dependencies", "/_reload-hash"):
        assert nobody.get(path).status_code == 401, path
    assert nobody.post("/_dash-update-component", json={}).status_code == 401
    assert nobody.post("/logout").status_code == 401
    for path in ("/login", "/health", "/assets/evenfoot.css", "/_favicon.ico"):
        with nobody.get(path) as answer:
            assert answer.status_code == 200, path
    assert nobody.get("/health").text == "ok\n"


@pytest.mark.parametrize(
    "path", ["/assets/../_dash-layout", "/assets/%2e%2e/_dash-layout", "/login/../_dash-layout", "//login", "/LOGIN",
             "/health/../", "/_dash-component-suites/..%2f..%2fapp.py", "/shared/../_dash-layout", "/_dash-layout/"],
)  # fmt: skip
def test_no_spelling_of_a_path_goes_round_the_door(office: Office, path: str) -> None:
    answer = office.client().get(path)
    assert answer.status_code in (303, 308, 401, 404), answer.status_code
    assert "react-entry-point" not in answer.text and '"props"' not in answer.text


def test_one_signs_in_and_goes_on_to_the_page_asked_for(office: Office) -> None:
    browser = office.client()
    answer = browser.sign_in("  kim   VALE ", PASSWORD, "/lesions?farms=Home+Farm")
    assert answer.status_code == 303 and answer.headers["Location"] == "/lesions?farms=Home+Farm"
    cookies = answer.headers.getlist("Set-Cookie")
    session = next(cookie for cookie in cookies if cookie.startswith("evenfoot-session-"))
    assert "HttpOnly" in session and "SameSite=Lax" in session and "Path=/" in session
    assert browser.get("/_dash-layout").status_code == 200
    assert browser.get("/").headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize(
    "then", ["//evil.example", "https:evil", "/\\evil", "/%0d%0aX: y\r\nX: y", "javascript:1", "/login"]
)
def test_one_never_goes_on_to_another_site(office: Office, then: str) -> None:
    answer = office.client().sign_in("Olive", PASSWORD, then)
    assert answer.headers["Location"] == "/" and "X" not in answer.headers


def test_a_known_and_an_unknown_name_get_the_same_answer(office: Office) -> None:
    texts = []
    for name in ("Olive", "Nobody At All"):
        answer = office.client().sign_in(name, "not the right words")
        assert answer.status_code == 401
        texts.append(re.sub(r'value="[^"]*"', "", answer.text))
    assert texts[0] == texts[1]


def test_a_known_and_an_unknown_name_take_the_same_time(tmp_path: Path) -> None:
    """With the real strength: both verify one hash of the same parameters."""
    passwords._nobodys.cache_clear()
    kept = passwords.hash_of(PASSWORD)
    assert kept.startswith("$argon2id$") and "m=65536" in kept
    assert passwords.matches(PASSWORD, kept) and not passwords.matches("wrong words here", kept)
    took: dict[str | None, float] = {}
    passwords.matches("x", None)
    for hashed in (kept, None):
        runs = []
        for _ in range(5):
            # The processor's own time: what else the machine does is not counted.
            start = time.process_time()
            assert not passwords.matches("wrong words here", hashed)
            runs.append(time.process_time() - start)
        took[hashed] = min(runs)
    assert 0.33 < took[None] / took[kept] < 3


def test_guessing_slows_down_and_survives_a_new_start(office: Office) -> None:
    codes = [office.client().sign_in("Olive", f"wrong words {n} and more").status_code for n in range(6)]
    assert codes == [401, 401, 401, 401, 429, 429]
    again = Office(office.ledger, Store(office.store.path, office.clock), office.clock)
    assert again.client().sign_in("Olive", PASSWORD).status_code == 429
    office.clock.now += 2
    assert again.client().sign_in("Olive", PASSWORD).status_code == 303
    assert again.client().sign_in("Olive", "wrong words once").status_code == 401


def test_unknown_names_slow_down_just_so(office: Office) -> None:
    codes = [office.client().sign_in("Nobody", f"wrong words {n}").status_code for n in range(6)]
    assert codes == [401, 401, 401, 401, 429, 429]


def test_who_shares_an_address_with_a_guesser_gets_in(office: Office) -> None:
    """An office behind one address: somebody there guesses names, another one is Kim."""
    known = office.client()
    assert known.sign_in("Kim Vale", PASSWORD).status_code == 303
    known.post("/logout")
    for n in range(30):
        office.client().sign_in(f"Name {n}", "wrong words here")
    assert office.client().sign_in("Olive", PASSWORD).status_code == 303
    # Kim's own name is guessed from there, and still is.
    codes = [office.client().sign_in("Kim Vale", f"wrong words {n} and more").status_code for n in range(8)]
    assert codes[-1] == 429
    assert office.client().sign_in("Kim Vale", PASSWORD).status_code == 429
    assert known.sign_in("Kim Vale", PASSWORD).status_code == 303
    known.post("/logout")
    # The mark of a browser is of no use for another name, and slows its own guesses down.
    codes = [known.sign_in("Olive", f"wrong words {n} and more").status_code for n in range(6)]
    assert codes == [401, 401, 401, 401, 429, 429]
    codes = [known.sign_in("Kim Vale", f"wrong words {n} and more").status_code for n in range(8)]
    assert codes.count(401) == throttle.FREE["known"] + 1 and codes[-1] == 429


def test_guessing_from_elsewhere_keeps_nobody_out_for_long(office: Office) -> None:
    """A name is closed for all addresses only after many failures, and never for longer than a minute."""
    tries = 0
    while throttle.take_turn(office.store, throttle.counts_of("olive", f"10.0.{tries // 250}.{tries % 250}")) == 0:
        tries += 1
        assert tries < 100
    assert tries == throttle.FREE["name"] + 1
    for _ in range(10):
        office.clock.now += throttle.LONGEST["name"]
        assert throttle.take_turn(office.store, throttle.counts_of("olive", "192.168.7.7")) == 0
        office.clock.now += throttle.LONGEST["from"]


def test_names_of_strangers_do_not_fill_the_file(office: Office, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(throttle, "MOST_ROWS", 100)
    for n in range(150):
        office.clock.now += 1
        throttle.take_turn(office.store, throttle.counts_of(f"name {n}", "10.0.0.1"))
    with office.store.look() as connection:
        assert connection.execute("SELECT COUNT(*) FROM attempts").fetchone()[0] <= 100


def test_many_tries_at_one_moment_gain_nothing(office: Office) -> None:
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(8) as pool:
        waits = list(
            pool.map(lambda n: throttle.take_turn(office.store, throttle.counts_of("olive", f"10.0.0.{n}")), range(40))
        )
    assert sum(wait == 0 for wait in waits) == throttle.FREE["name"] + 1


def test_a_session_ends_when_idle_and_in_any_case(office: Office) -> None:
    browser = office.signed_in("Olive")
    for _ in range(5):
        office.clock.now += sessions.IDLE_SECONDS - 60
        if office.clock.now > 1_800_000_000 + sessions.LONGEST_SECONDS:
            break
        assert browser.get("/_dash-layout").status_code == 200
    office.clock.now = 1_800_000_000 + sessions.LONGEST_SECONDS + 1
    assert browser.get("/_dash-layout").status_code == 401
    other = office.signed_in("Olive")
    office.clock.now += sessions.IDLE_SECONDS + 1
    assert other.get("/_dash-layout").status_code == 401


def test_a_page_that_looks_for_news_keeps_no_session_alive(office: Office) -> None:
    browser = office.signed_in("Olive")
    for _ in range(3):
        office.clock.now += sessions.IDLE_SECONDS * 0.4
        browser.get("/_ledger-state")
    assert browser.get("/_dash-layout").status_code == 401


def test_signing_out_ends_the_session_for_a_copied_cookie_too(office: Office) -> None:
    browser, thief = office.signed_in("Olive"), office.client()
    assert browser.session
    thief.client.set_cookie(office.store.cookie("evenfoot-session"), browser.session, domain="localhost")
    assert thief.get("/_dash-layout").status_code == 200
    assert browser.post("/logout").status_code == 303
    assert thief.get("/_dash-layout").status_code == 401


def test_signing_in_takes_a_new_token_and_ends_the_old_one(office: Office) -> None:
    browser = office.signed_in("Olive")
    first = browser.session
    browser.get("/account")
    browser.post("/logout")
    browser.client.set_cookie(office.store.cookie("evenfoot-session"), "planted by somebody", domain="localhost")
    browser.sign_in("Olive", PASSWORD)
    assert browser.session not in (first, "planted by somebody", None)


def test_sign_out_everywhere_and_a_new_password_end_every_session(office: Office) -> None:
    here, there = office.signed_in("Olive"), office.signed_in("Olive")
    assert "2 times" in here.get("/account").text
    here.post("/account", data={"act": "sign out everywhere"})
    assert there.get("/_dash-layout").status_code == 401 and here.get("/_dash-layout").status_code == 401
    here, there = office.signed_in("Olive"), office.signed_in("Olive")
    form = {
        "act": "change password",
        "password": PASSWORD,
        "new": "other words entirely",
        "again": "other words entirely",
    }
    assert here.post("/account", data=form).status_code == 303
    assert here.get("/_dash-layout").status_code == 200
    assert there.get("/_dash-layout").status_code == 401
    assert office.client().sign_in("Olive", PASSWORD).status_code == 401
    office.signed_in("Olive", "other words entirely")


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"password": "wrong words here", "new": "other words entirely", "again": "other words entirely"}, "not right"),
        ({"password": PASSWORD, "new": "other words entirely", "again": "others"}, "not the same"),
        ({"password": PASSWORD, "new": "short", "again": "short"}, "too short"),
        ({"password": PASSWORD, "new": "aaaaaaaaaaaaaaaaaa", "again": "aaaaaaaaaaaaaaaaaa"}, "easily guessed"),
        ({"password": PASSWORD, "new": "Password-2026-Dairy", "again": "Password-2026-Dairy"}, "easily guessed"),
        ({"password": PASSWORD, "new": "x y" * 200, "again": "x y" * 200}, "too long"),
    ],
)
def test_a_password_is_changed_only_properly(office: Office, form: dict[str, str], told: str) -> None:
    browser = office.signed_in("Olive")
    answer = browser.post("/account", data={"act": "change password"} | form)
    assert answer.status_code == 400 and told in answer.text
    assert form["new"] not in answer.text or form["new"] == "short"
    office.signed_in("Olive")


@pytest.mark.parametrize("path", ["/_dash-update-component", "/logout", "/account"])
@pytest.mark.parametrize("word", [None, "", "0" * 64, "é"])
def test_a_change_needs_the_word_of_the_session(office: Office, path: str, word: str | None) -> None:
    browser = office.signed_in("Olive")
    headers = {"Host": HOST, "Origin": ORIGIN} | (
        {} if word is None else {"X-CSRFToken": word.encode().decode("latin1")}
    )
    answer = browser.client.post(path, headers=headers, base_url=ORIGIN, json={})
    assert answer.status_code == 403
    assert browser.get("/_dash-layout").status_code == 200


def test_the_word_of_one_session_is_no_use_in_another(office: Office) -> None:
    mine, theirs = office.signed_in("Olive"), office.signed_in("Kim Vale")
    word = theirs.client.get_cookie(office.store.cookie("evenfoot-word"), domain="localhost")
    assert word
    assert mine.post("/logout", headers={"X-CSRFToken": word.value}).status_code == 403


def test_two_servers_on_one_host_leave_each_other_signed_in(office: Office, tmp_path: Path) -> None:
    """A browser sends cookies to every port of a host alike."""
    other = Office(
        open_ledger(tmp_path / "other.duckdb"),
        staffed(tmp_path / "other.sqlite", {"Ann": ("owner", ())}, office.clock),
        office.clock,
    )
    here, there = office.signed_in("Olive"), other.client()
    there.client._cookies = here.client._cookies
    assert there.get("/_dash-layout").status_code == 401
    assert there.sign_in("Ann", PASSWORD).status_code == 303
    for browser in (here, there):
        assert browser.get("/_dash-layout").status_code == 200
        assert browser.post("/account", data={"act": "nothing known"}).status_code == 400
    assert there.post("/logout").status_code == 303
    assert there.get("/_dash-layout").status_code == 401
    assert here.get("/_dash-layout").status_code == 200


def test_the_sign_in_form_must_be_ours(office: Office) -> None:
    browser = office.client()
    answer = browser.post("/login", data={"name": "Olive", "password": PASSWORD, "word": "0" * 64})
    assert answer.status_code == 400 and browser.session is None
    browser.get("/login")
    assert browser.post("/login", data={"name": "Olive", "password": PASSWORD}).status_code == 400


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_site_sends_is_refused(office: Office, site: str) -> None:
    browser = office.signed_in("Olive")
    assert browser.post("/logout", headers={"Sec-Fetch-Site": site}).status_code == 421
    form = {"name": "Olive", "password": PASSWORD}
    assert office.app.server.test_client().post("/login", data=form, headers={"Host": HOST}).status_code == 421


def test_a_farm_taken_away_is_gone_from_open_sessions(office: Office) -> None:
    browser = office.signed_in("Kim Vale")
    assert "Home Farm" in browser.get("/account").text
    people.revoke(office.store, "Kim Vale", ["Home Farm"])
    assert "Home Farm" not in browser.get("/account").text
    people.remove(office.store, "kim vale")
    assert browser.get("/_dash-layout").status_code == 401


def test_the_file_holds_no_password_and_no_token_and_is_for_its_owner_alone(office: Office) -> None:
    browser = office.signed_in("Olive")
    office.client().sign_in("my password typed as a name", "x")
    assert browser.session
    with sqlite3.connect(office.store.path) as connection:
        everything = "\n".join(connection.iterdump())
    assert browser.session not in everything and PASSWORD not in everything
    assert "my password" not in everything and "$argon2id$" in everything
    assert browser.session.encode() not in office.store.path.read_bytes()
    for path in office.store.path.parent.glob("accounts.sqlite*"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path


def test_over_tls_the_cookie_is_bound_to_the_host(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cheap_hashes(monkeypatch)
    store = staffed(tmp_path / "a.sqlite", {"Olive": ("owner", ())}, Clock())
    proxied = Access(frozenset({"herd.example.org"}), behind_proxy=True, open_here=False)
    office = Office(open_ledger(tmp_path / "none.duckdb"), store, Clock(), proxied)
    client = office.app.server.test_client()
    base = "https://herd.example.org"
    page = client.get("/login", base_url=base)
    word = re.search(r'name="word" value="([^"]+)"', page.text)
    assert word and "Strict-Transport-Security" in page.headers
    form = {"name": "Olive", "password": PASSWORD, "word": word[1]}
    answer = client.post("/login", data=form, base_url=base, headers={"Origin": base})
    [cookie] = [each for each in answer.headers.getlist("Set-Cookie") if each.startswith("__Host-evenfoot-")]
    assert "Secure" in cookie and "HttpOnly" in cookie and "Domain" not in cookie
    assert client.get("/_dash-layout", base_url=base).status_code == 200
    assert client.get("/_dash-layout", base_url="http://localhost:8050").status_code == 421
    assert client.get("/health", base_url="http://localhost:8050").status_code == 200


def test_the_pages_of_the_door_run_no_script_and_escape_what_is_typed(office: Office) -> None:
    answer = office.client().sign_in('"><script>alert(1)</script>', "wrong words here")
    assert "<script" not in answer.text and "&lt;script" in answer.text
    policy = answer.headers["Content-Security-Policy"]
    assert "script-src" not in policy and "default-src 'none'" in policy and "form-action 'self'" in policy


def test_a_form_larger_than_any_form_is_refused(office: Office) -> None:
    answer = office.client().post("/login", data={"name": "x" * 100_000})
    assert answer.status_code == 413
