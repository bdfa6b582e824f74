"""Behind nginx with TLS: the documented configuration, a real nginx, a real server, loopback only."""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import shutil
import ssl
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

import pytest

from evenfoot.dashboard.auth import people
from evenfoot.dashboard.auth.history import history
from evenfoot.dashboard.auth.store import Store
from tests.auth.asking import marks, path_of
from tests.auth.people import PASSWORD
from tests.auth.two_farms import MINE, two_farms
from tests.effort import tries
from tests.panel_requests import request_for
from tests.ports import free_port

pytestmark = pytest.mark.long

ROOT = Path(__file__).resolve().parent.parent.parent
NAME = "herd.example.org"
NGINX = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin:/usr/local/sbin")


@dataclass
class Served:
    """Ports of nginx (TLS and plain) and of the server behind it, and what it wrote."""

    tls: int
    plain: int
    direct: int
    certificate: Path
    folder: Path

    def ask(
        self, path: str, *, host: str = "", method: str = "GET", body: str | None = None, **headers: str
    ) -> tuple[http.client.HTTPResponse, str]:
        context = ssl.create_default_context(cafile=str(self.certificate))
        connection = http.client.HTTPSConnection("127.0.0.1", self.tls, context=context, timeout=240)
        return _asked(connection, path, host or f"{NAME}:{self.tls}", method, body, headers)

    def ask_directly(self, path: str, host: str, **headers: str) -> tuple[http.client.HTTPResponse, str]:
        connection = http.client.HTTPConnection("127.0.0.1", self.direct, timeout=240)
        return _asked(connection, path, host, "GET", None, headers)


def _asked(
    connection: http.client.HTTPConnection, path: str, host: str, method: str, body: str | None, headers: dict[str, str]
) -> tuple[http.client.HTTPResponse, str]:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    with contextlib.closing(connection):
        connection.request(method, path, body=body, headers={"Host": host, **named})
        answer = connection.getresponse()
        return answer, answer.read().decode("utf-8", "replace")


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    if NGINX is None or shutil.which("openssl") is None:
        if os.environ.get("CI"):
            pytest.fail("nginx and openssl are not on this machine; CI must have them.")
        pytest.skip("nginx or openssl is not on this machine: the tests behind a proxy need both.")
    folder = tmp_path_factory.mktemp("proxy")
    two_farms(folder / "l.duckdb").lease.drop_if_idle()
    store = Store(folder / "l.duckdb.accounts.sqlite")
    people.add(store, "Olive", "owner", PASSWORD)
    people.add(store, "Kim", "trimmer", PASSWORD, farms=[MINE])
    certificate, key = folder / "herd.crt", folder / "herd.key"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2",
         "-keyout", str(key), "-out", str(certificate), "-subj", f"/CN={NAME}",
         "-addext", f"subjectAltName=DNS:{NAME},IP:127.0.0.1"],
        check=True, capture_output=True,
    )  # fmt: skip
    ports = Served(free_port(), free_port(), free_port(), certificate, folder)
    site = (ROOT / "docs" / "behind-nginx.conf").read_text()
    for said, here in (
        ("/etc/ssl/herd.example.org.crt", str(certificate)), ("/etc/ssl/herd.example.org.key", str(key)),
        ("listen 443", f"listen 127.0.0.1:{ports.tls}"), ("listen 80", f"listen 127.0.0.1:{ports.plain}"),
        ("127.0.0.1:8050", f"127.0.0.1:{ports.direct}"),
    ):  # fmt: skip
        assert said in site
        site = site.replace(said, here)
    (folder / "site.conf").write_text(site)
    kept = "".join(
        f"{kind}_temp_path {folder}/{kind}; " for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    user = "user root; " if hasattr(os, "geteuid") and os.geteuid() == 0 else ""
    (folder / "nginx.conf").write_text(
        f"{user}daemon off; pid {folder}/pid; error_log {folder}/error.log; events {{}} "
        f"http {{ access_log {folder}/access.log; {kept} include {folder}/site.conf; }}"
    )
    command = [sys.executable, "-c", "from evenfoot.dashboard.cli.main import main; main()", "serve", "--ledger",
               str(folder / "l.duckdb"), "--port", str(ports.direct), "--behind-proxy", "--public-name",
               NAME]  # fmt: skip
    with (folder / "server.log").open("w") as log:
        server = subprocess.Popen(command, stdout=log, stderr=log)
        proxy = subprocess.Popen([NGINX, "-c", str(folder / "nginx.conf"), "-p", str(folder)], stdout=log, stderr=log)
        try:
            _wait_for(ports)
            yield ports
        finally:
            for process in (proxy, server):
                process.terminate()
                process.wait(120)


def _wait_for(ports: Served) -> None:
    until = time.monotonic() + 240
    while time.monotonic() < until:
        try:
            if ports.ask("/health")[0].status == 200:
                return
        except OSError:
            pass
        time.sleep(0.1)
    raise AssertionError((ports.folder / "server.log").read_text() + (ports.folder / "error.log").read_text())


def sign_in(
    served: Served, password: str = PASSWORD, name: str = "Olive", **headers: str
) -> tuple[http.client.HTTPResponse, str]:
    page, text = served.ask("/login")
    word = re.search(r'name="word" value="([^"]+)"', text)
    assert word, text
    form = urlencode({"name": name, "password": password, "word": word[1], "next": "/"})
    cookie = (page.getheader("Set-Cookie") or "").split(";")[0]
    given = {"Origin": f"https://{NAME}:{served.tls}", "Content_Type": "application/x-www-form-urlencoded"}
    return served.ask("/login", method="POST", body=form, Cookie=cookie, **given | headers)


def test_one_signs_in_over_tls_and_the_cookie_is_for_tls_alone(served: Served) -> None:
    answer, _ = sign_in(served)
    assert answer.status == 303 and answer.getheader("Location") == "/"
    cookies = answer.headers.get_all("Set-Cookie") or []
    [session] = [cookie for cookie in cookies if cookie.startswith("__Host-evenfoot-")]
    assert "Secure" in session and "HttpOnly" in session and "SameSite=Lax" in session
    page, text = served.ask("/_dash-layout", Cookie=session.split(";")[0])
    assert page.status == 200 and "address" in text
    assert page.getheader("Strict-Transport-Security") == "max-age=31536000"


AT_ONCE = 50
PANELS_ASKED = ("herd-review", "lesion-types", "lesion-cows")


def test_two_roles_ask_at_once_and_neither_sees_what_is_the_others(served: Served) -> None:
    """One who asks more often at a time than the proxy allows is told to wait by the proxy, and asks again."""
    sent: dict[str, dict[str, str]] = {}
    for name in ("Olive", "Kim"):
        answer, _ = sign_in(served, name=name)
        cookies = [cookie.split(";")[0] for cookie in answer.headers.get_all("Set-Cookie") or []]
        [word] = [cookie.partition("=")[2] for cookie in cookies if "evenfoot-word" in cookie]
        sent[name] = {
            "Cookie": "; ".join(cookies), "X_CSRFToken": word, "Content_Type": "application/json",
            "Origin": f"https://{NAME}:{served.tls}",
        }  # fmt: skip
    together = threading.Barrier(AT_ONCE, timeout=240)

    def ask(number: int) -> list[tuple[str, int, str]]:
        name, told = ("Olive", "Kim")[number % 2], []
        together.wait()
        for turn in range(tries(3)):
            panel = PANELS_ASKED[(number // 2 + turn) % len(PANELS_ASKED)]
            search = f"?visits=all&since=20{10 + number % 7}-01-01"
            asked = request_for("https://any", panel, path_of(panel), search).data
            assert isinstance(asked, bytes)
            where = "/_dash-update-component"
            while (answer := served.ask(where, method="POST", body=asked.decode(), **sent[name]))[0].status == 503:
                time.sleep(0.1)
            told.append((name, answer[0].status, answer[1]))
        return told

    with ThreadPoolExecutor(AT_ONCE) as pool:
        answers = [each for answered in pool.map(ask, range(AT_ONCE)) for each in answered]
    assert {status for _, status, _ in answers} == {200}
    assert not any(marks(text) for name, _, text in answers if name == "Kim")
    assert any(marks(text) for name, _, text in answers if name == "Olive")
    assert not any("because of an error in Evenfoot" in text for _, _, text in answers)


def test_plain_http_leads_to_tls(served: Served) -> None:
    connection = http.client.HTTPConnection("127.0.0.1", served.plain, timeout=240)
    answer, _ = _asked(connection, "/lesions", NAME, "GET", None, {})
    assert answer.status == 301 and answer.getheader("Location") == f"https://{NAME}/lesions"


@pytest.mark.parametrize("host", ["evil.example", "localhost", "127.0.0.1", "herd.example.org.evil.example", ""])
def test_other_names_get_no_answer(served: Served, host: str) -> None:
    with pytest.raises((http.client.RemoteDisconnected, http.client.BadStatusLine, ConnectionError, ssl.SSLError)):
        served.ask("/login", host=host or "_")


def test_whoever_goes_past_the_proxy_is_not_let_in(served: Served) -> None:
    answer, _ = served.ask_directly("/login", "127.0.0.1")
    assert answer.status == 421
    assert served.ask_directly("/health", "127.0.0.1")[0].status == 200


def test_another_origin_cannot_post_through_the_proxy(served: Served) -> None:
    assert sign_in(served, Origin="https://evil.example")[0].status == 421
    assert sign_in(served, Origin=f"http://{NAME}:{served.tls}")[0].status == 421


def test_an_address_made_up_by_the_browser_does_not_escape_the_slowing_down(served: Served) -> None:
    """The proxy says who asked; what the browser says in its place is thrown away."""
    codes = [
        sign_in(served, f"wrong words {n} here", X_Forwarded_For=f"203.0.113.{n}", X_Forwarded_Host="evil.example")[
            0
        ].status
        for n in range(7)
    ]
    assert 429 in codes and codes[0] == 401
    store = Store(served.folder / "l.duckdb.accounts.sqlite")
    with store.look() as connection:
        counts = connection.execute("SELECT COUNT(*) FROM attempts WHERE failures > 0").fetchone()[0]
        assert counts == 2  # the name, and one address
    assert len(set(history(store)["address"]) - {""}) == 1


def test_a_large_body_is_stopped_at_the_proxy_except_for_sheets(served: Served) -> None:
    given = {"Content_Type": "application/x-www-form-urlencoded", "Origin": f"https://{NAME}:{served.tls}"}
    assert served.ask("/login", method="POST", body="x" * 40_000, **given)[0].status == 413
    assert served.ask("/_dash-update-component", method="POST", body="x" * 40_000, **given)[0].status == 401


def test_the_logs_carry_no_secrets(served: Served) -> None:
    answer, _ = sign_in(served)
    for path in ("/shared/eyJpZCI6secret.token", "/login?next=%2F"):
        served.ask(path)
    written = "".join((served.folder / name).read_text() for name in ("server.log", "access.log", "error.log"))
    assert PASSWORD not in written and "secret.token" not in written and "__Host-" not in written
    for cookie in answer.headers.get_all("Set-Cookie") or []:
        value = cookie.split(";")[0].partition("=")[2]
        assert not value or value not in written
