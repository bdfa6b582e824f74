"""Lists whose columns are lined up with spaces, cards one under the other, and comments on cells."""

from __future__ import annotations

import io

import openpyxl
from openpyxl.comments import Comment

from tests.intake.reading import read, records, said

PAGE = """
STONE DAIRY                      EVENT LIST 02/01/26 - 03/31/26            PAGE {}

ID     LACT  DIM  EVENT  DATE      TECH  REMARK
-----  ----  ---  -----  --------  ----  ------------------------
"""
LIST = f"""{PAGE.format(1)}1023      3  145  FOOT   02/14/26  RM    RR OUTER SOLE ULCER BLOCK
2044      2  210  TRIM   02/14/26  RM    OK
1391      2   98  BRED   02/16/26  JS    SIRE 551
{PAGE.format(2)}950       5  315  DRY    03/03/26  JS
3102      1   40  FOOT   03/03/26  RM    LR INNER THIN SOLE

TOTAL EVENTS 5
"""


def test_a_printed_list_of_events_over_pages() -> None:
    found = read(LIST, "events.txt")
    assert said(found, "visit_date", "cow", "foot", "claw", "lesion", "action") == [
        ("2026-02-14", "1023", "RH", "lateral", "SU", "block"), ("2026-02-14", "2044", None, None, None, None),
        ("2026-03-03", "3102", "LH", "medial", "TS", None),
    ]  # fmt: skip
    assert [one["row"] for one in records(found)] == [6, 7, 15]


def test_words_with_spaces_between_are_no_printed_list() -> None:
    notes = "Elm End 3 March 2026\n12 LH ulcer  block\n13 RH  digi\n14 ok\n"
    assert [cow for (cow,) in said(read(notes, "notes.txt"), "cow")] == ["12", "13", "14"]


CARD = (
    "HOOF CARD,,,\nFarm,Pikes,Cow no.,{cow}\nDate,{day},Lact.,3\nLF,{lf},RF,\nLH,{lh},RH,{rh}\n"
    "Treatment,{done},,\n,,,\n"
)


def test_cards_of_cows() -> None:
    cards = [
        CARD.format(cow=1187, day="2/5/2026", lf="", lh='"SU outer, 4"', rh="DD", done="block LH inner"),
        CARD.format(cow=1190, day="14/5/2026", lf="ok", lh="ok", rh="ok", done=""),
        CARD.format(cow=1203, day="14/5/2026", lf="WL inner", lh="", rh="corn", done="cut and wrap RH"),
    ]
    found = read("".join(cards), "cards.csv")
    assert said(found, "visit_date", "cow", "foot", "claw", "zone", "lesion", "action") == [
        ("2026-05-02", "1187", "LH", "lateral", 4, "SU", "block"), ("2026-05-02", "1187", "RH", None, None, "DD", None),
        ("2026-05-14", "1190", None, None, None, None, None),
        ("2026-05-14", "1203", "LF", "medial", None, "WL", None),
        ("2026-05-14", "1203", "RH", None, None, "IH", "wrap"),
    ]  # fmt: skip
    assert [one["row"] for one in records(found)] == [2, 2, 9, 16, 16]


def test_comments_on_cells_are_told() -> None:
    book = openpyxl.Workbook()
    tab = book.active
    for row in (["Farm", "Date", "Cow", "LH", "RH"], ["Elm End", "2026-03-04", 12, "SU", ""]):
        tab.append(row)
    without = io.BytesIO()
    book.save(without)
    tab["D2"].comment = Comment("zone 4", "TR")
    out = io.BytesIO()
    book.save(out)
    notes = [[str(note) for note in read(one.getvalue(), "a.xlsx").sheets[0].notes] for one in (without, out)]
    assert [any("comments on cells" in note for note in each) for each in notes] == [False, True]
