"""What the server sends is compressed, and kept in the browser only as long as it cannot have changed."""

from __future__ import annotations

import gzip
import re
from collections.abc import Callable
from pathlib import Path

import brotli
import pytest
from flask.testing import FlaskClient

from evenfoot.analytics.ledger import open_ledger
from evenfoot.dashboard.web.app import create_app

HERE = {"Host": "localhost:8050", "Accept-Encoding": "gzip"}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    path: Path = tmp_path_factory.mktemp("delivery") / "none.duckdb"
    return create_app(open_ledger(path)).server.test_client()


@pytest.fixture(scope="module")
def scripts(client: FlaskClient) -> list[str]:
    page = client.get("/", headers=HERE).get_data(as_text=True)
    return re.findall(r'(?:src|href)="(/(?:_dash-component-suites|assets)/[^"]+\.(?:js|css)[^"]*)"', page)


def test_every_script_and_style_names_its_version_and_is_kept(client: FlaskClient, scripts: list[str]) -> None:
    assert len(scripts) > 8 and any("plotly" in script for script in scripts)
    for script in scripts:
        with client.get(script, headers=HERE) as answer:
            assert answer.status_code == 200, script
            assert "immutable" in answer.headers["Cache-Control"], script


@pytest.mark.parametrize(("how", "unpack"), [("gzip", gzip.decompress), ("br", brotli.decompress)])
def test_a_script_or_an_answer_is_the_same_compressed_and_plain(
    client: FlaskClient, scripts: list[str], how: str, unpack: Callable[[bytes], bytes]
) -> None:
    plotly = next(script for script in scripts if "plotly" in script)
    for path, smaller in ((plotly, 3), ("/_dash-dependencies", 5)):
        packed = client.get(path, headers={"Host": "localhost", "Accept-Encoding": f"deflate, {how}"})
        plain = client.get(path, headers={"Host": "localhost"})
        assert packed.headers["Content-Encoding"] == how and packed.headers["Vary"] == "Accept-Encoding"
        assert "Content-Encoding" not in plain.headers
        assert unpack(packed.data) == plain.data
        assert len(packed.data) < len(plain.data) / smaller


def test_a_script_without_a_version_is_asked_for_anew_and_not_sent_twice(client: FlaskClient) -> None:
    first = client.get("/_dash-component-suites/dash/dcc/async-graph.js", headers=HERE)
    assert first.headers["Cache-Control"] == "no-cache"
    again = client.get(
        "/_dash-component-suites/dash/dcc/async-graph.js", headers={**HERE, "If-None-Match": first.headers["ETag"]}
    )
    assert again.status_code == 304 and not again.data


def test_records_are_not_left_in_the_browser(client: FlaskClient) -> None:
    assert client.get("/", headers=HERE).headers["Cache-Control"] == "no-store"
    assert client.get("/_dash-layout", headers=HERE).headers["Cache-Control"] == "no-store"
