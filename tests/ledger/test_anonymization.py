"""Rows without names: no name is left, every row looks like at least k cows, and the counts are the ledger's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.exports.anonymization import (
    COLUMNS,
    TELLING,
    K,
    anonymous_rows,
    what_remains,
    write_anonymous,
)
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from tests.sheets import checked, ledger_of


def rows(farm: str, cows: range, **more: object) -> list[dict[str, object]]:
    return [{"farm": farm, "visit_date": "2026-03-02", "cow": f"{farm}-{cow}", **more} for cow in cows]


@pytest.mark.parametrize("k", [2, 5, 11])
def test_every_row_looks_like_k_cows(demo_ledger: Ledger, k: int) -> None:
    done = anonymous_rows(demo_ledger, k=k)
    sizes = done.table.groupby(list(TELLING), dropna=False).size()
    assert len(done.table) and sizes.min() >= k
    everything = demo_ledger.frame(
        "SELECT COUNT(*) AS n FROM (SELECT DISTINCT farm, cow, visit_kind, YEAR(visit_date), QUARTER(visit_date) <= 2 "
        "FROM trims)"
    )
    assert len(done.table) + done.left_out == int(everything["n"].iloc[0])


def test_no_name_and_no_day_is_left(demo_ledger: Ledger, tmp_path: Path) -> None:
    write_anonymous(demo_ledger, tmp_path / "rows.csv")
    text = (tmp_path / "rows.csv").read_text()
    assert text.startswith(",".join(COLUMNS))
    named = demo_ledger.frame("SELECT DISTINCT farm, trimmer, sire, breed FROM trims")
    for name in {str(one) for column in named for one in named[column].dropna()}:
        assert name not in text, name
    assert f"k = {K}" in (tmp_path / "rows-about.txt").read_text()
    with pytest.raises(UserError, match="there already"):
        write_anonymous(demo_ledger, tmp_path / "rows.csv")


def test_rows_of_one_cow_and_of_one_herd_do_not_lead_to_each_other(tmp_path: Path) -> None:
    """Two kinds of visit in one half-year, and a second half-year: nothing but what all cows share is the same."""
    again = [{**row, "visit_kind": "recheck", "visit_date": "2026-05-02"} for row in rows("Ash", range(6))]
    later = [{**row, "visit_date": "2026-08-02"} for row in rows("Ash", range(6))]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows("Ash", range(6)) + again + later))
    first, second = (anonymous_rows(ledger).table for _ in range(2))
    assert tuple(first.columns) == COLUMNS and len(first) == 18
    assert first.drop(columns="herd").drop_duplicates().shape[0] == 3
    herds = first.groupby("half_year")["herd"].unique()
    assert herds.map(len).tolist() == [1, 1] and herds.iloc[0][0] != herds.iloc[1][0]
    assert not set(first["herd"]) & set(second["herd"])


def test_a_herd_is_not_known_by_its_calendar(tmp_path: Path) -> None:
    """Two herds that are visited in other months of the same half-years look alike."""
    months = {"Ash": (1, 8), "Elm": (3, 10)}
    each = [
        {**row, "visit_date": f"2026-{month:02d}-02"}
        for farm, when in months.items() for month in when for row in rows(farm, range(6))
    ]  # fmt: skip
    table = anonymous_rows(ledger_of(tmp_path / "l.duckdb", checked("trims", each))).table
    looks = table.drop(columns=["lesions", "lame"]).value_counts(dropna=False).reset_index().drop(columns="herd")
    assert len(looks) == 4 and looks.value_counts(dropna=False).tolist() == [2, 2]


@pytest.fixture
def given(tmp_path: Path) -> Ledger:
    """A ledger of which an export was given away: Ash in two half-years, and Elm."""
    late = [{**row, "visit_date": "2026-08-02"} for row in rows("Ash", range(8))]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows("Ash", range(8)) + late + rows("Elm", range(8))))
    assert len(write_anonymous(ledger, tmp_path / "first.csv").table) == 24
    return ledger


@pytest.mark.parametrize(
    ("more", "held_back"),
    [
        ([], 0),
        (rows("Ash", range(8, 9), foot="LH", lesion="SU"), 9),
        (rows("Ash", range(8, 12)), 12),
        (rows("Ash", range(8, 13)), 0),
        (rows("Ash", range(1), foot="LH", lesion="SU"), 8),
        ([{**row, "visit_date": "2027-03-02"} for row in rows("Ash", range(5))], 0),
        (rows("Oak", range(5)), 0),
    ],
)
def test_what_would_tell_few_cows_from_an_earlier_export_is_held_back(
    more: list[dict[str, object]], held_back: int, given: Ledger, tmp_path: Path
) -> None:
    if more:
        add_sheets(given, [checked("trims", more)], "more.csv", "")
    done = write_anonymous(given, tmp_path / "second.csv")
    assert done.held_back == held_back
    assert len(done.table) == len(anonymous_rows(given).table) - held_back
    assert f"earlier export: {held_back}." in (tmp_path / "second-about.txt").read_text()


def test_cows_that_went_are_as_telling_as_cows_that_came(given: Ledger, tmp_path: Path) -> None:
    number = add_sheets(given, [checked("trims", rows("Ash", range(8, 13)))], "more.csv", "").import_no
    assert write_anonymous(given, tmp_path / "second.csv").held_back == 0
    undo_import(given, number)
    assert write_anonymous(given, tmp_path / "third.csv").held_back == 0
    add_sheets(given, [checked("trims", rows("Ash", range(8, 11)))], "fewer.csv", "")
    # Three more than in the first, two fewer than in the second.
    assert write_anonymous(given, tmp_path / "fourth.csv").held_back == 11


def test_a_cow_without_a_score_is_as_telling_as_one_with(tmp_path: Path) -> None:
    scored = rows("Ash", range(8), locomotion_score=3, locomotion_scale="1-5")
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", scored))
    write_anonymous(ledger, tmp_path / "first.csv")
    add_sheets(ledger, [checked("trims", [*rows("Ash", range(8, 9)), *rows("Elm", range(5))])], "more.csv", "")
    assert write_anonymous(ledger, tmp_path / "second.csv").held_back == 9


def test_nothing_is_given_and_nothing_remembered_where_all_is_held_back(given: Ledger, tmp_path: Path) -> None:
    remembered = len(given.frame("SELECT * FROM exports"))
    add_sheets(given, [checked("trims", rows("Elm", range(8, 9)))], "more.csv", "")
    with pytest.raises(UserError, match="tell who they are"):
        write_anonymous(given, tmp_path / "second.csv", farms=["Elm"])
    with pytest.raises(UserError, match="cannot be written"):
        write_anonymous(given, tmp_path / "nowhere" / "third.csv")
    assert len(given.frame("SELECT * FROM exports")) == remembered == 3
    assert not (tmp_path / "second.csv").exists()


def test_a_farm_that_is_erased_is_not_remembered_as_given(given: Ledger) -> None:
    erase_farm(given, "Ash")
    assert given.frame("SELECT DISTINCT farm FROM exports")["farm"].tolist() == ["Elm"]


def test_what_remains_possible_is_said_with_the_export(given: Ledger, tmp_path: Path) -> None:
    about = (tmp_path / "first-about.txt").read_text()
    assert all(str(sentence) in about for sentence in what_remains(K))
    assert "number of rows" in about and "whether two rows are of one cow" in about


def test_what_tells_a_few_cows_apart_goes_blank_then_out(tmp_path: Path) -> None:
    ledger = ledger_of(
        tmp_path / "l.duckdb",
        checked(
            "trims",
            [
                *rows("Enough", range(5), parity=1, housing="freestall"),
                *rows("Mixed", range(4), parity=1, housing="freestall", foot="LH", lesion="SU"),
                *rows("Mixed", range(4, 7), parity=2, housing="freestall"),
                *rows("Few", range(4), parity=1, housing="pasture"),
            ],
        ),
    )
    done = anonymous_rows(ledger)
    assert (len(done.table), done.left_out, done.blanked) == (12, 4, 7)
    assert sorted(done.table["lactation"].fillna("").value_counts().to_dict().items()) == [("", 7), ("1", 5)]
    assert (done.table["lesions"] == "SU").sum() == 4
    with pytest.raises(UserError, match="nothing can be given"):
        write_anonymous(ledger, tmp_path / "none.csv", farms=["Few"])
    with pytest.raises(UserError, match="not anonymous"):
        anonymous_rows(ledger, k=1)
