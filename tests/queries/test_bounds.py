"""How much an address may ask for."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlencode

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.queries.bounds import LONGEST_ADDRESS, MOST_VALUES
from evenfoot.analytics.queries.selection import Selection, read_date
from evenfoot.analytics.query_timeout import TOO_LONG, allowance, interruptible
from evenfoot.dashboard.pages.planning import prices
from evenfoot.dashboard.ui.period_filter import following
from evenfoot.dashboard.ui.view import View


@pytest.mark.parametrize(
    "pair",
    [
        ("zones", "99999999999999999999"), ("zones", "13"), ("zones", "-1"), ("zones", "\u0663"), ("severity", "4"),
        ("feet", "x"), ("claws", "LH"), ("lesions", "'"), ("families", "none"), ("seasons", "rain"),
        ("since", "9999-12-31"), ("until", "0001-01-01"), ("since", "x" * 5000), ("farms", "x" * 501),
    ],
)  # fmt: skip
def test_what_cannot_be_chosen_is_one_sentence(pair: tuple[str, str]) -> None:
    with pytest.raises(UserError) as refused:
        Selection.from_query(urlencode([pair]))
    assert 20 < len(str(refused.value)) < 400 and "\n" not in str(refused.value)


def test_lists_and_addresses_have_an_end() -> None:
    many = [("cows", str(n)) for n in range(MOST_VALUES + 1)]
    assert len(Selection.from_query(urlencode(many[1:])).cows) == MOST_VALUES
    assert Selection.from_query(urlencode([("cows", "7")] * MOST_VALUES)).cows == ("7",)
    with pytest.raises(UserError, match=str(MOST_VALUES)):
        Selection.from_query(urlencode(many))
    with pytest.raises(UserError, match=f"{LONGEST_ADDRESS:,}"):
        Selection.from_query("x" * (LONGEST_ADDRESS + 1))
    with pytest.raises(UserError, match=str(MOST_VALUES)):
        View.read("/plan", "?" + urlencode([("day_off", f"2026-01-{n}") for n in range(MOST_VALUES + 1)]))
    with pytest.raises(UserError, match="letters each"):
        View.read("/", "?by=" + "x" * 501)


@pytest.mark.parametrize("span", ["9999", "0001", "9999-12", "1979-Q4", "0000"])
def test_a_stretch_of_time_lies_near_the_records(span: str) -> None:
    with pytest.raises(UserError, match=r"span|stretch"):
        following(View.read("/", f"?span={span}"))


def test_a_list_is_of_a_day_near_the_records() -> None:
    for day in ("9999-12-31", "2032-01-01", "1979-12-31"):
        with pytest.raises(UserError, match=day):
            read_date(day, "on")
    assert read_date("2031-12-31", "on").year == 2031


@pytest.mark.parametrize("text", ["nan", "inf", "-1", "1e300"])
def test_a_cost_is_an_amount(text: str) -> None:
    with pytest.raises(UserError, match=text):
        prices(View.read("/planning", f"?price_DD={text}"))


def test_a_question_that_takes_too_long_is_interrupted(tmp_path: Path) -> None:
    ledger = open_ledger(str(tmp_path / "one.duckdb"))
    sheets = check_file(b"date,farm,cow,lesion\n2026-03-14,Elm,1,ulcer\n", "book.csv")
    add_sheets(ledger, sheets, "book.csv", "0" * 64)
    with pytest.raises(UserError, match=TOO_LONG), allowance(0.3), ledger.reading() as cursor:
        cursor.execute("SELECT SUM(a.range * b.range) FROM range(10000000) a, range(10000000) b").fetchall()
    with allowance(60.0), ledger.reading() as cursor:
        assert cursor.execute("SELECT 1").fetchall() == [(1,)]


def test_no_question_begins_when_the_time_is_up() -> None:
    import threading

    up = threading.Event()
    with pytest.raises(UserError, match=TOO_LONG), allowance(0.05):
        with interruptible(up.set):
            assert up.wait(30)
        with interruptible(up.set):
            raise AssertionError("it began")
