"""A farm that is erased is gone from every table and every byte, and nothing of the other farms is."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, agreements, open_ledger
from evenfoot.analytics.ledger.history import history
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.backup import back_up
from evenfoot.analytics.ledger.integrity.copies import copies_with
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.repair import mend
from evenfoot.analytics.ledger.integrity.verify import verify
from evenfoot.analytics.ledger.limits import set_limit
from evenfoot.analytics.ledger.schema import BOOKKEEPING, DERIVED_TABLES, ROW_TABLES
from evenfoot.analytics.temporary_folders import scratch_folder
from evenfoot.dashboard.cli import maintenance
from tests.ledger.storing import SHEETS, make
from tests.ledger.test_repair import LEAVE_A_LOG, log

pytestmark = pytest.mark.long

LEAVE_A_REPORT = """
import time
from evenfoot.analytics.temporary_folders import scratch_folder
with scratch_folder() as room:
    (room / "report.pdf").write_text("of a farm")
    print(room, flush=True)
    time.sleep(99)
"""

SECRET = "Quillwort"
"""A farm's name that occurs nowhere else."""

HEAD = "visit_date,farm,trimmer,cow,foot,lesion,note\n"
ONLY = HEAD + f"2025-03-03,{SECRET},KV,zq811,LH,SU,zq812\n2025-03-04,{SECRET},KV,zq813,LH,zq814,\n"
MIXED = (
    HEAD + f"2025-03-05,{SECRET},KV,zq815,RH,DD,\n2025-03-05,Alder,KV,1,RH,DD,\n2025-03-05,Alder,KV,2,RH,whatever,\n"
    f"2025-03-06,{SECRET.upper()},KV,zq816,RH,zq817,\n"
)
REGISTER = f"farm,cow,birth_date,calvings\n{SECRET},zq818,2020-01-01,2022-01-05; 2023-02-03\n"
TRACES = (SECRET, SECRET.upper(), "zq8")


def add(ledger: Ledger, text: str, name: str) -> int:
    sheets = check_file(text.encode(), name, known_farms=ledger.farms())
    return add_sheets(ledger, sheets, name, f"{len(text):064d}").import_no


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a ledger, and what was kept beside it while it was made."""
    folder = tmp_path_factory.mktemp("made")
    ledger = make(folder / "ledger.duckdb")
    add(ledger, ONLY, f"{SECRET.lower()}.csv")
    add(ledger, MIXED, "mixed.csv")
    undone = add(ledger, ONLY.replace("zq811", "zq819"), "zq820.csv")
    undo_import(ledger, undone)
    add(ledger, ONLY, "again.csv")
    add(ledger, REGISTER, "register.csv")
    set_limit(ledger, "long_toe_mm", 81, farm=SECRET)
    agreements.add(ledger, SECRET, f"Ask {SECRET} again", who="zq820")
    agreements.change(ledger, agreements.add(ledger, SECRET, "Wash the bath"), {"outcome": "zq820"})
    ledger.lease.drop_if_idle()
    return folder


@pytest.fixture
def ledger(made: Path, tmp_path: Path) -> Ledger:
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    return open_ledger(str(tmp_path / "ledger.duckdb"))


def traces(ledger: Ledger) -> list[str]:
    """Where the farm is still named: columns, and files by their bytes."""
    found = []
    for table in [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES, *BOOKKEEPING]:
        frame = ledger.frame(f"SELECT * FROM {table}")
        for column in frame:
            if any(trace in str(cell) for cell in frame[column] for trace in TRACES):
                found.append(f"{table}.{column}")
    ledger.lease.drop_if_idle()
    content = Path(ledger.name).read_bytes()
    return found + [trace for trace in TRACES if trace.encode() in content]


def test_nothing_of_the_farm_is_left_and_all_of_the_others_is(ledger: Ledger, tmp_path: Path) -> None:
    others = {
        table: ledger.frame(f"SELECT * FROM {table} WHERE farm <> '{SECRET}' ORDER BY ALL")
        for table in [*(table for table, _ in ROW_TABLES.values()), *DERIVED_TABLES]
    }
    assert set(TRACES) <= set(traces(ledger))
    done = erase_farm(ledger, SECRET)
    assert (done.rows, done.imports) == (3, 3)
    assert traces(ledger) == []
    assert verify(ledger).findings == ()
    for table, frame in others.items():
        assert ledger.frame(f"SELECT * FROM {table} ORDER BY ALL").equals(frame), table
    assert ledger.farms() == ["Alder", "Birch"]
    assert ledger.set_aside()["value"].tolist() == ["no such thing", "whatever"]
    assert "mixed.csv" in ledger.imports()["file"].tolist()
    assert history(ledger)["what"].tolist()[-1] == "farm erased"
    assert [(copy.path.parent.name, copy.own) for copy in done.copies] == [("backups", True)]
    assert not list(tmp_path.glob("*.draft*")) and not list(tmp_path.glob("*.wal"))
    sheets = check_file(SHEETS["trims.csv"].encode(), "trims.csv", known_farms=ledger.farms())
    assert add_sheets(ledger, sheets, "trims.csv", "").added == 0
    assert add(ledger, ONLY, "back.csv") and SECRET in ledger.farms()


def test_a_farm_that_is_not_there_is_not_erased(ledger: Ledger) -> None:
    with pytest.raises(UserError, match="no farm 'Nowhere'"):
        erase_farm(ledger, "Nowhere")


def test_erasing_that_fails_leaves_the_ledger_as_it_was(ledger: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    before = Path(ledger.name).read_bytes()

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr("evenfoot.analytics.ledger.integrity.erase.note", broken)
    with pytest.raises(RuntimeError):
        erase_farm(ledger, SECRET)
    ledger.lease.drop_if_idle()
    assert Path(ledger.name).read_bytes() == before
    assert sorted(path.name for path in Path(ledger.name).parent.iterdir()) == ["backups", "ledger.duckdb"]


def test_copies_are_told_of(ledger: Ledger, tmp_path: Path) -> None:
    (tmp_path / "foreign.duckdb").write_text("no ledger at all " * 1000)
    make(tmp_path / "other.duckdb")
    told = [copy for copy in copies_with(ledger, SECRET) if copy.path.parent == tmp_path]
    assert [(copy.path.name, copy.own) for copy in told] == [("foreign.duckdb", False)]
    assert open_ledger(str(tmp_path / "other.duckdb")).farms() == ["Alder", "Birch"]


def test_what_a_killed_program_left_is_deleted_and_what_is_being_written_told_of(
    ledger: Ledger, tmp_path: Path
) -> None:
    backups = tmp_path / "backups"
    backups.mkdir(exist_ok=True)
    left, young = backups / "ledger-copy.duckdb.77.draft", tmp_path / "out.duckdb.78.draft"
    (backups / "essay.draft").write_text("of somebody else")
    os.utime(backups / "essay.draft", (0, 0))
    for draft in (left, left.with_name(left.name + ".wal"), young):
        draft.write_text(SECRET)
    for draft in (left, left.with_name(left.name + ".wal")):
        os.utime(draft, (0, time.time() - 7200))
    told = [copy.path for copy in copies_with(ledger, SECRET)]
    assert young in told and left not in told
    assert [path.name for path in backups.iterdir() if ".draft" in path.name] == ["essay.draft"]


def test_a_ledger_behind_a_link_is_erased_where_it_lies(ledger: Ledger, tmp_path: Path) -> None:
    ledger.lease.drop_if_idle()
    far = tmp_path / "far"
    far.mkdir()
    real = far / "real.duckdb"
    Path(ledger.name).rename(real)
    (tmp_path / "backups").rename(far / "backups")
    link = Path(ledger.name)
    link.symlink_to(real)
    ledger = open_ledger(str(link))
    assert all(trace.encode() in real.read_bytes() for trace in TRACES)
    done = erase_farm(ledger, SECRET)
    assert link.is_symlink() and Path(ledger.name) == real
    assert [trace for trace in TRACES if trace.encode() in real.read_bytes()] == []
    assert traces(ledger) == [] and ledger.farms() == ["Alder", "Birch"]
    assert [copy.path.parent for copy in done.copies] == [far / "backups"]


def test_a_second_name_of_the_file_is_told_of(ledger: Ledger, tmp_path: Path) -> None:
    ledger.lease.drop_if_idle()
    os.link(ledger.name, tmp_path / "second")
    [said] = erase_farm(ledger, SECRET).beyond
    assert "another name" in said


def test_a_farm_whose_import_was_taken_back_is_erased(tmp_path: Path) -> None:
    """Its rows are in no table, and stand in the file all the same; a copy has them."""
    ledger = make(tmp_path / "ledger.duckdb")
    undo_import(ledger, add(ledger, ONLY + f"2025-03-05,{SECRET},KV,zq821,LH,zq822,\n", "sheet.csv"))
    back_up(ledger, tmp_path / "later.duckdb")
    assert SECRET not in ledger.farms()
    assert SECRET.encode() in Path(ledger.name).read_bytes()
    done = erase_farm(ledger, SECRET)
    assert (done.rows, done.imports) == (0, 0)
    assert traces(ledger) == [] and verify(ledger).findings == ()
    assert {copy.path.name for copy in done.copies if copy.own} >= {"later.duckdb"} and len(done.copies) == 2
    with pytest.raises(UserError, match="no farm"):
        erase_farm(ledger, SECRET)


def test_logs_that_were_put_aside_are_told_of(ledger: Ledger, tmp_path: Path) -> None:
    ledger.lease.drop_if_idle()
    backups = tmp_path / "backups"
    subprocess.run([sys.executable, "-c", LEAVE_A_LOG, ledger.name], check=True)
    content = bytearray(log(ledger).read_bytes())
    content[len(content) // 2] ^= 255
    log(ledger).write_bytes(content)
    assert mend(ledger).log is not None
    (tmp_path / "office.duckdb.wal").write_text(SECRET)
    found = {copy.path.name: copy for copy in copies_with(ledger, SECRET)}
    [aside] = backups.glob("*-log.wal")
    [kept] = backups.glob("*-before-mend.duckdb")
    assert found[aside.name].own and found[kept.name].own
    assert not found["office.duckdb.wal"].own
    assert found[kept.name].delete() and found[aside.name].delete()
    assert not [path for path in backups.iterdir() if "mend" in path.name or "log" in path.name]


@pytest.mark.parametrize("said", ["QUILLWORT  END", "Quillwort\u00a0End", "quillwort\\tend", "QuillwortEnd"])
def test_rows_set_aside_are_found_with_other_spaces(said: str, tmp_path: Path) -> None:
    ledger = make(tmp_path / "ledger.duckdb")
    farm = f"{SECRET} End"
    add(ledger, HEAD + f"2025-03-03,{farm},KV,zq831,LH,SU,\n", "one.csv")
    bad = f"2025-03-03,{farm},KV,zq832,LH,zq833,\n2025-03-03,Alder,KV,1,LH,no such,of {said}\n"
    add(ledger, HEAD + bad.encode().decode("unicode_escape" if "\\t" in said else "utf-8"), "two.csv")
    erase_farm(ledger, farm)
    kept = ledger.set_aside()
    assert not [text for text in kept["original"] if "uillwort" in text.casefold()]
    assert verify(ledger).findings == ()


def test_a_name_that_others_wrote_down_is_told_of(ledger: Ledger) -> None:
    add(ledger, HEAD + f"2025-03-09,Birch,KV,5,LH,SU,bought from {SECRET.lower()}\n", "bought.csv")
    [said] = erase_farm(ledger, SECRET).beyond
    assert said.startswith("Not erased") and "Birch" in said
    assert len(ledger.frame("SELECT * FROM trim_rows WHERE note LIKE '%quillwort%'")) == 1


def test_what_a_killed_server_left_is_deleted_and_what_is_in_use_told_of(
    ledger: Ledger, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "temporary"
    place.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(place))
    killed = subprocess.Popen(
        [sys.executable, "-c", LEAVE_A_REPORT],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "TMPDIR": str(place)},
    )
    assert killed.stdout is not None
    left = Path(killed.stdout.readline().strip())
    killed.kill()
    killed.wait(60)
    old, young = place / "evenfoot-abcdefgh", place / "evenfoot-ijklmnop"
    for folder in (old, young):
        folder.mkdir()
    os.utime(old, (0, 0))
    (tmp_path / ".evenfoot-old").mkdir()
    os.utime(tmp_path / ".evenfoot-old", (0, 0))
    (tmp_path / ".evenfoot-new").mkdir()
    assert (left / "report.pdf").exists() and left.parent == place
    with scratch_folder() as mine:
        maintenance.erase_farm(ledger.address, SECRET, yes=True, delete_copies=False)
        assert mine.exists()
    out = capsys.readouterr().out
    assert not left.exists() and not old.exists() and not (tmp_path / ".evenfoot-old").exists()
    for folder in (mine, young, tmp_path / ".evenfoot-new"):
        assert f"Not deleted: {folder}." in out
