"""Work done beside other work gives what it would have given alone, and nothing waits for ever."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest

from evenfoot.analytics import concurrency as threads
from evenfoot.analytics.concurrency import Task, prefetch, submit
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.measures import basis, cache
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.engine import fetch_many
from evenfoot.analytics.queries.selection import Selection
from tests.measures.test_cache import row
from tests.sheets import checked, ledger_of


def test_what_no_thread_has_begun_is_done_by_who_needs_it() -> None:
    go = threading.Event()
    try:
        held = [submit(go.wait) for _ in range(threads.THREADS)]
        assert submit(threading.current_thread).result() is threading.current_thread()
        # Also where the work itself begins more, as a count of several questions does.
        assert submit(lambda: submit(lambda: 7).result()).result() == 7
    finally:
        go.set()
    assert all(each.result() for each in held)


def test_what_it_raises_is_raised_where_it_is_asked_for() -> None:
    with pytest.raises(ZeroDivisionError):
        submit(lambda: 1 // 0).result()


def test_what_comes_is_worked_out_ahead_and_no_more_of_it_than_may_wait() -> None:
    begun: list[int] = []
    closed = threading.Event()

    def numbers() -> Iterator[int]:
        try:
            for number in range(1000):
                begun.append(number)
                yield number
        finally:
            closed.set()

    with contextlib.closing(prefetch(numbers(), most=2)) as taken:
        assert next(taken) == 0
        until = time.monotonic() + 60
        while len(begun) < 4 and time.monotonic() < until:
            time.sleep(0.01)
        time.sleep(0.2)
        # One was taken, two wait, and one is in the hand of the thread.
        assert begun == [0, 1, 2, 3]
        assert next(taken) == 1
    assert closed.is_set()
    assert not [thread for thread in threading.enumerate() if thread.name == "ahead"]
    assert list(prefetch(numbers())) == list(range(1000))


def test_what_fails_ahead_is_raised_after_what_came_before() -> None:
    def numbers() -> Iterator[int]:
        yield 1
        raise ZeroDivisionError

    taken = prefetch(numbers())
    assert next(taken) == 1
    with pytest.raises(ZeroDivisionError):
        next(taken)
    assert not [thread for thread in threading.enumerate() if thread.name == "ahead"]


def test_several_questions_see_the_records_of_one_moment_in_their_order(demo_ledger: Ledger) -> None:
    asked = {name: f"SELECT COUNT(*) AS n FROM {name}" for name in ("findings", "trims", "scores", "cows")}
    together = fetch_many(demo_ledger, asked)
    assert list(together) == list(asked)
    for name, question in asked.items():
        assert together[name].equals(fetch_many(demo_ledger, {name: question})[name])


def test_one_that_fails_is_told_when_none_of_the_others_is_reading(demo_ledger: Ledger) -> None:
    ended: list[str] = []
    settle = Task.result

    def noted(self: Task[Any]) -> Any:
        try:
            return settle(self)
        finally:
            ended.append("ended")

    with pytest.MonkeyPatch.context() as patch, demo_ledger.reading() as cursor:
        patch.setattr(Task, "result", noted)
        questions = {"first": "SELECT 1 AS one", "wrong": "SELECT nothing FROM nowhere", "last": "SELECT 2 AS two"}
        with pytest.raises(duckdb.Error, match="nowhere"):
            demo_ledger.engine.frames(cursor, questions)  # type: ignore[attr-defined]
        assert len(ended) == 2
        with pytest.raises(duckdb.Error, match="nowhere"):
            demo_ledger.engine.frames(cursor, dict(reversed(questions.items())))  # type: ignore[attr-defined]
        assert demo_ledger.engine.frames(cursor, {"only": "SELECT 3 AS three"})["only"]["three"].tolist() == [3]  # type: ignore[attr-defined]


def test_a_basis_begun_before_a_change_is_not_that_of_a_later_answer(tmp_path: Path) -> None:
    cache.forget()
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1", "SU"), row("2")]))
    basis.begin_basis(ledger, Selection())
    add_sheets(ledger, [checked("trims", [row("3", "DD")])], "b.csv", "")
    answer = prevalence(ledger, Selection(), by=())
    assert (answer.basis.cows, answer.table["at_risk"].tolist()) == (3, [3])
    assert "b.csv" in str(answer.basis.sources)


def test_what_was_begun_and_never_asked_for_is_bounded(tmp_path: Path) -> None:
    cache.forget()
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row(str(i)) for i in range(3)]))
    for i in range(3 * cache.MOST_BEGUN):
        basis.begin_basis(ledger, Selection(cows=(str(i),)))
    assert len(cache._begun) == cache.MOST_BEGUN
    cache.forget()
    assert not cache._begun
