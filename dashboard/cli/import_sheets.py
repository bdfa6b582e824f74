"""``evenfoot import`` and ``evenfoot check``: files in, counts, questions and reasons out."""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import json
import sys
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.checks.records import LEFT_BLANK
from evenfoot.analytics.intake.layouts.questions import Question
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.exports.agreements_file import FILE as AGREEMENTS
from evenfoot.analytics.ledger.exports.agreements_file import is_agreements, take_agreements
from evenfoot.analytics.ledger.exports.folder import files_of_export
from evenfoot.analytics.ledger.exports.saved_answers import FILE, is_remembered, take_remembered
from evenfoot.analytics.ledger.imports.add import ImportResult, add_sheets
from evenfoot.analytics.ledger.imports.file_import import PreparedImport, prepare_import, records_table, run_import
from evenfoot.analytics.messages import say

SHOWN_REASONS = 5
SHOWN_CHOICES = 8
SHOWN_DIFFERENCES = 6
ASKED_OF_LEDGER = ("same-farm", "same-cows", "same-visits", "rest", "kind")
"""What begins the ids of questions that rest on what is in the ledger already."""
SET_ASIDE, QUESTION_OPEN = 4, 3
"""Exit codes: some rows were set aside and the rest went in; a question is open and nothing was written."""


def import_paths(
    files: Sequence[Path],
    address: str | None,
    farm: str | None,
    day_first: bool | None,
    as_json: bool,
    *,
    dry_run: bool,
    given: Mapping[str, str] | None = None,
    accept: bool = False,
    records: bool = False,
) -> int:
    """Import or check files one after another; a file that cannot be read does not stop the others.

    Returns
    -------
    int
        The exit code: 0 all in or known, 3 a question is open, 4 some rows set aside.

    Raises
    ------
    UserError
        At the end, when any file could not be read.
    """
    ledger = open_ledger(address)
    unread: list[str] = []
    codes: list[int] = [0]
    parts: list[_Part] = []
    for path in files:
        try:
            parts += _parts(ledger, path)
        except UserError as mistake:
            unread.append(str(mistake))
    reading = _Reading(ledger, farm, day_first, dict(given or {}), accept, ask=not (as_json or records))
    if given and len(parts) > 1:
        # Before anything is written; what is asked about names and visits may follow from the files before.
        met = {id for part in parts for id in _ids_met(reading, part)}
        _refuse_unknown({id for id in given if id.split(":")[0] not in ASKED_OF_LEDGER}, met)
    for part in parts:
        path = part.path
        try:
            digest = _digest(path)
            if path.name == FILE and is_remembered(path.read_bytes()):
                _take_remembered(ledger, path, dry_run=dry_run)
                continue
            if _holds_agreements(path):
                _take_agreements(ledger, path, dry_run=dry_run)
                continue
            prepared = reading.prepared(part)
            if len(parts) == 1:
                _refuse_unknown(given or {}, prepared.answers.ids)
            if records:
                _print_records(prepared)
                codes.append(QUESTION_OPEN if prepared.answers.blocking() else 0)
                continue
            codes.append(_import_one(ledger, prepared, digest, as_json, dry_run))
        except UserError as mistake:
            unread.append(str(mistake))
    if unread:
        raise UserError(" ".join(unread))
    return QUESTION_OPEN if QUESTION_OPEN in codes else max(codes)


def given_answers(said: Sequence[str]) -> dict[str, str]:
    """Answers given as ID=VALUE.

    Raises
    ------
    UserError
        One has no equals sign.
    """
    given: dict[str, str] = {}
    for one in said:
        # An id may hold an equals sign, a value does not.
        id, equals, value = one.rpartition("=")
        if not equals or not id.strip():
            raise UserError(f"'{one}' is no answer; write --answer ID=VALUE, with an id that `evenfoot check` prints.")
        given[id.strip()] = value.strip()
    return given


def list_layouts(address: str | None) -> None:
    """Print the layouts that are remembered."""
    from evenfoot.analytics.ledger.layout_answers import layouts

    found = layouts(open_ledger(address))
    if found.empty:
        print("No layout is remembered yet.")
    for row in found.itertuples(index=False):
        headings = ", ".join(json.loads(str(row.headings)))
        whose = f", sheets of {row.trimmer}" if isinstance(row.trimmer, str) and row.trimmer else ""
        print(f"{row.layout_no}  {row.name}{whose}: {headings}")
        for question, value in json.loads(str(row.answers)).items():
            print(f"     {question} = {value}")


@dataclass(frozen=True)
class _Part:
    """A file to be brought in, and what is not asked about it; see :func:`prepare_import`."""

    path: Path
    settled: frozenset[str] = frozenset()


def _parts(ledger: Ledger, path: Path) -> list[_Part]:
    """A file, or the files of a folder that an export wrote."""
    if not path.is_dir():
        return [_Part(path)]
    # What an export holds was asked about when it came in. Names are compared where there are others already.
    settled = frozenset({"rest"} if ledger.farms() else {"rest", "names"})
    return [_Part(file, settled) for file in files_of_export(path)]


@dataclass(frozen=True)
class _Reading:
    """How files are read: the options of the command."""

    ledger: Ledger
    farm: str | None
    day_first: bool | None
    given: dict[str, str]
    accept: bool
    ask: bool

    def prepared(self, part: _Part) -> PreparedImport:
        """A file read and compared; on a terminal what stops the import, and who else was looked at, is asked."""
        given = dict(self.given)
        while True:
            with working(f"Reading {part.path.name}"):
                prepared = prepare_import(
                    self.ledger, part.path, part.path.name, farm=self.farm, day_first=self.day_first, given=given,
                    accept=self.accept, settled=part.settled,
                )  # fmt: skip
            open_ones = prepared.answers.blocking()
            if not self.accept:
                open_ones += [
                    one for one in prepared.answers.open()
                    if one.id.split(":")[0] in ("rest", "kind") and one not in open_ones
                ]  # fmt: skip
            if not open_ones or not self.ask or not (sys.stdin.isatty() and sys.stdout.isatty()):
                return prepared
            given[open_ones[0].id] = _ask(open_ones[0])


def _ids_met(reading: _Reading, part: _Part) -> set[str]:
    """Ids of the questions and columns of a file; none where it cannot be read, which is said later."""
    try:
        _digest(part.path)
        if part.path.name == FILE or _holds_agreements(part.path):
            return set()
        return replace(reading, ask=False).prepared(part).answers.ids
    except UserError:
        return set()


def _refuse_unknown(given: Iterable[str], met: Collection[str]) -> None:
    unknown = [f"'{id}'" for id in given if id not in met]
    if not unknown:
        return
    shown = [f"'{id}'" for id in sorted(met) if not id.startswith("column:")] or [f"'{id}'" for id in sorted(met)]
    more = f" and {len(shown) - SHOWN_CHOICES} more" if len(shown) > SHOWN_CHOICES else ""
    has = f"The ids are: {', '.join(shown[:SHOWN_CHOICES])}{more}." if shown else "Nothing is asked."
    raise UserError(
        f"No question has the id {' or '.join(unknown)}; nothing was written. {has} `evenfoot check` prints them."
    )


def list_aliases(address: str | None) -> None:
    """Print the names that stand for others, numbered, and those that were said not to."""
    found = _aliases(open_ledger(address))
    if not found:
        print("No name is remembered yet.")
    for number, (kind, farm, said, means) in found.items():
        whose = f" ({farm})" if kind == "cow" else ""
        print(f"{number}  {kind}{whose}: {said} = {means if said != means else 'a name of its own'}")


def _aliases(ledger: Ledger) -> dict[int, tuple[str, str, str, str]]:
    """Number -> kind, farm, name in sheets and name in the ledger of those that hold."""
    from evenfoot.analytics.ledger.aliases import aliases

    found = aliases(ledger)
    lines = zip(*(found[name].tolist() for name in ("kind", "farm", "said", "means")), strict=True)
    holds = found["taken_back_at"].isna().tolist()
    return {number: line for number, (line, held) in enumerate(zip(lines, holds, strict=True), start=1) if held}


def remove_alias(address: str | None, number: int) -> None:
    """Take back what is remembered of a name, by its number in :func:`list_aliases`.

    Raises
    ------
    UserError
        Nothing that holds has the number.
    """
    from evenfoot.analytics.ledger.aliases import take_back_alias

    ledger = open_ledger(address)
    found = _aliases(ledger)
    if number not in found:
        raise UserError(f"No name has the number {number}; `evenfoot aliases` lists them.")
    kind, farm, said, means = found[number]
    take_back_alias(ledger, kind, said, farm if kind == "cow" else None)
    print(
        f"What was said of {said} was taken back. Records that came in as {means} stay; "
        "`evenfoot undo` takes an import back."
    )


def _take_remembered(ledger: Ledger, path: Path, *, dry_run: bool) -> None:
    """Take in names and layouts of an export, and say how many."""
    would = "would be " if dry_run else ""
    told = json.loads(path.read_bytes())
    names, layouts = (
        (len(told["names"]), len(told["layouts"])) if dry_run else take_remembered(ledger, path.read_bytes())
    )
    print(f"{path.name}: {names} names and {layouts} layouts {would}remembered.")


def _holds_agreements(path: Path) -> bool:
    return path.name == AGREEMENTS and is_agreements(path.read_bytes())


def _take_agreements(ledger: Ledger, path: Path, *, dry_run: bool) -> None:
    """Take in what was agreed from an export, and say how many."""
    would = "would be " if dry_run else ""
    added, known = take_agreements(ledger, path.read_bytes(), dry_run=dry_run)
    print(f"{path.name}: {added} agreements {would}added, {known} already known.")


def _ask(question: Question) -> str:
    """The answer of a person at the terminal: a number of the list, or words where they are free."""
    import typer

    print(question.text)
    for number, choice in enumerate(question.choices, start=1):
        print(f"  {number}  {choice.says}")
    numbers = {str(number): choice.value for number, choice in enumerate(question.choices, start=1)}
    values = {choice.value for choice in question.choices}
    default = next((number for number, value in numbers.items() if value == question.default), question.default)
    while True:
        said = str(typer.prompt("Answer", default=default)).strip()
        if said in numbers:
            return numbers[said]
        if said in values or (question.free and said):
            return said
        print("Give the number of one of the lines above.")


def _import_one(ledger: Ledger, prepared: PreparedImport, digest: str, as_json: bool, dry_run: bool) -> int:
    blocking = prepared.answers.blocking()
    result = None
    if not blocking and not dry_run:
        with working(f"Adding {prepared.file}"):
            result = run_import(ledger, prepared, digest)
    elif dry_run:
        result = counted(ledger, prepared, digest)
    if as_json:
        said = prepared.as_json()
        if result is not None:
            said |= {
                "records": result.read - result.set_aside,
                "read": result.read,
                "added": result.added,
                "already_known": result.already_known,
                "set_aside": result.set_aside,
                "import": result.import_no or None,
            }
        said["notes"] = [*said["notes"], *reasons(prepared.listed)]
        print(json.dumps(said))
    elif result is not None:
        print(_sentence(result, dry_run))
    if not as_json and (blocking or dry_run):
        for question in prepared.answers.open():
            for line in _explain_question(question):
                print(line, file=sys.stderr)
    for line in (*_both_versions(prepared), *explain(prepared, result)):
        print(line, file=sys.stderr)
    if blocking:
        if not dry_run:
            print(
                f"{prepared.file}: nothing was written. Questions that are open: {len(blocking)}. Answer each with "
                "--answer ID=VALUE, or take what is likeliest with --accept.",
                file=sys.stderr,
            )
        return QUESTION_OPEN
    return 0 if prepared.is_whole and (result is None or not result.set_aside) else SET_ASIDE


def counted(ledger: Ledger, prepared: PreparedImport, digest: str) -> ImportResult:
    """The result that an import would have."""
    if prepared.stream is not None:
        from evenfoot.analytics.ledger.imports.bulk import add_stream

        return add_stream(ledger, prepared.stream, prepared.file, digest, dry_run=True)
    return add_sheets(
        ledger, prepared.sheets, prepared.file, digest, revision_choice=prepared.revision_choice, dry_run=True
    )


def _explain_question(question: Question) -> list[str]:
    shown = question.choices[:SHOWN_CHOICES]
    lines = [f"Question {question.id}: {question.text}"]
    for choice in shown:
        mark = " (likeliest)" if choice.value == question.default else ""
        lines.append(f"  --answer '{question.id}={choice.value}'  {choice.says}{mark}")
    if len(question.choices) > len(shown):
        lines.append(f"  ... and {len(question.choices) - len(shown)} more; --json lists them.")
    if question.free and not shown:
        lines.append(f"  --answer '{question.id}=...'")
    return lines


def _both_versions(prepared: PreparedImport) -> list[str]:
    """The first records of which the ledger has another version, one line a record: each field as it was and is."""
    found = prepared.differences
    lines = [
        f"Row {row}, cow {cow}: "
        + "; ".join(f"{one.field} {_shown(one.before)} -> {_shown(one.now)}" for one in fields)
        for (row, cow), fields in itertools.groupby(found.itertuples(index=False), key=lambda one: (one.row, one.cow))
    ]
    if not lines:
        return []
    more = len(lines) - SHOWN_DIFFERENCES
    return [
        f"{prepared.file} differs from what is here (here -> in the file):",
        *(f"  {line}" for line in lines[:SHOWN_DIFFERENCES]),
        *([f"  ... and {more} more; --json lists them."] if more > 0 else []),
    ]


def _shown(value: object) -> str:
    return "(blank)" if value is None else f"'{value}'" if isinstance(value, str) else str(value)


def explain(prepared: PreparedImport, result: ImportResult | None) -> list[str]:
    """Notes on how the file was understood, and the first reasons rows were set aside."""
    lines = [str(note) for note in prepared.told]
    lines += [str(question) for question in result.questioned] if result is not None else []
    lines += reasons(prepared.listed)
    held = prepared.set_aside if result is None else result.set_aside
    number = result.import_no if result is not None else 0
    where = f"; `evenfoot rejected {number}` gives them to be corrected and imported again" if number else ""
    if held:
        lines.append(f"Rows set aside: {held}{where}.")
    if prepared.cells_left_blank:
        lines.append(f"Cells left blank, their rows kept: {prepared.cells_left_blank}{where}.")
    return lines


def reasons(listed: pd.DataFrame) -> list[str]:
    """The first reasons for which rows were set aside or cells left blank."""
    lines: list[str] = []
    for row in listed.head(SHOWN_REASONS).itertuples(index=False):
        found = f" '{row.value}'" if isinstance(row.value, str) and row.value else ""
        what = "Left blank" if row.remedy == LEFT_BLANK else "Set aside"
        lines.append(f"{what}: {row.source}, row {row.row}, {row.column}{found}: {row.reason} {row.remedy}")
    return lines


def _print_records(prepared: PreparedImport) -> None:
    """The records as CSV in the canonical columns, tables of several kinds one under the other."""
    if prepared.stream is not None:
        raise UserError(say("{name} is too large to print its records; give a part of it.", name=prepared.file))
    for number, frame in enumerate(records_table(prepared.sheets).values()):
        if number:
            print()
        print(frame.to_csv(index=False, date_format="%Y-%m-%d"), end="")


def _sentence(result: ImportResult, dry_run: bool) -> str:
    would = "would be " if dry_run else ""
    number = "" if dry_run else f" Import {result.import_no}."
    return (
        f"{result.file}: {result.read} records read, {result.added} {would}added, {result.already_known} already "
        f"known, {result.set_aside} set aside.{number}"
    )


def _digest(path: Path) -> str:
    if path.exists() and not path.is_file():
        raise UserError(f"{path} is no file that can be read; give the name of one.")
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        raise UserError(f"There is no file {path}; check the name.") from None
    except OSError as error:
        raise UserError(f"{path} cannot be read: {error.strerror}.") from None


@contextlib.contextmanager
def working(what: str) -> Iterator[None]:
    """A spinner on standard error while something long runs; silent when it is not a terminal."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(what):
        yield
