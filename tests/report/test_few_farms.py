"""The herd beside others where there are no others, one other, or a few."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.pages.farms import PAGE
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.context_sections import benchmark_section
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.request import SECTIONS, Request
from evenfoot.dashboard.ui.panel_contents import filled
from evenfoot.dashboard.ui.view import View
from tests.measures.herds import herd, trim
from tests.report.made import plain


def _farms(folder: Path, farms: int, twice: bool = False):
    rows = [
        trim(
            f"{farm}-{cow}", "SU" if cow < 3 + farm else None, "LH" if cow < 3 + farm else None, on, farm=f"Farm {farm}"
        )
        for farm in range(farms)
        for cow in range(40)
        for on in (("2025-03-03", "2025-09-03") if twice and farm == 0 else ("2025-09-03",))
    ]
    return herd(folder, rows)


@pytest.mark.parametrize("farms", [1, 2])
def test_with_one_or_two_farms_the_report_says_that_there_is_too_little(tmp_path: Path, farms: int) -> None:
    made = collect(_farms(tmp_path, farms), Request("Farm 0", sections=SECTIONS))
    said = plain(benchmark_section(made, Words("en")).body)
    assert ("Other farms on record: 1, too few to compare with." in said) == (farms == 2)
    assert "place" not in said
    assert "Farm 1" not in plain(document(made))


def test_trims_are_counted_so_that_who_is_trimmed_twice_looks_no_worse(tmp_path: Path) -> None:
    made = collect(_farms(tmp_path, 4, twice=True), Request("Farm 0", sections=SECTIONS))
    said = plain(benchmark_section(made, Words("en")).body)
    assert "trims with any lesion in the period: 6 of 80 here" in said
    assert "With so few farms their usual spread is poorly known." in said


def test_the_caution_that_matters_stands_in_the_sentence(tmp_path: Path) -> None:
    made = collect(_farms(tmp_path, 12), Request("Farm 0", sections=SECTIONS))
    assert "Farms differ in housing, trimmer and months of visits" in plain(benchmark_section(made, Words("en")).body)
    answer = made.answers["benchmark"]
    few = answer.table.assign(at_risk=15, cases=3)
    thin = dataclasses.replace(made, answers={**made.answers, "benchmark": dataclasses.replace(answer, table=few)})
    assert "With so few trims here hardly anything can be said." in plain(benchmark_section(thin, Words("en")).body)


@pytest.mark.parametrize("farms", [1, 2])
def test_the_page_of_farms_is_filled_with_one_or_two(tmp_path: Path, farms: int) -> None:
    ledger = _farms(tmp_path, farms)
    for panel in PAGE.panels:
        view = View.read("/farms", "")
        assert len(filled(panel, panel.draw(ledger, view), view)) > 1
