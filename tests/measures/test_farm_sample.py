"""Where all farms are too many to bring row by row, whole farms are taken, always the same, and the answer says so."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures import cache
from evenfoot.analytics.measures import farm_sample as part_of_farms
from evenfoot.analytics.measures.catalogue import answer
from evenfoot.analytics.queries import farm_sample as sampling
from evenfoot.analytics.queries.farm_sample import farm_sample
from evenfoot.analytics.queries.selection import Selection
from tests.engines.alike import differences
from tests.sheets import checked, ledger_of

FARMS = [f"Farm {number:02d}" for number in range(12)]
EVERY = Selection(visits=("all",))


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    """Twelve farms of eight cows over eight months, with lesions, scores, sires and measured toes."""
    chance = random.Random(5)
    trims: list[dict[str, Any]] = []
    scores: list[dict[str, Any]] = []
    for place, farm in enumerate(FARMS):
        for month in range(1, 9):
            for cow in range(8):
                day = f"2025-{month:02d}-0{1 + place % 5}"
                sick = chance.random() < 0.15 + 0.02 * place + 0.02 * month
                trims.append(
                    {"farm": farm, "cow": str(cow), "visit_date": day, "visit_kind": "whole-herd", "foot": "RH",
                     "claw": "lateral", "lesion": chance.choice(["SU", "DD"]) if sick else None, "sire": f"S{cow % 2}",
                     "toe_length_mm": 80.0 + chance.random(), "toe_length_after_mm": 75.0,
                     "shed_stage": chance.randint(0, 5), "housing": chance.choice(["freestall", "pasture"])}
                )  # fmt: skip
                scores.append({"farm": farm, "cow": str(cow), "date": day, "score": 3 if sick else 1, "scale": "1-5"})
    path: Path = tmp_path_factory.mktemp("farms") / "farms.duckdb"
    return ledger_of(path, checked("trims", trims), checked("locomotion", scores))


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Room for the records of three farms."""
    cache.forget()
    monkeypatch.setattr(sampling, "MOST_RECORDS", 3 * 64)
    yield
    cache.forget()


def test_whole_farms_are_taken_and_always_the_same(ledger: Ledger, few: None) -> None:
    sample = farm_sample(ledger, EVERY)
    assert (sample.taken, sample.farms, sample.records) == (3, 12, 12 * 64)
    assert set(sample.selection.farms) < set(FARMS) and farm_sample(ledger, EVERY) == sample
    # Which farms does not hang on where they stand in the alphabet, or on who else is there.
    assert sample.selection.farms != tuple(FARMS[:3])
    rest = Selection(visits=("all",), farms=tuple(farm for farm in FARMS if farm not in sample.selection.farms[:1]))
    assert set(sample.selection.farms[1:]) <= set(farm_sample(ledger, rest).selection.farms)
    assert FARMS[11] in farm_sample(ledger, EVERY, first=(FARMS[11],)).selection.farms
    assert farm_sample(ledger, EVERY, most=1).taken == 1


def test_one_farm_or_room_enough_is_left_as_it_is(ledger: Ledger, few: None) -> None:
    one = EVERY.with_(farms=(FARMS[0],))
    assert farm_sample(ledger, one).selection is one
    assert not farm_sample(ledger, EVERY, most=12 * 64).partial


CHANGED = {"change": dt.date(2025, 5, 1)}
ASKED: dict[str, dict[str, Any]] = {"change-impact": CHANGED, "family": {}, "growth": {}, "recurrence": {}}


@pytest.mark.parametrize("name", list(ASKED))
def test_the_answer_is_that_of_these_farms_and_says_so(
    ledger: Ledger, few: None, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = answer(name, ledger, EVERY, **ASKED[name])
    assert found.basis.farms == 3
    for sentences in (found.cautions, found.basis.notes):
        assert any("3 of 12 farms" in sentence and "768 records" in sentence for sentence in sentences), sentences
    farms = farm_sample(ledger, EVERY).selection.farms
    cache.forget()
    monkeypatch.setattr(sampling, "MOST_RECORDS", 10**6)
    whole = answer(name, ledger, EVERY.with_(farms=farms), **ASKED[name])
    assert found.table.equals(whole.table)


def test_the_slope_stays_that_of_all_farms(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    cache.forget()
    whole = answer("trend", ledger, EVERY)
    cache.forget()
    monkeypatch.setattr(sampling, "MOST_RECORDS", 3 * 64)
    found = answer("trend", ledger, EVERY)
    cache.forget()
    assert found.basis == whole.basis and found.basis.farms == 12
    assert len(whole.extra["by_farm"]) == 12 and len(found.extra["by_farm"]) == 3
    assert any(caution.startswith("Farm by farm: Worked out on 3 of 12 farms") for caution in found.cautions)
    monkeypatch.setitem(found.extra, "by_farm", whole.extra["by_farm"])
    lines = [line for line in differences(whole, found) if not line.startswith("cautions")]
    assert lines == []


def test_shedding_counts_all_and_fits_some(ledger: Ledger, few: None, monkeypatch: pytest.MonkeyPatch) -> None:
    from evenfoot.analytics.measures.horn import shedding

    monkeypatch.setattr(shedding, "READINGS_FOR_MODEL", 3 * 64)
    found = answer("shedding", ledger, EVERY)
    assert found.table["feet"].sum() == 12 * 64 and found.basis.farms == 12
    assert any("model" in caution and "3 of 12 farms" in caution for caution in found.cautions)
    assert found.extra["model"]["feet"].max() == 3 * 64


@pytest.mark.parametrize("name", ["worklist", "plan"])
def test_a_list_of_many_farms_asks_to_choose(ledger: Ledger, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    cache.forget()
    monkeypatch.setattr(part_of_farms, "MOST_FARMS_LISTED", 11)
    with pytest.raises(UserError, match=r"cows of 12 farms .* choose farms, 11 at most"):
        answer(name, ledger, Selection())
    assert len(answer(name, ledger, Selection(farms=tuple(FARMS[:11]))).table)
    cache.forget()
