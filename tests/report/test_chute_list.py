"""The chute list: a line a cow in large type, as PDF on A4 or Letter, one link away from Farms and by the command."""

from __future__ import annotations

import base64
import dataclasses
import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.planning.plan import plan
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.cli.report import list_one
from evenfoot.dashboard.pages import plan as plan_page
from evenfoot.dashboard.pages import start
from evenfoot.dashboard.report.browser import ENVIRONMENT
from evenfoot.dashboard.report.chute_list import chute_list, first_list
from evenfoot.dashboard.ui.view import View
from tests.report.made import has_browser, plain, words

FARM = "Osier End"


def test_a_line_has_foot_claw_lesion_block_and_when_to_look(demo_ledger: Ledger) -> None:
    answer = plan(demo_ledger, Selection(farms=(FARM,)))
    page = first_list(answer)
    cows = answer.extra["cows"]
    first = cows[cows["date"] == answer.table["date"].iloc[0]]
    blocked = first[(first["action"] == "block") & first["recheck_on"].notna() & first["claw"].notna()].iloc[0]
    line = next(row for row in re.findall(r"<tr>.*?</tr>", page) if f">{blocked['cow']}<" in row)
    told = plain(line)
    assert told.startswith(f"{blocked['cow']} {blocked['foot']} ") and " block " in told
    assert f"{blocked['recheck_on']:%-d %b %Y}" in told and "ask your veterinarian" in told
    assert page.count('class="cow"') == len(first)


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_it_is_a_pdf_with_at_least_sixteen_cows_a_page(
    demo_ledger: Ledger, tmp_path: Path, paper: str, size: tuple[int, int]
) -> None:
    if not has_browser():
        pytest.skip("there is no browser here")
    answer = plan(demo_ledger, Selection(farms=(FARM,)))
    row = answer.table.iloc[0]
    data, told = plan_page.file_of(answer, f"{row['date']:%Y-%m-%d}", FARM, paper)
    assert told == [] and data["filename"].endswith(".pdf")
    (tmp_path / "list.pdf").write_bytes(base64.b64decode(data["content"]))
    pages = PdfReader(tmp_path / "list.pdf").pages
    assert tuple(float(side) for side in pages[0].mediabox[2:]) == pytest.approx(size, abs=1.5)
    assert len(pages) <= -(-row["cows"] // 16)
    text = words(" ".join(page.extract_text() for page in pages))
    assert all(re.search(rf"\b{cow}\b", text) for cow in row["cow_list"].split(", "))


def test_without_a_browser_the_page_is_given_and_told(demo_ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(ENVIRONMENT, "no-such-browser")
    answer = plan(demo_ledger, Selection(farms=(FARM,)))
    data, told = plan_page.file_of(answer, f"{answer.table['date'].iloc[0]:%Y-%m-%d}", FARM)
    assert data["filename"].endswith(".html") and told == [plan_page.NO_PDF]


def test_farms_leads_to_the_list_of_each_farm(demo_ledger: Ledger) -> None:
    drawn = start._farms(demo_ledger, View.read("/", ""))
    planned = plan(demo_ledger, Selection()).table.drop_duplicates("farm")
    links = re.findall(r"href='(/plan\?[^']*)'", str(drawn.below))
    assert len(links) == len(planned) == len(demo_ledger.farms())
    for link in links:
        view = View.read("/plan", link.partition("?")[2])
        assert view.farm and view.options["day"] in {f"{day:%Y-%m-%d}" for day in planned["date"]}


def test_the_command_writes_it(demo_ledger: Ledger, tmp_path: Path) -> None:
    demo_ledger.lease.drop_if_idle()
    [out] = list_one(demo_ledger.name, FARM.casefold(), tmp_path / "list.html", "letter", "es")
    page = out.read_text(encoding="utf-8")
    assert "size: Letter" in page and '<html lang="es">' in page and f"{FARM}, " in page
    for wrong in ({"out": tmp_path / "list.xlsx", "paper": "A4"}, {"out": tmp_path / "list.html", "paper": "A3"}):
        with pytest.raises(UserError):
            list_one(demo_ledger.name, FARM, language="en", **wrong)  # type: ignore[arg-type]


def test_a_long_name_of_a_lesion_is_set_smaller(demo_ledger: Ledger) -> None:
    answer = plan(demo_ledger, Selection(farms=(FARM,)))
    row = answer.table.iloc[0]
    cows = answer.extra["cows"].assign(foot="LH", lesion="IH")
    answer = dataclasses.replace(answer, extra={**answer.extra, "cows": cows})
    page = chute_list(answer, row["date"].date(), FARM)
    assert page.count("<td class='long'>Interdigital hyperplasia</td>") == row["cows"]
