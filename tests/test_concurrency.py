"""Work done beside other work gives what it would have given alone, and nothing waits for ever."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Iterator

import pytest

from evenfoot.analytics import concurrency as threads
from evenfoot.analytics.concurrency import prefetch, submit
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import fetch_many


def test_what_no_thread_has_begun_is_done_by_who_needs_it() -> None:
    go = threading.Event()
    try:
        held = [submit(go.wait) for _ in range(threads.THREADS)]
        assert submit(threading.current_thread).result() is threading.current_thread()
        # Also where the work itself begins more.
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
