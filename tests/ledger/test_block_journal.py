"""Blocks that a power cut spoils while the log is folded into the file are put back, and nothing is lost."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from evenfoot.analytics.ledger.engines.block_journal import HEADS, blocks_kept, kept_blocks, undo_cut_short
from tests.torture.imports import state_of
from tests.torture.torn import make

BLOCK = 262144
WHOLE = {"1.csv": (50, False), "2.csv": (50, False), "3.csv": (60, False)}


@pytest.fixture
def cut(tmp_path: Path) -> Path:
    """A ledger whose process ended between keeping the change in the log and folding it into the file."""
    path = tmp_path / "ledger.duckdb"
    make(path, 60)
    assert kept_blocks(path).exists()
    return path


def spoil(path: Path, where: int) -> None:
    with path.open("r+b") as file:
        file.seek(where)
        file.write(b"\xa5" * 4096)


def test_a_block_written_in_part_is_put_back(cut: Path) -> None:
    spoil(cut, HEADS + 8192)
    with pytest.raises(duckdb.Error, match="checksum"):
        duckdb.connect(str(cut), read_only=True)
    seen = state_of(str(cut))
    assert seen.result == ((), WHOLE)
    assert not kept_blocks(cut).exists()


def test_without_the_kept_blocks_it_is_told(cut: Path) -> None:
    kept_blocks(cut).unlink()
    spoil(cut, HEADS + 8192)
    told = state_of(str(cut)).mistake
    assert told is not None and "put a backup back" in told and "in use" not in told


def test_what_is_kept_of_an_older_state_is_not_put_back(cut: Path, tmp_path: Path) -> None:
    old = kept_blocks(cut).read_bytes()
    assert state_of(str(cut)).result == ((), WHOLE)
    duckdb.connect(str(cut)).close()  # The log goes into the file, which has another head now.
    kept_blocks(cut).write_bytes(old)
    before = cut.read_bytes()
    assert not undo_cut_short(cut)
    assert cut.read_bytes() == before and not kept_blocks(cut).exists()


def test_blocks_that_were_not_kept_whole_are_not_put_back(cut: Path) -> None:
    content = kept_blocks(cut).read_bytes()
    before = cut.read_bytes()
    for spoiled in (content[:-1], content[:40], b"", content[:-1] + b"x"):
        kept_blocks(cut).write_bytes(spoiled)
        assert not undo_cut_short(cut)
        assert cut.read_bytes() == before
    assert state_of(str(cut)).result == ((), WHOLE)


def test_nothing_is_put_back_under_a_writers_hands(cut: Path, tmp_path: Path) -> None:
    program = (
        "import duckdb, sys; c = duckdb.connect(sys.argv[1]); print('has it', flush=True); sys.stdin.read(); c.close()"
    )
    shutil.copyfile(kept_blocks(cut), tmp_path / "kept")
    writer = subprocess.Popen(
        [sys.executable, "-c", program, str(cut)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout is not None and writer.stdout.readline() == "has it\n"
    assert not undo_cut_short(cut)
    assert kept_blocks(cut).exists()
    writer.communicate("")


THE_NEXT = """
import sys
from pathlib import Path
from evenfoot.analytics.ledger.file_locks import locked
file = open(sys.argv[1], "r+b")
print(locked(file, alone=True), flush=True)
sys.stdin.read()
"""


def test_the_blocks_of_who_writes_next_stay(cut: Path) -> None:
    """Another program begins to write as soon as the engine has let go of the file."""
    connection, handle = duckdb.connect(str(cut)), os.open(cut, os.O_RDONLY)
    with blocks_kept(connection, handle, cut):
        connection.close()
        command = [sys.executable, "-c", THE_NEXT, str(cut)]
        writer = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert writer.stdout is not None and writer.stdout.readline() == "True\n"
        kept_blocks(cut).write_bytes(b"theirs")
    assert kept_blocks(cut).read_bytes() == b"theirs"
    writer.communicate("")
    os.close(handle)
