"""Notes without headings: a cow a line, days between, prose; other lines are left alone."""

from __future__ import annotations

import datetime as dt

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.layouts.cow_lines import cow_and_findings
from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)

NOTES = """Bekappen Hoeve Ter Beek

14-4-2026
34   RA   zoolzweer, blok
41   geen afwijkingen
52   LA+RA   mortellaro, verband

20-10-2026
37   LA   tyloom
44   geen afwijkingen
"""

PROSE = """Visita a la granja Los Olmos, 22 de abril de 2026

Vaca 118: úlcera de suela en la pata trasera derecha, pezuña externa. Taco en la interna.
Vaca 123: sin problemas, solo recorte.
Vaca 131: dermatitis digital en las dos patas traseras, vendaje.
"""


def read(text: str) -> tuple[list[tuple[object, ...]], Answers]:
    given = Answers({"farm": "line"})
    [sheet] = understand_file(text.encode(), "notes.txt", today=TODAY, answers=given).sheets
    rows = sheet.records.astype(object).where(sheet.records.notna(), None)
    return [
        (f"{row['visit_date']:%m-%d}", row["farm"], row["cow"], row["foot"], row["lesion"], row["action"])
        for row in rows.to_dict("records")
    ], given


def test_a_cow_a_line_under_the_day() -> None:
    rows, asked = read(NOTES)
    assert "cow-lines" in asked.met
    farm = "Hoeve Ter Beek"
    assert rows == [
        ("04-14", farm, "34", "RH", "SU", "block"), ("04-14", farm, "41", None, None, None),
        ("04-14", farm, "52", "LH", "DD", "wrap"), ("04-14", farm, "52", "RH", "DD", "wrap"),
        ("10-20", farm, "37", "LH", "IH", None), ("10-20", farm, "44", None, None, None),
    ]  # fmt: skip


def test_lines_keep_their_numbers() -> None:
    [sheet] = understand_file(NOTES.encode(), "notes.txt", today=TODAY, answers=Answers({"farm": "line"})).sheets
    assert sheet.records["row"].to_list() == [4, 5, 6, 6, 9, 10]


def test_prose() -> None:
    rows, _ = read(PROSE)
    assert [(farm, cow, foot, lesion) for _, farm, cow, foot, lesion, _ in rows] == [
        ("Los Olmos", "118", "RH", "SU"), ("Los Olmos", "123", None, None), ("Los Olmos", "131", "LH", "DD"),
        ("Los Olmos", "131", "RH", "DD"),
    ]  # fmt: skip


@pytest.mark.parametrize("line", ["12 March 2026", "60 cows trimmed", "34", "Cow RH SU", "2 trimmers, Mo and Al"])
def test_other_lines_are_no_cows(line: str) -> None:
    assert cow_and_findings(line) is None


def test_a_letter_is_no_list_of_cows() -> None:
    text = "Dear Mo,\nplease come on 3 May.\nCow 12 has an ulcer.\nThe 14 heifers are fine.\nRegards\nAl\n"
    with pytest.raises(UserError, match="no headings"):
        understand_file(text.encode(), "letter.txt", today=TODAY, answers=Answers())


def test_several_cows_of_a_line_are_each_a_cow() -> None:
    """Only the first was read; the others went to her note."""
    lines = "Elm End\n14-4-2026\n12 RH SU\n233, 236 y 240 sin novedad\n13 & 14 LH DD\n45, 2 claws WL\n99 ok\n"
    [sheet] = understand_file(lines.encode(), "notes.txt", today=TODAY, answers=Answers(accept=True)).sheets
    table = sheet.records.astype(object).where(sheet.records.notna(), None)
    assert [(row["cow"], row["foot"], row["lesion"]) for row in table.to_dict("records")][:6] == [
        ("12", "RH", "SU"), ("233", None, None), ("236", None, None), ("240", None, None), ("13", "LH", "DD"),
        ("14", "LH", "DD"),
    ]  # fmt: skip
    assert {row["cow"] for row in table.to_dict("records")} >= {"45", "99"} and len(set(table["cow"])) == 8
