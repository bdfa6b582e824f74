"""Short runs of the tortures, by the same chance each time; ``make torture`` runs them hundreds of times by another."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from tests.effort import tries
from tests.engines.servers import refuse_or_skip
from tests.torture.disk_record import Record, missing

pytestmark = pytest.mark.long

ROOT = Path(__file__).resolve().parents[2]

SHORT = {
    "killed": 6, "torn": 9, "full_disk": 9, "two_writers": 2, "restores": 9, "places": 15, "any_bytes": 45,
    "options": 24, "failing_calls": 15, "paused": 6,
}  # fmt: skip
"""Module -> times; a third of them in ``make test``. Each turn takes a good part of a second."""


@pytest.mark.parametrize("name", SHORT)
def test_nothing_is_lost(name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", f"tests.torture.{name}", "--times", str(tries(SHORT[name])), "--seed", "1"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=1200,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "nothing lost" in done.stdout


PROGRAM = """
import os, sys
at = sys.argv[1] + "/"
told = os.open(sys.argv[2], os.O_WRONLY | os.O_CREAT)
draft = os.open(at + "draft", os.O_WRONLY | os.O_CREAT)
os.write(draft, b"a" * 8192)
os.pwrite(draft, b"b" * 4096, 4096)
os.fsync(draft)
os.rename(at + "draft", at + "final")
folder = os.open(at, os.O_RDONLY)
os.fsync(folder)
os.write(told, b"done")
os.pwrite(draft, b"c" * 4096, 0)
os.ftruncate(draft, 4096)
os.unlink(at + "old")
"""


def test_what_a_disk_may_hold_when_the_power_goes(tmp_path: Path) -> None:
    """The record knows what is certain and what is not: every state that may be is met, and no other."""
    if why := missing():
        refuse_or_skip(why.rstrip("."))
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "old").write_bytes(b"o")
    record = Record.of([sys.executable, "-c", PROGRAM, str(folder), str(tmp_path / "told")], folder, tmp_path / "told")
    chance = random.Random(1)
    a, b, c = b"a" * 4096, b"b" * 4096, b"c" * 4096

    def seen(cut: int, *, in_order: bool) -> set[tuple[tuple[str, bytes], ...]]:
        states = set()
        for _ in range(150):
            record.lay_out(cut, tmp_path / "after", chance, names_in_order=in_order)
            found = {path.name: path.read_bytes() for path in (tmp_path / "after").iterdir()}
            states.add(tuple(sorted(found.items())))
        return states

    told = next(number for number, event in enumerate(record.events) if event.kind == "told")
    assert record.told_before(told + 1) == ["done"] and record.told_before(told) == []
    for in_order in (True, False):
        assert seen(told + 1, in_order=in_order) == {(("final", a + b), ("old", b"o"))}
    renamed = next(number for number, event in enumerate(record.events) if len(event.names) == 2)
    was, becomes = (("draft", a + b), ("old", b"o")), (("final", a + b), ("old", b"o"))
    assert seen(renamed + 1, in_order=True) == {was, becomes}
    assert seen(renamed + 1, in_order=False) == {(("old", b"o"),), was, becomes}
    ends = {dict(state)["final"] for state in seen(len(record.events), in_order=True)}
    torn = {c[: 512 * n] + a[512 * n :] + b for n in range(9)}
    assert {a + b, a, c, c + b} <= ends <= {a + b, a, c, c + b} | torn
    assert {len(state) for state in seen(len(record.events), in_order=True)} == {1, 2}
