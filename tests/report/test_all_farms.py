"""Reports of all farms: one a farm, only those with news when asked, and one failure stops no other."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.dashboard.cli.export import file_name
from evenfoot.dashboard.cli.report import report_every
from evenfoot.dashboard.report.all_farms import STATE, farms_with_news, records_of_farms, report_all
from evenfoot.dashboard.report.request import Request
from tests.sheets import checked, ledger_of

pytestmark = pytest.mark.long

TEMPLATE = Request("", sections=("summary",))


def trims(farm: str, day: str = "2026-03-02", cows: int = 4) -> list[dict[str, object]]:
    return [
        {"visit_date": day, "farm": farm, "cow": str(cow), "visit_kind": "whole-herd", "herd_size": cows}
        for cow in range(cows)
    ]


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    rows = trims("Home Farm") + trims("Hill Farm") + trims("Home-Farm")
    housing = [{"farm": "Empty Barn", "starts_on": "2026-01-01", "housing": "freestall"}]
    return ledger_of(tmp_path / "ledger.duckdb", checked("trims", rows), checked("housing", housing))


def made(ledger: Ledger, folder: Path, template: Request = TEMPLATE, **options: object) -> dict[str, list[str]]:
    outcomes = report_all(ledger, template, folder, formats=("html",), **options)  # type: ignore[arg-type]
    return {outcome.farm: [path.name for path in outcome.files] for outcome in outcomes if not outcome.trouble}


def test_one_report_a_farm_under_names_that_do_not_clash(ledger: Ledger, tmp_path: Path) -> None:
    files = made(ledger, tmp_path / "out")
    assert files == {
        "Hill Farm": ["hill-farm.html"],
        "Home Farm": ["home-farm.html"],
        "Home-Farm": ["home-farm-d726f3221a.html"],
    }
    assert "Home-Farm" in (tmp_path / "out" / "home-farm-d726f3221a.html").read_text(encoding="utf-8")


OTHER_SCRIPTS = ("牧場", "農場", "Звезда", "مزرعة")


def test_a_farm_keeps_its_file_whatever_farms_come_later(tmp_path: Path) -> None:
    """Each new farm sorts before or between those there are; nobody's report is written over."""
    folder = tmp_path / "out"
    ledger = ledger_of(tmp_path / "ledger.duckdb", checked("trims", trims(OTHER_SCRIPTS[0])))
    short = Request("", sections=("remarks",))
    files = made(ledger, folder, short, since_last=True)
    for number, farm in enumerate((*OTHER_SCRIPTS[1:], "Farm", "???", "Farm 2", "Farm!"), start=1):
        add_sheets(ledger, [checked("trims", trims(farm))], f"{number}.csv", f"{number:064}")
        new = made(ledger, folder, short, since_last=True)
        assert set(new) == {farm}
        files.update(new)
    assert made(ledger, folder, dry_run=True) == files
    names = [name.casefold() for each in files.values() for name in each]
    assert len(set(names)) == len(names) == len(list(folder.glob("*.html")))
    for farm, [name] in files.items():
        assert f"<h1>{farm}</h1>" in (folder / name).read_text(encoding="utf-8")


def test_the_name_of_a_file_depends_on_the_farm_alone_and_suits_every_system() -> None:
    words = ("home", "farm", "Home", "con", "Com1", "x" * 80, "d726f3221a", "Ö", "牧", "-", ".", "")
    farms = {" ".join((first, second)).strip() for first in words for second in words}
    names = {farm: file_name(farm) for farm in farms}
    assert len(set(names.values())) == len(farms)
    for name in names.values():
        assert re.fullmatch(r"[a-z0-9]([a-z0-9-]{0,69}[a-z0-9])?", name)
        assert name not in ("con", "com1")
    assert file_name("Home Farm") == "home-farm"


def test_what_an_earlier_version_noted_holds_and_what_it_overwrote_is_made_again(tmp_path: Path) -> None:
    ledger = ledger_of(tmp_path / "ledger.duckdb", *(checked("trims", trims(farm)) for farm in ("Elm", *OTHER_SCRIPTS)))
    folder = tmp_path / "out"
    made(ledger, folder)
    told = json.loads((folder / STATE).read_text(encoding="utf-8"))
    # Names that were given by the order of the farms: the second was written over the first.
    told["牧場"] |= {"files": "farm.html", "written": "2026-01-01T08:00:00Z"}
    told["農場"] |= {"files": "farm.html", "written": "2026-02-01T08:00:00Z"}
    told["Звезда"] |= {"files": "farm-2.html", "written": "2026-02-01T08:00:00Z"}
    (folder / STATE).write_text(json.dumps(told), encoding="utf-8")
    assert set(made(ledger, folder, since_last=True)) == {"牧場"}
    assert made(ledger, folder, since_last=True) == {}


def test_a_farm_that_cannot_be_reported_stops_no_other_and_is_named(ledger: Ledger, tmp_path: Path) -> None:
    outcomes = report_all(ledger, TEMPLATE, tmp_path / "out", formats=("html",))
    [failed] = [outcome for outcome in outcomes if outcome.trouble]
    assert failed.farm == "Empty Barn"
    assert "nothing to report" in failed.trouble
    with pytest.raises(UserError, match=r"1 of 4 reports.*Empty Barn"):
        report_every(ledger.name, tmp_path / "other", formats="html", sections="summary")


def test_since_last_writes_only_farms_whose_records_changed(ledger: Ledger, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    assert set(made(ledger, folder, since_last=True)) == {"Hill Farm", "Home Farm", "Home-Farm"}
    assert made(ledger, folder, since_last=True) == {}
    added = add_sheets(ledger, [checked("trims", trims("Hill Farm", "2026-03-30"))], "new.csv", "1" * 64)
    assert set(made(ledger, folder, since_last=True)) == {"Hill Farm"}
    undo_import(ledger, added.import_no)
    assert set(made(ledger, folder, since_last=True)) == {"Hill Farm"}
    assert made(ledger, folder, since_last=True) == {}
    assert set(made(ledger, folder)) == {"Hill Farm", "Home Farm", "Home-Farm"}


def test_a_row_that_changed_for_another_is_news(ledger: Ledger, tmp_path: Path) -> None:
    before = records_of_farms(ledger)
    undo_import(ledger, 1)
    rows = trims("Home Farm", "2026-03-03") + trims("Hill Farm")
    add_sheets(ledger, [checked("trims", rows)], "again.csv", "2" * 64)
    after = records_of_farms(ledger)
    assert before["Home Farm"] != after["Home Farm"]
    assert before["Hill Farm"] == after["Hill Farm"]


def test_processes_of_their_own_make_the_same_reports(ledger: Ledger, tmp_path: Path) -> None:
    alone, together = tmp_path / "alone", tmp_path / "together"
    assert made(ledger, alone, workers=1) == made(ledger, together, workers=2)
    for path in alone.glob("*.html"):
        assert path.read_bytes() == (together / path.name).read_bytes()


def test_a_dry_run_writes_nothing(ledger: Ledger, tmp_path: Path) -> None:
    folder = tmp_path / "out"
    files = made(ledger, folder, dry_run=True)
    assert files["Home Farm"] == ["home-farm.html"]
    assert not folder.exists()


def test_what_could_not_be_delivered_is_tried_again(ledger: Ledger, tmp_path: Path) -> None:
    sent: list[str] = []

    def down(farm: str, files: Sequence[Path]) -> None:
        raise UserError("The mail server is down.")

    def up(farm: str, files: Sequence[Path]) -> None:
        assert all(path.is_file() for path in files)
        sent.append(farm)

    folder = tmp_path / "out"
    assert made(ledger, folder, since_last=True, deliver=down) == {}
    assert set(made(ledger, folder, since_last=True, deliver=up)) == {"Hill Farm", "Home Farm", "Home-Farm"}
    assert sent == ["Hill Farm", "Home Farm", "Home-Farm"]
    assert made(ledger, folder, since_last=True, deliver=up) == {}


def test_a_state_file_that_was_tampered_with_is_said_to_be(ledger: Ledger, tmp_path: Path) -> None:
    marks = records_of_farms(ledger)
    for content in ("{", "[]", json.dumps({"Home Farm": 3}), "\udcff".encode("utf-8", "surrogateescape")):
        data = content if isinstance(content, bytes) else content.encode()
        (tmp_path / STATE).write_bytes(data)
        with pytest.raises(UserError, match="delete it"):
            farms_with_news(marks, tmp_path)


def test_other_formats_are_refused(ledger: Ledger, tmp_path: Path) -> None:
    with pytest.raises(UserError, match="not a format"):
        report_all(ledger, TEMPLATE, tmp_path / "out", formats=("docx",))


def test_a_terminal_that_cannot_show_a_name_ends_no_run(tmp_path: Path) -> None:
    rows = [row for farm in OTHER_SCRIPTS for row in trims(farm)]
    ledger = ledger_of(tmp_path / "ledger.duckdb", checked("trims", rows))
    words = ["report", "--all-farms", "-d", f"{tmp_path}/ö", "--format", "html", "--sections", "summary"]
    done = subprocess.run(
        [sys.executable, "-c", "from evenfoot.dashboard.cli.main import main; main()", *words, "--ledger", ledger.name],
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("Wrote") == len(OTHER_SCRIPTS) == len(list((tmp_path / "ö").glob("*.html")))
