"""On which addresses the server starts, and which names it answers to."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.auth.access import LOOPBACK_NAMES, access
from evenfoot.dashboard.auth.store import Store
from tests.auth.people import Clock, cheap_hashes, staffed


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    cheap_hashes(monkeypatch)
    return staffed(tmp_path / "a.sqlite", {"Olive": ("owner", ())}, Clock())


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "[::1]", "127.0.0.2"])
def test_alone_on_this_machine_no_account_is_needed(tmp_path: Path, host: str) -> None:
    assert access(host, Store(tmp_path / "none.sqlite")).open_here
    assert not (tmp_path / "none.sqlite").exists()


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.20", "10.0.0.1", "barn.example", "127.0.0.1.example"])
def test_elsewhere_the_server_does_not_start_without_accounts(tmp_path: Path, host: str) -> None:
    with pytest.raises(UserError, match="no accounts yet"):
        access(host, Store(tmp_path / "none.sqlite"), public_names=["herd.example.org"])


def test_a_proxy_needs_accounts_and_a_name(tmp_path: Path, store: Store) -> None:
    with pytest.raises(UserError, match="no accounts yet"):
        access("127.0.0.1", Store(tmp_path / "none.sqlite"), behind_proxy=True, public_names=["herd.example.org"])
    with pytest.raises(UserError, match="--public-name"):
        access("127.0.0.1", store, behind_proxy=True)
    how = access("127.0.0.1", store, behind_proxy=True, public_names=["Herd.Example.org"])
    assert how.names == {"herd.example.org"} and not how.open_here


def test_every_address_needs_a_name_and_one_address_is_its_own(store: Store) -> None:
    with pytest.raises(UserError, match="--public-name"):
        access("0.0.0.0", store)
    assert access("0.0.0.0", store, public_names=["192.168.1.20"]).names == LOOPBACK_NAMES | {"0.0.0.0", "192.168.1.20"}
    assert "192.168.1.20" in access("192.168.1.20", store).names


@pytest.mark.parametrize("name", ["", "a b", "x/y", "https:x", "herd.example.org:443", "*", "-x", "x" * 300, "a..b"])
def test_a_name_is_a_name(store: Store, name: str) -> None:
    with pytest.raises(UserError, match="not a name of a machine"):
        access("0.0.0.0", store, public_names=[name])


def test_a_public_name_alone_opens_nothing(store: Store) -> None:
    with pytest.raises(UserError, match="goes with"):
        access("127.0.0.1", store, public_names=["herd.example.org"])
