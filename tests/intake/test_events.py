"""Lists of events: findings, scores and lame cows in the event and its remark; ticks that are not certain."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.layouts.unpivot import named_score
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)


def records(text: str, **answers: str) -> tuple[pd.DataFrame, Answers]:
    given = Answers(answers)
    [sheet] = understand_file(text.encode(), "events.csv", today=TODAY, answers=given).sheets
    return sheet.records.set_index("cow"), given


@pytest.mark.parametrize(
    ("text", "score"),
    [
        ("score 3 RH", "3"), ("loco 4", "4"), ("locomotion score 2-3", "2-3"), ("RH, lame, score 3+", "3+"),
        ("zone 4", None), ("seen by 3", None), ("12 days", None), ("", None),
    ],
)  # fmt: skip
def test_scores_in_remarks(text: str, score: str | None) -> None:
    assert named_score(text) == score


def test_an_event_of_lameness_is_no_sound_cow() -> None:
    """The score stayed in the remark, and the cow counted as looked at with nothing found."""
    table, _ = records(
        "Date,Farm,Cow,Event,Remark\n2026-05-04,Ash,12,LAME,score 3 RH\n2026-05-04,Ash,15,TRIM,DD M2 LH\n"
        "2026-05-04,Ash,18,LAME,\n2026-05-04,Ash,22,TRIM,ok\n2026-05-04,Ash,25,LAME,SU LH score 4\n"
        "2026-05-04,Ash,26,MAST,score 2\n"
    )
    assert table["locomotion_score"].dropna().to_dict() == {"12": 3, "25": 4}
    assert table["lesion"].dropna().to_dict() == {"15": "DD", "25": "SU"}
    assert table["visit_kind"].dropna().to_dict() == {"18": "lame-cow"}
    assert "26" not in table.index


def test_a_tick_with_a_question_mark_is_asked_about() -> None:
    text = "date,farm,cow,SU,DD\n2026-05-04,Ash,12,x,\n2026-05-04,Ash,15,X?,x\n2026-05-04,Ash,16,?,\n"
    table, asked = records(text)
    assert "uncertain:su" in asked.met
    assert sorted(table["lesion"].dropna().items()) == [("12", "SU"), ("15", "DD"), ("15", "SU"), ("16", "SU")]
    sure, _ = records(text, **{"uncertain:su": "nothing"})
    assert sorted(sure["lesion"].dropna().items()) == [("12", "SU"), ("15", "DD")]


def test_an_event_is_about_feet_where_its_remark_is() -> None:
    """A check of a block and a healed ulcer was left out as not about feet."""
    text = (
        "Cow,Farm,Date,Event,Remark\n12,Ash,2026-01-08,TRIM,DD LH\n"
        '12,Ash,2026-01-30,CHECK,"block off RH, ulcer healed"\n'
        "13,Ash,2026-01-30,RECHECK,DD LH still M2\n14,Ash,2026-01-31,MAST,LR quarter\n15,Ash,2026-02-01,DRY,\n"
        "16,Ash,2026-02-02,CHECK,LR quarter\n17,Ash,2026-02-03,MAST,LR\n"
    )
    given = Answers()
    [sheet] = understand_file(text.encode(), "events.csv", today=TODAY, answers=given).sheets
    found = [(row.cow, row.lesion if isinstance(row.lesion, str) else "") for row in sheet.records.itertuples()]
    assert found == [("12", "DD"), ("12", ""), ("13", "DD")]
    assert sheet.records["dd_stage"].dropna().to_list() == ["M2"]
    assert [question.id for question in given.blocking() if not question.id.startswith("kind")] == [
        "healed:ulcer healed"
    ]


def test_and_between_feet_is_no_claw() -> None:
    """In Portuguese "e" is "and", and short for the outer claw."""
    table, _ = records(
        "Data;Fazenda;Vaca;Evento;Observações\n2026-05-19;Ash;80;Casqueamento;dermatite digital PE e PD\n"
        "2026-05-19;Ash;76;Casqueamento;sem lesão\n2026-05-19;Ash;90;Mastite;quarto PD\n"
    )
    assert sorted(table.loc[["80"], "foot"]) == ["LH", "RH"] and table["claw"].isna().all()
    assert pd.isna(table.loc["76", "lesion"]) and "90" not in table.index


@pytest.mark.parametrize(
    ("finding", "note"),
    [
        ("feet fine, hock swollen RH", "hock swollen"), ("ok, swollen hock", "swollen hock"),
        ("Klauen o.B., Sprunggelenk geschwollen hinten rechts", "Sprunggelenk geschwollen"),
    ],
)  # fmt: skip
def test_what_is_wrong_above_the_foot_names_no_foot_and_is_kept(finding: str, note: str) -> None:
    table, _ = records(f'date,farm,cow,foot,finding\n2026-05-04,Ash,1,,"{finding}"\n2026-05-04,Ash,2,LH,SU\n')
    assert table.loc["1", ["foot", "lesion"]].isna().all() and note in table.loc["1", "note"]


def test_suspicion_in_short_is_asked_about() -> None:
    _, asked = records(
        "date,farm,cow,finding\n2026-05-04,Ash,1,V.a. Sohlengeschwür hinten links\n2026-05-04,Ash,2,ok\n"
    )
    assert any(question.startswith("uncertain:") for question in asked.met)


def test_a_wrap_on_both_is_a_wrap() -> None:
    table, _ = records("date,farm,cow,foot,lesion,treatment\n2026-05-04,Ash,1,LH,SU,wrap both\n")
    assert table.loc["1", "action"] == "wrap"


@pytest.mark.parametrize(
    ("finding", "lesion", "claw"),
    [
        ("LF inner toe ulcer", "TU", "medial"),
        ("LH outer toe necrosis", "TN", "lateral"),
        ("RH SU outer toe", "SU", "lateral"),
    ],
)
def test_a_toe_belongs_to_the_lesion_that_it_begins(finding: str, lesion: str, claw: str) -> None:
    table, _ = records(f"date,farm,cow,finding\n2026-05-04,Ash,1,{finding}\n2026-05-04,Ash,2,ok\n")
    assert table.loc["1", ["lesion", "claw"]].to_list() == [lesion, claw]


def test_grades_without_lesions_are_asked_to_be_scores() -> None:
    """ "Note" is a grade in French and German, and a remark in English."""
    given = Answers({"farm": "line"})
    text = "Notation des boiteries (1 à 5);;\nÉlevage : Moulin;;\nDate : 11/02/2026;;\nVache;Note;Patte suspecte\n"
    text += "1105;1;\n1112;4;ARD\n1120;2;\n"
    [sheet] = understand_file(text.encode(), "notes.csv", today=TODAY, answers=given).sheets
    assert "column:note" in given.met and sheet.kind == "locomotion"
    assert sheet.records[["cow", "score", "scale"]].values.tolist() == [
        ["1105", 1, "1-5"], ["1112", 4, "1-5"], ["1120", 2, "1-5"],
    ]  # fmt: skip
    assert "ARD" in sheet.records["note"].to_list()[1]
