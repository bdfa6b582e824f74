"""Accounts of every role, and a browser's part in signing in, for the tests of the door."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.auth import passwords, people
from evenfoot.dashboard.auth.access import Access
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.web.app import create_app

PASSWORD = "four words walk along"
HOST = "localhost:8050"
ORIGIN = f"http://{HOST}"


@dataclass
class Clock:
    """A clock that tests turn forward."""

    now: float = 1_800_000_000.0

    def __call__(self) -> float:
        return self.now


@dataclass
class Office:
    """A ledger, its accounts and the server in front of them."""

    ledger: Ledger
    store: Store
    clock: Clock
    access: Access = field(default_factory=Access)

    def __post_init__(self) -> None:
        self.app = create_app(self.ledger, self.store, self.access)

    def client(self) -> Browser:
        return Browser(self.app.server.test_client(), self.store)

    def signed_in(self, name: str, password: str = PASSWORD) -> Browser:
        browser = self.client()
        answer = browser.sign_in(name, password)
        assert answer.status_code == 303, answer.text
        return browser


@dataclass
class Browser:
    """A browser: keeps cookies, says where a request comes from, sends the session's word along."""

    client: FlaskClient
    store: Store

    def get(self, path: str, **headers: str) -> TestResponse:
        return self.client.get(path, headers={"Host": HOST} | headers, base_url=ORIGIN)

    def post(self, path: str, *, headers: dict[str, str] | None = None, **given: Any) -> TestResponse:
        own = {"Host": HOST, "Origin": ORIGIN}
        cookie = self.client.get_cookie(self.store.cookie("evenfoot-word"), domain="localhost")
        if cookie is not None:
            own["X-CSRFToken"] = cookie.value
        return self.client.post(path, headers=own | (headers or {}), base_url=ORIGIN, **given)

    def sign_in(self, name: str, password: str, then: str = "/") -> TestResponse:
        page = self.get("/login")
        word = re.search(r'name="word" value="([^"]+)"', page.text)
        assert word, page.text
        form = {"name": name, "password": password, "word": word[1], "next": then}
        return self.post("/login", data=form)

    @property
    def session(self) -> str | None:
        cookie = self.client.get_cookie(self.store.cookie("evenfoot-session"), domain="localhost")
        return None if cookie is None else cookie.value


def staffed(path: Path, accounts: dict[str, tuple[str, tuple[str, ...]]], clock: Clock) -> Store:
    """Accounts (name: role, farms) that all have :data:`PASSWORD`."""
    store = Store(path, clock)
    for name, (role, farms) in accounts.items():
        people.add(store, name, role, PASSWORD, farms=farms)
    return store


def cheap_hashes(monkeypatch: Any) -> None:
    """Argon2 with the least work it takes, where a test asks many times; the real strength has a test of its own."""
    from argon2 import PasswordHasher

    cheap = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "_hasher", lambda: cheap)
    passwords._nobodys.cache_clear()
