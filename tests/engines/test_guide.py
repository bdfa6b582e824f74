"""The commands of docs/engines.md, run as they are written, on the sheet of docs/sheets.md."""

from __future__ import annotations

import csv
import os
import re
import subprocess
import sys
from pathlib import Path
from urllib.parse import urlsplit

import pytest

pytestmark = pytest.mark.long

ROOT = Path(__file__).parents[2]
ENGINES, SHEETS = ROOT / "docs" / "engines.md", ROOT / "docs" / "sheets.md"


def section(guide: Path, title: str) -> str:
    """The text under a heading of a guide, up to the next of its rank."""
    text = guide.read_text(encoding="utf-8")
    rank = re.search(rf"^(#+) {re.escape(title)}$", text, re.MULTILINE)
    assert rank is not None, title
    rest = text[rank.end() :]
    end = re.search(rf"^#{{1,{len(rank[1])}}} ", rest, re.MULTILINE)
    return rest[: end.start()] if end else rest


def commands(about: str) -> str:
    """The one block of commands that names *about*."""
    blocks = re.findall(
        r"^```sh\n(.*?)^```$", section(ENGINES, "When one machine is not enough"), re.MULTILINE | re.DOTALL
    )
    [block] = [each for each in blocks if about in each]
    return str(block)


def sheet(path: Path) -> None:
    """The sheet that the guide shows, as a file."""
    rows = [
        [cell.strip() for cell in line.strip().strip("|").split("|")]
        for line in section(SHEETS, "What a sheet looks like").splitlines()
        if line.startswith("|") and not set(line) <= set("|- ")
    ]
    assert len(rows) == 11
    with path.open("w", newline="") as file:
        csv.writer(file).writerows(rows)


def run(block: str, folder: Path, **environment: str) -> str:
    """What a shell says of the commands, each of which has to succeed."""
    sheet(folder / "my-sheet.csv")
    bin_folder = Path(sys.executable).parent
    own = {**os.environ, **environment, "PATH": f"{bin_folder}:{os.environ['PATH']}", "HOME": str(folder)}
    own["PYTHONPATH"] = str(ROOT)
    done = subprocess.run(
        ["bash", "-e", "-c", block], cwd=folder, env=own, capture_output=True, text=True, timeout=1200
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Traceback" not in done.stderr, done.stderr
    return done.stdout


def expected(said: str) -> None:
    assert "10 records read, 10 added, 0 already known, 0 set aside" in said
    assert "is whole. Imports: 1. Rows: 10." in said
    assert "Home Farm was erased" in said and "Rows: 10. Imports concerned: 1." in said


def test_an_office_on_a_server(postgres: str, tmp_path: Path) -> None:
    place = urlsplit(postgres)
    server = {"PGHOST": "127.0.0.1", "PGPORT": str(place.port), "PGUSER": "postgres", "PGPASSWORD": "postgres"}
    said = run(commands("createdb"), tmp_path, **server)
    expected(said)
    assert "office-copy.duckdb" in said and (tmp_path / "at-home.duckdb").is_file()


def test_a_registry_in_a_folder(spark: None, tmp_path: Path) -> None:
    expected(run(commands("buckets=16"), tmp_path))
    assert (tmp_path / "registry" / "evenfoot.json").is_file()
