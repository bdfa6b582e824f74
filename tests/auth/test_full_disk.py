"""Reading and signing in where the disk takes nothing: full, or only to be read."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from evenfoot.dashboard.auth import people, second_factor, sessions, throttle
from evenfoot.dashboard.auth import store as store_module
from evenfoot.dashboard.auth.store import Store, Unwritable
from tests.auth.asking import contents
from tests.auth.people import PASSWORD, Clock, Office, cheap_hashes, staffed
from tests.report.made import herd

SMALL = "24m"


def mount(*words: str) -> bool:
    return subprocess.run(["mount", *words], capture_output=True, check=False).returncode == 0


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A small file system of its own, where this user may mount one."""
    place = tmp_path / "disk"
    place.mkdir()
    if not mount("-t", "tmpfs", "-o", f"size={SMALL}", "tmpfs", str(place)):
        pytest.skip("this user may not mount a file system")
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", str(place)], check=False)


def fill(place: Path) -> None:
    free = shutil.disk_usage(place).free
    with (place / "filler").open("wb") as file, contextlib.suppress(OSError):
        file.write(bytes(free))
    with contextlib.suppress(OSError), (place / "filler").open("ab", buffering=0) as file:
        while file.write(b"x"):
            pass
    assert shutil.disk_usage(place).free == 0


def empty(place: Path) -> None:
    (place / "filler").unlink()


def close(place: Path) -> None:
    assert mount("-o", "remount,ro", str(place))


def reopen(place: Path) -> None:
    assert mount("-o", "remount,rw", str(place))


Change = Callable[[Path], None]
WAYS = [pytest.param(fill, empty, id="full"), pytest.param(close, reopen, id="read only")]


@pytest.fixture
def office(disk: Path, monkeypatch: pytest.MonkeyPatch) -> Office:
    cheap_hashes(monkeypatch)
    ledger = herd(disk / "l.duckdb", "Home Farm", 5)
    ledger.lease.drop_if_idle()
    clock = Clock()
    staff = {"Olive": ("owner", ()), "Kim": ("trimmer", ("Home Farm",))}
    return Office(ledger, staffed(disk / "accounts.sqlite", staff, clock), clock)


def kept_sessions(store: Store) -> int:
    with store.look() as connection:
        return int(connection.execute("SELECT COUNT(*) FROM sessions").fetchone()[0])


@pytest.mark.parametrize(("stop", "go_on"), WAYS)
def test_reading_signing_in_and_out_work(office: Office, disk: Path, stop: Change, go_on: Change) -> None:
    before, gone = office.signed_in("Olive"), office.signed_in("Kim")
    stop(disk)
    # Long enough after the last note of the session for another to be due.
    office.clock.now += sessions.NOTED_EVERY + 1
    assert before.get("/_dash-layout").status_code == 200
    code, text = contents(office, before, "herd-review", "?farms=Home+Farm")
    assert code == 200 and "cows" in text
    during = office.signed_in("Kim")
    assert during.get("/_dash-layout").status_code == 200
    assert gone.post("/logout").status_code == 303
    assert gone.session is None or gone.get("/_dash-layout").status_code == 401
    # The session from before goes on although nothing can be noted, and ends when it is idle.
    for _ in range(3):
        office.clock.now += sessions.IDLE_SECONDS - 60
        assert before.get("/_dash-layout").status_code == 200
    assert during.get("/_dash-layout").status_code == 401
    during = office.signed_in("Kim")
    answer = before.post("/account", data={"act": "change password", "password": PASSWORD, "new": "other words walk on",
                                           "again": "other words walk on"})  # fmt: skip
    assert answer.status_code == 400 and "cannot be written" in answer.text
    kept = kept_sessions(office.store)
    go_on(disk)
    assert during.get("/_dash-layout").status_code == 200 and before.get("/_dash-layout").status_code == 200
    assert kept_sessions(office.store) != kept
    # Nothing of it is in memory any more: another process, or a new start, knows the sessions.
    assert not store_module._memories
    again = Office(office.ledger, Store(office.store.path, office.clock), office.clock).client()
    assert during.session
    again.client.set_cookie(office.store.cookie("evenfoot-session"), during.session, domain="localhost")
    assert again.get("/_dash-layout").status_code == 200


@pytest.mark.parametrize(("stop", "go_on"), WAYS)
def test_guessing_is_slowed_down_as_before(office: Office, disk: Path, stop: Change, go_on: Change) -> None:
    codes = [office.client().sign_in("Olive", f"wrong words {n} and more").status_code for n in range(2)]
    stop(disk)
    codes += [office.client().sign_in("Olive", f"wrong words {n} and more").status_code for n in range(2, 6)]
    assert codes == [401, 401, 401, 401, 429, 429]
    go_on(disk)
    assert office.client().sign_in("Olive", PASSWORD).status_code == 429


@pytest.mark.parametrize(("stop", "go_on"), WAYS)
def test_sign_out_everywhere_holds_for_sessions_in_the_file_and_in_memory(
    office: Office, disk: Path, stop: Change, go_on: Change
) -> None:
    first, other = office.signed_in("Olive"), office.signed_in("Kim")
    stop(disk)
    second = office.signed_in("Olive")
    assert second.post("/account", data={"act": "sign out everywhere"}).status_code == 303
    assert first.get("/_dash-layout").status_code == 401
    go_on(disk)
    assert other.get("/_dash-layout").status_code == 200
    assert first.get("/_dash-layout").status_code == 401
    assert kept_sessions(office.store) == 1


def test_who_is_signed_out_by_another_program_does_not_come_back_from_memory(office: Office, disk: Path) -> None:
    fill(disk)
    during, other = office.signed_in("Kim"), office.signed_in("Olive")
    empty(disk)
    office.clock.now += 1
    memories = dict(store_module._memories)
    store_module._memories.clear()  # as in another program
    people.set_password(office.store, "Kim", "other words walk on")
    store_module._memories.update(memories)
    assert during.get("/_dash-layout").status_code == 401
    assert other.get("/_dash-layout").status_code == 200


def test_a_code_of_the_app_works_once_and_a_recovery_code_waits(office: Office, disk: Path) -> None:
    number, secret = people.number_of(office.store, "Olive"), second_factor.new_secret()
    codes = second_factor.begin(office.store, number, secret, second_factor.code_at(secret, office.clock.now))
    office.clock.now += 300
    fill(disk)
    code = second_factor.code_at(secret, office.clock.now)
    assert second_factor.accept(office.store, number, code)
    assert not second_factor.accept(office.store, number, code)
    with pytest.raises(Unwritable):
        second_factor.accept(office.store, number, codes[0])
    empty(disk)
    assert second_factor.accept(office.store, number, codes[0])
    assert not second_factor.accept(office.store, number, code)


def test_a_link_is_followed(office: Office, disk: Path) -> None:
    from evenfoot.dashboard.auth import links
    from evenfoot.dashboard.auth.viewer import OWNER

    path = links.path_of(links.make(office.store, OWNER, "Home Farm"))
    fill(disk)
    assert office.client().get(path).status_code == 200


def test_without_room_nothing_is_changed_and_said_so(office: Office, disk: Path) -> None:
    fill(disk)
    with pytest.raises(Unwritable, match="nothing was changed"):
        people.remove(office.store, "Kim")
    assert len(people.listed(office.store)) == 2


def test_a_disk_that_takes_nothing_is_known_also_where_none_can_be_mounted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = staffed_cheaply(tmp_path, monkeypatch)
    number = people.number_of(store, "Olive")
    opened = Store.open

    @contextlib.contextmanager
    def full(self: Store) -> Iterator[sqlite3.Connection]:
        with opened(self) as connection:
            yield connection
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorcode = sqlite3.SQLITE_FULL
            raise error

    monkeypatch.setattr(Store, "open", contextlib.contextmanager(lambda self: _told(self, full)))
    token = sessions.begin(store, number)
    found = sessions.viewer(store, token)
    assert found is not None and found.name == "Olive" and kept_sessions(store) == 0
    assert [throttle.take_turn(store, throttle.counts_of("olive", "10.0.0.1")) for _ in range(5)][-1] > 0
    monkeypatch.setattr(Store, "open", opened)
    assert sessions.viewer(store, token) is not None and kept_sessions(store) == 1


def _told(store: Store, full: Callable[[Store], contextlib.AbstractContextManager[sqlite3.Connection]]):  # type: ignore[no-untyped-def]
    try:
        with full(store) as connection:
            yield connection
    except sqlite3.DatabaseError as error:
        raise store._told(error) from None


def staffed_cheaply(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    cheap_hashes(monkeypatch)
    return staffed(tmp_path / "a.sqlite", {"Olive": ("owner", ())}, Clock())


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_what_a_killed_writer_left_half_done_is_undone_by_a_reader(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = staffed_cheaply(tmp_path, monkeypatch)
    child = os.fork()
    if child == 0:
        connection = sqlite3.connect(store.path, isolation_level=None)
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("UPDATE accounts SET name = 'changed'")
        for n in range(2000):
            connection.execute("INSERT INTO links VALUES (?, 'Farm', NULL, 0, 0, 'en', NULL, 0)", [f"{n} " * 50])
        os._exit(0)
    os.waitpid(child, 0)
    assert store.path.with_name("a.sqlite-journal").exists()
    assert [account.name for account in people.listed(store)] == ["Olive"]
