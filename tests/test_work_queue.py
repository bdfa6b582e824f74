"""Long work a few at a time."""

from __future__ import annotations

import threading

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.analytics.progress import heard
from evenfoot.analytics.work_queue import Turns


def test_who_waits_is_told_the_place_and_one_too_many_is_sent_away() -> None:
    turns = Turns(2, 2, say("Busy."))
    go, came = threading.Event(), threading.Semaphore(0)
    done: list[int] = []
    told: dict[int, list[str]] = {n: [] for n in range(4)}

    def work(number: int) -> None:
        with heard(lambda what: told[number].append(str(what)) or came.release()), turns.turn():  # type: ignore[func-returns-value]
            if number < 2:
                came.release()
                assert go.wait(30)
            done.append(number)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
        assert came.acquire(timeout=30)
    with pytest.raises(UserError, match="Busy"), turns.turn():
        raise AssertionError("a fifth came in")
    go.set()
    for thread in threads:
        thread.join(30)
    assert sorted(done) == [0, 1, 2, 3]
    assert told[2][0] == "Waiting; 2 others come first" and told[3][0] == "Waiting; 3 others come first"
    with turns.turn():
        pass
