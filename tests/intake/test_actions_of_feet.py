"""What was done, and to which finding: columns of blocks and wraps that hold feet or claws."""

from __future__ import annotations

import datetime as dt
import json

import pytest

from evenfoot.analytics.intake.layouts.questions import Answers
from evenfoot.analytics.intake.pipeline import understand_file

TODAY = dt.date(2026, 11, 1)


def done(text: str, name: str = "sheet.csv") -> dict[tuple[str, str], str]:
    """Foot and lesion -> action of the records of a sheet."""
    [sheet] = understand_file(text.encode(), name, today=TODAY, answers=Answers(accept=True)).sheets
    table = sheet.records.astype(object).where(sheet.records.notna(), None)
    return {(row["foot"], row["lesion"]): row["action"] for row in table.to_dict("records")}


@pytest.mark.parametrize(
    ("heads", "cell"),
    [("LH,RH,Blocked", "RH in"), ("LH,RH,Blocked", "RHI"), ("LH,RH,Block", "RH"), ("HL,HR,Klotz", "HR i"),
     ("LH,RH,blockedClaw", "RH inner"), ("PI,PD,Taco", "PD int")],
)  # fmt: skip
def test_a_block_is_for_the_foot_it_names(heads: str, cell: str) -> None:
    """The letter of the claw was read as the left side, and the other foot's finding was blocked too."""
    text = f"Date,Farm,Cow,{heads}\n2026-04-14,Ash,301,DD M2,SU,{cell}\n2026-04-14,Ash,302,,SU,\n"
    assert done(text)[("LH", "DD")] is None
    assert done(text)[("RH", "SU")] in ("block", None)
    assert "block" in done(text.rsplit("2026-04-14,Ash,302", 1)[0]).values()


def test_block_and_wrap_of_one_row_go_to_their_feet() -> None:
    text = "Date,Farm,Cow,Warts,White line,Block,Wrap\n2026-04-14,Ash,99,LH,RHO,RHI,LH\n2026-04-14,Ash,100,LH,,,\n"
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=Answers(accept=True)).sheets
    first = sheet.records[sheet.records["cow"] == "99"]
    assert sorted(zip(first["foot"], first["action"], strict=True)) == [("LH", "wrap"), ("RH", "block")]


def test_a_block_on_one_claw_is_for_the_finding_on_the_other() -> None:
    text = (
        "Date,Farm,Cow,Foot,Claw,Lesion,Block on\n2026-04-14,Ash,1,RH,outer,SU,inner\n2026-04-14,Ash,2,LH,med,WL,lat\n"
        "2026-04-14,Ash,3,LH,med,WL,\n"
    )
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=Answers(accept=True)).sheets
    assert sheet.records["action"].fillna("").to_list() == ["block", "block", ""]
    both = "Date,Farm,Cow,RH outer,RH inner,Block\n2026-04-14,Ash,1,SU,WL,RH in\n2026-04-14,Ash,2,,WL,RH out\n"
    [sheet] = understand_file(both.encode(), "sheet.csv", today=TODAY, answers=Answers(accept=True)).sheets
    assert list(zip(sheet.records["lesion"], sheet.records["action"].fillna(""), strict=True)) == [
        ("SU", "block"), ("WL", ""), ("WL", "block"),
    ]  # fmt: skip


def test_a_blocked_claw_of_nested_data_is_no_claw_of_a_finding() -> None:
    visit = {"visitDate": "2026-06-03", "herdName": "Ash", "cowNumber": 311, "blockedClaw": "RH inner"}
    cows = [{**visit, "findings": ["RH outer sole ulcer", "LH DD M2"]},
            {**visit, "cowNumber": 312, "findings": ["LH DD M2"], "blockedClaw": None}]  # fmt: skip
    text = json.dumps(cows)
    [sheet] = understand_file(text.encode(), "visit.json", today=TODAY, answers=Answers(accept=True)).sheets
    table = sheet.records.astype(object).where(sheet.records.notna(), None)
    assert [(row["foot"], row["claw"], row["action"]) for row in table.to_dict("records")] == [
        ("RH", "lateral", "block"), ("LH", None, None), ("LH", None, None),
    ]  # fmt: skip


def test_what_was_done_is_read_under_headings_that_do_not_say_so() -> None:
    """The words stayed in the note."""
    rows = ["1,LH,SU,{}", "2,RH,DD,{}", "3,LF,WL,{}", "4,RH,IP,{}"]
    words = ["block med claw, 3d", "topical + bandage", "amputation referred", "trim"]
    for heading in ("Rx", "Treated", "Follow"):
        text = f"Date,Farm,Cow,Foot,Lesion,{heading}\n" + "".join(
            "2026-05-19,Ash," + row.format(f'"{word}"') + "\n" for row, word in zip(rows, words, strict=True)
        )
        [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=Answers(accept=True)).sheets
        assert sheet.records["action"].to_list() == ["block", "wrap", "refer", "trim"], heading


def test_a_block_under_trimming_is_a_block_and_noted_where_its_foot_is_open() -> None:
    text = (
        "Date;Élevage;Vache;ARG;ARD;Parage\n2026-07-08;Merle;1;ulcère ext.;bleime ext.;talonnette\n"
        "2026-07-08;Merle;2;ulcère ext.;;talonnette\n2026-07-08;Merle;3;;limace;oui\n2026-07-08;Merle;4;RAS;RAS;oui\n"
        "2026-07-08;Merle;5;;panaris;oui\n2026-07-08;Merle;6;;;oui\n2026-07-08;Merle;7;;;oui\n"
        "2026-07-08;Merle;8;;;oui\n2026-07-08;Merle;9;;;oui\n2026-07-08;Merle;10;;;oui\n"
    )
    [sheet] = understand_file(text.encode(), "sheet.csv", today=TODAY, answers=Answers(accept=True)).sheets
    assert sheet.records["action"].fillna("").to_list()[:3] == ["", "", "block"]
    assert "Parage: talonnette" in sheet.records["note"].iloc[0]
    assert any("belongs to no finding for certain" in str(note) for note in sheet.notes)


@pytest.mark.parametrize(
    "words",
    ["lost wrap", "bandage off", "Klotz entfernt", "Verband ab", "blokje eraf", "verband verwijderd",
     "talonnette enlevée", "pansement perdu", "taco retirado", "perdió taco", "tamanco removido", "block removed",
     "block RH removed", "Klotz wurde entfernt", "se cayó el taco", "a perdu sa talonnette"],
)  # fmt: skip
def test_what_was_taken_off_was_not_put_on(words: str) -> None:
    text = f"Date,Farm,Cow,Foot,Problem,Treatment\n2026-04-14,Ash,3,RH,SU,{words}\n2026-04-14,Ash,4,LH,SU,block\n"
    assert done(text) == {("RH", "SU"): "other", ("LH", "SU"): "block"}


@pytest.mark.parametrize(
    ("cell", "action"), [("block", "block"), ("wrap", "wrap"), ("refer", "refer"), ("trimmed", None)]
)
def test_what_was_done_alone_in_the_cell_of_a_foot_is_kept(cell: str, action: str | None) -> None:
    """It was lost: the cow went in as one of whom nothing was found or done."""
    text = f"Date,Farm,Cow,LF,RF,LH,RH\n2026-04-14,Ash,301,,,{cell},\n2026-04-14,Ash,302,,,SU block,DD\n"
    found = done(text)
    assert found[("LH", "SU")] == "block" and found[("RH", "DD")] is None
    if action:
        assert found[("LH", None)] == action
    else:
        assert found[(None, None)] is None
