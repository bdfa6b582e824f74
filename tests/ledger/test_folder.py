"""A folder of Parquet or CSV put into an empty ledger gives the same answers."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.intake.fields import KINDS
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.exports.folder import DICTIONARY, FORMATS, export_folder
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.backup import back_up
from evenfoot.analytics.ledger.limits import horn_limits, set_limit
from evenfoot.analytics.ledger.schema import DERIVED_TABLES
from evenfoot.analytics.measures.catalogue import MEASURES, answer
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

pytestmark = pytest.mark.long


def brought_back(folder: Path, format: str, place: Path) -> Ledger:
    """A new ledger with the files of a folder in it, through the ordinary import."""
    ledger = open_ledger(str(place))
    for path in sorted(folder.glob(f"*.{format}")):
        sheets = check_file(path, path.name, known_farms=ledger.farms())
        result = add_sheets(ledger, sheets, path.name, "0" * 64)
        assert (result.set_aside, result.already_known) == (0, 0)
        assert result.added == result.read
    return ledger


@pytest.mark.parametrize("format", FORMATS)
def test_the_demo_herds_come_back_the_same(demo_ledger: Ledger, tmp_path: Path, format: str) -> None:
    export_folder(demo_ledger, tmp_path / "out", format=format)
    again = brought_back(tmp_path / "out", format, tmp_path / "again.duckdb")
    for table in DERIVED_TABLES:
        ours, theirs = (each.frame(f"SELECT * FROM {table} ORDER BY ALL") for each in (demo_ledger, again))
        pd.testing.assert_frame_equal(ours, theirs)


QUICK = ("prevalence", "locomotion", "incidence", "visit-review", "cost", "control-chart", "horn", "growth", "worklist")


@pytest.fixture(scope="module")
def one_farm_again(demo_ledger: Ledger, tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    """A farm of the demo herds, from the files of its export."""
    folder = tmp_path_factory.mktemp("csv")
    export_folder(demo_ledger, folder / "out", format="csv", farms=["Nether Ash"])
    return brought_back(folder / "out", "csv", folder / "again.duckdb")


@pytest.mark.parametrize("name", QUICK)
def test_measures_answer_the_same(demo_ledger: Ledger, one_farm_again: Ledger, name: str) -> None:
    """Derived tables that are alike row by row leave nothing to differ; nine measures are asked all the same."""
    assert name in MEASURES
    selection = Selection(farms=("Nether Ash",))
    ours, theirs = (answer(name, each, selection) for each in (demo_ledger, one_farm_again))
    pd.testing.assert_frame_equal(ours.table, theirs.table, check_exact=True)
    # The files they were read from have other names, and nothing else differs.
    assert replace(ours.basis, sources=()) == replace(theirs.basis, sources=())
    assert ours.cautions == theirs.cautions


@pytest.fixture(scope="module")
def two_farms(demo_ledger: Ledger, tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    """The two smaller farms of the demo herds."""
    folder = tmp_path_factory.mktemp("two")
    export_folder(demo_ledger, folder / "out", format="parquet", farms=["Long Heath", "Withy Flat"])
    return brought_back(folder / "out", "parquet", folder / "two.duckdb")


@pytest.mark.parametrize("format", FORMATS)
@pytest.mark.parametrize("farms", [[], ["Long Heath"]])
def test_limits_of_horn_travel(two_farms: Ledger, tmp_path: Path, format: str, farms: list[str]) -> None:
    """Limits set by hand and limits that came with a sheet, in the order they were given, and what rests on them."""
    own = open_ledger(str(back_up(two_farms, tmp_path / "own.duckdb")))
    set_limit(own, "long_toe_mm", 74, farm="Long Heath")
    set_limit(own, "long_toe_mm", 72, farm="Withy Flat", parity=(1, 2))
    (sheet,) = check_file(
        b"farm,limit,value\nLong Heath,long toe,76\n,thin sole,6\n", "limits.csv", known_farms=own.farms()
    )
    add_sheets(own, [sheet], "limits.csv", "1" * 64)
    set_limit(own, "thin_sole_mm", 5.5, breed="Jersey")
    export_folder(own, tmp_path / "out", format=format, farms=farms)
    again = brought_back(tmp_path / "out", format, tmp_path / "again.duckdb")
    ours, theirs = horn_limits(own), horn_limits(again)
    kept = [each for each in ours.exceptions if not farms or each.farm in (None, *farms)]
    assert list(theirs.exceptions) == kept
    assert theirs.of("Long Heath", None, 1).long_toe_mm == 76
    assert theirs.of("Long Heath", "Holstein", 1).thin_sole_mm == 6
    if not farms:
        return
    plain = answer("worklist", two_farms, Selection(farms=("Long Heath",)))
    worklists = [answer("worklist", each, Selection(farms=("Long Heath",))) for each in (own, again)]
    pd.testing.assert_frame_equal(worklists[0].table, worklists[1].table)
    assert not plain.table.equals(worklists[0].table)


@pytest.mark.parametrize("format", FORMATS)
def test_awkward_text_survives(tmp_path: Path, format: str) -> None:
    notes = ["=1+1", "-3", "+x", "@home", "'quoted", 'a "b" c', "a;b,c d", "1,5", "Kühe 牛", "'=2"]
    rows = [
        {"visit_date": "2026-03-02", "farm": "Home Farm", "cow": str(n), "foot": "LH", "note": note}
        for n, note in enumerate(notes)
    ]
    ledger = ledger_of(tmp_path / "one.duckdb", checked("trims", rows))
    export_folder(ledger, tmp_path / "out", format=format)
    again = brought_back(tmp_path / "out", format, tmp_path / "two.duckdb")
    sql = "SELECT cow, note FROM trim_rows ORDER BY CAST(cow AS INTEGER)"
    assert again.frame(sql)["note"].tolist() == notes


def test_only_the_farms_asked_for_leave(tmp_path: Path) -> None:
    rows = [{"visit_date": "2026-03-02", "farm": farm, "cow": "1"} for farm in ("A Farm", "B Farm")]
    ledger = ledger_of(tmp_path / "one.duckdb", checked("trims", rows))
    assert export_folder(ledger, tmp_path / "out", format="csv", farms=["A Farm"]) == {"trims.csv": 1}
    assert "B Farm" not in (tmp_path / "out" / "trims.csv").read_text(encoding="utf-8-sig")


def test_the_dictionary_explains_every_column(tmp_path: Path) -> None:
    rows = [{"visit_date": "2026-03-02", "farm": "A Farm", "cow": "1"}]
    ledger = ledger_of(tmp_path / "one.duckdb", checked("trims", rows))
    export_folder(ledger, tmp_path / "out", format="csv")
    package = json.loads((tmp_path / "out" / DICTIONARY).read_text(encoding="utf-8"))
    [resource] = package["resources"]
    headings = (tmp_path / "out" / "trims.csv").read_text(encoding="utf-8-sig").splitlines()[0].split(",")
    assert [field["name"] for field in resource["schema"]["fields"]] == headings
    assert headings == [field.name for field in KINDS["trims"]]
    assert all(field["description"] and field["type"] for field in resource["schema"]["fields"])


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    ledger = ledger_of(
        tmp_path / "one.duckdb", checked("trims", [{"visit_date": "2026-03-02", "farm": "A", "cow": "1"}])
    )
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine.txt").write_text("mine")
    with pytest.raises(UserError, match="empty folder"):
        export_folder(ledger, tmp_path / "out")
    with pytest.raises(UserError, match="not a format"):
        export_folder(ledger, tmp_path / "other", format="xml")


def test_damaged_parquet_is_refused_in_words(tmp_path: Path) -> None:
    ledger = ledger_of(
        tmp_path / "one.duckdb", checked("trims", [{"visit_date": "2026-03-02", "farm": "A", "cow": "1"}])
    )
    export_folder(ledger, tmp_path / "out")
    whole = (tmp_path / "out" / "trims.parquet").read_bytes()
    for broken in (whole[:40], whole[: len(whole) // 2], b"PAR1" + bytes(64) + b"PAR1", whole[:-9] + b"\xff" * 9):
        with pytest.raises(UserError):
            check_file(broken, "trims.parquet")
