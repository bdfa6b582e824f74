"""A file on its way into the ledger: read, its names and visits compared with what is there, asked about, added."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, cast

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake import CheckedSheet
from evenfoot.analytics.intake.checks.similar_names import Candidate, similar_cows, similar_farms
from evenfoot.analytics.intake.large_files.stream import CheckedStream, check_stream
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.pipeline import Understanding, understand_file
from evenfoot.analytics.ledger.aliases import KnownNames, add_alias, known_names
from evenfoot.analytics.ledger.imports.add import ImportResult, add_sheets
from evenfoot.analytics.ledger.imports.bulk import add_stream
from evenfoot.analytics.ledger.imports.farm_scales import scales_on_days, scales_used
from evenfoot.analytics.ledger.imports.record_linkage import IDENTITIES, comparable
from evenfoot.analytics.ledger.imports.rest_of_herd import (
    KIND_CHOICES,
    NOT_KNOWN,
    REST_CHOICES,
    RestChoice,
    RestOfHerd,
    answer_kind,
    answer_rest,
    rest_question,
)
from evenfoot.analytics.ledger.imports.revisions import CHOICES, Choice, Revision, compare_with_ledger
from evenfoot.analytics.ledger.layout_answers import answers_for, save_answers
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import ROW_TABLES
from evenfoot.analytics.ledger.superseded_rows import removed_rows
from evenfoot.analytics.messages import Message, say, say_n

SHOWN_NAMES = 6


@dataclass(frozen=True)
class PreparedImport:
    """A file that was read and compared with a ledger, and not yet added.

    Attributes
    ----------
    file : str
    sheets : list of CheckedSheet
        As they would be stored. Of a stream their records are left out.
    answers : Answers
    unread : tuple of Message
        Tabs that were not read.
    revision : Revision or None
        What differs from visits that the ledger has already.
    stream : CheckedStream or None
        A file too large for memory.
    names : tuple of (str, str, str, str)
        Kind, farm, name in the sheet, name in the ledger: what was answered about names.
    """

    file: str
    sheets: list[CheckedSheet]
    answers: Answers
    unread: tuple[Message, ...] = ()
    revision: Revision | None = None
    stream: CheckedStream | None = None
    names: tuple[tuple[str, str, str, str], ...] = ()
    notes: tuple[Message, ...] = field(default_factory=tuple)

    @property
    def records(self) -> int:
        """Records that would be stored."""
        return sum(len(sheet.records) for sheet in self.sheets)

    @property
    def set_aside(self) -> int:
        """Rows that would be set aside; of a stream they are known when it has been added."""
        return 0 if self.stream is not None else sum(sheet.held for sheet in self.sheets)

    @property
    def cells_left_blank(self) -> int:
        """Cells that could not be read and were left blank, their rows kept; of a stream as far as it was taken."""
        return self.stream.blanked if self.stream is not None else sum(sheet.blanked for sheet in self.sheets)

    @property
    def listed(self) -> pd.DataFrame:
        """Rows set aside and cells left blank, of a stream the first ones; see ``CheckedSheet.set_aside``."""
        if self.stream is not None:
            return self.stream.first_set_aside.assign(source=self.stream.source)
        return pd.concat([sheet.set_aside.assign(source=sheet.source) for sheet in self.sheets], ignore_index=True)

    @property
    def revision_choice(self) -> Choice | None:
        """What is done with records of which the ledger has another version."""
        value = self.answers.value("same-visits") if "same-visits" in self.answers.met else None
        return next((choice for choice in CHOICES if choice == value), None)

    @property
    def differences(self) -> pd.DataFrame:
        """Both versions of the records that differ from the ledger's, one line a field: source, row, cow, state, field,
        before, now. Empty where nothing differs."""
        columns = ["source", "row", "cow", "state", "field", "before", "now"]
        if self.revision is None or not self.revision.is_open:
            return pd.DataFrame(columns=columns)
        cows = {
            (sheet.source, int(row)): cow
            for sheet in self.sheets if "cow" in sheet.records
            for row, cow in zip(sheet.records["row"], sheet.records["cow"], strict=True)
        }  # fmt: skip
        frame = self.revision.frame
        rows = zip(frame["source"], frame["row"], strict=True)
        return frame.assign(cow=pd.Series([cows.get(row) for row in rows], dtype=object))[columns]

    @property
    def is_whole(self) -> bool:
        """Whether all of the file goes in."""
        return not (self.set_aside or self.unread or self.cells_left_blank)

    def as_json(self) -> dict[str, Any]:
        """What ``evenfoot check --json`` prints of a file."""
        rows = sum(sheet.rows_read if sheet.sheet_rows is None else sheet.sheet_rows for sheet in self.sheets)
        return {
            "file": self.file,
            "kind": ", ".join(dict.fromkeys(sheet.kind for sheet in self.sheets)),
            "rows_read": rows,
            "records": self.records,
            "set_aside": self.set_aside,
            "questions": [question.as_json() for question in self.answers.open()],
            "notes": [str(note) for note in self.told],
            **({"differences": self.differences.to_dict("records")} if len(self.differences) else {}),
        }

    @property
    def told(self) -> list[Message]:
        """Everything that is said of the file, defaults that were taken included."""
        said = [note for sheet in self.sheets for note in sheet.notes]
        said += [
            say("{question} Taken: {answer}", question=question.text, answer=_answer_words(question, question.default))
            for question in self.answers.taken()
        ]
        return [*dict.fromkeys([*said, *self.notes])]


def _answer_words(question: Question, value: str | None) -> str:
    return next((str(choice.says) for choice in question.choices if choice.value == value), value or "")


def prepare_import(
    ledger: Ledger,
    source: Path | bytes,
    name: str,
    *,
    farm: str | None = None,
    day_first: bool | None = None,
    today: dt.date | None = None,
    given: Mapping[str, str] | None = None,
    accept: bool = False,
    farms: Sequence[str] | None = None,
    screen: Callable[[Mapping[str, Sequence[str | None]]], None] | None = None,
    understand: Callable[..., Understanding] = understand_file,
    settled: Collection[str] = (),
) -> PreparedImport:
    """Read a file and compare it with the ledger. Nothing is written.

    Parameters
    ----------
    ledger : Ledger
    source : Path or bytes
    name : str
        What to call the file.
    farm, day_first, today
        As for :func:`~evenfoot.analytics.intake.pipeline.check_file`.
    given : mapping of str to str, optional
        Question id -> answer.
    accept : bool
        Whether the default of every question is taken.
    farms : sequence of str, optional
        The farms that whoever asks may know of; every farm of the ledger without it.
    screen : callable, optional
        Gets, of each kind of sheet, the farms of its rows (``None`` for rows of no farm), and raises a
        :class:`UserError` if whoever asks may not bring them in, before anything else is looked up for them.
    understand : callable
        Reads the file: :func:`~evenfoot.analytics.intake.pipeline.understand_file`, or one that does so within limits.
    settled : collection of str
        What is not asked about, as it was when the records first came in: "names" of farms and cows, and the "rest" of
        a herd that a sheet does not list.

    Raises
    ------
    UserError
        The file cannot be read, or an answer is none of its question's choices.
    """
    answers = Answers(dict(given or {}), accept, recall=lambda headings: _recalled(ledger, headings, farms))
    known = ledger.farms() if farms is None else list(farms)
    if isinstance(source, Path) and ledger.in_a_file:
        stream = check_stream(source, name, farm=farm, day_first=day_first, today=today, known_farms=known)
        if stream is not None:
            return PreparedImport(name, [stream.without_records()], answers, stream=stream)

    def read(scales: Mapping[str, str]) -> _FileReading:
        nonlocal answers
        answers = Answers(dict(given or {}), accept, recall=lambda headings: _recalled(ledger, headings, farms))
        found = understand(
            source, name, farm=farm, day_first=day_first, today=today, known_farms=known, answers=answers,
            known_scales=scales,
        )  # fmt: skip
        if "names" in settled:
            farms_named = _names(found.sheets, "farm")
            return _FileReading(found, (), found.sheets, dict(zip(farms_named, farms_named, strict=True)))
        return _FileReading(found, *_known_by_name(ledger, found, answers, farms, screen))

    scales = {name: scale for name, scale in scales_used(ledger).items() if farms is None or name in farms}
    reading = read(scales)
    others = _scales_to_use(ledger, reading, scales)
    if others:
        # The farm goes by another name in the sheet, or its scores of these days are there on another scale.
        reading = read({**scales, **others})
    names, found = reading.names, reading.found
    sheets = _without_removed(ledger, reading.sheets, answers)
    if "rest" not in settled:
        sheets = _with_rest(ledger, sheets, answers)
    revision = compare_with_ledger(ledger, sheets) if ledger.exists else None
    if revision is not None and revision.is_open:
        _ask_revision(revision, name, answers)
    return PreparedImport(name, sheets, answers, found.unread, revision, names=names)


@dataclass(frozen=True)
class _FileReading:
    """A file as it was read: what was understood, what was answered about names, its sheets, and its farms' names."""

    found: Understanding
    names: tuple[tuple[str, str, str, str], ...]
    sheets: list[CheckedSheet]
    farms: dict[str, str]


def _scales_to_use(ledger: Ledger, reading: _FileReading, scales: Mapping[str, str]) -> dict[str, str]:
    """Farm as the sheets write it -> the scale that its earlier scores are on, where that is not what was taken."""
    days: dict[str, set[object]] = {}
    for sheet in reading.sheets:
        if sheet.kind not in ("trims", "locomotion"):
            continue
        date, score = ("visit_date", "locomotion_score") if sheet.kind == "trims" else ("date", "score")
        scored = sheet.records[sheet.records[score].notna()]
        for farm, rows in scored.groupby("farm"):
            days.setdefault(str(farm), set()).update(rows[date].dropna())
    used = {**scales, **scales_on_days(ledger, days)}
    return {
        said: used[means] for said, means in reading.farms.items()
        if means in days and means in used and scales.get(said) != used[means]
    }  # fmt: skip


def _recalled(ledger: Ledger, headings: Sequence[str], farms: Sequence[str] | None) -> Mapping[str, str]:
    if not ledger.exists:
        return {}
    kept = {key: str(value) for key, value in answers_for(ledger, headings).items()}
    if farms is not None and kept.get("farm") not in (None, *farms):
        del kept["farm"]
    return kept


def run_import(ledger: Ledger, prepared: PreparedImport, sha256: str) -> ImportResult:
    """Add a prepared file to the ledger, and remember what was answered.

    Parameters
    ----------
    ledger : Ledger
    prepared : PreparedImport
        Without questions that block it.
    sha256 : str
        Digest of the file's bytes.
    """
    if prepared.stream is not None:
        return add_stream(ledger, prepared.stream, prepared.file, sha256)
    result = add_sheets(ledger, prepared.sheets, prepared.file, sha256, revision_choice=prepared.revision_choice)
    for kind, farm, said, means in prepared.names:
        add_alias(ledger, kind, said, means, farm or None)
    lasting = prepared.answers.lasting()
    if lasting:
        headings = dict.fromkeys(text for sheet in prepared.sheets for text in sheet.own_headings)
        save_answers(ledger, prepared.file, list(headings), None, lasting)
    return result


def _known_by_name(
    ledger: Ledger,
    found: Understanding,
    answers: Answers,
    allowed: Sequence[str] | None,
    screen: Callable[[Mapping[str, Sequence[str | None]]], None] | None,
) -> tuple[tuple[tuple[str, str, str, str], ...], list[CheckedSheet], dict[str, str]]:
    """What was answered about names, the sheets with farms and cows called as the ledger calls them, and farms' names.

    The last says for each farm as the sheets write it what the ledger calls it.
    """
    sheets = found.sheets
    told: list[tuple[str, str, str, str]] = []
    said_farms = _names(sheets, "farm")
    known = _known(ledger, (), allowed)
    farms = {said: said if said in known.farms else known.meaning("farm", said) or said for said in said_farms}
    undecided = [said for said in said_farms if said not in known.farms and known.meaning("farm", said) is None]
    for question, candidates in _farm_questions(similar_farms(undecided, known.farms)):
        same = answers.ask(question) == "same"
        for candidate in candidates:
            if same:
                farms[candidate.said] = farms.get(candidate.means, candidate.means)
            if question.id in answers.used:
                told.append(("farm", "", candidate.said, candidate.means if same else candidate.said))
    sheets = [_renamed(sheet, "farm", farms) for sheet in sheets]
    if screen is not None:
        screen(farms_by_kind(sheets))
    named = _names(sheets, "farm")
    known = _known(ledger, named, allowed)
    for farm in named:
        sheets, asked = _cows_by_name(sheets, farm, known, answers)
        told += asked
    return tuple(told), sheets, farms


def _known(ledger: Ledger, farms: Sequence[str], allowed: Sequence[str] | None) -> KnownNames:
    """The names of the ledger, without those of farms that are not *allowed*."""
    if not ledger.exists:
        return KnownNames((), (), {}, {})
    with ledger.reading() as cursor:
        known = known_names(cursor, farms)
    if allowed is None:
        return known
    decided = {key: means for key, means in known.decided.items() if key[0] != "farm" or means in allowed}
    return replace(known, farms=tuple(allowed), decided=decided)


def _names(sheets: Sequence[CheckedSheet], column: str) -> list[str]:
    return list(dict.fromkeys(
        str(name) for sheet in sheets if column in sheet.records for name in sheet.records[column].dropna().unique()
    ))  # fmt: skip


def farms_by_kind(sheets: Sequence[CheckedSheet]) -> dict[str, list[str | None]]:
    """Kind of sheet -> farms of its rows; ``None`` where rows are of no farm."""
    farms: dict[str, list[str | None]] = {}
    for sheet in sheets:
        said = sheet.records["farm"].unique()
        farms.setdefault(sheet.kind, []).extend(None if pd.isna(farm) else str(farm) for farm in said)
    return farms


def _renamed(sheet: CheckedSheet, column: str, names: Mapping[str, str], rows: Any = None) -> CheckedSheet:
    if column not in sheet.records or all(said == means for said, means in names.items()):
        return sheet
    old = sheet.records[column]
    new = old.map(lambda said: names.get(said, said), na_action="ignore").astype(old.dtype)
    if rows is not None:
        new = new.where(rows, old)
    return replace(sheet, records=sheet.records.assign(**{column: new}))


def _farm_questions(candidates: Sequence[Candidate]) -> list[tuple[Question, list[Candidate]]]:
    """One question for all spellings that may be one farm, and one for each that may be another."""
    together: dict[tuple[str, bool], list[Candidate]] = {}
    for candidate in candidates:
        together.setdefault((candidate.means, candidate.certain), []).append(candidate)
    out = []
    for (means, certain), alike in together.items():
        for some in [alike] if certain else [[one] for one in alike]:
            said = ", ".join(f"'{one.said}'" for one in some)
            about = means if certain else some[0].said
            question = Question(
                f"same-farm:{about}", said, say("Is {said} the farm {means}?", said=said, means=means),
                choices([("same", say("yes, the same farm")), ("other", say("no, another farm"))]),
                "same" if certain else None, lasting=False,
            )  # fmt: skip
            out.append((question, some))
    return out


def _cows_by_name(
    sheets: list[CheckedSheet], farm: str, known: KnownNames, answers: Answers
) -> tuple[list[CheckedSheet], list[tuple[str, str, str, str]]]:
    """The sheets with the cows of a farm called as the ledger calls them."""
    there = known.cows.get(farm, ())
    if not there:
        return sheets, []
    said = list(dict.fromkeys(
        str(cow) for sheet in sheets if "cow" in sheet.records
        for cow in sheet.records.loc[sheet.records["farm"] == farm, "cow"].dropna().unique()
    ))  # fmt: skip
    exact = set(there)
    names = {cow: cow if cow in exact else known.meaning("cow", cow, farm) or cow for cow in said}
    undecided = [cow for cow in said if cow not in exact and known.meaning("cow", cow, farm) is None]
    candidates = similar_cows(undecided, there)
    told: list[tuple[str, str, str, str]] = []
    if candidates:
        pairs = ", ".join(f"{one.said} = {one.means}" for one in candidates[:SHOWN_NAMES])
        more = len(candidates) - SHOWN_NAMES
        question = Question(
            f"same-cows:{farm}", pairs,
            say("Cows of {farm} are here under other numbers: {pairs}{more}. Are they the same cows?", farm=farm,
                pairs=pairs, more=say(" and {n} more", n=more) if more > 0 else ""),
            choices([("same", say("yes, the same cows")), ("other", say("no, other cows"))]),
            "same" if all(one.certain for one in candidates) else None, lasting=False,
        )  # fmt: skip
        value = answers.ask(question)
        for one in candidates:
            if value == "same":
                names[one.said] = one.means
            if question.id in answers.used:
                told.append(("cow", farm, one.said, one.means if value == "same" else one.said))
    return [
        _renamed(sheet, "cow", names, sheet.records["farm"] == farm) if "cow" in sheet.records else sheet
        for sheet in sheets
    ], told


def _without_removed(ledger: Ledger, sheets: list[CheckedSheet], answers: Answers) -> list[CheckedSheet]:
    """The sheets without records that somebody removed from the ledger before; whether they come back is asked."""
    if not ledger.exists:
        return sheets
    with ledger.reading() as cursor:
        gone = {kind: removed_rows(cursor, kind) for kind in ("trims", "locomotion")}
    met = {place: _are_among(sheet, gone.get(sheet.kind, [])) for place, sheet in enumerate(sheets)}
    count = sum(int(found.sum()) for found in met.values())
    if not count:
        return sheets
    value = answers.ask(
        Question(
            "removed", str(count),
            say_n("{n} record of this file was removed from the records before. Is it to come back?",
                  "{n} records of this file were removed from the records before. Are they to come back?", count),
            choices([("leave", say("no: leave out what was removed")), ("bring", say("yes: bring it back"))]), "leave",
            lasting=False,
        )
    )  # fmt: skip
    if value != "leave":
        return sheets
    return [
        replace(sheet, records=sheet.records[~met[place]].reset_index(drop=True),
                rows_read=sheet.rows_read - int(met[place].sum()))
        for place, sheet in enumerate(sheets)
    ]  # fmt: skip


def _are_among(sheet: CheckedSheet, gone: list[dict[str, Any]]) -> npt.NDArray[np.bool_]:
    """Which records of a sheet are of the same cow, day, place and lesion as one that was removed."""
    if not gone or not len(sheet.records):
        return np.zeros(len(sheet.records), dtype=bool)
    identity = IDENTITIES[sheet.kind]
    names = [*identity.visit, *identity.fixed, *identity.open]
    _, fields = ROW_TABLES[sheet.kind]
    rows = pd.DataFrame(gone).reindex(columns=list(fields))
    known = set(comparable(sheet.kind, rows)[names].itertuples(index=False, name=None))
    ours = comparable(sheet.kind, sheet.records)[names].itertuples(index=False, name=None)
    return np.array([record in known for record in ours], dtype=bool)


def _ask_revision(revision: Revision, name: str, answers: Answers) -> None:
    answers.ask(
        Question(
            "same-visits", name,
            say("{said} What is done with those that differ?", said=revision.sentence),
            choices([
                ("replace", say("the new ones take the place of the old")),
                ("keep both", say("keep both")),
                ("skip", say("leave the old ones, and add only what is new")),
            ]),
            revision.default, lasting=False,
        )
    )  # fmt: skip


def _with_rest(ledger: Ledger, sheets: list[CheckedSheet], answers: Answers) -> list[CheckedSheet]:
    """The sheets with what was answered about the cows that they do not list."""
    if sum(len(sheet.records) for sheet in sheets) > MOST_RECORDS_ASKED:
        return sheets
    asked = rest_question(ledger, sheets)
    sheets = _with_kinds(sheets, [visit for visit in asked if visit.of_kind], answers)
    visits = [visit for visit in asked if not visit.of_kind]
    together = _ask_rest_of_all(visits, answers) if len(visits) > MOST_VISITS_ASKED else None
    for visit in visits:
        id = f"rest:{visit.farm}:{visit.first:%Y-%m-%d}"
        value = together if together is not None and id not in answers.given else None
        if len(visits) <= MOST_VISITS_ASKED or id in answers.given:
            answers.ask(_rest_question(id, visit))
            value = answers.given.get(id)
        if value is None and visit.stated and visit.herd_size is None:
            # The sheet says that these were all, and nothing else in the records that they were not.
            value = "not known"
        if value is None:
            continue
        if value in ("rest sound", "only these", "not known"):
            if value == "rest sound" and visit.herd_size is None:
                continue
            sheets = answer_rest(sheets, visit, cast(RestChoice, value))
        elif value.isdecimal():
            sheets = answer_rest(sheets, visit, "rest sound", int(value))
        else:
            raise UserError(
                say("How many cows are in the herd of {farm}? Give a number, or 'only these' or 'not known'.",
                    farm=visit.farm)
            )  # fmt: skip
    return sheets


def _with_kinds(sheets: list[CheckedSheet], visits: Sequence[RestOfHerd], answers: Answers) -> list[CheckedSheet]:
    """The sheets with what was answered about kinds of visit that nothing tells."""
    offered = choices(KIND_CHOICES.items())
    if len(visits) > MOST_VISITS_ASKED:
        shown = "; ".join(f"{one.farm} {one.first:%Y-%m-%d}" for one in visits[:SHOWN_VISITS])
        text = say(
            "Neither the kind of visit nor the size of the herd is on the sheet of {n} visits ({visits} ...). Which "
            "cows were brought to each of them?",
            n=len(visits), visits=shown,
        )  # fmt: skip
        answers.ask(Question("kind", shown, text, offered, NOT_KNOWN, safe=True, lasting=False))
    for visit in visits:
        id = f"kind:{visit.farm}:{visit.first:%Y-%m-%d}"
        if len(visits) <= MOST_VISITS_ASKED or id in answers.given:
            answers.ask(Question(id, visit.farm, visit.question, offered, NOT_KNOWN, safe=True, lasting=False))
        sheets = answer_kind(sheets, visit, answers.given.get(id) or answers.given.get("kind") or NOT_KNOWN)
    return sheets


def _rest_question(id: str, visit: RestOfHerd) -> Question:
    offered: list[tuple[str, Message]] = [(value, says) for value, says in REST_CHOICES.items()]
    if visit.herd_size is None:
        offered[0] = ("herd size", say("Yes. Give the number of cows in the herd."))
    # A herd that is said to be looked at whole, or to be larger, changes every share: that is asked.
    safe = not (visit.stated or (visit.all_with_lesion and visit.herd_size is not None and not visit.usual))
    return Question(
        id, visit.farm, visit.question, choices(offered), "not known", safe, free=visit.herd_size is None, lasting=False
    )


def _ask_rest_of_all(visits: Sequence[RestOfHerd], answers: Answers) -> str | None:
    """One question for many visits; what was answered, ``None`` where nobody did."""
    shown = "; ".join(f"{one.farm} {one.first:%Y-%m-%d}" for one in visits[:SHOWN_VISITS])
    question = Question(
        "rest", shown,
        say("{n} visits list only cows with a lesion, or fewer than the herd ({visits} ...). Were the other cows "
            "looked at and sound at each of them?", n=len(visits), visits=shown),
        choices(REST_CHOICES.items()), "not known", safe=not any(visit.stated for visit in visits), lasting=False,
    )  # fmt: skip
    answers.ask(question)
    return answers.given.get("rest")


MOST_VISITS_ASKED = 3
"""Visits that are asked about one by one; more are asked about together. [common practice, no source]"""
SHOWN_VISITS = 3
MOST_RECORDS_ASKED = 200_000
"""Records up to which a file is asked about cows that it does not list. A registry's file of more is judged by the
ledger alone, which works coverage out at every import. Asking takes 5 of 19 s of a file of 770,000 records."""


def records_table(sheets: Sequence[CheckedSheet]) -> dict[str, pd.DataFrame]:
    """The records of sheets as they would be stored, one table for trims and scores and one for each other kind.

    Returns
    -------
    dict of str to pandas.DataFrame
        Kind -> records in the canonical columns. Scores stand among the trims, in their columns.
    """
    from evenfoot.analytics.intake.fields import KINDS

    tables: dict[str, list[pd.DataFrame]] = {}
    columns = [each.name for each in KINDS["trims"]]
    score_columns = {
        "date": "visit_date",
        "score": "locomotion_score",
        "scale": "locomotion_scale",
        "scorer": "trimmer",
    }
    for sheet in sheets:
        frame = sheet.records.drop(columns="row")
        kind = sheet.kind
        if kind == "locomotion":
            kind, frame = "trims", frame.rename(columns=score_columns).reindex(columns=columns)
        tables.setdefault(kind, []).append(frame)
    return {kind: pd.concat(frames, ignore_index=True) for kind, frames in tables.items()}
