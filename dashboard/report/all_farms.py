"""Reports of all farms into one folder, or only of those with new records since the last time."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime as dt
import json
import multiprocessing
import os
import sys
import traceback
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.schema import ROW_TABLES
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.request import Request, Sender
from evenfoot.dashboard.report.writing import save
from evenfoot.dashboard.ui.file_names import file_name

STATE = ".evenfoot-reports.json"
"""Kept in the folder: which records each farm's newest report rests on."""

FORMATS = ("pdf", "html", "xlsx")

DIGITS = 10
"""Hexadecimal digits of a row's digest that go into the sum over a farm: enough to tell any two sets of rows apart."""

MOST_WORKERS = 4
FARMS_A_WORKER = 4
"""A process of its own takes some seconds to start, which fewer farms than this do not win back.
[common practice, no source]"""


@dataclass(frozen=True)
class Outcome:
    """What came of one farm: the files written, or why there are none; and what should be known of them."""

    farm: str
    files: tuple[Path, ...] = ()
    trouble: str = ""
    told: tuple[str, ...] = ()


def records_of_farms(ledger: Ledger) -> dict[str, str]:
    """For every farm a text that changes whenever a record of it comes, goes or changes."""
    # The first digits of the digests of a farm's rows, added up: the same for the same rows in any order.
    digest = " + ".join(
        f"CAST(STRPOS('0123456789abcdef', SUBSTRING(row_key, {place}, 1)) - 1 AS BIGINT) * {16 ** (place - 1)}"
        for place in range(1, DIGITS + 1)
    )
    parts = " UNION ALL ".join(
        f"SELECT farm, '{kind}' AS kind, COUNT(*) AS n, CAST(SUM({digest}) AS BIGINT) AS mark "
        f"FROM {table} WHERE farm IS NOT NULL GROUP BY farm"
        for kind, (table, _) in ROW_TABLES.items()
    )
    frame = ledger.frame(f"SELECT farm, kind, n, mark FROM ({parts}) AS parts ORDER BY farm, kind")
    out: dict[str, str] = {}
    for farm, kind, n, mark in frame.itertuples(index=False):
        out[farm] = f"{out[farm]} {kind}:{n}:{mark}" if farm in out else f"{kind}:{n}:{mark}"
    return out


def farms_with_news(marks: dict[str, str], folder: Path) -> list[str]:
    """Farms that need a new report in *folder*, alphabetical.

    These are the farms whose records differ from those that their last report rests on, and the farms whose last
    report was since overwritten with that of another farm, as names of files once allowed.
    """
    told = _state(folder)
    changed = {farm for farm, mark in marks.items() if told.get(farm, {}).get("records") != mark}
    return sorted(changed | (_overwritten(told) & set(marks)))


def _overwritten(told: dict[str, dict[str, str]]) -> set[str]:
    """Farms one of whose files was written at the same time or later for another farm."""
    written: dict[str, list[tuple[str, str]]] = {}
    for farm, each in told.items():
        for name in filter(None, each.get("files", "").split(", ")):
            written.setdefault(name.casefold(), []).append((each.get("written", ""), farm))
    out = set()
    for times in written.values():
        last = max(moment for moment, _ in times)
        newest = [farm for moment, farm in times if moment == last]
        out |= {farm for _, farm in times} - (set(newest) if len(newest) == 1 else set())
    return out


def report_all(
    ledger: Ledger,
    template: Request,
    folder: Path,
    *,
    formats: Sequence[str] = ("pdf",),
    since_last: bool = False,
    owners: dict[str, Sender] | None = None,
    dry_run: bool = False,
    deliver: Callable[[str, Sequence[Path]], None] | None = None,
    workers: int | None = None,
) -> list[Outcome]:
    """Write a report of every farm.

    A farm whose report cannot be made, for whatever reason, does not stop the others. What a farm's report rests on is
    noted when it is written and delivered, so that what failed is tried again next time.

    Parameters
    ----------
    ledger : Ledger
    template : Request
        All but the farm and its owner.
    folder : Path
    formats : sequence of {"pdf", "html", "xlsx"}
    since_last : bool
        Only farms with records that came, went or changed since their last report in this folder.
    owners : dict of str to Sender, optional
        Letterhead of the farms.
    dry_run : bool
        Name the files that would be written; write nothing.
    deliver : callable, optional
        Takes a farm and its files, once they are written.
    workers : int, optional
        Processes to work with; by the number of farms and of the machine's cores without it.

    Returns
    -------
    list of Outcome

    Raises
    ------
    UserError
        The folder cannot be used, or a format is another one.
    """
    for each in formats:
        if each not in FORMATS:
            raise UserError(f"'{each}' is not a format of a report; use {', '.join(FORMATS)}.")
    marks = records_of_farms(ledger)
    farms = farms_with_news(marks, folder) if since_last else sorted(marks)
    if not dry_run:
        _prepare(folder)
    tasks = []
    for farm in farms:
        request = dataclasses.replace(template, farm=farm, owner=(owners or {}).get(farm, Sender()))
        tasks.append((ledger.address, request, [folder / f"{file_name(farm)}.{each}" for each in formats]))
    if dry_run:
        return [Outcome(request.farm, tuple(wanted)) for _, request, wanted in tasks]
    out = []
    with _progress(len(farms)) as tell, _working(workers or _workers(len(tasks))) as work:
        for outcome in work(tasks):
            tell(outcome.farm)
            outcome = _delivered(outcome, deliver)
            if not outcome.trouble:
                _note(folder, outcome.farm, marks[outcome.farm], outcome.files)
            out.append(outcome)
    return out


Task = tuple[str, Request, list[Path]]


def _workers(tasks: int) -> int:
    return max(1, min(MOST_WORKERS, os.cpu_count() or 1, tasks // FARMS_A_WORKER))


@contextlib.contextmanager
def _working(workers: int) -> Iterator[Callable[[list[Task]], Iterator[Outcome]]]:
    """Make reports one after another in this process, or several at a time in processes of their own.

    Most of a report's time is Python's own, so threads would not help; readers of one ledger do not hinder each other.
    """
    if workers == 1:
        yield lambda tasks: map(_one, tasks)
        return
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
        yield lambda tasks: pool.map(_one, tasks)


def _delivered(outcome: Outcome, deliver: Callable[[str, Sequence[Path]], None] | None) -> Outcome:
    if deliver is None or outcome.trouble:
        return outcome
    try:
        deliver(outcome.farm, outcome.files)
    except UserError as mistake:
        return dataclasses.replace(outcome, trouble=str(mistake))
    return outcome


def _one(task: Task) -> Outcome:
    address, request, wanted = task
    written: list[Path] = []
    told: list[str] = []
    try:
        contents = collect(open_ledger(address), request)
        for path in wanted:
            written += save(contents, path, told.append)
    except UserError as mistake:
        return Outcome(request.farm, tuple(written), str(mistake))
    except Exception as fault:
        return Outcome(request.farm, tuple(written), _fault(fault))
    return Outcome(request.farm, tuple(written), told=tuple(told))


def _fault(fault: Exception) -> str:
    """The sentence on an error of the program itself, which is no mistake of the user's."""
    last = traceback.extract_tb(fault.__traceback__)[-1]
    return (
        f"the report hit an error in Evenfoot ({type(fault).__name__} in {Path(last.filename).name}, line "
        f"{last.lineno}); the records are safe. A report of this farm alone shows all of the error."
    )


def _prepare(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(f"The folder {folder} cannot be made ({error.strerror}); choose another place.") from None


def _state(folder: Path) -> dict[str, dict[str, str]]:
    try:
        said = json.loads((folder / STATE).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError):
        raise UserError(f"{folder / STATE} cannot be read; delete it to write all reports anew.") from None
    if not isinstance(said, dict) or not all(isinstance(one, dict) for one in said.values()):
        raise UserError(f"{folder / STATE} is not what was written there; delete it to write all reports anew.")
    return said


def _note(folder: Path, farm: str, mark: str, files: Sequence[Path]) -> None:
    """Note one farm, whole or not at all."""
    said = _state(folder)
    said[farm] = {
        "records": mark,
        "written": f"{dt.datetime.now(dt.UTC):%Y-%m-%dT%H:%M:%SZ}",
        "files": ", ".join(path.name for path in files),
    }
    draft = folder / f"{STATE}.{os.getpid()}.draft"
    draft.write_text(json.dumps(said, ensure_ascii=False, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    draft.replace(folder / STATE)


@contextlib.contextmanager
def _progress(total: int) -> Iterator[Callable[[str], None]]:
    """A bar on a terminal; nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda farm: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("Reports", total=total)
        started = [False]

        def tell(farm: str) -> None:
            if started[0]:
                bar.advance(task)
            started[0] = True
            bar.update(task, description=farm[:40])

        yield tell
