"""A file is read in a process of its own, which ends at its limits of time and memory."""

from __future__ import annotations

import os
import time

import pytest

from evenfoot.analytics import worker_process
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import isolated_reader
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file
from evenfoot.analytics.work_queue import Turns

BOOK = b"date,farm,cow,foot,lesion\n2026-03-14,Elm {End},7,LH,ulcer\n2026-03-14,Elm {End},8,LH,zqorf\n"


def spin() -> None:
    while True:
        pass


def grow() -> int:
    return len(bytearray(worker_process.MEGABYTES << 21))


def die() -> None:
    os.abort()


def test_what_is_understood_is_the_same_as_without_limits() -> None:
    answers, alone = Answers({"farm": "x"}), Answers({"farm": "x"})
    asked = []

    def recall(headings: object) -> dict[str, str]:
        asked.append(headings)
        return {"remembered": "yes"}

    answers.recall = recall
    found = isolated_reader.understand_limited(BOOK, "b{oo}k.csv", answers=answers, day_first=True)
    told = understand_file(BOOK, "b{oo}k.csv", answers=alone, day_first=True)
    for here, there in zip(found.sheets, told.sheets, strict=True):
        assert here.records.to_csv() == there.records.to_csv() and here.set_aside.to_csv() == there.set_aside.to_csv()
        assert [(note, note.template, note.values) for note in here.notes] == [
            (note, note.template, note.values) for note in there.notes
        ]
    assert found.answers is answers and list(answers.met) == list(alone.met) and answers.met
    assert asked and answers.given["remembered"] == "yes" and answers.recall is recall
    rows = isolated_reader.raw_rows_limited(BOOK, "book.csv", 2)
    assert rows["book.csv"][1].cells == ("2026-03-14", "Elm {End}", "7", "LH", "ulcer")


def test_a_mistake_is_told_in_its_own_sentence() -> None:
    with pytest.raises(UserError, match=r"^a\{b\}\.csv is empty\.$"):
        isolated_reader.understand_limited(b" ", "a{b}.csv", answers=Answers())


@pytest.mark.parametrize(("work", "sentence"), [(grow, worker_process.TOO_LARGE), (die, worker_process.TOO_LARGE)])
def test_what_takes_too_much_memory_ends_alone(work: object, sentence: str) -> None:
    with pytest.raises(UserError, match=sentence):
        worker_process.run_limited(work)  # type: ignore[arg-type]


@pytest.mark.skipif(os.name == "nt", reason="the system knows no limit of processor time")
def test_what_takes_too_long_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker_process, "SECONDS", 1)
    began = time.monotonic()
    with pytest.raises(UserError, match=worker_process.TOO_LONG):
        worker_process.run_limited(spin)
    assert time.monotonic() - began < 30


def test_one_too_many_is_sent_away(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(worker_process, "_turns", Turns(1, 0, worker_process.BUSY))
    with worker_process._turns.turn(), pytest.raises(UserError, match=worker_process.BUSY):
        worker_process.run_limited(die)
