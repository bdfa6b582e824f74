"""Who is due: one hand-worked cow for every reason, ties, who is in the herd, and the demo herds."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.clock import SET_BY, today, today_is_set
from evenfoot.analytics.domain.horn_limits import HornException, HornLimits
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.planning.due_reasons import REASONS
from evenfoot.analytics.measures.planning.plan import plan
from evenfoot.analytics.measures.planning.worklist import everybody_due, needing_someone, worklist
from evenfoot.analytics.queries.cow_status import SCORE_DAYS, herd_on
from evenfoot.analytics.queries.cows import one_cow
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

TODAY = dt.date(2026, 6, 1)


def day(ago: int) -> str:
    return str(TODAY - dt.timedelta(days=ago))


def trim(cow: str, ago: int, **more: Any) -> dict[str, Any]:
    return {"farm": "Ash", "visit_date": day(ago), "visit_kind": "whole-herd", "cow": cow, **more}


def score(cow: str, ago: int, score: int) -> dict[str, Any]:
    return {"farm": "Ash", "date": day(ago), "cow": cow, "score": score, "scale": "1-5"}


def entry(cow: str, calved_ago: int = 200, **more: Any) -> dict[str, Any]:
    return {"farm": "Ash", "cow": cow, "calvings": day(calved_ago), "entered_on": day(1000), **more}


READING = {"foot": "RH", "claw": "lateral", "toe_length_after_mm": 76.0, "sole_thickness_mm": 6.0}

TRIMS = [
    trim("severe", 30),
    trim("deep", 20, lesion="IP", foot="LH", zone=0),
    trim("deep-long-ago", 90, lesion="IP", foot="LH", zone=0),
    trim("necrosis", 130, lesion="TN", foot="LH", claw="lateral"),
    trim("necrosis-seen", 130, lesion="TN", foot="LH", claw="lateral"),
    trim("necrosis-seen", 80),
    trim("exposed", 10, **{**READING, "toe_break_mm": 11.0}),
    trim("broken-sound", 10, **{**READING, "toe_break_mm": 11.0}),
    trim("broken-near", 10, **{**READING, "toe_break_mm": 9.5}),
    trim("thin", 10, **{**READING, "sole_thickness_mm": 4.0}),
    trim("thin-sound", 10, **{**READING, "sole_thickness_mm": 4.0}),
    trim("thin-named", 10, lesion="TS", foot="RH", claw="lateral"),
    trim("referred", 5, lesion="SU", foot="RH", claw="lateral", action="refer"),
    *(trim("returning", ago, lesion="DD", foot="RH", zone=10) for ago in (300, 150, 30)),
    *(trim("healed", ago, lesion="DD", foot="RH", zone=10) for ago in (300, 200, 150)),
    trim("healed", 80),
    trim("forgotten", 43, lesion="SU", foot="LH", claw="lateral", action="block"),
    trim("forgotten", 8, visit_kind="lame-cow", feet_seen="RH", lesion="DD", foot="RH"),
    trim("block", 20, lesion="SU", foot="LH", claw="lateral", action="block"),
    trim("block-off", 50, lesion="SU", foot="LH", claw="lateral", action="block"),
    trim("block-off", 15, visit_kind="recheck", feet_seen="LH"),
    trim("recheck", 40, lesion="SU", foot="LH", claw="lateral", recheck_on=day(5)),
    trim("rechecked", 40, lesion="SU", foot="LH", claw="lateral", recheck_on=day(5)),
    trim("rechecked", 4, visit_kind="recheck", feet_seen="LH"),
    trim("lame", 30),
    trim("lame-seen", 3),
    *(trim("repeat", ago, lesion="WL", foot="LF", claw="medial") for ago in (200, 40)),
    *(trim("two-feet", ago, lesion="WL", foot=foot, claw="medial") for ago, foot in ((200, "LF"), (40, "RF"))),
    trim("long", 130, **{**READING, "toe_length_after_mm": 76.0}),
    trim("jersey", 130, **{**READING, "toe_length_after_mm": 70.0}, breed="Jersey"),
    trim("early", 100),
    trim("early-seen", 20),
    trim("drying", 100),
    trim("drying-seen", 50),
    trim("dry", 100),
    trim("half-year", 170),
    trim("leave", 10, **READING, shed_stage=5),
    trim("leave-lame", 10, **READING, shed_stage=5),
    trim("half-shed", 10, **READING, shed_stage=4),
    trim("sold", 10, lesion="IP", foot="LH"),
    trim("stranger", 10, lesion="IP", foot="LH"),
    trim("long-gone", 600, lesion="IP", foot="LH"),
    trim("tomorrow", -5, lesion="IP", foot="LH"),
]
SCORES = [
    *(score(cow, 6, 4) for cow in ("severe",)),
    *(score(cow, 6, 3) for cow in ("exposed", "broken-near", "thin", "thin-named", "lame", "leave-lame")),
    *(score(cow, 6, 3) for cow in ("lame-seen",)),
    *(score(cow, 6, 1) for cow in ("broken-sound", "thin-sound", "leave")),
]
REGISTER = [
    *(entry(cow) for cow in dict.fromkeys(row["cow"] for row in TRIMS) if cow not in (
        "early", "early-seen", "drying", "drying-seen", "dry", "sold", "stranger", "long-gone", "tomorrow"
    )),
    entry("early", 70),
    entry("early-seen", 70),
    entry("drying", 310),
    entry("drying-seen", 310),
    entry("dry", 340, group_moves=f"{day(300)} milking; {day(20)} dry"),
    entry("sold", left_on=day(2)),
    entry("never", 10, entered_on=day(80)),
    entry("heifer", 10, entered_on=day(10)),
    entry("not-yet", 10, entered_on=day(-3)),
    entry("tomorrow", entered_on=day(90)),
]  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    sheets = (checked("trims", TRIMS), checked("locomotion", SCORES), checked("register", REGISTER))
    return ledger_of(tmp_path_factory.mktemp("due") / "due.duckdb", *sheets)


@pytest.fixture(scope="module")
def answer(made: Ledger) -> Answer:
    return worklist(made, Selection(), on=TODAY)


@pytest.fixture(scope="module")
def rows(answer: Answer) -> dict[str, dict[str, Any]]:
    return {row["cow"]: row for row in answer.table.to_dict("records")}


FIRST_REASONS = {
    "severe": ("severe", "veterinarian"),
    "deep": ("deep", "veterinarian"),
    "necrosis": ("deep", "veterinarian"),
    "exposed": ("exposed", "veterinarian"),
    "thin": ("thin-lame", "veterinarian"),
    "thin-named": ("thin-lame", "veterinarian"),
    "referred": ("referred", "veterinarian"),
    "returning": ("returning", "veterinarian"),
    "stranger": ("deep", "veterinarian"),
    "forgotten": ("forgotten-block", "trimmer"),
    "block": ("block", "trimmer"),
    "recheck": ("recheck", "trimmer"),
    "lame": ("lame", "trimmer"),
    "repeat": ("repeat", "trimmer"),
    "never": ("never", "trimmer"),
    "tomorrow": ("never", "trimmer"),
    "long": ("long-toe", "trimmer"),
    "early": ("early", "trimmer"),
    "drying": ("dry-off", "trimmer"),
    "half-year": ("long-toe", "trimmer"),
    "leave": ("leave", "watch"),
}


@pytest.mark.parametrize(("cow", "kind", "who"), [(cow, *rest) for cow, rest in FIRST_REASONS.items()])
def test_each_reason(rows: dict[str, dict[str, Any]], cow: str, kind: str, who: str) -> None:
    assert rows[cow]["kinds"].split(",")[0] == kind
    assert rows[cow]["who"] == who


@pytest.mark.parametrize(
    ("cow", "kind"),
    [
        ("deep-long-ago", "deep"),
        ("necrosis-seen", "deep"),
        ("broken-sound", "exposed"),
        ("broken-near", "exposed"),
        ("thin-sound", "thin-lame"),
        ("healed", "returning"),
        ("healed", "repeat"),
        ("forgotten", "block"),
        ("block-off", "forgotten-block"),
        ("rechecked", "recheck"),
        ("lame-seen", "lame"),
        ("severe", "lame"),
        ("two-feet", "repeat"),
        ("returning", "repeat"),
        ("early-seen", "early"),
        ("drying-seen", "dry-off"),
        ("dry", "dry-off"),
        ("leave-lame", "leave"),
        ("half-shed", "leave"),
        ("leave", "long-toe"),
    ],
)
def test_what_is_no_reason(rows: dict[str, dict[str, Any]], cow: str, kind: str) -> None:
    assert kind not in rows.get(cow, {"kinds": ""})["kinds"].split(",")


def test_who_is_not_here_is_not_on_the_list(rows: dict[str, dict[str, Any]]) -> None:
    assert not {"sold", "long-gone", "not-yet"} & set(rows)
    assert "heifer" not in rows  # never looked at, but in the herd for ten days only


def test_dates(rows: dict[str, dict[str, Any]]) -> None:
    assert rows["severe"]["due_on"] == pd.Timestamp(TODAY)
    assert rows["block"]["due_on"] == pd.Timestamp(day(20)) + pd.Timedelta(days=35)
    assert rows["recheck"]["due_on"] == pd.Timestamp(TODAY)
    assert rows["repeat"]["due_on"] == pd.Timestamp(day(40)) + pd.Timedelta(days=42)
    assert f"Recheck asked for {day(5)}" in rows["recheck"]["reason"]
    assert "longer than 6 weeks: forgotten?" in rows["forgotten"]["reason"]
    assert rows["early"]["days_in_milk"] == 70


def test_expected_toe_carries_on_at_the_published_rate_where_nothing_was_measured_twice(
    rows: dict[str, dict[str, Any]], answer: Answer
) -> None:
    """76 mm left 130 days ago at 4 mm a month: 80 mm after a month, 93 mm by now."""
    row = rows["long"]
    assert row["expected_mm"] == pytest.approx(76 + 4 * 130 / 30.4375, abs=0.01)
    assert row["passes_on"] == pd.Timestamp(day(130)) + pd.Timedelta(days=31)
    assert row["passes_from"] < row["passes_on"] < row["passes_to"]
    assert row["expected_low"] < row["expected_mm"] < row["expected_high"]
    assert any("published rate" in text for text in answer.cautions)
    assumed = rows["half-year"]
    assert (assumed["toe_from"], assumed["left_mm"]) == ("assumed", 75.0)
    assert assumed["expected_high"] - assumed["expected_low"] > row["expected_high"] - row["expected_low"]


def test_limits_of_a_breed_move_the_day(made: Ledger) -> None:
    jerseys = HornLimits(exceptions=(HornException(breed="Jersey", long_toe_mm=74.0),))
    tables = [
        everybody_due(made, Selection(), TODAY, limits=limits).toes.set_index("cow")["passes_on"]
        for limits in (HornLimits(), jerseys)
    ]
    assert tables[0]["jersey"] - tables[1]["jersey"] == pd.Timedelta(days=46)  # 6 mm at 4 mm a month
    assert tables[0]["long"] == tables[1]["long"]


def test_the_veterinarian_comes_first_then_what_is_open_then_the_reason_then_the_score_then_the_wait(
    answer: Answer,
) -> None:
    table = answer.table
    assert table["rank"].tolist() == list(range(1, len(table) + 1))
    assert not table["cow"].duplicated().any()
    place = {kind: n for n, kind in enumerate(REASONS)}
    who = {"veterinarian": 0, "trimmer": 1, "watch": 2}
    keys = [
        (
            who[row["who"]],
            max(row["due_on"].date(), TODAY),
            place[row["kinds"].split(",")[0]],
            -row["score"] if row["scored_on"] >= pd.Timestamp(day(SCORE_DAYS)) else 0,
            row["since"],
        )
        for row in table.to_dict("records")
    ]
    assert keys == sorted(keys)
    vets = table.loc[table["who"] == "veterinarian", "reason"]
    assert vets.str.contains("ask your veterinarian").all()


def test_ties_are_broken_the_same_way_whatever_the_order_of_the_sheets(tmp_path: Path) -> None:
    cows = [trim(cow, 20, lesion="IP", foot="LH") for cow in ("7", "30", "4", "12")]
    lists = []
    for name, order in (("a", cows), ("b", cows[::-1])):
        made = ledger_of(tmp_path / f"{name}.duckdb", checked("trims", order))
        lists.append(worklist(made, Selection(), on=TODAY).table["cow"].tolist())
    assert lists[0] == lists[1]
    assert sorted(lists[0]) == ["12", "30", "4", "7"]


def test_the_number_of_a_cow_says_nothing_of_her_place(tmp_path: Path) -> None:
    """Forty cows alike in all but their number: neither first nor last are the low numbers, and no farm goes first."""
    cows = [trim(str(n), 20, lesion="IP", foot="LH") | {"farm": farm} for n in range(20) for farm in ("Ash", "Yew")]
    table = worklist(ledger_of(tmp_path / "n.duckdb", checked("trims", cows)), Selection(), on=TODAY).table
    numbers = table["cow"].astype(int)
    assert abs(numbers.corr(table["rank"], method="kendall")) < 0.3
    assert 5 < (table["farm"].head(20) == "Ash").sum() < 15


def test_the_score_then_the_wait_order_cows_with_the_same_reason(tmp_path: Path) -> None:
    scores = [score("3", 3, 4), score("2", 9, 4), score("1", 3, 5), score("4", 2, 5), score("5", 9, 3)]
    made = ledger_of(tmp_path / "o.duckdb", checked("locomotion", scores))
    assert worklist(made, Selection(), on=TODAY).table["cow"].tolist()[:5] == ["1", "4", "2", "3", "5"]


def test_what_comes_due_stands_by_its_day(tmp_path: Path) -> None:
    """All three have a long toe in three weeks; before that each comes to 60 days in milk on a day of her own."""
    rows = [trim("3", 100), trim("5", 100, **{**READING, "toe_length_after_mm": 76.0}), trim("9", 100)]
    register = [entry("3", 58), entry("5", 54), entry("9", 50)]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows), checked("register", register))
    table = worklist(ledger, Selection(), on=TODAY).table
    assert table["due_on"].is_monotonic_increasing
    assert table["cow"].tolist() == ["3", "5", "9"]


def test_nobody_is_never_looked_at_where_nothing_but_scores_is_on_record(tmp_path: Path) -> None:
    scored = checked("locomotion", [score(str(cow), 5, 3 if cow < 4 else 1) for cow in range(30)])
    ledger = ledger_of(tmp_path / "l.duckdb", scored)
    assert worklist(ledger, Selection(), on=TODAY).table["kinds"].tolist() == ["lame"] * 4
    other = ledger_of(tmp_path / "m.duckdb", scored, checked("trims", [trim("1", 5)]))
    assert set(worklist(other, Selection(), on=TODAY).table["kinds"]) >= {"never"}


def test_today_is_today(made: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not the day of the newest record; and the list of yesterday is not kept for today."""
    for ago in (0, -30):
        monkeypatch.setenv(SET_BY, day(ago))
        answer = worklist(made, Selection())
        assert str(answer.extra["day"]["on"].iloc[0].date()) == day(ago)
        told = worklist(made, Selection(), on=TODAY - dt.timedelta(days=ago))
        pd.testing.assert_frame_equal(answer.table, told.table)
    assert "newest record 25 days old" in answer.basis.notes[0]
    monkeypatch.delenv(SET_BY)
    assert today() == dt.date.today() and not today_is_set()
    monkeypatch.setenv(SET_BY, "31.10.2026")
    with pytest.raises(UserError, match=r"EVENFOOT_TODAY is set to '31\.10\.2026', which is no date"):
        worklist(made, Selection())


@pytest.mark.parametrize("absurd", [dt.date(9999, 12, 31), dt.date(1, 1, 1), dt.date(2030, 1, 1)])
def test_a_day_far_from_every_record_is_refused_in_a_sentence(made: Ledger, absurd: dt.date) -> None:
    """Cows used to be followed day by day to the year 9999, which took 22 GB."""
    for measure in (worklist, plan, needing_someone):
        with pytest.raises(UserError, match="lies more than 3 years from every record; choose a day nearer to"):
            measure(made, Selection(), on=absurd)


def test_records_that_end_years_ago_make_no_list_today(made: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(SET_BY, "2036-01-01")
    for measure in (worklist, plan, needing_someone):
        answer = measure(made, Selection())
        assert answer.empty and "more than 3 years before 2036-01-01" in answer.cautions[0]


def test_an_old_score_makes_no_cow_lame(tmp_path: Path) -> None:
    scores = [
        score("old", SCORE_DAYS + 1, 5),
        score("new", SCORE_DAYS, 5),
        score("better", 70, 5),
        score("better", 3, 1),
    ]
    made = ledger_of(tmp_path / "s.duckdb", checked("locomotion", scores))
    kinds = worklist(made, Selection(), on=TODAY).table.set_index("cow")["kinds"]
    assert [cow for cow in kinds.index if "severe" in kinds[cow]] == ["new"]


def test_a_cow_that_came_again_after_she_left_is_here(tmp_path: Path) -> None:
    rows = [trim(cow, 20, lesion="IP", foot="LH") for cow in ("back", "sold")]
    register = [
        {"farm": "Ash", "cow": "back", "left_on": day(300), "entered_on": day(100)},
        {"farm": "Ash", "cow": "sold", "left_on": day(10), "entered_on": day(900)},
    ]
    made = ledger_of(tmp_path / "b.duckdb", checked("trims", rows), checked("register", register))
    assert worklist(made, Selection(), on=TODAY).table["cow"].tolist() == ["back"]


def test_each_foot_asked_back_is_told_of_until_it_was_looked_at(tmp_path: Path) -> None:
    """Asked back for two feet: the earlier day is not lost behind the later, nor the other foot by a look at one."""
    rows = [
        trim("two", 30, lesion="SU", foot="LH", claw="lateral", action="wrap", recheck_on=day(10)),
        trim("two", 30, lesion="DD", foot="RH", recheck_on=day(-10)),
        trim("one-seen", 30, lesion="SU", foot="LH", claw="lateral", recheck_on=day(10)),
        trim("one-seen", 30, lesion="DD", foot="RH", recheck_on=day(-10)),
        trim("one-seen", 9, visit_kind="recheck", feet_seen="LH"),
    ]
    made = ledger_of(tmp_path / "r.duckdb", checked("trims", rows))
    table = worklist(made, Selection(), on=TODAY).table.set_index("cow")
    assert table.loc["two", "since"] == pd.Timestamp(day(10))
    about = table.loc["two", ["foot", "claw", "lesion", "action", "recheck_on"]].tolist()
    assert about == ["LH", "lateral", "SU", "wrap", pd.Timestamp(day(10))]
    assert table.loc["two", "also"] == f"RH, digital dermatitis, look again on {day(-10)}"
    assert table.loc["one-seen", "due_on"] == pd.Timestamp(day(-10))
    assert table.loc["one-seen", "foot"] == "RH"


@pytest.mark.parametrize(
    ("cow", "about"),
    [
        ("deep", ("LH", None, "IP", None)),
        ("exposed", ("RH", "lateral", None, None)),
        ("thin", ("RH", "lateral", None, None)),
        ("thin-named", ("RH", "lateral", "TS", None)),
        ("referred", ("RH", "lateral", "SU", "refer")),
        ("returning", ("RH", None, "DD", None)),
        ("forgotten", ("LH", "lateral", "SU", "block")),
        ("block", ("LH", "lateral", "SU", "block")),
        ("recheck", ("LH", "lateral", "SU", None)),
        ("repeat", ("LF", "medial", "WL", None)),
        ("long", ("RH", "lateral", None, None)),
        ("severe", (None, None, None, None)),
        ("never", (None, None, None, None)),
    ],
)
def test_where_and_what_the_record_says(rows: dict[str, dict[str, Any]], cow: str, about: tuple[Any, ...]) -> None:
    said = tuple(None if pd.isna(rows[cow][name]) else rows[cow][name] for name in ("foot", "claw", "lesion", "action"))
    assert said == about


def test_the_group_is_that_of_the_newest_record(tmp_path: Path) -> None:
    """A move of the register or a trim sheet, whichever is newer."""
    rows = [trim("moved", 30, group="dry"), trim("sheet", 5, group="high"), trim("none", 5)]
    register = [
        {"farm": "Ash", "cow": "moved", "group_moves": f"{day(60)} dry; {day(10)} high"},
        {"farm": "Ash", "cow": "sheet", "group_moves": f"{day(60)} dry"},
        {"farm": "Ash", "cow": "none"},
    ]
    made = ledger_of(tmp_path / "g.duckdb", checked("trims", rows), checked("register", register))
    stands = herd_on(made, Selection(), TODAY).set_index("cow")["group"]
    assert (stands["moved"], stands["sheet"]) == ("high", "high") and pd.isna(stands["none"])


def test_nothing_speaks_of_how_far_to_trim(answer: Answer) -> None:
    text = " ".join([*answer.table["reason"], *answer.cautions]).lower()
    assert "trim her" not in text and "trim to" not in text and "cut" not in text
    assert "diagnoses nothing" in text


def test_nobody_and_nothing_answer_in_words(tmp_path: Path, made: Ledger) -> None:
    empty = worklist(made, Selection(farms=("Birch",)))
    assert empty.empty and "Nothing was recorded" in empty.cautions[0]
    before = worklist(made, Selection(), on=dt.date(2023, 8, 1))
    assert before.empty and "Nothing was recorded" in before.cautions[0]
    assert worklist(made, Selection(allowed=())).empty


def test_a_group_narrows_the_list(made: Ledger) -> None:
    table = worklist(made, Selection(groups=("dry",)), on=TODAY, ahead_days=365).table
    assert table["cow"].tolist() == ["dry"]


def test_demo_forgotten_blocks_and_lame_cows_are_found(demo_ledger: Ledger) -> None:
    table = worklist(demo_ledger, Selection()).table
    kinds = table["kinds"].str.split(",").explode()
    assert (kinds == "forgotten-block").sum() >= 1
    assert (kinds == "severe").sum() > 10
    assert (table["who"] == "veterinarian").sum() == (table["rank"] <= (table["who"] == "veterinarian").sum()).sum()
    measured = table[table["toe_from"] == "measured"]
    assert (measured["expected_low"] < measured["expected_high"]).all()


def test_demo_toes_found_later_lie_in_the_band_foretold(demo_ledger: Ledger) -> None:
    """Foretold on the eve of a visit from what was known then, against what the visit found."""
    eve = dt.date(2026, 4, 13)
    due = everybody_due(demo_ledger, Selection(farms=("Long Heath",)), eve)
    told = due.toes[due.toes["toe_from"] == "measured"]
    inside = []
    for row in told.head(60).to_dict("records"):
        found = one_cow(demo_ledger, "Long Heath", row["cow"])["horn_readings"]
        then = found[
            (found["visit_date"] > pd.Timestamp(eve))
            & (found["visit_date"] <= pd.Timestamp("2026-04-16"))
            & (found["claw"] == row["claw"])
            & found["toe_break_mm"].isna()
        ]
        inside += [row["expected_low"] <= length <= row["expected_high"] for length in then["toe_length_mm"]]
    assert len(inside) >= 30
    assert sum(inside) / len(inside) > 0.88, f"{sum(inside)} of {len(inside)}"


@pytest.mark.parametrize("turn", [1, -1])
def test_of_two_records_of_one_place_the_one_with_a_day_to_look_again_is_told(tmp_path: Path, turn: int) -> None:
    found = {"lesion": "WL", "foot": "LF", "claw": "medial"}
    last = [
        trim("1", 30, **found, zone=1, action="block"),
        trim("1", 30, **found, zone=2, action="trim", recheck_on=day(5)),
    ]
    made = ledger_of(tmp_path / "w.duckdb", checked("trims", [trim("1", 200, **found), *last[::turn]]))
    reasons = everybody_due(made, Selection(), TODAY).reasons.set_index("kind")
    assert reasons.loc["repeat", ["action", "recheck_on"]].tolist() == ["trim", pd.Timestamp(day(5))]
