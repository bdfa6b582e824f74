"""Cows that have no row of their own: named above the table, across it, in a list, or in lines of scores."""

from __future__ import annotations

import json

import pytest

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file
from tests.intake.reading import TODAY, asked, read, said

SCORES = {
    ("4", "2026-02-02", 1), ("4", "2026-03-02", 1),
    ("7", "2026-02-02", 2), ("7", "2026-03-02", 4), ("7", "2026-03-30", 3),
}  # fmt: skip


@pytest.mark.parametrize("head", ["Kuh;4;7", "Datum;Kuh 4;Kuh 7", ";Kuh 4;Kuh 7"])
def test_scores_with_the_days_down_are_turned(head: str) -> None:
    found = read(f"Betrieb;Auhof;\n{head}\n02.02.2026;1;2\n02.03.2026;1;4\n30.03.2026;;3\n")
    assert {(cow, str(day)[:10], score) for cow, day, score in said(found, "cow", "date", "score")} == SCORES


def test_findings_by_foot_and_day_are_not_turned() -> None:
    """Feet numbered across are no cows."""
    found = read("Farm,Elm End,,\nDate,Cow,LH,RH\n2026-03-02,4,SU,ok\n2026-03-02,7,ok,DD\n")
    assert said(found, "cow", "foot", "lesion") == [("4", "LH", "SU"), ("7", "RH", "DD")]


def test_lines_of_scores_name_their_cows() -> None:
    found = read("Mts. Terhorst 12 mei 2026, locomotiescore 1-5\n\nScore 1: 3, 7, 11\nScore 2: 5\nScore 3: 8 (LA), 31\n"
                 "Score 5: geen\n", "lijst.txt")  # fmt: skip
    assert sorted(said(found, "cow", "score"), key=lambda one: int(one[0])) == [
        ("3", 1), ("5", 2), ("7", 1), ("8", 3), ("11", 1), ("31", 3),
    ]  # fmt: skip
    assert {row["note"] for row in found.sheets[0].records.to_dict("records") if row["cow"] == "8"} == {"LA"}


def test_a_score_and_its_cows_in_two_cells() -> None:
    found = read("Bedrijf;Elm End\nDatum;12-05-2026\nScore;Koeien\n1;3, 7, 11\n2;5, 9\n4;27\n5;geen\n")
    assert "cow-lists" in asked(found)
    assert said(found, "cow", "score") == [("3", 1), ("7", 1), ("11", 1), ("5", 2), ("9", 2), ("27", 4)]


@pytest.mark.parametrize("above", ["Cow: 118,,,", "Cow,118,,", "Foot card of cow 118,,,"])
def test_a_cow_named_above_her_table(above: str) -> None:
    rows = "2026-01-14,RH outer,sole ulcer zone 4,block\n2026-02-18,LH,digital dermatitis,\n"
    found = read(f"Farm: Elm End,,,\n{above}\n\nDate,Foot,Finding,Treatment\n{rows}")
    assert said(found, "cow", "foot", "lesion") == [("118", "RH", "SU"), ("118", "LH", "DD")]


def test_a_number_above_a_table_with_cows_is_no_cow() -> None:
    found = read("Farm: Elm End,,\nCow: see below,,\nDate,Cow,Foot,Finding\n2026-01-14,7,RH,SU\n")
    assert said(found, "cow") == [("7",)]


def test_objects_one_to_a_line() -> None:
    rows = [
        {"when": "2026-02-10", "farm": "Elm End", "cow": "77",
         "finding": {"foot": "RH", "zone": 4, "code": "SU", "grade": 2}},
        {"when": "2026-02-10", "farm": "Elm End", "cow": "80", "finding": None},
    ]  # fmt: skip
    found = read("\n".join(map(json.dumps, rows)), "day.json")
    assert said(found, "cow", "foot", "zone", "lesion", "severity") == [
        ("77", "RH", 4, "SU", 2), ("80", None, None, None, None),
    ]  # fmt: skip


HEAD = "Date,Farm,Cow,LF,RF,LH,RH\n"


def test_feet_that_were_not_looked_at_are_not_sound() -> None:
    found = read(f"{HEAD}2026-03-12,Ash,1,ok,ok,ok,SU\n2026-03-12,Ash,2,not seen,not seen,not seen,not seen\n"
                 "2026-03-12,Ash,3,NT,NT,ok,ok\n2026-03-12,Ash,4,ok,ok,not seen,DD\n")  # fmt: skip
    assert "unseen" in asked(found)
    assert said(found, "cow", "foot", "lesion", "feet_seen") == [
        ("1", "RH", "SU", None), ("3", None, None, "LH RH"), ("4", "RH", "DD", "LF RF RH"),
    ]  # fmt: skip


def test_a_word_that_the_sheet_explains_as_not_trimmed() -> None:
    """Its cows were sound in silence, though the line above explains the word."""
    found = read('"x = trimmed, nothing found; QT = not trimmed",,,,,,\n' + HEAD
                 + "2026-03-12,Ash,1,x,x,x,SU\n2026-03-12,Ash,2,QT,QT,QT,QT\n")  # fmt: skip
    assert said(found, "cow") == [("1",)]


def test_lengths_in_centimetres_under_feet() -> None:
    found = read("Farm,Elm End,,\nDate,2026-07-08,,\nCow,LF,RF,LH,RH\n61,7.8,7.9,8.4,8.6\n64,7.5,7.5,7.6,\n")
    assert said(found, "cow", "foot", "toe_length_mm")[:2] == [("61", "LF", 78.0), ("61", "RF", 79.0)]
    assert len(said(found, "cow")) == 7


@pytest.mark.parametrize(
    ("after", "before"), [("Wall after (cm)", "Wall before (cm)"), ("Paroi après (cm)", "Paroi avant (cm)")]
)
def test_lengths_by_time_in_any_order_of_words(after: str, before: str) -> None:
    found = read(f"Farm;Elm End;;\nDate;21/04/2026;;\nCow;Claw;{before};{after}\n201;LH outer;8,6;7,5\n")
    assert said(found, "foot", "claw", "toe_length_mm", "toe_length_after_mm") == [("LH", "lateral", 86.0, 75.0)]


def test_choices_of_columns_say_what_follows() -> None:
    sheet = b"Date,Farm,Cow numer,Foot,Lesion\n2026-06-18,Ash,61,RH,sole ulcer\n2026-06-18,Ash,64,LH,nothing\n"
    answers = understand_file(sheet, "sheet.csv", today=TODAY, answers=Answers()).answers
    told = [str(choice.says) for choice in answers.met["column:cow numer"].choices]
    assert told[0] == "number of the cow (2 records, 1 with a lesion)"
    assert told[1].endswith("(0 records, 0 with a lesion)")


def test_a_line_explains_headings() -> None:
    found = read("Ash - 30 June 2026,,,\nMob = mobility score 0-3. Due = to be looked at again.,,,\n"
                 "Number,Mob,LH,Due\n7,3,SU,2026-07-28\n12,0,ok,\n")  # fmt: skip
    assert said(found, "cow", "locomotion_score", "locomotion_scale", "lesion") == [
        ("7", 3, "0-3", "SU"), ("12", 0, "0-3", None),
    ]  # fmt: skip
    assert str(said(found, "recheck_on")[0][0])[:10] == "2026-07-28"


def test_feet_belong_to_the_numbered_lesion_beside_them() -> None:
    """The second lesion was put on the first one's foot, and its severity was lost, in silence."""
    found = read("Date,Farm,Cow,1st problem,Leg,How bad,2nd problem,Leg,How bad\n"
                 "2026-05-20,Ash,22,ulcer,back right,severe,bruise,back left,mild\n")  # fmt: skip
    assert said(found, "foot", "lesion", "severity") == [("RH", "SU", 3), ("LH", "SH", 1)]


def test_a_score_holds_for_all_rows_of_a_cow() -> None:
    rows = "2026-05-20,Ash,22,3,RH,SU\n,,,,LH,DD\n2026-05-21,Ash,23,,RH,DD\n,,,,LH,DD\n"
    found = read(f"Date,Farm,Cow,Loc,Foot,Lesion\n{rows}")
    assert said(found, "cow", "locomotion_score") == [("22", 3), ("22", 3), ("23", None), ("23", None)]


def test_a_blank_cow_below_marks_for_as_above_is_the_cow_above() -> None:
    rows = '18 Aug 2026,Ash,71,LH,WL\n",",",",,RH,WL\n",",",",74,,clean\n",",",",79,RH,DD\n'.replace('","', '""""')
    found = read(f"Date,Client,Cow,Foot,Lesion\n{rows}")
    assert said(found, "cow", "foot") == [("71", "LH"), ("71", "RH"), ("74", None), ("79", "RH")]


@pytest.mark.parametrize(
    ("cell", "lesions"),
    [("gabarro (tiloma)", ["IH"]), ("foreign body (nail)", ["other"]), ("SU, DD", ["SU", "DD"])],
)
def test_a_word_in_brackets_says_which_lesion(cell: str, lesions: list[str]) -> None:
    found = read(f'Date,Farm,Cow,Foot,Lesion\n2026-05-20,Ash,22,LH,"{cell}"\n')
    assert [lesion for [lesion] in said(found, "lesion")] == lesions


@pytest.mark.parametrize("cell", ["nail in sole", "spijker in zool", "SU in heel"])
def test_in_before_a_part_of_the_foot_is_no_claw(cell: str) -> None:
    assert said(read(f"Date,Farm,Cow,Foot,Lesion\n2026-05-20,Ash,22,LH,{cell}\n"), "claw") == [(None,)]


def test_a_diary_and_notes_below_each_cow() -> None:
    diary = read("Hacienda San Lucas 2026\n\n12 mayo - vaca 341 - pata derecha trasera - ulcera de suela\n"
                 "19 mayo - vaca 362 - sin novedad\n26 mayo - vaca 355 - mano izquierda - linea blanca\n",
                 "d.txt")  # fmt: skip
    assert said(diary, "visit_date", "cow", "foot", "lesion") == [
        ("2026-05-12", "341", "RH", "SU"), ("2026-05-19", "362", None, None), ("2026-05-26", "355", "LF", "WL"),
    ]  # fmt: skip
    notes = read("Hof Wiesengrund, 7. Oktober 2025\n\nKuh 88 (Lotte)\n  HL außen: Sohlengeschwür\n  HR: Mortellaro\n"
                 "Kuh 93\n  ohne Befund\nKuh 101 (Resi)\n  HL: Limax\n", "notizen.txt")  # fmt: skip
    assert said(notes, "cow", "foot", "lesion") == [
        ("88", "LH", "SU"), ("88", "RH", "DD"), ("93", None, None), ("101", "LH", "IH"),
    ]  # fmt: skip


def test_a_number_of_cows_that_the_sheet_lists_is_no_herd() -> None:
    """ "Trim today, 3 cows" made a whole-herd visit of a herd of three."""
    rows = "241 LH sole ulcer\n245 RH digital dermatitis\n250 nothing found\n"
    found = read(f"Elm End 22/4/26\ntrim today, 3 cows\n\n{rows}", "note.txt")
    assert "herd-or-listed" in asked(found) and said(found, "herd_size") == [(None,)] * 3
    told = read(f"Elm End 22/4/26\ntrim today, 3 cows\n\n{rows}", "note.txt", herd_or_listed="herd")
    assert said(told, "herd_size") == [(3,)] * 3


def test_findings_with_the_cows_across_are_turned() -> None:
    """They became counts of cows that nobody had counted."""
    found = read(
        "Farm,Elm End,,\nDate,2026-01-14,,\nCow,12,18,25\nLF,ok,ok,ok\nRF,ok,ok,ok\nLH,ok,DD,ok\nRH,SU outer z4,ok,ok\n"
    )
    assert said(found, "cow", "foot", "lesion") == [("12", "RH", "SU"), ("18", "LH", "DD"), ("25", None, None)]


def test_numbers_behind_lesions_are_degrees_where_some_can_be_nothing_else() -> None:
    """ "WL outer 1" was a zone in a sheet that has "DD 1" and "SU 2"."""
    found = read(f"{HEAD}2026-09-22,Ash,58,ok,ok,DD 1,SU outer 2\n2026-09-22,Ash,71,ok,ok,WL outer 1,ok\n")
    assert said(found, "lesion", "severity", "zone") == [("DD", 1, None), ("SU", 2, None), ("WL", 1, None)]
    zones = read(f"{HEAD}2026-09-22,Ash,58,ok,ok,ok,SU outer 4\n2026-09-22,Ash,71,ok,ok,WL outer 1,ok\n")
    assert said(zones, "lesion", "severity", "zone") == [("SU", None, 4), ("WL", None, 1)]


def test_the_foot_of_an_event_has_a_column() -> None:
    """Each event became two records: the foot, and the lesion without it."""
    rows = ("03/02/2026\t77\tPodal\tPI\tDermatitis digital M2\n05/02/2026\t90\tParto\t\tHembra\n"
            "24/03/2026\t101\tPodal\tPD\tSin lesión\n")  # fmt: skip
    found = read(f"San Roque - eventos 2026\nFecha\tVaca\tEvento\tPie\tDetalle\n{rows}", "eventos.txt")
    assert said(found, "cow", "foot", "lesion", "dd_stage") == [("77", "LH", "DD", "M2"), ("101", "RH", None, None)]


def test_a_key_of_several_words_with_as_many_meanings() -> None:
    """AVD was the left front foot, as its comma parted the list."""
    key = "AVG, AVD = avant gauche, avant droit ; ARG, ARD = arrière gauche, arrière droit"
    found = read(f"EARL du Vieux Pont - parage du 7 mai 2026\n{key}\n\n"
                 "2204 : ARD ulcère de sole\n2209 : RAS\n2218 : AVD ligne blanche\n", "carnet.txt")  # fmt: skip
    assert said(found, "cow", "foot", "lesion") == [("2204", "RH", "SU"), ("2209", None, None), ("2218", "RF", "WL")]


def test_a_lesion_of_one_foot_keeps_it_beside_a_stage() -> None:
    head = "Farm;Elm End;;\nDate;26/05/2026;;\nN° travail;Mortellaro PG;Mortellaro PD;Soin\n"
    found = read(f"{head}6021;M2;0;pansement\n6030;M4.1;M4;\n6031;0;0;\n")
    assert said(found, "cow", "foot", "dd_stage") == [
        ("6021", "LH", "M2"), ("6030", "LH", "M4.1"), ("6030", "RH", "M4"), ("6031", None, None),
    ]  # fmt: skip


def test_a_remark_that_says_when_to_look_again() -> None:
    rows = "2026-06-09,Ash,147,LH,WL,recheck 07/07/2026\n2026-06-23,Ash,150,RH,SU,\n"
    found = read(f"Date,Farm,Cow,Foot,Lesion,Remarks\n{rows}")
    days = [day for [day] in said(found, "recheck_on")]
    assert str(days[0])[:10] == "2026-07-07" and days[1] is None
