"""Signing in with the office's own service, against a small provider on loopback that can also lie."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import secrets
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest
from flask import Flask, jsonify, redirect, request
from joserfc import jwt
from joserfc.jwk import RSAKey
from werkzeug.serving import make_server
from werkzeug.test import TestResponse

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.dashboard.auth import people
from evenfoot.dashboard.auth.history import NO_ACCOUNT, REFUSED_ELSEWHERE, SIGNED_IN_ELSEWHERE, history
from evenfoot.dashboard.auth.oidc import PREFIX, service
from evenfoot.dashboard.auth.store import Store
from tests.auth.people import PASSWORD, Browser, Clock, Office, cheap_hashes, staffed

CLIENT, SECRET = "evenfoot", "client secret words"
AT_ONCE = 12


@dataclass
class Provider:
    """An OpenID provider; ``lies`` changes what the identity token says, ``key`` what it is signed with."""

    address: str = ""
    lies: dict[str, Any] = field(default_factory=dict)
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "one", "use": "sig"}))
    signed_with: RSAKey | None = None
    asked: dict[str, dict[str, str]] = field(default_factory=dict)
    tokens: int = 0

    def app(self) -> Flask:
        app = Flask("provider")

        @app.get("/.well-known/openid-configuration")
        def configuration() -> Any:
            return jsonify(
                issuer=self.address, authorization_endpoint=f"{self.address}/ask",
                token_endpoint=f"{self.address}/token",
                jwks_uri=f"{self.address}/keys", response_types_supported=["code"],
                id_token_signing_alg_values_supported=["RS256"], code_challenge_methods_supported=["S256"],
            )  # fmt: skip

        @app.get("/keys")
        def keys() -> Any:
            return jsonify(keys=[self.key.as_dict(private=False)])

        @app.get("/ask")
        def ask() -> Any:
            code = secrets.token_urlsafe(8)
            self.asked[code] = request.args.to_dict()
            return redirect(
                request.args["redirect_uri"] + "?" + urlencode({"code": code, "state": request.args["state"]})
            )

        @app.post("/token")
        def token() -> Any:
            self.tokens += 1
            given = self.asked.pop(request.form.get("code", ""), None)
            sent = base64.b64decode((request.headers.get("Authorization") or " ").split(" ")[1]).decode()
            proof = hashlib.sha256(request.form.get("code_verifier", "").encode()).digest()
            challenge = base64.urlsafe_b64encode(proof).decode().rstrip("=")
            if given is None or (sent != f"{CLIENT}:{SECRET.replace(' ', '+')}" and sent != f"{CLIENT}:{SECRET}"):
                return jsonify(error="invalid_grant"), 400
            if challenge != given.get("code_challenge") or given.get("code_challenge_method") != "S256":
                return jsonify(error="invalid_grant"), 400
            now = int(time.time())
            claims = {
                "iss": self.address, "aud": CLIENT, "sub": "person 7", "iat": now, "exp": now + 300,
                "nonce": given["nonce"], "email": "kim@example.org", "email_verified": True,
            } | self.lies  # fmt: skip
            if "as" in given:
                claims |= {"sub": given["as"], "email": f"{given['as']}@example.org"}
            signed = jwt.encode({"alg": "RS256", "kid": "one"}, claims, self.signed_with or self.key)
            return jsonify(access_token="x", token_type="Bearer", id_token=signed)

        return app


@pytest.fixture(scope="module")
def provider() -> Iterator[Provider]:
    made = Provider()
    server = make_server("127.0.0.1", 0, made.app(), threaded=True)
    made.address = f"http://127.0.0.1:{server.server_port}"
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield made
    server.shutdown()


@pytest.fixture
def office(provider: Provider, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Office:
    provider.lies, provider.signed_with = {}, None
    cheap_hashes(monkeypatch)
    settings = {
        "ISSUER": provider.address,
        "CLIENT": CLIENT,
        "SECRET": SECRET,
        "NAME": "Barn <b>",
        "PLAIN_ON_LOOPBACK": "1",
    }
    for name, value in settings.items():
        monkeypatch.setenv(PREFIX + name, value)
    store = staffed(tmp_path / "a.sqlite", {"Olive": ("owner", ())}, Clock())
    people.add(store, "Kim", "trimmer", None, farms=["Home Farm"], email="Kim@Example.org")
    return Office(open_ledger(tmp_path / "none.duckdb"), store, store.clock)  # type: ignore[arg-type]


def go(browser: Browser, then: str = "/lesions") -> TestResponse:
    """Follow the button to the service and back."""
    import requests

    away = browser.get("/sign-in/start?" + urlencode({"next": then}))
    assert away.status_code == 302, away.text
    asked = parse_qs(urlsplit(away.headers["Location"]).query)
    assert (
        asked["code_challenge_method"] == ["S256"]
        and asked["nonce"]
        and asked["state"]
        and asked["scope"] == ["openid email"]
    )
    back = requests.get(away.headers["Location"], allow_redirects=False, timeout=120).headers["Location"]
    return browser.get(urlsplit(back).path + "?" + urlsplit(back).query)


def test_one_signs_in_elsewhere_to_the_account_one_has(office: Office) -> None:
    browser = office.client()
    page = browser.get("/login").text
    assert "Sign in with Barn &lt;b&gt;" in page
    answer = go(browser)
    assert answer.status_code == 303 and answer.headers["Location"] == "/lesions"
    assert "Kim" in browser.get("/account").text and "Change the password" not in browser.get("/account").text
    with office.store.look() as connection:
        kept = connection.execute("SELECT subject FROM accounts WHERE name = 'Kim'").fetchone()[0]
    assert kept.endswith(" person 7")
    line = history(office.store).iloc[-1]
    assert (line["who"], line["what"], line["address"]) == ("Kim", SIGNED_IN_ELSEWHERE, "127.0.0.1")


def test_once_bound_the_subject_counts_and_the_address_no_more(office: Office, provider: Provider) -> None:
    assert go(office.client()).status_code == 303
    provider.lies = {"email": "other@example.org"}
    assert go(office.client()).status_code == 303
    provider.lies = {"sub": "person 8"}
    assert go(office.client()).status_code == 403
    line = history(office.store).iloc[-1]
    assert (line["what"], line["subject"]) == (REFUSED_ELSEWHERE, NO_ACCOUNT)


@pytest.mark.parametrize(
    "lies",
    [
        {"email": "stranger@example.org"},
        {"email_verified": False},
        {"email_verified": "true"},
        {"email": None},
        {"sub": ""},
    ],
)
def test_who_has_no_account_stays_outside(office: Office, provider: Provider, lies: dict[str, Any]) -> None:
    provider.lies = lies
    browser = office.client()
    answer = go(browser)
    assert answer.status_code == 403 and browser.session is None
    assert browser.get("/_dash-layout").status_code == 401
    assert len(people.listed(office.store)) == 2


@pytest.mark.parametrize(
    "lies",
    [
        {"nonce": "another"},
        {"aud": "another"},
        {"aud": ["another"]},
        {"iss": "http://127.0.0.1:1"},
        {"exp": 1_000_000_000},
    ],
)
def test_a_token_that_is_not_for_us_is_refused(office: Office, provider: Provider, lies: dict[str, Any]) -> None:
    provider.lies = lies
    browser = office.client()
    assert go(browser).status_code == 403 and browser.session is None


def test_a_token_signed_by_another_is_refused(office: Office, provider: Provider) -> None:
    provider.signed_with = RSAKey.generate_key(2048, {"kid": "one"})
    assert go(office.client()).status_code == 403


def test_a_way_back_that_nobody_asked_for_is_refused(office: Office, provider: Provider) -> None:
    """Another person's code, put before a victim's browser, is no use: it has no state of that browser."""
    import requests

    thief, victim = office.client(), office.client()
    away = thief.get("/sign-in/start").headers["Location"]
    back = urlsplit(requests.get(away, allow_redirects=False, timeout=120).headers["Location"])
    before = provider.tokens
    assert victim.get(f"{back.path}?{back.query}").status_code == 403
    assert victim.get("/sign-in/done").status_code == 403
    assert victim.get("/sign-in/done?error=access_denied&error_description=%3Cscript%3E").status_code == 403
    assert provider.tokens == before and victim.session is None
    assert thief.get(f"{back.path}?{back.query}").status_code == 303
    assert thief.get(f"{back.path}?{back.query}").status_code in (303, 403)


def begun(browser: Browser, who: str) -> dict[str, str]:
    """Begin to sign in, as *who* at the service; code and state of the way back."""
    import requests

    away = browser.get("/sign-in/start").headers["Location"]
    back = requests.get(f"{away}&as={who}", allow_redirects=False, timeout=120).headers["Location"]
    return {name: values[0] for name, values in parse_qs(urlsplit(back).query).items()}


def test_many_sign_in_at_once_and_each_to_their_own_account(office: Office) -> None:
    names = [f"Person{n}" for n in range(AT_ONCE)]
    for name in names:
        people.add(office.store, name, "trimmer", None, farms=["Home Farm"], email=f"{name}@example.org")
    together = threading.Barrier(AT_ONCE, timeout=120)

    def sign_in(name: str) -> tuple[int, str]:
        browser = office.client()
        back = begun(browser, name)
        together.wait()
        answer = browser.get("/sign-in/done?" + urlencode(back))
        return answer.status_code, browser.get("/account").text

    with ThreadPoolExecutor(AT_ONCE) as pool:
        for name, (status, page) in zip(names, pool.map(sign_in, names), strict=True):
            assert status == 303 and re.findall(r"Person\d+", page) and set(re.findall(r"Person\d+", page)) == {name}
    told = history(office.store)
    assert sorted(told[told["what"] == SIGNED_IN_ELSEWHERE]["who"]) == sorted(names)


def test_ways_back_that_are_mixed_up_lead_nowhere(office: Office) -> None:
    """Two sign in at once, and each is given the other's way back, or the other's code with their own state."""
    for name in ("Ann", "Ben"):
        people.add(office.store, name, "trimmer", None, farms=["Home Farm"], email=f"{name}@example.org")
    for given in (("code", "state"), ("code",), ("state",)):
        ann, ben = office.client(), office.client()
        for browser, mine, other in (
            (ann, begun(ann, "Ann"), begun(ben, "Ben")),
            (ben, begun(ben, "Ben"), begun(ann, "Ann")),
        ):
            mixed = mine | {name: other[name] for name in given}
            assert browser.get("/sign-in/done?" + urlencode(mixed)).status_code == 403, given
            assert browser.session is None
    assert ann.get("/sign-in/done?" + urlencode(begun(ann, "Ann"))).status_code == 303 and ann.session


def test_a_service_that_is_down_is_one_sentence(
    office: Office, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(PREFIX + "ISSUER", "http://127.0.0.1:9")
    other = Office(office.ledger, office.store, office.clock)
    answer = other.client().get("/sign-in/start")
    assert answer.status_code == 403 and "did not work" in answer.text and "127.0.0.1" not in answer.text
    assert other.client().sign_in("Olive", PASSWORD).status_code == 303


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"ISSUER": "http://login.example.org", "CLIENT": "a", "SECRET": "b"}, "https"),
        ({"ISSUER": "http://127.0.0.1:9", "CLIENT": "a", "SECRET": "b"}, "https"),
        ({"ISSUER": "http://login.example.org", "CLIENT": "a", "SECRET": "b", "PLAIN_ON_LOOPBACK": "1"}, "https"),
        ({"ISSUER": "https:login", "CLIENT": "a"}, "SECRET"),
        ({"ISSUER": "login.example.org", "CLIENT": "a", "SECRET": "b"}, "https"),
    ],
)
def test_settings_that_cannot_be_are_named(settings: dict[str, str], said: str) -> None:
    with pytest.raises(UserError, match=said):
        service({PREFIX + name: value for name, value in settings.items()})


def test_without_settings_nothing_is_offered(tmp_path: Path) -> None:
    assert service({}) is None
    office = Office(open_ledger(tmp_path / "n.duckdb"), Store(tmp_path / "n.sqlite"), Clock())
    assert "sign-in-elsewhere" not in json.dumps([rule.endpoint for rule in office.app.server.url_map.iter_rules()])
