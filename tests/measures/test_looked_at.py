"""What was looked at: a part of the herd, the rest sound, other scales and scorers, numbers used again, no place."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.domain.visits import REST_SOUND, understand_visit_kind
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.measures.planning.worklist import worklist
from evenfoot.analytics.measures.quality.record_quality import record_quality
from evenfoot.analytics.queries.cows import cow_names, one_cow
from evenfoot.analytics.queries.selection import Selection
from tests.measures.herds import herd, scoring, trim
from tests.scale.worlds_looked import KNOWN, told_apart
from tests.sheets import checked, ledger_of

MONTHS = [f"2025-{month:02d}-03" for month in range(1, 9)]


def kinds(ledger: Ledger, table: str = "scores") -> dict[str, tuple[str, str]]:
    """Day -> kind of visit and how it is known."""
    rows = ledger.frame(f"SELECT DISTINCT visit_date, visit_kind, kind_from FROM {table} ORDER BY visit_date")
    return {f"{row.visit_date:%Y-%m-%d}": (row.visit_kind, row.kind_from) for row in rows.itertuples()}


def monthly(lame_only: tuple[int, ...] = (3, 5), days: list[str] = MONTHS) -> list[dict[str, Any]]:
    """A herd of 200, 30 lame, scored monthly; in the months *lame_only* 25 lame cows alone."""
    out = []
    for place, day in enumerate(days):
        cows = range(25) if place in lame_only else range(200)
        out += [scoring(cow, 3 if cow < 30 else 1, on=day) for cow in cows]
    return out


@pytest.mark.parametrize("known", ["nothing", "herd size", "register"])
def test_lame_cows_scored_alone_are_no_whole_herd(tmp_path: Path, known: str) -> None:
    sheets = [checked("locomotion", monthly())]
    if known == "herd size":
        sheets.append(checked("trims", [trim(1, on="2025-04-20", visit_kind="lame-cow", herd_size=200)]))
    if known == "register":
        sheets.append(
            checked("register", [{"farm": "Ash", "cow": str(c), "entered_on": "2023-01-01"} for c in range(200)])
        )
    ledger = ledger_of(tmp_path / "herd.duckdb", *sheets)
    found = kinds(ledger)
    assert [day for day in MONTHS if found[day][0] == "part-herd"] == [MONTHS[3], MONTHS[5]]
    answer = locomotion(ledger, Selection())
    assert answer.table["lame_prevalence"].tolist() == pytest.approx([0.15] * 6)
    assert any("part-herd visits, 2" in said for said in answer.basis.left_out)
    assert any("at least 80 %" in note for note in answer.basis.notes)
    everything = locomotion(ledger, Selection(visits=("whole-herd", "part-herd")))
    assert everything.table["lame_prevalence"].max() == 1
    assert any("part-herd" in caution for caution in everything.cautions)


def test_lists_of_lame_cows_alone_are_known_by_all_being_lame(tmp_path: Path) -> None:
    rows = [scoring(cow, 4, on=day) for day in MONTHS for cow in range(25)]
    ledger = herd(tmp_path, scorings=rows)
    assert set(kinds(ledger).values()) == {("part-herd", "derived")}
    assert locomotion(ledger, Selection()).empty


def test_other_cows_each_time_are_not_the_whole_herd(tmp_path: Path) -> None:
    """Twenty other cows every month are never four fifths of a herd that has met 160."""
    rows = [
        scoring(20 * place + cow, 3 if cow < 10 else 1, on=day) for place, day in enumerate(MONTHS) for cow in range(20)
    ]
    assert {kind for kind, _ in kinds(herd(tmp_path, scorings=rows)).values()} == {"part-herd"}


def test_some_cows_missing_is_still_the_whole_herd(tmp_path: Path) -> None:
    """85 to 100 % seen each month, other cows missing each time; and a tenth of the herd replaced on the way."""
    seen = (170, 200, 180, 172, 195, 171, 188, 176)
    rows = []
    for place, (day, n) in enumerate(zip(MONTHS, seen, strict=True)):
        cows = [
            str((cow + 37 * place) % 200 + (200 if (cow + 37 * place) % 200 < 3 * place else 0)) for cow in range(n)
        ]
        rows += [scoring(cow, 1, on=day) for cow in cows]
    assert set(kinds(herd(tmp_path, scorings=rows)).values()) == {("scoring", "derived")}


@pytest.mark.parametrize("known", KNOWN)
def test_made_up_herds_are_told_from_their_lists_of_lame_cows(tmp_path: Path, known: str) -> None:
    found = told_apart(4, 7, known, tmp_path)
    assert found["herd_days"] > 60
    assert found["lists"] > 20
    assert found["kept"] >= 0.99
    assert found["caught"] == 1
    assert found["distorted"] == 0


def test_two_halves_on_two_days_are_one_visit(tmp_path: Path) -> None:
    rows = monthly(())
    rows += [scoring(cow, 1, on="2025-09-03") for cow in range(100)]
    rows += [scoring(cow, 1, on="2025-09-04") for cow in range(100, 200)]
    rows += [scoring(cow, 1, on="2025-10-03") for cow in range(100)]
    found = kinds(herd(tmp_path, scorings=rows))
    assert {found[day][0] for day in ("2025-09-03", "2025-09-04")} == {"scoring"}
    assert found["2025-10-03"][0] == "part-herd"


def test_dry_cows_and_heifers_are_not_in_the_milking_herd(tmp_path: Path) -> None:
    """100 milk, 30 are dry, 40 are calves, 20 have left: 85 scored are the herd, 75 are not."""
    register = [
        {"farm": "Ash", "cow": str(c), "entered_on": "2022-01-01", "group_moves": "2022-01-01 milking"}
        for c in range(100)
    ]
    register += [
        {
            "farm": "Ash",
            "cow": str(c),
            "entered_on": "2022-01-01",
            "group_moves": "2022-01-01 milking; 2025-02-20 dry; 2025-04-20 milking",
        }
        for c in range(100, 130)
    ]
    register += [{"farm": "Ash", "cow": str(c), "birth_date": "2024-09-01"} for c in range(130, 170)]
    register += [
        {"farm": "Ash", "cow": str(c), "entered_on": "2020-01-01", "left_on": "2025-01-15"} for c in range(170, 190)
    ]
    rows = [scoring(c, 1, on="2025-03-03") for c in range(85)] + [scoring(c, 1, on="2025-03-20") for c in range(75)]
    ledger = ledger_of(tmp_path / "herd.duckdb", checked("register", register), checked("locomotion", rows))
    assert [kind for kind, _ in kinds(ledger).values()] == ["scoring", "part-herd"]


def test_where_nothing_is_known_it_is_said(tmp_path: Path) -> None:
    ledger = herd(tmp_path, scorings=[scoring(cow, 3 if cow < 5 else 1) for cow in range(40)])
    assert set(kinds(ledger).values()) == {("scoring", "unknown")}
    answer = locomotion(ledger, Selection())
    assert answer.table["lame_prevalence"].tolist() == pytest.approx([5 / 40])
    assert any("nothing tells how large" in note for note in answer.basis.notes)


def test_scores_of_the_lame_ones_on_a_trim_sheet_are_no_herd(tmp_path: Path) -> None:
    rows = [
        trim(cow, herd_size=100, locomotion_score=4 if cow < 20 else None, locomotion_scale="1-5" if cow < 20 else None)
        for cow in range(95)
    ]
    ledger = herd(tmp_path, rows)
    assert set(kinds(ledger, "trims").values()) == {("whole-herd", "stated")}
    assert set(kinds(ledger).values()) == {("part-herd", "derived")}


@pytest.mark.parametrize(("cows", "kind"), [(20, "part-herd"), (159, "part-herd"), (160, "whole-herd")])
def test_a_stated_whole_herd_is_questioned(tmp_path: Path, cows: int, kind: str) -> None:
    """80 % of the herd [pub: Solano et al. 2016, J Dairy Sci 99:6828]."""
    rows = [trim(cow, "SU" if cow < 10 else None, "LH" if cow < 10 else None, herd_size=200) for cow in range(cows)]
    ledger = herd(tmp_path, rows)
    assert set(kinds(ledger, "trims").values()) == {(kind, "stated" if kind == "whole-herd" else "contradicted")}
    answer = prevalence(ledger, Selection())
    assert answer.empty == (kind == "part-herd")
    if answer.empty:
        assert any(REST_SOUND in said for said in answer.basis.left_out)
        every = prevalence(ledger, Selection(visits=("all",)))
        assert any("their sheet calls them whole-herd" in note for note in every.basis.notes)
        quality = record_quality(ledger, Selection()).table
        doubted = quality[quality["check"] == "part of the herd"]
        assert doubted["n"].tolist() == [1, cows]
        assert doubted["share"].tolist() == [1, 1]


def test_the_question_is_put_at_import(tmp_path: Path) -> None:
    sheet = checked("trims", [trim(cow, herd_size=200) for cow in range(20)])
    ledger = herd(tmp_path, [trim(cow, on="2024-09-01", herd_size=200) for cow in range(190)])
    for dry_run in (True, False):
        [question] = add_sheets(ledger, [sheet], "sheet.csv", "1" * 64, dry_run=dry_run).questioned
        assert question.startswith("Visit days that the sheet calls whole-herd")
        assert "Ash, 2025-03-03, 20 cows" in question
        assert REST_SOUND in question
    other = checked("trims", [trim(cow, on="2025-09-01", herd_size=200) for cow in range(190)])
    assert add_sheets(ledger, [other], "other.csv", "2" * 64).questioned == ()
    scored = checked("locomotion", [scoring(cow, 3, on="2025-09-20") for cow in range(25)])
    [told] = add_sheets(ledger, [scored], "scores.csv", "3" * 64).questioned
    assert "25 cows" in told


def test_the_rest_was_sound(tmp_path: Path) -> None:
    """Only the 20 cows with something are listed at each of two visits: 10 and 5 of 200 had it, 14 of 200 in all."""
    rows = [
        trim(cow, "SU" if cow < 10 else None, "LH" if cow < 10 else None, herd_size=200, visit_kind=REST_SOUND)
        for cow in range(20)
    ]
    rows += [
        trim(
            cow,
            "SU" if cow < 14 else None,
            "LH" if cow < 14 else None,
            on="2025-09-01",
            herd_size=200,
            visit_kind=REST_SOUND,
        )
        for cow in range(9, 29)
    ]
    ledger = herd(tmp_path, rows)
    by_month = prevalence(ledger, Selection(), by=("month",)).table
    assert by_month[["cases", "at_risk"]].to_numpy().tolist() == [[10, 200], [5, 200]]
    both = prevalence(ledger, Selection(), by=("lesion",))
    assert both.table[["cases", "at_risk"]].to_numpy().tolist() == [[14, 200]]
    assert any("do not list" in note for note in both.basis.notes)
    assert prevalence(ledger, Selection(), by=("lesion",), per="foot").table["at_risk"].tolist() == [800]
    assert len(cow_names(ledger, "Ash")) == 29
    due = worklist(ledger, Selection(), on=dt.date(2025, 10, 1)).table
    assert not due["cow"].str.contains("listed").any()
    assert verify(ledger).whole


def test_the_rest_was_sound_says_nothing_without_a_herd_size(tmp_path: Path) -> None:
    rows = [trim(cow, "SU", "LH", visit_kind=REST_SOUND) for cow in range(20)]
    assert set(kinds(herd(tmp_path, rows), "trims").values()) == {("part-herd", "contradicted")}


def test_the_rest_was_sound_is_understood() -> None:
    said = ("whole-herd, rest sound", "Whole herd - rest sound", "rest sound", "whole herd, others sound")
    assert {understand_visit_kind(text) for text in said} == {REST_SOUND}


def test_a_switch_of_scale_is_said_and_found(tmp_path: Path) -> None:
    rows = [scoring(cow, 3 if cow < 20 else 1, on=day) for day in MONTHS[:4] for cow in range(100)]
    rows += [
        {**scoring(cow, 2 if cow < 35 else 0, on=day, scale="0-3"), "scorer": "ZZ"}
        for day in MONTHS[4:]
        for cow in range(100)
    ]
    rows += [scoring(cow, 1, on=day, farm="Birch") for day in MONTHS[:4] for cow in range(30)]
    rows += [scoring(cow, 1, on=day, farm="Cedar") for day in MONTHS for cow in range(30)]
    ledger = herd(tmp_path, scorings=rows)
    answer = locomotion(ledger, Selection(farms=("Ash",)))
    assert any("Since 2025-05" in caution and "0-3" in caution for caution in answer.cautions)
    assert not any("Since" in caution for caution in locomotion(ledger, Selection(farms=("Cedar",))).cautions)


OLD = {"farm": "Ash", "cow": "7", "birth_date": "2017-03-01", "entered_on": "2019-04-01", "left_on": "2024-05-01",
       "calvings": "2019-04-01; 2020-04-10", "group_moves": "2019-04-01 high"}  # fmt: skip
NEW = {"farm": "Ash", "cow": "7", "birth_date": "2022-02-01", "entered_on": "2024-03-01", "calvings": "2024-09-01",
       "group_moves": "2024-09-01 low"}  # fmt: skip


@pytest.mark.parametrize(
    ("second", "two"),
    [
        (NEW | {"entered_on": "2024-06-01"}, True),
        (NEW | {"entered_on": None}, True),
        (NEW | {"entered_on": "2024-06-01", "birth_date": None, "calvings": None}, True),
        (OLD | {"entered_on": "2024-06-01", "left_on": None}, False),
        (OLD | {"breed": "Jersey"}, False),
    ],
    ids=["another birth", "known by calving", "a gap", "bought back", "the same entry again"],
)
def test_a_number_used_again_is_another_cow(tmp_path: Path, second: dict[str, Any], two: bool) -> None:
    rows = [
        trim(7, "SU", "LH", on="2024-03-10", visit_kind="lame-cow"),
        trim(7, "SU", "LH", on="2025-02-10", visit_kind="lame-cow"),
    ]
    scored = [scoring(7, 4, on="2024-03-12"), scoring(7, 1, on="2025-02-12")]
    ledger = ledger_of(
        tmp_path / "herd.duckdb",
        checked("register", [OLD, second]),
        checked("trims", rows),
        checked("locomotion", scored),
    )
    names = ["7", "7 (until 2024-05-01)"] if two else ["7"]
    assert cow_names(ledger, "Ash") == names
    answer = prevalence(ledger, Selection(visits=("all",)))
    assert answer.table[["cases", "at_risk"]].to_numpy().tolist() == [[len(names), len(names)]]
    now = one_cow(ledger, "Ash", "7")
    assert len(now["trims"]) == len(now["trim_rows"]) == len(now["scores"]) == (1 if two else 2)
    if two:
        assert now["trims"]["visit_date"].tolist() == [pd.Timestamp("2025-02-10")]
        before = one_cow(ledger, "Ash", names[1])
        assert before["trims"]["visit_date"].tolist() == [pd.Timestamp("2024-03-10")]
        assert before["trims"]["group"].tolist() == ["high"]
        assert before["trim_rows"]["visit_date"].tolist() == [pd.Timestamp("2024-03-10")]
        assert before["calvings"]["calved_on"].max() < pd.Timestamp("2021-01-01")
    assert verify(ledger).whole


def test_lesions_without_a_place_have_rows_of_their_own(tmp_path: Path) -> None:
    rows = [trim(cow, "SU" if cow < 12 else None) for cow in range(60)]
    rows += [trim(cow, "SU", "LH", claw="lateral", zone=4) for cow in range(20, 23)]
    rows += [trim(cow, "DD", "RH") for cow in range(30, 37)]
    ledger = herd(tmp_path, rows)
    for per in ("cow", "trim"):
        table = prevalence(ledger, Selection(), by=("foot", "claw"), per=per).table
        found = table[table["cases"] > 0].set_index(["foot", "claw"])[["cases", "at_risk"]]
        assert found.to_dict("index") == {
            ("LH", "lateral"): {"cases": 3, "at_risk": 60},
            ("RH", "not recorded"): {"cases": 7, "at_risk": 60},
            ("not recorded", "not recorded"): {"cases": 12, "at_risk": 60},
        }
    zones = prevalence(ledger, Selection(lesions=("SU",)), by=("zone",)).table
    assert zones["cases"].tolist() == [3, 12]
    assert zones["zone"].isna().tolist() == [False, True]
    answer = prevalence(ledger, Selection(lesions=("SU",)), by=("lesion", "foot"))
    assert answer.table.set_index("foot")["cases"].to_dict() == {"LF": 0, "RF": 0, "LH": 3, "RH": 0, "not recorded": 12}
    assert any("12 findings do not say" in note for note in answer.basis.notes)


def test_twelve_ulcers_without_a_foot_are_not_nothing(tmp_path: Path) -> None:
    ledger = herd(tmp_path, [trim(cow, "SU" if cow < 12 else None) for cow in range(60)])
    for by, per, selection in (
        (("zone",), "claw", Selection()),
        (("lesion",), "cow", Selection(feet=("LH",))),
        (("lesion",), "cow", Selection(zones=(4,))),
    ):
        answer = prevalence(ledger, selection, by=by, per=per)
        assert not answer.table["cases"].any()
        assert any("12 findings of this kind do not say" in caution for caution in answer.cautions)
        assert not any("Nothing of this kind" in caution for caution in answer.cautions)
    healthy = herd(tmp_path / "b", [trim(cow) for cow in range(60)])
    assert any("Nothing of this kind" in caution for caution in prevalence(healthy, Selection()).cautions)


def test_where_no_ulcer_says_its_place_no_share_of_claws_is_known(tmp_path: Path) -> None:
    ledger = herd(tmp_path, [trim(cow, "SU" if cow < 12 else None) for cow in range(60)])
    for answer in (
        prevalence(ledger, Selection(), by=("limb", "claw"), per="claw"),
        prevalence(ledger, Selection(), by=("foot",), per="foot"),
        prevalence(ledger, Selection(feet=("LH",)), by=()),
    ):
        assert len(answer.table) and not answer.table["cases"].any()
        assert answer.table[["prevalence", "low", "high"]].isna().all(axis=None)
    healthy = prevalence(herd(tmp_path / "b", [trim(cow) for cow in range(60)]), Selection(), by=("foot",), per="foot")
    assert (healthy.table["prevalence"] == 0).all() and healthy.table["high"].notna().all()


def test_farms_pooled_have_rows_without_a_place_too(tmp_path: Path) -> None:
    rows = [trim(cow, "SU" if cow < 3 * place else None, farm=farm) for place, farm in enumerate(("A", "B", "C"), 1)
            for cow in range(40)]  # fmt: skip
    table = prevalence(herd(tmp_path, rows), Selection(), by=("foot",)).table
    last = table.iloc[-1]
    assert (last["foot"], last["cases"], last["at_risk"], last["clusters"]) == ("not recorded", 18, 120, 3)
