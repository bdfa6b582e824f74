"""``evenfoot import`` and ``evenfoot check``: files in, counts, questions and reasons out."""

from __future__ import annotations

import contextlib
import hashlib
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.checks.records import LEFT_BLANK
from evenfoot.analytics.intake.layouts.questions import Question
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.exports.saved_answers import FILE, is_remembered, take_remembered
from evenfoot.analytics.ledger.imports.add import ImportResult, add_sheets
from evenfoot.analytics.ledger.imports.file_import import PreparedImport, prepare_import, records_table, run_import
from evenfoot.analytics.messages import say

SHOWN_REASONS = 5
SHOWN_CHOICES = 8
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
    for path in files:
        try:
            digest = _digest(path)
            if path.name == FILE and is_remembered(path.read_bytes()):
                _take_remembered(ledger, path, dry_run=dry_run)
                continue
            prepared = _prepared(ledger, path, farm, day_first, dict(given or {}), accept, ask=not (as_json or records))
            if records:
                _print_records(prepared)
                codes.append(QUESTION_OPEN if prepared.answers.blocking() else 0)
                continue
            codes.append(_import_one(ledger, prepared, digest, as_json, dry_run, several=len(files) > 1))
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


def _prepared(
    ledger: Ledger, path: Path, farm: str | None, day_first: bool | None, given: dict[str, str], accept: bool, *,
    ask: bool,
) -> PreparedImport:  # fmt: skip
    """A file read and compared; on a terminal what stops the import, and who else was looked at, is asked."""
    while True:
        with working(f"Reading {path.name}"):
            prepared = prepare_import(
                ledger, path, path.name, farm=farm, day_first=day_first, given=given, accept=accept
            )
        open_ones = prepared.answers.blocking()
        if not accept:
            open_ones += [one for one in prepared.answers.open() if one.id.startswith("rest") and one not in open_ones]
        if not open_ones or not ask or not (sys.stdin.isatty() and sys.stdout.isatty()):
            return prepared
        given[open_ones[0].id] = _ask(open_ones[0])


def _take_remembered(ledger: Ledger, path: Path, *, dry_run: bool) -> None:
    """Take in names and layouts of an export, and say how many."""
    would = "would be " if dry_run else ""
    told = json.loads(path.read_bytes())
    names, layouts = (
        (len(told["names"]), len(told["layouts"])) if dry_run else take_remembered(ledger, path.read_bytes())
    )
    print(f"{path.name}: {names} names and {layouts} layouts {would}remembered.")


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


def _import_one(
    ledger: Ledger, prepared: PreparedImport, digest: str, as_json: bool, dry_run: bool, *, several: bool
) -> int:
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
    for line in explain(prepared, result):
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


def explain(prepared: PreparedImport, result: ImportResult | None) -> list[str]:
    """Notes on how the file was understood, and the first reasons rows were set aside."""
    lines = [str(note) for note in prepared.told]
    lines += [str(question) for question in result.questioned] if result is not None else []
    lines += reasons(prepared.listed)
    held = prepared.set_aside if result is None else result.set_aside
    number = result.import_no if result is not None else 0
    where = f"; `evenfoot set-aside {number}` gives them to be mended and imported again" if number else ""
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
        f"{result.file}: {result.read} rows read, {result.added} {would}added, {result.already_known} already "
        f"known, {result.set_aside} set aside.{number}"
    )


def _digest(path: Path) -> str:
    if path.exists() and not path.is_file() and not path.is_dir():
        raise UserError(f"{path} is no file that can be read; give the name of one.")
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except IsADirectoryError:
        raise UserError(f"{path} is a folder; give the files in it.") from None
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
