"""Rows of a bill, sums by month and old numbers are no cows; plans and later looks are no part of the visit."""

from __future__ import annotations

import re

import pytest

from evenfoot.analytics.errors import UserError
from tests.intake.reading import asked, read, said

HEAD = "Farm: Elm End,,Date: 13 March 2026\n"


@pytest.mark.parametrize("row", ["Trim,42 @ 12.50,,", "Miles,64,,", "Anfahrt,1,,", "Foil,3 x 2.00,,", "IVA,,,21"])
def test_rows_of_a_bill_are_no_cows(row: str) -> None:
    found = read(f"{HEAD}Cow,Foot,Problem,Price\n14,LH,ulcer,10.00\n206,RH,digi,6.00\n33,,routine,\n{row}\n")
    assert said(found, "cow") == [("14",), ("206",), ("33",)]


def test_a_cow_with_a_name_is_no_row_of_a_bill() -> None:
    found = read(f"{HEAD}Cow,Foot,Problem\n14,LH,ulcer\nBella,RH,digi\n33,,routine\n")
    assert said(found, "cow") == [("14",), ("Bella",), ("33",)]


def test_a_table_by_month_names_no_cow() -> None:
    with pytest.raises(UserError, match="counts by month"):
        read("Bryn Farm lesions by month 2025\nMonth,Cows trimmed,DD,SU,WL\nJanuary,62,8,4,3\nFebruary,15,2,3,1\n")


@pytest.mark.parametrize("cow", ["23 (was 32)", "23 was 32", "23 [lost tag]", "23 antes 32"])
def test_words_behind_the_number_of_a_cow_are_asked_about(cow: str) -> None:
    sheet = f"Date,Farm,Cow,Foot,Lesion\n2026-03-04,Elm End,{cow},LH,SU\n2026-03-11,Elm End,23,LH,SU\n"
    found = read(sheet)
    assert asked(found) >= {"cow-words"}
    assert said(found, "cow", "note") == [("23", cow), ("23", None)]
    assert said(read(sheet, cow_words="written"), "cow") == [(cow,), ("23",)]


def test_how_many_blocks_were_put_on_is_a_block() -> None:
    rows = "14,BL,ulcer,1,\n206,BR,digi,,1\n171,BL BR,white line,2,\n"
    found = read(f"{HEAD}Cow,Foot,Problem,Block,Wrap\n{rows}")
    assert said(found, "cow", "action", "note") == [
        ("14", "block", None), ("206", "wrap", None), ("171", "block", None), ("171", "block", None)
    ]  # fmt: skip


@pytest.mark.parametrize("plan", ["lift this week", "block tomorrow", "taco la próxima semana", "mejor"])
def test_what_is_to_be_done_later_is_no_treatment(plan: str) -> None:
    for head in ("Date,Farm,Cow,Foot,Lesion,Action", "Date,Farm,Cow,Foot,Found,Action"):
        found = read(f"{head}\n2026-03-04,Elm End,12,LH,SU,{plan}\n2026-03-04,Elm End,13,RH,DD,wrap\n")
        assert said(found, "action", "note") == [(None, f"Action: {plan}"), ("wrap", None)]


def test_scores_that_are_counted_from_0_tell_the_scale() -> None:
    counts = "Score,Cows,%\n0,88,67\n1,38,29\n2,3,2\n3,2,2\n"
    table = "Cow,Score,Leg,Action\n41,2,LH,\n102,3,RH,vet\n"
    found = read(f"Mobility scoring\nFarm,Treloan\nDate,20 Aug 2026\n\n{counts}\nCows at 2 and 3\n{table}")
    assert said(found, "cow", "locomotion_score", "locomotion_scale") == [("41", 2, "0-3"), ("102", 3, "0-3")]


def test_one_growth_between_the_claws_is_one_finding() -> None:
    above = "Élevage : Le Chêne,,Date : 14/4/2026\n,Postérieur gauche,Postérieur gauche,Postérieur droit\n"
    found = read(f"{above}Vache,ext,int,ext\n41,limace,limace,\n42,bleime,bleime,ulcère\n")
    assert said(found, "cow", "foot", "claw", "lesion") == [
        ("41", "LH", None, "IH"),
        ("42", "LH", "lateral", "SH"), ("42", "LH", "medial", "SH"), ("42", "RH", "lateral", "SU"),
    ]  # fmt: skip


def test_healed_at_a_later_look_leaves_the_findings_of_the_visit() -> None:
    rows = "2026-09-07,Elm,18,RH,SU,2026-10-05,healed\n2026-09-07,Elm,22,LH,WL,2026-10-05,better\n"
    sheet = f"Date,Farm,Cow,Foot,Lesion,Recheck,How was it\n{rows}2026-09-07,Elm,23,LH,DD,,healed\n"
    found = read(sheet)
    assert asked(found) >= {"healed-later:healed", "healed-remark:healed"}
    assert said(found, "cow", "lesion") == [("18", "SU"), ("22", "WL"), ("23", None)]


def test_near_and_off_feet_in_short() -> None:
    rows = "12,N.H. outside,ulcer\n13,O.H.,foul\n14,O.F. inside,white line\n15,N.F.,digital\n"
    found = read(f"{HEAD}Cow,Foot,Lesion\n{rows}")
    assert asked(found) >= {"word:digital"}
    assert said(found, "cow", "foot", "claw", "lesion") == [
        ("12", "LH", "lateral", "SU"), ("13", "RH", None, "IP"), ("14", "RF", "medial", "WL"), ("15", "LF", None, "DD")
    ]  # fmt: skip


def test_a_grid_of_zones_with_numbered_claws() -> None:
    claws = '"Claws: 1 LF outer, 2 LF inner, 3 RF inner, 4 RF outer, 5 LH outer, 6 LH inner, 7 RH inner, 8 RH outer"\n'
    rows = "701,5,,,,,U,\n701,7,,,,,,\n715,3,,W,,,,\n722,,,,,,,\n740,5/6,D,,,,,\n"
    key = '"U ulcer, W white line, H hemorrhage, E heel erosion, D digital dermatitis"\n'
    found = read(f"Ridgeline,04/21/2026\n{claws}Cow,Claw,Z0,Z1,Z2,Z3,Z4,Z5\n{rows}{key}")
    assert said(found, "visit_date", "cow", "foot", "claw", "zone", "lesion") == [
        ("2026-04-21", "701", "LH", "lateral", 4, "SU"), ("2026-04-21", "715", "RF", "medial", 1, "WL"),
        ("2026-04-21", "722", None, None, None, None), ("2026-04-21", "740", "LH", None, 0, "DD"),
    ]  # fmt: skip


def test_numbers_of_claws_are_no_days() -> None:
    rows = "2,SU,12\n3,SU,13\n4,DD,14\n"
    found = read(f"Farm: Elm End\nClaw,Lesion,Cow\n{rows}")
    assert "column:claw" not in found.answers.met


@pytest.mark.parametrize(
    "cell",
    ["45, 67, 112", "67, 90", "67 - 90", "40 / 42 / 43", "40/42/43", "45, 67 et 112", "45 y 67", "45; 67", "45+67"],
)
def test_several_cows_in_one_cell_are_asked_and_each_gets_a_record(cell: str) -> None:
    """They became one cow whose name was the whole list; then the row was set aside."""
    sheet = f'Date,Farm,Cow,Foot,Problem\n2026-03-04,Ash,12,LH,SU\n2026-03-04,Ash,"{cell}",RH,DD\n'
    found = read(sheet)
    assert "cow-lists" in asked(found)
    assert said(found, "cow", "lesion") == [("12", "SU"), *((cow, "DD") for cow in re.findall(r"\d+", cell))]
    apart = read(sheet, cow_lists="aside")
    assert said(apart, "cow") == [("12",)]
    [row] = apart.sheets[0].set_aside.itertuples()
    assert str(row.reason).startswith(f"'{cell}' names") and str(row.remedy) == "Write a row for each cow."


@pytest.mark.parametrize(
    ("cell", "cow"), [("45,0", "45"), ("45 (67)", "45"), ("12/345", "12/345"), ("45-67", "45-67"), ("1,042", "1042")]
)
def test_one_cow_with_a_sign_in_her_number_stays(cell: str, cow: str) -> None:
    found = read(f'Date,Farm,Cow,Foot,Problem\n2026-03-04,Ash,12,LH,SU\n2026-03-04,Ash,"{cell}",RH,DD\n')
    assert said(found, "cow") == [("12",), (cow,)]


def test_a_list_of_sound_cows_below_a_word_is_read() -> None:
    """The row was taken for a line that holds no record."""
    rows = 'Dermatite,PG,45\nUlcère de sole,PD,51\nRien à signaler,,"40, 42, 43"\n'
    found = read(f"Élevage : EARL du Moulin,,08/04/2026\nLésion,Patte,Vaches\n{rows}")
    assert said(found, "cow", "lesion")[2:] == [("40", None), ("42", None), ("43", None)]


@pytest.mark.parametrize(
    "row", ["Übertrag,3 Kühe,,", ",3 Kühe,,", ",7 cows,,", "Suma y sigue,2 vacas,,", "à reporter,3,,", ",3 koeien,,x"]
)
def test_cows_carried_forward_are_no_cow(row: str) -> None:
    found = read(f"{HEAD}No,Cow,Foot,Problem\n1,14,LH,ulcer\n2,206,RH,digi\n3,33,,ok\n{row}\n")
    assert said(found, "cow") == [("14",), ("206",), ("33",)]
