"""Changes of a whole ledger that are made in one step: a new layout, a backup, a backup put back, a farm erased.

Whatever cuts such a change short, what is there afterwards is the ledger from before or the one from after.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.ledger.integrity.backup import back_up, restore
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.integrity.repair import mend
from evenfoot.analytics.ledger.schema import SCHEMA_VERSION
from tests.ledger.storing import unpack
from tests.torture.forked import Tally, Work, run
from tests.torture.imports import sheet_of, state_of

ERASED = 77
"""The turn whose farm is erased; nothing else in the ledger holds these letters."""

Contents = dict[str, tuple[int, str]]
"""Table -> (rows, digest of them)."""


@dataclass(frozen=True)
class Change:
    """One change.

    Attributes
    ----------
    name : str
    prepare : callable
        Makes what is there before, in an empty folder.
    work : callable
        The change itself, on the ledger in a folder.
    result : str
        The file that is the old one before and the new one afterwards.
    beside : str
        Pattern of files that the change keeps of the old ledger; each must be it, whole.
    keeps : bool
        Whether there must be one of them once the new ledger is there.
    """

    name: str
    prepare: Callable[[Path], None]
    work: Callable[[Path], Work]
    result: str = "ledger.duckdb"
    beside: str = ""
    keeps: bool = False


def _filled(path: Path, turns: tuple[int, ...], rows: int = 60) -> None:
    def work(_tell: Callable[[Any], None]) -> None:
        for turn in turns:
            add_sheets(open_ledger(str(path)), [sheet_of(turn, rows)], f"{turn}.csv", "0" * 64)

    told = run(work)
    assert not told.crash and not told.mistake, told.crash or told.mistake


def _doing(act: Callable[[Any], Any]) -> Callable[[Path], Work]:
    def on(folder: Path) -> Work:
        def work(tell: Callable[[Any], None]) -> None:
            tell("ready")
            act(folder)
            tell("done")

        return work

    return on


def _old_layout(layout: int) -> Callable[[Path], None]:
    def prepare(folder: Path) -> None:
        unpack(layout, folder / "ledger.duckdb")

    return prepare


def _two(folder: Path) -> None:
    _filled(folder / "ledger.duckdb", (1, 2))
    _filled(folder / "backup.duckdb", (3, 4))


def _old_backup(folder: Path) -> None:
    _filled(folder / "ledger.duckdb", (1, 2))
    unpack(1, folder / "backup.duckdb")


def _only_backup(folder: Path) -> None:
    _filled(folder / "backup.duckdb", (3, 4))


def _put_back(folder: Path) -> None:
    restore(open_ledger(str(folder / "ledger.duckdb")), folder / "backup.duckdb", replace=True)


CHANGES = (
    *(
        Change(
            f"layout {layout} brought up to date",
            _old_layout(layout),
            _doing(lambda folder: open_ledger(str(folder / "ledger.duckdb")).imports()),
            beside="backups/*.duckdb",
            keeps=True,
        )
        for layout in range(1, SCHEMA_VERSION)
    ),
    Change(
        "backup made",
        lambda folder: _filled(folder / "ledger.duckdb", (1, 2)),
        _doing(lambda folder: back_up(open_ledger(str(folder / "ledger.duckdb")), folder / "copy.duckdb")),
        result="copy.duckdb",
    ),
    Change("backup put back", _two, _doing(_put_back), beside="*.old", keeps=True),
    Change("backup of layout 1 put back", _old_backup, _doing(_put_back), beside="*.old", keeps=True),
    Change("backup put into an empty place", _only_backup, _doing(_put_back)),
    Change(
        "farm erased",
        lambda folder: _filled(folder / "ledger.duckdb", (1, ERASED, 3)),
        _doing(lambda folder: erase_farm(open_ledger(str(folder / "ledger.duckdb")), f"Farm {ERASED}")),
    ),
)


OWN = "'ledger', 'digest of meta', 'digest of history'"
"""What each ledger says of itself: its id, and the sums of that and of the moments of its history."""


def contents(path: Path) -> Contents | str:
    """What a ledger holds, of whatever layout, without changing it; else the sentence why it cannot be read.

    The moments of history and the id of the ledger are left out, and what is worked out from them: no two runs have the
    same.
    """

    def look(_tell: Callable[[Any], None]) -> Any:
        ledger = open_ledger(str(path))
        with ledger.lease.reading() as cursor:
            out = {}
            for table in sorted(ledger.engine.tables(cursor)):
                columns = [name for (name, *_) in cursor.execute(f"DESCRIBE {table}").fetchall() if name != "noted_at"]
                listed = ", ".join(f'"{name}"' for name in columns)
                [(count, digest)] = cursor.execute(
                    f"SELECT COUNT(*), COALESCE(SUM(HASH({listed})), 0) FROM {table}"
                    + (f" WHERE name NOT IN ({OWN})" if table == "meta" else "")
                ).fetchall()
                out[table] = (count, str(digest))
        return out

    if not path.exists():
        return {}
    told = run(look)
    assert told.crash is None, told.crash
    return told.mistake or told.result


@dataclass(frozen=True)
class Known:
    """A change that has been made once undisturbed: what is there before and after it."""

    change: Change
    before: Path
    old: Contents
    new: Contents
    kept: Contents

    @classmethod
    def by_doing(cls, change: Change, folder: Path) -> Known:
        """Make the change in *folder*, and keep what it began with for the turns to come."""
        before, place = folder / "before", folder / "undisturbed"
        before.mkdir(parents=True)
        change.prepare(before)
        shutil.copytree(before, place)
        told = run(change.work(place))
        assert told.said == ["ready", "done"], told.crash or told.mistake
        seen = [contents(at / change.result) for at in (before, place)]
        kept = contents(before / "ledger.duckdb")
        assert isinstance(seen[0], dict) and isinstance(seen[1], dict) and isinstance(kept, dict), (seen, kept)
        assert seen[0] != seen[1], "the change changes nothing"
        return cls(change, before, seen[0], seen[1], kept)

    def laid_out(self, place: Path) -> Path:
        """A fresh folder as it is before the change."""
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(self.before, place)
        return place

    def judge(self, tally: Tally, what: str, place: Path, *, done: bool) -> None:
        """Whether *place* holds the old or the new, and everything that was to be kept."""
        name, change = f"{what}: {self.change.name}", self.change
        path = place / change.result
        seen = contents(path)
        if isinstance(seen, str):
            tally.add(f"{change.name}: told that the log cannot be read, mended")
            told = run(lambda _tell: str(mend(open_ledger(str(path)))))
            seen = told.crash or told.mistake or contents(path)
        if seen == self.new:
            tally.add(f"{change.name}: the new")
        elif seen == self.old:
            tally.add(f"{change.name}: the old")
            if done:
                tally.fail(f"{name}: was told to be done, and is not")
        else:
            tally.fail(f"{name}: neither the old nor the new: {seen}")
            return
        for one in place.glob(change.beside) if change.beside else ():
            if contents(one) != self.kept:
                tally.fail(f"{name}: {one.name} is not the ledger from before: {contents(one)}")
        if change.keeps and seen == self.new and not list(place.glob(change.beside)):
            tally.fail(f"{name}: nothing is kept of the ledger from before")
        if change.name == "farm erased" and seen == self.new and f"Farm {ERASED}".encode() in path.read_bytes():
            tally.fail(f"{name}: the farm's name is still in the file")
        if seen == self.old and change.name != "backup put into an empty place":
            self._again(tally, name, place)
        if path.exists():
            state = state_of(str(path))
            for finding in state.result[0] if state.result else (state.crash or state.mistake,):
                tally.fail(f"{name}: afterwards {finding}")

    def _again(self, tally: Tally, name: str, place: Path) -> None:
        """What was cut short can be done after all."""
        told = run(self.change.work(place))
        if told.said != ["ready", "done"] or contents(place / self.change.result) != self.new:
            tally.fail(f"{name}: cannot be done again: {told.crash or told.mistake}")


def killed_at_random(tally: Tally, times: int, chance: random.Random, folder: Path) -> None:
    """Make each change *times* times, each killed at a random moment of the time it takes."""
    import time

    for number, change in enumerate(CHANGES):
        known = Known.by_doing(change, folder / f"change-{number}")
        began = time.monotonic()
        run(change.work(known.laid_out(folder / "turn")))
        length = time.monotonic() - began
        for _ in range(times):
            place = known.laid_out(folder / "turn")
            told = run(change.work(place), kill_after=chance.uniform(0, 1.1 * length))
            if told.crash or told.mistake:
                tally.fail(f"killed: {change.name}: {told.crash or told.mistake}")
                continue
            known.judge(tally, "killed", place, done="done" in told.said)
