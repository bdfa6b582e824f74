"""The farm that lines, tabs and the file's name tell, and what is asked where none is certain."""

from __future__ import annotations

import io

import openpyxl
import pytest

from tests.intake.reading import read, said

TABLE = "Cow,LH,RH\n4,SU,\n5,,DD\n6,ok,ok\n"


def farm_asked(found: object) -> tuple[str | None, list[str]]:
    """The likeliest answer to the question of the farm, and what its choices say."""
    question = found.answers.met["farm"]  # type: ignore[attr-defined]
    return question.default, [str(choice.says) for choice in question.choices]


@pytest.mark.parametrize(
    ("line", "farm"),
    [
        ("Hollin Bank tues 3rd march 26", "Hollin Bank"),
        ('"# Carse Farm toe lengths 11 May 2026, measured coronet to toe, mm"', "Carse Farm"),
        ('"Bewegungsnoten (1 = normal bis 5 = hochgradig lahm), Betrieb Moorkamp, 4.5.2026"', "Moorkamp"),
        ("Thursday 16 July 2026\nP Gaskell hoof care\nvan 2\nUpper Slade", "Upper Slade"),
        ("mts. Zandvoorde 3-4-2026", "mts. Zandvoorde"),
    ],
)
def test_the_name_of_the_farm_without_the_words_around_it(line: str, farm: str) -> None:
    found = read(f"{line}\n{TABLE}")
    assert {name for (name,) in said(found, "farm")} == {farm}


@pytest.mark.parametrize(
    "line", ["podologia bovina 3/4/2026", "the usual lot 13 March 2026", "measured in cm 13/4/2026"]
)
def test_words_that_are_no_name_are_no_likely_farm(line: str) -> None:
    found = read(f"{line}\n{TABLE}", "trim book.csv")
    default, _ = farm_asked(found)
    assert default is None
    assert said(found, "farm") == []
    assert {name for (name,) in said(read(f"{line}\n{TABLE}", farm="Elm End"), "farm")} == {"Elm End"}


def test_two_names_are_both_shown_and_none_is_likeliest() -> None:
    found = read(f"Upper Slade\nCold Harbour\n13 March 2026\n{TABLE}")
    default, shown = farm_asked(found)
    assert default is None
    assert any("Upper Slade" in one for one in shown) and any("Cold Harbour" in one for one in shown)


def test_an_answer_for_one_farm_is_none_for_the_farm_below_it() -> None:
    sheet = f"13 March 2026\nUpper Slade\n{TABLE}Cold Harbour\n{TABLE.replace('4,SU', '14,SU')}"
    assert {farm for (farm,) in said(read(sheet), "farm")} == {"Upper Slade", "Cold Harbour"}
    told = read(sheet, farm="Slade Farm")
    assert {farm for (farm,) in said(told, "farm")} == {"Slade Farm", "Cold Harbour"}
    assert "farm:cold harbour" in told.answers.met


def test_tabs_are_farms_where_the_line_above_is_a_title() -> None:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for number, farm in enumerate(("Quinta do Freixo", "Casal Novo")):
        tab = book.create_sheet(farm)
        for row in (["Podologia bovina - relatório"], ["Visita de 03-02-2026"], ["Vaca", "Membro", "Lesão"],
                    [10 + number, "PE", "tiloma"], [20 + number, "PD", "panarício"]):  # fmt: skip
            tab.append(row)
    out = io.BytesIO()
    book.save(out)
    found = read(out.getvalue(), "podologia.xlsx")
    assert said(found, "cow", "farm", "group") == [
        ("10", "Quinta do Freixo", None), ("20", "Quinta do Freixo", None),
        ("11", "Casal Novo", None), ("21", "Casal Novo", None),
    ]  # fmt: skip
    assert {farm for (farm,) in said(read(out.getvalue(), "podologia.xlsx", farm="Freixo"), "farm")} == {
        "Freixo", "Casal Novo"
    }  # fmt: skip


def test_a_tab_named_after_a_season_is_no_likely_farm() -> None:
    book = openpyxl.Workbook()
    tab = book.active
    tab.title = "Autumn"
    for row in (["Date", "Cow", "LH", "RH"], ["2026-03-04", 12, "SU", ""], ["2026-03-04", 13, "", "DD"]):
        tab.append(row)
    out = io.BytesIO()
    book.save(out)
    assert farm_asked(read(out.getvalue(), "trims.xlsx"))[0] is None
