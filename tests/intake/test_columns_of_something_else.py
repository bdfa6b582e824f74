"""Columns headed like one thing that hold another, days between tables, and columns that say a thing once more."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file

START = "Date,Farm,Cow,"


def read(tmp_path: Path, text: str, **answers: str) -> tuple[list[dict[str, Any]], Answers]:
    path = tmp_path / "sheet.csv"
    path.write_text(text)
    asked = Answers(given=dict(answers), accept=True)
    frames = [sheet.records.astype(object) for sheet in understand_file(path, path.name, answers=asked).sheets]
    return [row for frame in frames for row in frame.where(frame.notna(), None).to_dict("records")], asked


def found(rows: list[dict[str, Any]]) -> list[tuple[Any, ...]]:
    return [(row["cow"], row["foot"], row["lesion"]) for row in rows]


@pytest.mark.parametrize(
    ("heading", "cells"),
    [
        ("Id", ("UK 1204", "UK 1205", "UK 1211")),
        ("ID", ("1", "2", "3")),
        ("CD", ("12/01/2026", "20/12/2025", "08/02/2026")),
        ("IP", ("barn 3", "barn 3", "barn 4")),
    ],
)
def test_a_column_with_the_letters_of_a_lesion_is_asked_about(
    tmp_path: Path, heading: str, cells: tuple[str, ...]
) -> None:
    rows = [("1", "RH", "SU"), ("2", "LH", "WL"), ("3", "", "none")]
    text = f"{START}{heading},Foot,Lesion\n" + "".join(
        f"2026-03-03,Ivy Bank,{cow},{cell},{foot},{lesion}\n"
        for (cow, foot, lesion), cell in zip(rows, cells, strict=True)
    )
    records, asked = read(tmp_path, text)
    assert found(records) == [("1", "RH", "SU"), ("2", "LH", "WL"), ("3", None, None)]
    [question] = [one for one in asked.met.values() if one.id == f"column:{heading.lower()}"]
    assert question.default == "note"
    assert all(cell in str(row["note"]) for row, cell in zip(records, cells, strict=True))


def test_ok_under_a_lesion_is_no_lesion(tmp_path: Path) -> None:
    text = f"{START}DD,SU,WL\n2026-03-03,Ivy Bank,1,no,yes,no\n2026-03-03,Ivy Bank,4,ok,ok,ok\n"
    assert found(read(tmp_path, text)[0]) == [("1", None, "SU"), ("4", None, None)]


def test_sides_under_a_lesion_mark_it(tmp_path: Path) -> None:
    rows = "2026-03-03,Les Aulnes,1,G D,\n2026-03-03,Les Aulnes,2,,D\n"
    text = f"Pattes arrière seulement,,,,\nDate,Ferme,Vache,Mortellaro,Ulcère\n{rows}"
    _, asked = read(tmp_path, text)
    assert not any(one.id.startswith("column:") for one in asked.met.values())


BLOCK = "Cow,Foot,Lesion\n201,RH,WL\n210,,ok\n"


@pytest.mark.parametrize("between", ["22/05/2026,,", "Marsh End,22 May 2026,", "Marsh End,,\n22/05/2026,,"])
def test_a_day_between_tables_is_of_the_rows_below(tmp_path: Path, between: str) -> None:
    rows, _ = read(tmp_path, f"Marsh End,,\n15/05/2026,,\n{BLOCK},,\n{between}\n{BLOCK}", farm="line")
    assert [(str(row["visit_date"])[:10], row["cow"]) for row in rows] == [
        ("2026-05-15", "201"), ("2026-05-15", "210"), ("2026-05-22", "201"), ("2026-05-22", "210"),
    ]  # fmt: skip


def test_lesions_in_the_remarks_beside_a_foot_are_one_record_each(tmp_path: Path) -> None:
    text = f"{START}Foot,Comments\n2026-03-03,Ivy Bank,1,RH,sole ulcer\n2026-03-03,Ivy Bank,2,LH,digital derm\n"
    rows, asked = read(tmp_path, text)
    assert found(rows) == [("1", "RH", "SU"), ("2", "LH", "DD")]
    assert any(one.id == "column:comments" for one in asked.met.values())


@pytest.mark.parametrize("heading", ["Ear tag", "Site"])
def test_what_is_said_once_more_is_kept_as_a_remark(tmp_path: Path, heading: str) -> None:
    text = f"{START}{heading},Foot,Lesion\n2026-03-03,Ivy Bank,1,UK 1204,RH,SU\n2026-03-03,Ivy Bank,2,UK 1205,LH,WL\n"
    rows, _ = read(tmp_path, text)
    assert [(row["farm"], row["cow"]) for row in rows] == [("Ivy Bank", "1"), ("Ivy Bank", "2")]
    assert "UK 1204" in str(rows[0]["note"]) and "UK 1205" in str(rows[1]["note"])


def test_interdigital_cut_short_names_no_claw(tmp_path: Path) -> None:
    rows, _ = read(tmp_path, f"{START}Findings\n2026-03-03,Ivy Bank,1,RH int. hyperplasia\n")
    assert (rows[0]["lesion"], rows[0]["foot"], rows[0]["claw"]) == ("IH", "RH", None)


def test_an_answer_that_names_nothing_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="'barn' is not what a column can be"):
        read(tmp_path, f"{START}Shed,Foot,Lesion\n2026-03-03,Ivy Bank,1,3,RH,SU\n", **{"column:shed": "barn"})


def test_thousands_of_headings_take_seconds(tmp_path: Path) -> None:
    """A line that could count cows is no longer than what somebody writes; it was cut at every point of it before."""
    text = START + ",".join(f"heading {n}" for n in range(3000)) + "\n" + "2026-03-03,Home,1," + ",".join(["x"] * 3000)
    with pytest.raises(UserError, match="lesion"):
        read(tmp_path, text)
