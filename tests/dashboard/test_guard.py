"""Who the server answers to, and what it lets a page do."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask.testing import FlaskClient

from evenfoot.analytics.ledger import open_ledger
from evenfoot.dashboard.web.app import create_app


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


def test_what_is_refused_is_said_in_the_readers_language(client: FlaskClient) -> None:
    spanish = {"Host": "localhost:8050", "Accept-Language": "es-MX,en"}
    assert client.get("/assets/none.css", headers=spanish).text == "Esa página no existe.\n"
    assert client.get("/none/of/these/", headers=spanish | {"Host": "evil.example"}).text.startswith(
        "Aquí no se atiende"
    )
    spanish["Origin"] = "http://localhost:8050"
    assert client.put("/health", headers=spanish).text == "Eso no se puede hacer aquí.\n"
    assert client.put("/health?language=en", headers=spanish).text == "That cannot be done here.\n"
    answer = client.get("/shared/nothing", headers=spanish)
    assert answer.status_code == 404
    assert [line.split(" ")[0] for line in answer.text.splitlines()] == ["Este", "This"]
    broken = client.get("/_dash-layout", headers={"Host": "localhost:8050", "Referer": "http://[no address"})
    assert broken.status_code == 200


def test_errors_reveal_nothing(client: FlaskClient) -> None:
    answer = client.post("/_dash-update-component", json={"output": "no.such"}, headers={"Host": "localhost"})
    assert answer.status_code == 500
    assert b"Traceback" not in answer.data and b"/dash/" not in answer.data


CROSS = {"Host": "localhost:8050", "Sec-Fetch-Site": "cross-site"}
LED = {"Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}


@pytest.mark.parametrize(
    "path", ["/_panel/herd-review?path=/", "/_ahead?path=/", "/_dash-layout", "/_dash-dependencies"]
)
@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_other_sites_get_nothing_but_pages(client: FlaskClient, path: str, site: str) -> None:
    headers = CROSS | {"Sec-Fetch-Site": site}
    assert client.get(path, headers=headers).status_code == 421
    assert client.get(path, headers=headers | {"Sec-Fetch-Mode": "no-cors"}).status_code == 421
    assert client.get(path, headers={"Host": "localhost:8050", "Origin": "http://evil.example"}).status_code == 421
    assert client.get(path, headers=CROSS | {"Sec-Fetch-Site": "same-origin"}).status_code != 421


def test_another_site_may_lead_to_a_page(client: FlaskClient) -> None:
    assert client.get("/lesions", headers=CROSS | LED).status_code == 200
    assert client.get("/lesions", headers=CROSS | LED | {"Sec-Fetch-Dest": "iframe"}).status_code == 421
    assert client.get("/_panel/herd-review?path=/", headers=CROSS | LED).status_code == 421
