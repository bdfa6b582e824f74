"""The report tells what was agreed by its day: done or not, and what became of the lesion."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.agreements import add, mark_done
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.agreed_section import agreed_section
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.request import Request
from evenfoot.dashboard.report.sheets import sheets_of
from evenfoot.dashboard.report.workbook import save_workbook
from tests.measures.herds import trim
from tests.report.made import plain
from tests.sheets import checked, ledger_of

ASKED = Request("Ash", on=dt.date(2025, 10, 1), sections=("summary", "agreed"))


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    rows = [
        {**trim(cow, *(("DD", "LH") if cow < sick else ()), on=day), "farm": farm}
        for farm in ("Ash", "Birch")
        for day, sick in (("2024-09-03", 10), ("2025-03-03", 14), ("2025-09-03", 3))
        for cow in range(30)
    ]
    made = ledger_of(tmp_path / "l.duckdb", checked("trims", rows))
    day = dt.date(2025, 3, 3)
    add(made, "Ash", "Foot bath twice a week.", agreed_on=day, who="Anna", due_on=dt.date(2025, 6, 1), lesion="DD")
    add(made, "Ash", "<b>Rubber</b> in the alleys", agreed_on=day, place="hind")
    mark_done(made, 2, done_on=dt.date(2025, 5, 1), outcome="two of three.")
    add(made, "Ash", "Done long ago", agreed_on=dt.date(2023, 1, 1))
    mark_done(made, 3, done_on=dt.date(2024, 1, 1))
    add(made, "Birch", "Of another farm", agreed_on=day)
    add(made, "Ash", "Agreed later", agreed_on=dt.date(2025, 11, 1))
    return made


def test_done_or_not_and_what_became_of_the_lesion(ledger: Ledger) -> None:
    said = plain(document(collect(ledger, ASKED)))
    assert "What was agreed" in said
    assert (
        "3 Mar 2025: Foot bath twice a week (Anna; by 1 Jun 2025; digital dermatitis). Overdue since 1 Jun 2025. "
        "Digital dermatitis: In the year before 40 of 100 cows had it (24 of 60 looks at cows), at the newest visit on "
        "3 Sep 2025 10 of 100 (3 of 30). Beside the herd's own past:"
    ) in said
    assert "3 Mar 2025: <b>Rubber</b> in the alleys (hind). Done on 1 May 2025: two of three." in said
    assert said.index("Foot bath") < said.index("Rubber")
    for other in ("Done long ago", "Of another farm", "Agreed later"):
        assert other not in said
    assert "went together, not what caused it" in said


def test_by_an_earlier_day_it_was_open(ledger: Ledger) -> None:
    early = dataclasses.replace(ASKED, on=dt.date(2025, 4, 1), until=dt.date(2025, 4, 1))
    said = plain(document(collect(ledger, early)))
    assert said.count("Open.") == 2 and "Overdue" not in said and "Done on 1 May" not in said
    assert "the whole herd was not looked at since" in said


def test_it_can_be_left_out_and_is_where_nothing_was_agreed(ledger: Ledger) -> None:
    assert "Foot bath" not in plain(document(collect(ledger, dataclasses.replace(ASKED, sections=("summary",)))))
    early = dataclasses.replace(ASKED, on=dt.date(2025, 3, 2), until=dt.date(2025, 3, 3))
    empty = collect(ledger, dataclasses.replace(early, on=dt.date(2022, 1, 1)))
    assert agreed_section(empty, Words()) is None and 'id="agreed"' not in document(empty)


def test_the_workbook_has_it(ledger: Ledger, tmp_path: Path) -> None:
    contents = collect(ledger, ASKED)
    [sheet] = [sheet for sheet in sheets_of(contents, Words()) if sheet.name == "agreed"]
    assert sheet.table["state"].tolist() == ["Overdue", "Done"]
    assert sheet.table["by_whom"].tolist()[0] == "Anna" and "10 of 100" in sheet.table["since"].iloc[0]
    save_workbook(contents, tmp_path / "out.xlsx")
    assert (tmp_path / "out.xlsx").stat().st_size > 5000


def test_what_people_wrote_is_never_translated(ledger: Ledger) -> None:
    add(ledger, "Ash", "Sole ulcer", agreed_on=dt.date(2025, 3, 3), who="trimmer")
    said = plain(document(collect(ledger, dataclasses.replace(ASKED, language="es"))))
    assert "Sole ulcer (trimmer)" in said
