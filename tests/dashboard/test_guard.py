"""Who the server answers to, and what it lets a page do."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask.testing import FlaskClient

from analytics.ledger import open_ledger
from dashboard.app import create_app


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    path: Path = tmp_path_factory.mktemp("guard") / "none.duckdb"
    return create_app(open_ledger(path)).server.test_client()


@pytest.mark.parametrize("host", ["127.0.0.1:8050", "localhost:8050", "[::1]:8050"])
def test_this_machines_names_are_answered(client: FlaskClient, host: str) -> None:
    answer = client.get("/", headers={"Host": host})
    assert answer.status_code == 200
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe-eval" not in policy
    assert "'unsafe-inline'" not in policy.split("script-src")[1].split(";")[0]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8050", "127.0.0.1.evil.example", "10.0.0.5"])
def test_other_names_are_refused(client: FlaskClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 421


@pytest.mark.parametrize("origin", ["http://evil.example", "http://localhost:9999", "null"])
def test_other_sites_cannot_post(client: FlaskClient, origin: str) -> None:
    answer = client.post("/_dash-update-component", json={}, headers={"Host": "localhost:8050", "Origin": origin})
    assert answer.status_code == 421


def test_errors_reveal_nothing(client: FlaskClient) -> None:
    answer = client.post("/_dash-update-component", json={"output": "no.such"}, headers={"Host": "localhost"})
    assert answer.status_code == 500
    assert b"Traceback" not in answer.data and b"/dash/" not in answer.data
