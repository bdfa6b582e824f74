"""A ledger kept as Delta tables: what counts is what their logs say, whatever else lies in the folders."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import duckdb
import pandas as pd
import pyarrow as pa
import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.engines.delta_folder import DeltaFolder
from evenfoot.analytics.ledger.exports.delta import export_delta
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.schema import every_table
from evenfoot.analytics.queries.counts import count
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.cli.main import app
from tests.engines.servers import refuse_or_skip
from tests.engines.tables import rows_of
from tests.engines.test_counts import SELECTIONS, herd
from tests.engines.test_guide import commands, sheet
from tests.queries.test_counts import EVERY, plain_count
from tests.sheets import checked, ledger_of

pytestmark = pytest.mark.long

try:
    import deltalake
except ImportError:
    refuse_or_skip("deltalake is not installed (make spark)", whole_file=True)

FIRST = "00000000000000000000.json"
APART = "Elm = 100% {oak}"
"""A farm whose name is written otherwise in the name of a folder."""


LAID_OUT = ("trims", "findings", "scores", "cows")
"""Tables that are there each in another layout, see ``folder``."""


@pytest.fixture(scope="module")
def rows() -> list[dict[str, Any]]:
    scored = {"farm": APART, "locomotion_score": 2, "locomotion_scale": "1-5"}
    return herd(3) + [{**row, **scored} for row in herd(5) if row["farm"] == "Birch\\"][:9]


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory, rows: list[dict[str, Any]]) -> Ledger:
    """The same records in a file."""
    return ledger_of(tmp_path_factory.mktemp("own") / "l.duckdb", checked("trims", rows))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, own: Ledger) -> Path:
    """Delta tables with an older state of other records in them, in every layout that is read.

    Findings lie in folders named after the farm; trims too, but the folders are named otherwise; scores came in two
    commits, of which the first knew nothing of a column; cows were written with rows that were deleted since.
    """
    room = tmp_path_factory.mktemp("delta lake ü")
    scored = {"locomotion_score": 3, "locomotion_scale": "1-5"}
    older = ledger_of(room / "older.duckdb", checked("trims", [{**row, **scored} for row in herd(4)]))
    lake, newest = room / "lake", room / "newest"
    export_delta(older, lake)
    export_delta(own, newest)
    for table in every_table():
        data = deltalake.DeltaTable(str(newest / table)).to_pyarrow_table()
        write = {"mode": "overwrite", "schema_mode": "overwrite"}
        if table == "scores":
            half = data.num_rows // 2
            assert half
            deltalake.write_deltalake(str(lake / table), data.slice(0, half).drop_columns("wetness"), **write)
            deltalake.write_deltalake(str(lake / table), data.slice(half), mode="append", schema_mode="merge")
        elif table == "cows":
            more = data.set_column(0, "farm", pa.array(["gone"] * data.num_rows))
            deltalake.write_deltalake(str(lake / table), pa.concat_tables([data, more]), **write)
            deltalake.DeltaTable(str(lake / table)).delete("farm = 'gone'")
        else:
            by = {"partition_by": ["farm"]} if table in ("findings", "trims") else {}
            deltalake.write_deltalake(str(lake / table), data, **write, **by)
    _name_folders_otherwise(lake / "trims")
    return lake


def _name_folders_otherwise(table: Path) -> None:
    """As a table looks whose files are spread over the storage: the log alone says what they hold."""
    commits = sorted((table / "_delta_log").glob("*.json"))
    names = {path.name: f"p{place}" for place, path in enumerate(sorted(table.glob("farm=*")))}
    assert len(names) == 3
    for old, new in names.items():
        (table / old).rename(table / new)
    lines = [json.loads(line) for line in commits[-1].read_text().splitlines()]
    for line in lines:
        if "add" in line:
            path = line["add"]["path"]
            line["add"]["path"] = f"{names[unquote(path).split('/')[0]]}/{path.split('/')[1]}"
    commits[-1].write_text("\n".join(map(json.dumps, lines)))


@pytest.fixture(scope="module")
def lake(spark: None, folder: Path) -> Ledger:
    return open_ledger(f"pyspark://{folder}")


def test_files_of_older_versions_lie_there(folder: Path, own: Ledger) -> None:
    """Without the log the counts would be others, so the tests below can fail."""
    for table in LAID_OUT:
        [(lying,)] = duckdb.sql(f"SELECT COUNT(*) FROM read_parquet('{folder}/{table}/**/*.parquet')").fetchall()
        [(held,)] = own.frame(f"SELECT COUNT(*) FROM {table}").to_numpy().tolist()
        assert lying > held > 0, table


def test_the_rows_are_those_of_the_newest_version(lake: Ledger, own: Ledger) -> None:
    for table in LAID_OUT:
        pd.testing.assert_frame_equal(rows_of(own, table), rows_of(lake, table), check_dtype=False, obj=table)
    assert lake.imports().to_dict("records") == own.imports().to_dict("records")
    assert lake.farms() == sorted([APART, "Birch\\", "O'Hara's"])


@pytest.mark.parametrize("selection", [SELECTIONS[0], Selection(farms=(APART,), visits=("all",))])
def test_counts_equal_a_plain_count(lake: Ledger, rows: list[dict[str, Any]], selection: Selection) -> None:
    kept = [
        row
        for row in rows
        if (selection.all_visits or row["visit_kind"] == "whole-herd")
        and (not selection.farms or row["farm"] in selection.farms)
    ]
    assert kept
    for by, per in EVERY[len(selection.farms) :: 19]:
        table = count(lake, selection, by, per).table
        got = {tuple(row[name] for name in by): (row["cases"], row["at_risk"]) for row in table.to_dict("records")}
        assert got == plain_count(kept, by, per), (by, per)


def test_a_commit_is_seen_and_makes_another_state(lake: Ledger, folder: Path, rows: list[dict[str, Any]]) -> None:
    everything = Selection(visits=("all",))
    before = lake.version
    assert lake.version == before
    log = folder / "trims" / "_delta_log"
    known = set(log.iterdir())
    for table in ("trims", "findings"):
        deltalake.DeltaTable(str(folder / table)).delete("farm = 'O''Hara''s'")
    assert lake.version[0] == before[0] + 2 and lake.version != before
    kept = [row for row in rows if row["farm"] != "O'Hara's"]
    table = count(lake, everything, ("lesion",), "cow").table
    got = {(row["lesion"],): (row["cases"], row["at_risk"]) for row in table.to_dict("records")}
    assert got == plain_count(kept, ("lesion",), "cow")
    for table in ("trims", "findings"):
        changed = deltalake.DeltaTable(str(folder / table))
        changed.restore(changed.version() - 1)
    assert lake.version[0] == before[0] + 4 and set(log.iterdir()) > known


def test_nothing_is_written(lake: Ledger, own: Ledger, folder: Path) -> None:
    before = sorted(folder.rglob("*"))
    with pytest.raises(UserError, match="can only be read"):
        add_sheets(lake, [checked("trims", herd(6))], "a.csv", "1" * 64)
    with pytest.raises(UserError, match="can only be read"):
        undo_import(lake, 1)
    with pytest.raises(UserError, match="not an empty folder"):
        export_delta(own, folder)
    assert sorted(folder.rglob("*")) == before


def test_a_file_that_is_gone_is_told(spark: None, own: Ledger, tmp_path: Path) -> None:
    export_delta(own, tmp_path / "lake")
    ledger = open_ledger(f"pyspark://{tmp_path}/lake")
    for path in (tmp_path / "lake" / "trims").glob("*.parquet"):
        path.unlink()
    with pytest.raises(UserError, match="went away"):
        ledger.farms()


def test_the_commands_of_the_readme(spark: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    """As they are written, in one process, so that Spark is started once."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EVENFOOT_LEDGER", str(tmp_path / "l.duckdb"))
    sheet(tmp_path / "my-sheet.csv")
    app(["import", "my-sheet.csv"], standalone_mode=False)
    for line in commands("--format delta -o lake/").splitlines():
        program, *words = shlex.split(line.partition("#")[0].replace("$PWD", str(tmp_path)))
        assert program == "evenfoot"
        app(words, standalone_mode=False)
    said = capsys.readouterr().out
    assert "trim_rows: 10 rows" in said and "lesion" in said and "at_risk" in said


@pytest.fixture(scope="module")
def whole(own: Ledger, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("whole") / "lake"
    export_delta(own, folder)
    return folder


Change = Callable[[dict[str, Any]], None]


def _changed(folder: Path, change: Change) -> None:
    """The first commit of the table of trims, altered."""
    log = folder / "trims" / "_delta_log" / FIRST
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    for line in lines:
        change(line)
    log.write_text("\n".join(map(json.dumps, lines)))


def _asks(*features: str, reader: int = 3) -> Change:
    def change(line: dict[str, Any]) -> None:
        if "protocol" in line:
            line["protocol"] = {"minReaderVersion": reader, "minWriterVersion": 7, "writerFeatures": list(features)}
            line["protocol"] |= {"readerFeatures": list(features)} if reader == 3 else {}

    return change


def _deleted(line: dict[str, Any]) -> None:
    """Six rows marked as deleted; the mark is the example of the Delta Transaction Log Protocol."""
    _asks("deletionVectors")(line)
    if "add" in line:
        mark = "wi5b=000010000siXQKl0rr91000f55c8Xg0@@D72lkbi5=-{L"
        line["add"]["deletionVector"] = {
            "storageType": "i",
            "pathOrInlineDv": mark,
            "sizeInBytes": 40,
            "cardinality": 6,
        }


def _mapped(line: dict[str, Any]) -> None:
    _asks("columnMapping")(line)
    if "metaData" in line:
        schema = json.loads(line["metaData"]["schemaString"])
        for number, field in enumerate(schema["fields"], start=1):
            field["metadata"] = {"delta.columnMapping.id": number, "delta.columnMapping.physicalName": f"c{number}"}
        line["metaData"]["schemaString"] = json.dumps(schema)
        line["metaData"]["configuration"] = {"delta.columnMapping.mode": "name"}


def _columns(change: Callable[[list[dict[str, Any]]], list[dict[str, Any]]]) -> Change:
    def changed(line: dict[str, Any]) -> None:
        if "metaData" in line:
            schema = json.loads(line["metaData"]["schemaString"])
            schema["fields"] = change(schema["fields"])
            line["metaData"]["schemaString"] = json.dumps(schema)

    return changed


def _elsewhere(line: dict[str, Any]) -> None:
    if "add" in line:
        line["add"]["path"] = "s3://elsewhere/" + line["add"]["path"]


REFUSED: dict[str, tuple[Change, str]] = {
    "deletion vectors": (_deleted, "marked as deleted beside its files \\(deletion vectors\\)"),
    "column mapping": (_mapped, "uses columnMapping, which Evenfoot does not read"),
    "a wider kind": (_asks("typeWidening"), "uses typeWidening, which Evenfoot does not read"),
    "a feature nobody knows": (_asks("madeUp"), "cannot be read: .*madeUp"),
    "a newer protocol": (_asks(reader=4), "cannot be read: .*reader version 4"),
    "a column less": (_columns(lambda f: [e for e in f if e["name"] != "cow"]), "lacks the columns cow"),
    "another kind": (
        _columns(lambda f: [{**e, "type": "string"} if e["name"] == "parity" else e for e in f]),
        "column parity of the Delta table .* holds string, and has to hold integer",
    ),
    "files elsewhere": (_elsewhere, "has files elsewhere"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_would_be_read_wrongly_is_refused(whole: Path, tmp_path: Path, case: str) -> None:
    change, told = REFUSED[case]
    shutil.copytree(whole, tmp_path / "lake")
    _changed(tmp_path / "lake", change)
    with pytest.raises(UserError, match=told) as refused:
        DeltaFolder(tmp_path / "lake", "here").contents()
    assert str(tmp_path / "lake" / "trims") in str(refused.value)


def test_what_is_asked_for_and_not_used_is_no_hindrance(whole: Path, tmp_path: Path) -> None:
    shutil.copytree(whole, tmp_path / "lake")
    _changed(tmp_path / "lake", _asks("deletionVectors"))
    one, other = (DeltaFolder(each, "here").contents() for each in (whole, tmp_path / "lake"))
    assert len(other.files["trims"]) == len(one.files["trims"]) == 1 and other.changes != one.changes


def test_folders_that_are_no_ledger_are_told(whole: Path, tmp_path: Path) -> None:
    lake = tmp_path / "lake"
    shutil.copytree(whole, lake)
    (lake / "trims" / "_delta_log" / FIRST).write_text("{")
    with pytest.raises(UserError, match="trims cannot be read"):
        DeltaFolder(lake, "here").contents()
    shutil.rmtree(lake / "scores")
    (lake / "moves" / "_delta_log" / FIRST).unlink()
    with pytest.raises(UserError, match="lacks the Delta tables moves, scores;"):
        DeltaFolder(lake, "here").contents()
    shutil.copytree(whole, tmp_path / "lake[1]")
    with pytest.raises(UserError, match=r"choose a folder without \[ \]\."):
        DeltaFolder(tmp_path / "lake[1]", "here").contents()


def test_a_folder_of_one_farm_is_not_written(own: Ledger, tmp_path: Path) -> None:
    words = ["export", "--format", "delta", "--farm", APART, "--ledger", own.address, "-o", str(tmp_path / "x")]
    with pytest.raises(UserError, match="hold the whole ledger"):
        app(words, standalone_mode=False)
    assert not (tmp_path / "x").exists()
