"""All lists name the same cows in the same order: pages, report, workbook, calendar and the list for the chute."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.clock import SET_BY, today
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.planning.plan import plan
from evenfoot.analytics.measures.planning.worklist import worklist
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.i18n.translation import NO_BREAK, Words, told
from evenfoot.dashboard.pages import locomotion
from evenfoot.dashboard.pages import today as today_page
from evenfoot.dashboard.pages import worklist as list_page
from evenfoot.dashboard.pages.cow import PAGE as COW_PAGE
from evenfoot.dashboard.report.calendar import icalendar
from evenfoot.dashboard.report.chute_list import chute_list
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.cow_lists import by_reason, more_cows_section
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.first_page import cows_shown, listed_cows
from evenfoot.dashboard.report.request import Request
from evenfoot.dashboard.report.sheets import sheets_of
from evenfoot.dashboard.ui.view import View
from tests.pages.test_deeper_pages import tables
from tests.report.made import plain
from tests.sheets import checked, ledger_of

URGENT = {
    "severe", "deep", "exposed", "thin-lame", "referred", "returning", "forgotten-block", "recheck", "lame", "block",
    "repeat",
}  # fmt: skip
MADE = dt.date(2026, 10, 31)


def cows_of(parts: Any, farm: str = "") -> list[tuple[str, str]]:
    """Farm and cow of the rows of a table on a page; the page may be of the one *farm*."""
    for table in tables(parts):
        columns = table["columns"]
        place = columns.index("Farm") if "Farm" in columns else None
        return [(farm if place is None else row[place], row[columns.index("Cow")]) for row in table["rows"]]
    return []


def panel_of(page: Any, name: str) -> Any:
    return next(panel for panel in page.panels if panel.name == name)


def made_up(path: Path) -> Ledger:
    """Cows of every kind, some of them gone, with numbers that run against the order."""

    def day(ago: int) -> str:
        return str(MADE - dt.timedelta(days=ago))

    def trim(cow: str, ago: int, **more: Any) -> dict[str, Any]:
        return {"farm": "Ash", "visit_date": day(ago), "visit_kind": "whole-herd", "cow": cow, **more}

    rows = [
        trim("90", 5, lesion="IP", foot="LH", zone=0),
        trim("80", 40, lesion="SU", foot="RH", claw="lateral", action="block", recheck_on=day(8)),
        trim("70", 200),
        trim("60", 50, lesion="TN", foot="RF"),
        trim("50", 9, lesion="SU", foot="RH", claw="lateral", action="refer"),
        trim("40", 10, lesion="IP", foot="LH"), trim("30", 600, lesion="IP", foot="LH"),
        *(trim(str(n), 30, group="high") for n in range(100, 120)),
    ]  # fmt: skip
    score = {"farm": "Ash", "scale": "1-5"}
    scores = [
        {**score, "date": day(2), "cow": "70", "score": 4}, {**score, "date": day(20), "cow": "100", "score": 5},
        {**score, "date": day(61), "cow": "101", "score": 5}, {**score, "date": day(3), "cow": "102", "score": 3},
        {**score, "date": day(3), "cow": "20", "score": 5},
    ]  # fmt: skip
    register = [{"farm": "Ash", "cow": cow, "left_on": day(1), "entered_on": day(900)} for cow in ("40", "20")]
    sheets = checked("trims", rows), checked("locomotion", scores), checked("register", register)
    return ledger_of(path / "made.duckdb", *sheets)


@pytest.fixture(scope="module", params=["demo herds", "made up"])
def asked(
    request: pytest.FixtureRequest, demo_ledger: Ledger, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Ledger, str]:
    if request.param == "demo herds":
        return demo_ledger, "Larkmoor"
    return made_up(tmp_path_factory.mktemp("agree")), "Ash"


@pytest.fixture(scope="module")
def whole(asked: tuple[Ledger, str]) -> Answer:
    return worklist(asked[0], Selection(farms=(asked[1],)))


def names(table: pd.DataFrame) -> list[tuple[str, str]]:
    return list(zip(table["farm"], table["cow"], strict=True))


def test_the_pages_show_the_beginning_of_one_list(asked: tuple[Ledger, str], whole: Answer) -> None:
    ledger, farm = asked
    view = View.read("/today", f"?farms={farm}&rows=all")
    page = panel_of(list_page.PAGE, "worklist-cows").draw(ledger, view).answer.table
    assert names(page) == names(whole.table)
    first = cows_of(today_page._list(ledger, view), farm)
    assert first and first == names(whole.table)[: len(first)]
    opened = whole.table[whole.table["due_on"] <= pd.Timestamp(today())]
    urgent = opened[[bool(set(kinds.split(",")) & URGENT) for kinds in opened["kinds"]]]
    assert first == names(urgent)[: today_page.FIRST_COWS]
    lame = cows_of(panel_of(locomotion.PAGE, "locomotion-lame").draw(ledger, view), farm)
    by_score = whole.table[[bool({"severe", "lame"} & set(kinds.split(","))) for kinds in whole.table["kinds"]]]
    assert lame and lame == names(by_score) == [cow for cow in names(urgent) if cow in lame]


def test_the_report_and_the_workbook_have_the_same_cows_in_the_same_order(
    asked: tuple[Ledger, str], whole: Answer
) -> None:
    ledger, farm = asked
    contents = collect(ledger, Request(farm, sections=("cows",)))
    pd.testing.assert_frame_equal(contents.answers["worklist"].table, whole.table)
    told = {sheet.name: sheet.table for sheet in sheets_of(contents, Words())}["cows"]
    assert told["cow"].tolist() == whole.table["cow"].tolist()
    page = document(contents)
    first = re.findall(r'<tr><th scope="row">([^<]+)</th>', page[: page.index('<dl class="facts">')])
    assert first == cows_shown(contents, Words()) == listed_cows(contents)["cow"].tolist()[: len(first)]
    open_now = whole.table.loc[whole.table["due_on"] <= pd.Timestamp(today()), ["cow", "kinds"]]
    pressing = [cow for cow, kinds in open_now.to_numpy() if URGENT & set(kinds.split(","))]
    assert [cow for cow in first if cow in pressing] == pressing[: len([cow for cow in first if cow in pressing])]
    section = more_cows_section(contents, Words())
    assert section is not None
    severe = [cow for cow, kinds in zip(whole.table["cow"], whole.table["kinds"], strict=True) if "severe" in kinds]
    row = re.search(r"Severely lame when last scored, (\d+)</td>\s*<td[^>]*>(.*?)</td>", section.body, re.DOTALL)
    assert row and int(row[1]) == len(severe)
    more = more_cows_section(contents, Words(), first)
    named = plain(more.body) if more else ""
    assert not [cow for cow in first if re.search(rf"\b{cow}\b", named)]
    printed = re.split(r"[;,] (?:and )?", re.sub(r" \([^)]*\)", "", row[2]))
    assert printed == severe
    assert by_reason(whole.table)["cow"].iloc[0] == whole.table["cow"].iloc[0]


def test_the_calendar_and_the_list_for_the_chute_have_the_cows_of_the_list(
    asked: tuple[Ledger, str], whole: Answer
) -> None:
    ledger, farm = asked
    answer = plan(ledger, Selection(farms=(farm,)))
    rank = dict(zip(whole.table["cow"], whole.table["rank"], strict=True))
    visit = answer.table.iloc[0]
    cows = visit["cow_list"].split(", ")
    page = chute_list(answer, visit["date"].date(), farm)
    assert re.findall(r'class="cow">([^<]+)', page) == cows
    assert f"Cows: {', '.join(cows)}"[:60].replace(",", "\\,") in icalendar(answer).replace("\r\n ", "")
    on_list = [rank[cow] for cow in cows if cow in rank]
    assert on_list == sorted(on_list) and len(on_list) > 1
    for text in (page, icalendar(answer).replace("\r\n ", "")):
        assert re.search(r"newest record \d+ days? old", text)


def test_a_cow_stands_alike_everywhere(asked: tuple[Ledger, str], whole: Answer) -> None:
    """Her own page has her reasons as the list has them, and her in the same group."""
    ledger, farm = asked
    for row in whole.table.head(12).to_dict("records"):
        view = View.read("/cow", f"?farms={farm}&cow={row['cow']}")
        due = str(panel_of(COW_PAGE, "cow-next").draw(ledger, view))
        who = str(panel_of(COW_PAGE, "cow-who").draw(ledger, view))
        assert told(row["reason"]).split("; ")[0].replace(NO_BREAK, " ") in re.sub(r"\\+(xa0|u00a0)", " ", due)
        if pd.notna(row["group"]):
            assert f"group {row['group']}" in who


def test_cows_that_left_and_old_scores_are_on_no_list(tmp_path: Path) -> None:
    ledger, view = made_up(tmp_path), View.read("/today", "?farms=Ash&rows=all")
    first = cows_of(today_page._list(ledger, view), "Ash")
    lame = cows_of(panel_of(locomotion.PAGE, "locomotion-lame").draw(ledger, view), "Ash")
    page = panel_of(list_page.PAGE, "worklist-cows").draw(ledger, view).answer.table
    planned = plan(ledger, Selection()).extra["cows"]
    for cows in ([c for _, c in first], [c for _, c in lame], page["cow"].tolist(), planned["cow"].tolist()):
        assert cows and not {"20", "30", "40"} & set(cows)
    assert [cow for _, cow in lame] == ["100", "70", "102"], "101 was scored 61 days ago"
    assert "A score older than 60 days is left out" in str(
        panel_of(locomotion.PAGE, "locomotion-lame").draw(ledger, view)
    )


def test_nobody_in_need_is_said_in_words(tmp_path: Path) -> None:
    rows = [{"farm": "Ash", "visit_date": "2026-10-20", "visit_kind": "whole-herd", "cow": str(n)} for n in range(5)]
    ledger, view = ledger_of(tmp_path / "w.duckdb", checked("trims", rows)), View.read("/", "?farms=Ash")
    assert "Nothing is open that cannot wait" in str(today_page._list(ledger, view))
    assert "No cow was severely lame" in str(panel_of(locomotion.PAGE, "locomotion-lame").draw(ledger, view))


def test_the_demo_opens_at_its_own_day(monkeypatch: pytest.MonkeyPatch, demo_ledger: Ledger) -> None:
    from evenfoot.dashboard.cli.demo import stay_at_its_day

    monkeypatch.delenv(SET_BY)
    stay_at_its_day()
    assert today() == dt.date(2026, 10, 31)
    said = str(today_page._list(demo_ledger, View.read("/today", "?farms=Osier+End")))
    assert "As of 2026-10-31, which is taken as today here; newest record 2 days old." in said
    monkeypatch.setenv(SET_BY, "2026-11-28")
    stay_at_its_day()
    assert today() == dt.date(2026, 11, 28), "a day that is set is kept"
