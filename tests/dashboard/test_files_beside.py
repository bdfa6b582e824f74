"""A running dashboard whose ledger another program replaces, or holds."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.request import urlopen

import duckdb
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.integrity.backup import restore
from tests.report.made import herd
from tests.torture.soak import Server

SLOW = 15.0
"""Seconds that a busy machine may take on top of what a server waits."""


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """The dashboard on a herd of 40 cows."""
    herd(tmp_path / "ledger.duckdb", "Home", 40, lesions=10).lease.drop_if_idle()
    herd(tmp_path / "other.duckdb", "Home", 70, lesions=20).lease.drop_if_idle()
    served = Server(tmp_path / "ledger.duckdb")
    yield served
    served.stop()


def put_back(ledger: Path, other: Path) -> None:
    restore(open_ledger(str(ledger)), other, replace=True)


def copy_over(ledger: Path, other: Path) -> None:
    """As ``cp`` does: the same file has other bytes."""
    size = ledger.stat().st_size
    shutil.copyfile(other, ledger)
    assert ledger.stat().st_size <= size


@pytest.mark.parametrize("replace", [put_back, copy_over])
def test_a_dashboard_shows_the_ledger_that_is_there(
    server: Server, tmp_path: Path, replace: Callable[[Path, Path], None]
) -> None:
    """The old one is in use without a pause while it is replaced, and is shown no more afterwards."""
    end = threading.Event()
    chance = random.Random(1)

    def table(search: str) -> str:
        return server.panel("lesion-types", "/lesions", f"?visits=all&{search}")

    def look() -> None:
        while not end.is_set():
            table(f"until=20{chance.randrange(27, 99)}-12-31")  # Asked for the first time, so that the file is read.

    threads = [threading.Thread(target=look) for _ in range(2)]
    assert "of 40 cows" in table("lesions=SU")
    for thread in threads:
        thread.start()
    time.sleep(0.5)
    replace(tmp_path / "ledger.duckdb", tmp_path / "other.duckdb")
    try:
        for search in ("lesions=SU", "lesions=DD"):
            said = table(search)
            assert "70 cows" in said and "40 cows" not in said
    finally:
        end.set()
        for thread in threads:
            thread.join()


HOLD = """
import sys, duckdb, time
while True:
    try:
        held = duckdb.connect(sys.argv[1])
        break
    except duckdb.IOException:  # The dashboard has it still.
        time.sleep(0.1)
print("held", flush=True)
time.sleep(600)
"""


@pytest.fixture
def hold() -> Iterator[Callable[[Path], int]]:
    """Have another program take a file, and keep it; gives its number."""
    programs = []

    def take(path: Path) -> int:
        program = subprocess.Popen([sys.executable, "-c", HOLD, str(path)], stdout=subprocess.PIPE, text=True)
        programs.append(program)
        assert program.stdout is not None and program.stdout.readline() == "held\n"
        return program.pid

    yield take
    for program in programs:
        program.kill()
        program.wait()
        assert program.stdout is not None
        program.stdout.close()


def test_all_who_ask_for_a_held_file_are_told_after_one_wait(
    server: Server, tmp_path: Path, hold: Callable[[Path], int]
) -> None:
    """Thirty panels are asked for at once, some of them the same; the health line waits for none of them."""
    assert "40 cows" in server.panel("lesion-types", "/lesions", "?visits=all")
    holder = hold(tmp_path / "ledger.duckdb")
    names = ("lesion-types", "lesion-claws", "lesion-months", "lesion-cows", "lesion-feet")

    def ask(number: int) -> tuple[float, str]:
        began = time.monotonic()
        said = server.panel(names[number % 5], "/lesions", f"?visits=all&lesions={('SU', 'DD')[number % 2]}")
        return time.monotonic() - began, said

    with ThreadPoolExecutor(30) as pool:
        asked = [pool.submit(ask, number) for number in range(30)]
        time.sleep(1)
        for _ in range(5):
            began = time.monotonic()
            with urlopen(f"{server.address}/health", timeout=30) as answer:
                assert answer.read() == b"ok\n"
            assert time.monotonic() - began < 4
        for each in asked:
            seconds, said = each.result()
            assert f"process {holder}" in json.dumps(json.loads(said))
            assert 8 <= seconds < 10 + SLOW  # Who comes a little later waits as much less.


def test_threads_that_wait_do_not_wait_for_each_other(
    tmp_path: Path, hold: Callable[[Path], int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("evenfoot.analytics.ledger.engines.file_lease.WAIT_SECONDS", 1.0)
    ledger = herd(tmp_path / "ledger.duckdb", "Home", 5)
    ledger.lease.drop_if_idle()
    hold(tmp_path / "ledger.duckdb")

    def ask(_number: int) -> float:
        began = time.monotonic()
        with pytest.raises(UserError, match="in use by"):
            ledger.farms()
        return time.monotonic() - began

    with ThreadPoolExecutor(20) as pool:
        assert max(pool.map(ask, range(20))) < 5


def test_who_had_to_queue_for_a_thread_does_not_wait_once_more(
    tmp_path: Path, hold: Callable[[Path], int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twelve requests, four threads: all are told after one wait of three seconds."""
    monkeypatch.setattr("evenfoot.analytics.ledger.engines.file_lease.WAIT_SECONDS", 3.0)
    ledger = herd(tmp_path / "ledger.duckdb", "Home", 5)
    ledger.lease.drop_if_idle()
    hold(tmp_path / "ledger.duckdb")
    began = time.monotonic()

    def ask(_number: int) -> float:
        with pytest.raises(UserError, match="in use by"):
            ledger.farms()
        return time.monotonic() - began

    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(ask, range(12)))
    assert min(told) >= 3.0 and max(told) < 5.5


def test_a_holding_that_is_over_shortens_no_later_wait(
    tmp_path: Path, hold: Callable[[Path], int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("evenfoot.analytics.ledger.engines.file_lease.WAIT_SECONDS", 2.0)
    monkeypatch.setattr("evenfoot.analytics.ledger.engines.file_lease.STILL_HELD_SECONDS", 60.0)
    ledger = herd(tmp_path / "ledger.duckdb", "Home", 5)
    for _ in range(2):
        ledger.lease.drop_if_idle()
        holder = hold(tmp_path / "ledger.duckdb")
        began = time.monotonic()
        with pytest.raises(UserError, match="in use by"):
            ledger.farms()
        assert time.monotonic() - began >= 2.0
        os.kill(holder, signal.SIGKILL)
        os.waitpid(holder, 0)
        time.sleep(0.1)
        assert ledger.farms() == ["Home"]


def test_a_reader_opens_again_what_was_replaced_while_it_was_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger = herd(tmp_path / "ledger.duckdb", "Home", 5)
    herd(tmp_path / "other.duckdb", "Other", 5).lease.drop_if_idle()
    ledger.lease.drop_if_idle()
    opened = []

    def connect(place: str, connected: Callable[..., object] = duckdb.connect, **how: object) -> object:
        opened.append(connected(place, **how))
        if len(opened) == 1:
            os.replace(tmp_path / "other.duckdb", place)
        return opened[-1]

    monkeypatch.setattr(duckdb, "connect", connect)
    assert ledger.farms() == ["Other"] and len(opened) == 2
