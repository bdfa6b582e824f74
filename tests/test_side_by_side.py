"""Tests run beside the demo and beside other work: they share no port, ledger or settings, and no clock ends them."""

from __future__ import annotations

import os
import re
import socket
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from evenfoot.analytics.ledger import default_path, open_ledger
from evenfoot.dashboard.web.server import check_address
from tests.ports import DEMO_PORT, free_port

TESTS = Path(__file__).parent


@pytest.mark.parametrize("host", ["127.0.0.1", "0.0.0.0", "localhost"])
def test_a_test_that_takes_the_port_of_the_demo_fails(host: str) -> None:
    """Whether or not ``make run`` is up; so no test can depend on it."""
    with socket.socket() as own, pytest.raises(AssertionError, match="make run"):
        own.bind((host, DEMO_PORT))
    with pytest.raises(AssertionError, match="make run"):
        check_address(host, DEMO_PORT)


def test_the_port_is_the_one_the_demo_takes() -> None:
    makefile = (TESTS.parent / "Makefile").read_text(encoding="utf-8")
    assert f"PORT ?= {DEMO_PORT}\n" in makefile


def test_free_ports_are_free_and_not_the_demos() -> None:
    for port in {free_port() for _ in range(20)}:
        assert port != DEMO_PORT
        check_address("127.0.0.1", port)


def test_servers_of_tests_are_given_a_port() -> None:
    """A command without one would take the demo's."""
    for path in TESTS.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for found in re.finditer(r'"(serve|demo)", ', text):
            words = text[found.start() : found.start() + 120]
            assert path == Path(__file__) or '"--port"' in words, f"{path}: {words}"


def test_the_ledger_of_whoever_runs_the_tests_is_not_theirs() -> None:
    assert "EVENFOOT_LEDGER" not in os.environ
    assert Path(tempfile.gettempdir()) in default_path().parents
    assert not open_ledger(None).exists
    assert not [
        path for path in TESTS.rglob("*.py") if "build/demo" in path.read_text("utf-8") and path != Path(__file__)
    ]


def test_no_property_test_ends_by_the_clock_and_all_say_the_same_each_time() -> None:
    now = settings()
    assert now.deadline is None and now.derandomize
    assert HealthCheck.too_slow in now.suppress_health_check
