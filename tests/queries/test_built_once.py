"""A question is built once for all single farms, and each farm still gets its own answer."""

import datetime as dt
from pathlib import Path

import pandas as pd

from evenfoot.analytics.queries.cows import cows_found
from evenfoot.analytics.queries.engine import THE_COW, THE_FARM, built_once
from evenfoot.analytics.queries.lame_counts import count_scorings
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

FARMS = ("Ash", "O'Dell's", "the one farm of this question")


def test_every_farm_gets_its_own_answer_from_one_building(tmp_path: Path) -> None:
    rows = [
        {"farm": farm, "visit_date": dt.date(2026, 3, 2), "visit_kind": "whole-herd", "cow": str(cow), "foot": "LH",
         "lesion": "DD", "locomotion_score": 3, "locomotion_scale": "1-5"}
        for number, farm in enumerate(FARMS, start=2)
        for cow in range(number)
    ]  # fmt: skip
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    for number, farm in enumerate(FARMS, start=2):
        one = Selection(farms=(farm,))
        scorings = count_scorings(ledger, one)
        assert scorings.table["scored"].to_list() == [number]
        assert scorings.sums["lame"]["sum_m"].to_list() == [number]
        assert set(cows_found(ledger, one)["farm"]) == {farm}
    nobody = Selection(farms=("Ash",), allowed=("O'Dell's",))
    assert count_scorings(ledger, nobody).table.empty
    pair = Selection(farms=FARMS[:2])
    assert count_scorings(ledger, pair).table["scored"].to_list() == [5]


def test_it_is_built_once() -> None:
    from evenfoot.analytics.queries.engine import Question, question_of, table

    built = []

    @built_once
    def trims(selection: Selection, since: dt.date) -> dict[str, Question]:
        built.append(selection)
        base = table("trims")
        return {"all": question_of(base.filter(base.farm.isin(selection.farms), base.visit_date >= since))}

    texts = [trims(Selection(farms=(farm,)), dt.date(2026, 1, 1))["all"].sql() for farm in FARMS[:2]]
    assert len(built) == 1
    assert "'Ash'" in texts[0] and "'O''Dell''s'" in texts[1]
    assert texts[0].replace("'Ash'", "?") == texts[1].replace("'O''Dell''s'", "?")
    trims(Selection(farms=("Ash",)), dt.date(2026, 1, 2))
    assert len(built) == 2


def test_what_was_built_is_let_go_and_built_again_for_another_engine() -> None:
    import gc
    import weakref

    from evenfoot.analytics.queries.engine import Question, question_of, table

    built = []

    @built_once
    def trims(selection: Selection) -> tuple[Question, Question]:
        base = table("trims").filter(table("trims").farm.isin(selection.farms))
        built.append(weakref.ref(base))
        return question_of(base), question_of(base.select("cow"))

    def texts(farm: str) -> list[str]:
        return [question.sql() for question in trims(Selection(farms=(farm,)))]

    ash = texts("Ash")
    gc.collect()
    assert [one() for one in built] == [None]
    assert texts("Ash") == ash and len(built) == 1
    elsewhere = trims(Selection(farms=("Birch",)))[1].sql("postgres")
    assert len(built) == 2 and "'Birch'" in elsewhere and '"cow"' in elsewhere
    assert trims(Selection(farms=("Ash",)))[1].sql("postgres") == elsewhere.replace("Birch", "Ash")
    assert len(built) == 2


def test_frames_are_the_same_asked_twice(tmp_path: Path) -> None:
    rows = [{"farm": "Ash", "visit_date": dt.date(2026, 3, 2), "visit_kind": "whole-herd", "cow": "1"}]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    first, second = (count_scorings(ledger, Selection(farms=("Ash",))).table for _ in range(2))
    pd.testing.assert_frame_equal(first, second)


def test_farm_and_cow_are_put_in_at_once() -> None:
    from evenfoot.analytics.queries.cows import _everything_of

    text = _everything_of(Selection(farms=(THE_COW,), cows=("O'Dell",), visits=("all",)))["trims"].sql()
    assert f"'{THE_COW}'" in text and "'O''Dell'" in text and THE_FARM not in text
