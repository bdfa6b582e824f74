"""Values come out of a question as they were put in, whatever is in them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.engine import fetch, fetch_many
from evenfoot.analytics.queries.lame_counts import count_scorings
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

ATTACK = "x'); DROP TABLE trims; --"

TEXTS = (
    "O'Hara's", "''", "'", "\\", "\\'", "back\\slash\\", "\\n \\u0041 \\x41", "E'\\x41'", "100 % %s %(a)s %%",
    "a;b -- c /* d */", "Ünïcode 北海道 🐄 e\u0301", "{x} {{y}}", "$1 ? :x @y $$z$$", "${env:HOME}",
    "${spark.app.name}", 'say "moo" `b` [c]', "line\nbreak\r\n\ttab", "\u2028\u200f\ufeff", "\x01\x7f", " padded ", "",
    "NULL", "1", ATTACK, "\\'); DROP TABLE trims; --", "the one farm of this question",
)  # fmt: skip
"""What farms, cows and groups may be called, and worse."""

VALUES: tuple[sql.Value, ...] = (
    0, -1, 2**62, 1.5, -0.1, 0.1 + 0.2, 1e22, 1e-300, 123456789.123456789, True, False, None,
    dt.date(1900, 3, 1), dt.date(2024, 2, 29),
)  # fmt: skip


def assert_same_texts(ledger: Ledger) -> None:
    """Texts come back from the engine that holds a ledger, as values and as names of columns, and equal themselves."""
    values = {f"v{place}": sql.literal(text) for place, text in enumerate(TEXTS)}
    assert fetch(ledger, f"SELECT {sql.listed(values)}").iloc[0].tolist() == list(TEXTS)
    lengths = {name: f"LENGTH({value})" for name, value in values.items()}
    assert fetch(ledger, f"SELECT {sql.listed(lengths)}").iloc[0].tolist() == [len(text) for text in TEXTS]
    alike = {
        f"v{place}": f"CASE WHEN {sql.among(sql.literal(text), [*TEXTS[:place], 'other', *TEXTS[place + 1 :]])} "
        f"THEN 2 WHEN {sql.literal(text)} = {sql.literal(text)} THEN 1 END"
        for place, text in enumerate(TEXTS)
    }
    assert set(fetch(ledger, f"SELECT {sql.listed(alike)}").iloc[0]) == {1}
    named = [text for text in TEXTS if text]
    columns = {text: str(place) for place, text in enumerate(named)}
    assert list(fetch(ledger, f"SELECT {sql.listed(columns)}").columns) == named


def assert_same_values(ledger: Ledger) -> None:
    """Numbers, truths and days come back from the engine that holds a ledger."""
    values = {f"v{place}": sql.literal(value) for place, value in enumerate(VALUES)}
    [row] = fetch(ledger, f"SELECT {sql.listed(values)}").astype(object).to_numpy().tolist()
    for told, value in zip(row, VALUES, strict=True):
        if value is None:
            assert told is None or told != told
        else:
            assert (told.date() if isinstance(value, dt.date) else told) == value


def rows_of_farms() -> list[dict[str, Any]]:
    """A trim sheet with a farm of each name, and as many cows on it as its place."""
    day = {"visit_date": dt.date(2026, 3, 2), "visit_kind": "whole-herd", "herd_size": 1, "lesion": "DD", "foot": "LH"}
    scored = {"locomotion_score": 3, "locomotion_scale": "1-5"}
    return [
        {"farm": farm, "cow": f"{text} {number}", "group": text, **day, **scored}
        for place, (farm, text) in enumerate(zip(FARMS, (*FARMS[1:], FARMS[0]), strict=True), start=1)
        for number in range(place)
    ]


FARMS = (
    "O'Hara's",
    "Birch\\",
    "100 % %s",
    "Ünïcode 北海道 🐄",
    "the one farm of this question",
    "a; b -- c",
    "${env:HOME}",
)


def assert_farms_are_told_apart(ledger: Ledger) -> None:
    """Every farm has its own counts, and a name that is a statement has none and does nothing."""
    trims = len(ledger.frame("SELECT * FROM trims"))
    for place, farm in enumerate(FARMS, start=1):
        one = Selection(farms=(farm,))
        assert count(ledger, one).table[["cases", "at_risk"]].to_numpy().tolist() == [[place, place]]
        assert count_scorings(ledger, one).table["scored"].tolist() == [place]
        group = Selection(groups=(farm,))
        assert count(ledger, group).table["at_risk"].tolist() == [(place - 2) % len(FARMS) + 1]
        assert count(ledger, Selection(cows=(f"{farm} 0",))).table["at_risk"].tolist() == [1]
    assert count(ledger, Selection(farms=FARMS[:2])).table["at_risk"].tolist() == [3]
    assert count(ledger, Selection(farms=FARMS[:1], allowed=FARMS[1:2])).table["at_risk"].sum() == 0
    for attack in (ATTACK, f"\\{ATTACK}", "x' OR 'a' = 'a", "\\' OR 1 = 1 --", "x\0", '"; DROP TABLE trims; --'):
        for name in ("farms", "groups", "cows", "breeds", "trimmers", "allowed"):
            found = count(ledger, Selection(**{name: (attack,)}), by=("lesion",))  # type: ignore[arg-type]
            assert found.table.empty, (name, attack)
    assert len(ledger.frame("SELECT * FROM trims")) == trims
    assert sorted(ledger.farms()) == sorted(FARMS)


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    return ledger_of(tmp_path_factory.mktemp("l") / "l.duckdb", checked("trims", rows_of_farms()))


def test_texts_come_back(ledger: Ledger) -> None:
    assert_same_texts(ledger)


def test_numbers_and_days_come_back(ledger: Ledger) -> None:
    assert_same_values(ledger)


def test_farms_are_told_apart(ledger: Ledger) -> None:
    assert_farms_are_told_apart(ledger)


def test_one_question_is_one_statement(tmp_path: Path, ledger: Ledger) -> None:
    """What would be a second statement stays a text, also where several questions are asked at once."""
    asked = {str(place): f"SELECT COUNT(*) AS n FROM trims WHERE farm = {sql.literal(text)}"
             for place, text in enumerate(TEXTS)}  # fmt: skip
    found = fetch_many(ledger, asked)
    assert [found[str(place)]["n"].tolist() for place in range(len(TEXTS))] == [
        [FARMS.index(text) + 1 if text in FARMS else 0] for text in TEXTS
    ]


def test_nothing_is_among_no_values(ledger: Ledger) -> None:
    assert fetch(ledger, f"SELECT cow FROM trims{sql.where(sql.among('farm', []))}").empty
    assert len(fetch(ledger, f"SELECT cow FROM trims{sql.where()}")) == len(ledger.frame("SELECT * FROM trims"))
