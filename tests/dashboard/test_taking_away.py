"""Report, export, backup and restore as a stranger types them: one sentence when wrong, files when right."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from evenfoot.analytics.ledger import open_ledger
from evenfoot.dashboard.cli.main import main
from tests.report.made import herd


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("cli") / "ledger.duckdb"
    herd(path, "Home Farm", 25, lesions=5).lease.drop_if_idle()
    return path


def run(ledger: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """The command in this process, which has its libraries loaded already."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "argv", ["evenfoot", *words, "--ledger", str(ledger)])
        try:
            main()
        except SystemExit as end:
            code = int(end.code or 0)
    return subprocess.CompletedProcess(words, code, out.getvalue(), err.getvalue())


def test_a_report_of_one_farm_whatever_the_case_of_its_name(ledger: Path, tmp_path: Path) -> None:
    out = tmp_path / "new folder" / "report.html"
    done = run(ledger, "report", "home farm", "-o", str(out), "--language", "es", "--sections", "summary")
    assert (done.returncode, done.stdout) == (0, f"Wrote {out}\n")
    assert "Home Farm" in out.read_text(encoding="utf-8")


def test_reports_of_all_farms(ledger: Path, tmp_path: Path) -> None:
    done = run(ledger, "report", "--all-farms", "-d", str(tmp_path), "--format", "html,xlsx", "--sections", "summary")
    assert done.returncode == 0
    assert {path.suffix for path in tmp_path.iterdir()} == {".html", ".xlsx", ".json"}
    again = run(ledger, "report", "--all-farms", "--since-last", "-d", str(tmp_path), "--format", "html")
    assert "No farm has new records" in again.stdout


@pytest.mark.parametrize(
    "words",
    [
        ["report"],
        ["report", "Home Farm"],
        ["report", "Home Farm", "-o", "report.odt"],
        ["report", "No Such Farm", "-o", "report.html"],
        ["report", "Home Farm", "-o", "report.html", "--language", "xx"],
        ["report", "Home Farm", "-o", "report.html", "--since", "soon"],
        ["report", "Home Farm", "-o", "report.html", "--sections", "moon"],
        ["report", "Home Farm", "-o", "report.html", "--remarks", "absent.txt"],
        ["report", "Home Farm", "-o", "report.html", "--since-last"],
        ["report", "Home Farm", "--all-farms", "-d", "out"],
        ["report", "--all-farms"],
        ["report", "--all-farms", "-d", "out", "--mail-to", "nobody"],
        ["export", "-o", "out", "--format", "xml"],
        ["export", "-o", "out", "--farm", "No Such Farm"],
        ["restore", "absent.duckdb"],
    ],
    ids=" ".join,
)
def test_what_is_wrong_is_said_in_one_line(
    ledger: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(ledger, *words)
    assert done.returncode == 2
    assert done.stderr.startswith("Evenfoot: ")
    assert len(done.stderr.strip().splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_exchange_files_say_what_they_leave_behind(ledger: Path, tmp_path: Path) -> None:
    done = run(ledger, "export", "--format", "ade", "-o", str(tmp_path / "ade"))
    assert done.returncode == 0
    assert "the standard has no place for visit_kind (25), herd_size (25)" in done.stderr
    collection = json.loads((tmp_path / "ade" / "home-farm.json").read_text(encoding="utf-8"))
    assert collection["view"]["totalItems"] == 25
    single = run(ledger, "export", "--format", "ade", "-o", str(tmp_path / "one.json"), "--farm", "Home Farm")
    assert single.returncode == 0
    assert json.loads((tmp_path / "one.json").read_text(encoding="utf-8")) == collection


def test_an_export_goes_into_another_ledger(ledger: Path, tmp_path: Path) -> None:
    assert run(ledger, "export", "-o", str(tmp_path / "csv")).returncode == 0
    other = tmp_path / "other.duckdb"
    done = run(other, "import", str(tmp_path / "csv" / "trims.csv"))
    assert "25 records read, 25 added" in done.stdout


def test_a_backup_goes_back(ledger: Path, tmp_path: Path) -> None:
    assert run(ledger, "backup", str(tmp_path / "copy.duckdb")).returncode == 0
    other = tmp_path / "other.duckdb"
    done = run(other, "restore", str(tmp_path / "copy.duckdb"))
    assert done.returncode == 0
    assert "Farms in it: 1." in done.stdout
    assert open_ledger(str(other)).farms() == ["Home Farm"]
    assert run(other, "restore", str(tmp_path / "copy.duckdb")).returncode == 2
    assert run(other, "restore", str(tmp_path / "copy.duckdb"), "--replace").returncode == 0
