"""Kept answers: the same object of numbers while the ledger stays, never an old one after a change."""

from __future__ import annotations

import datetime as dt
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.measures import cache
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

DAY = dt.date(2026, 3, 2)


def row(cow: str, lesion: str | None = None) -> dict[str, object]:
    return {"farm": "Ash", "visit_date": DAY, "visit_kind": "whole-herd", "cow": cow, "lesion": lesion}


def test_a_changed_ledger_gets_a_new_answer(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1", "SU"), row("2")]))
    asked = lambda: prevalence(ledger, Selection(), by=()).table[["cases", "at_risk"]].values.tolist()  # noqa: E731
    assert asked() == [[1, 2]]
    assert asked() == [[1, 2]]
    add_sheets(ledger, [checked("trims", [row("3", "DD")])], "b.csv", "")
    assert asked() == [[2, 3]]
    undo_import(ledger, 2)
    assert asked() == [[1, 2]]


def test_the_second_time_nothing_is_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1", "SU")]))
    first = prevalence(ledger, Selection(), by=("lesion",))
    first.table.loc[:, "cases"] = 99

    def refuse(*_: object, **_named: object) -> None:
        raise AssertionError("asked the engine again")

    monkeypatch.setattr("evenfoot.analytics.measures.lesions.prevalence.count", refuse)
    again = prevalence(ledger, Selection(), by=("lesion",))
    assert again.table["cases"].tolist() == [1]
    with pytest.raises(AssertionError, match="asked the engine"):
        prevalence(ledger, Selection(), by=("family",))


def test_kept_answers_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_KEPT", 3)
    cache.forget()
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row(str(i)) for i in range(9)]))
    for i in range(9):
        prevalence(ledger, Selection(cows=(str(i),)), by=())
    assert len(cache._kept) == 3


def test_answers_about_an_older_state_go(tmp_path: Path) -> None:
    cache.forget()
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row(str(i)) for i in range(3)]))
    for i in range(3):
        prevalence(ledger, Selection(cows=(str(i),)), by=())
    add_sheets(ledger, [checked("trims", [row("9")])], "b.csv", "")
    assert len(cache._kept) == 3
    prevalence(ledger, Selection(), by=())
    assert len(cache._kept) == 1


def test_panels_that_ask_the_same_at_once_have_it_made_once(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1", "SU")]))
    kept = cache.store_of(int)
    made: list[int] = []
    together = threading.Barrier(5)

    def make() -> int:
        time.sleep(0.1)
        made.append(1)
        return 7

    def ask(_: int) -> int:
        together.wait()
        return cache.remembered(kept, ledger, "seven", make)

    with ThreadPoolExecutor(5) as panels:
        assert list(panels.map(ask, range(5))) == [7] * 5
    assert len(made) == 1
    assert not cache._making


def test_what_failed_is_made_by_the_next_who_waited(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", [row("1", "SU")]))
    kept = cache.store_of(int)
    fails = threading.Event()
    together = threading.Barrier(4)

    def make() -> int:
        time.sleep(0.05)
        if not fails.is_set():
            fails.set()
            raise ZeroDivisionError
        return 7

    def ask(_: int) -> int | str:
        together.wait()
        try:
            return cache.remembered(kept, ledger, "seven", make)
        except ZeroDivisionError:
            return "failed"

    with ThreadPoolExecutor(4) as panels:
        assert sorted(map(str, panels.map(ask, range(4)))) == ["7", "7", "7", "failed"]
    assert not cache._making
