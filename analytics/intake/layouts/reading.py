"""From the raw sheets of a file to sheets of one row a finding: what is told once, what is asked, what is left out."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import numpy as np

from analytics.intake.columns import is_blank
from analytics.intake.dates import DateOrder, decide_order, read_day
from analytics.intake.fields import KINDS, field_of
from analytics.intake.findings import read_finding
from analytics.intake.headings import Headings, Match, column_letters, find_headings, is_whole, match_heading
from analytics.intake.layouts.columns import settle_roles
from analytics.intake.layouts.context import Context, explains, read_lines, read_name
from analytics.intake.layouts.days import MID_MONTH, Day, read_day_text
from analytics.intake.layouts.profiles import DITTO, Profile, is_tick, profile_of
from analytics.intake.layouts.questions import Answers, Question, choices
from analytics.intake.layouts.roles import Role, read_heading
from analytics.intake.layouts.tables import Table, cow_column, find_tables
from analytics.intake.layouts.unfolding import (
    ASIDE,
    CELL_VALUES,
    EXTRA,
    FINDING_FIELDS,
    SIDES,
    Words,
    filled_down,
    groups_of,
    is_feet_event,
    unfold_rows,
)
from analytics.intake.parsing.finding_cell import read_findings, read_remark
from analytics.intake.parsing.value_cells import read_score_text
from analytics.intake.setting_aside import bare_text
from analytics.intake.sheet import Codes, Positions, RawColumn, RawSheet
from analytics.intake.survey import Survey
from analytics.intake.unreadable import Unreadable
from analytics.intake.vocabulary import BLANKS, NOTHING, READERS
from analytics.mistake import Mistake
from analytics.trade.lesions import LESIONS, PARENTS
from analytics.trade.lexicon import foot_sets, heading_fields, meaning, phrases, plain, squeezed_heading
from analytics.words import Said, say

DATE_FIELDS = ("visit_date", "calving_date", "recheck_on")
SHOWN = 4
FEW_UNKNOWN = 0.1
"""Share of the rows up to which unknown words may be set aside without asking. [common practice, no source]"""
FINDING_ROLES = ("foot", "claw", "lesion", "part", "zone", "measure", "event")
ABOVE_REPEATS = 0.2
"""Share of filled cells that may repeat the one above in a column that is filled only where something changes.
[common practice, no source]"""


@dataclass(frozen=True)
class Facts:
    """What is known beside a file.

    Attributes
    ----------
    file : str
    today : datetime.date
    day_first : bool or None
    farm : str or None
        Told by the user.
    known_farms : tuple of str
    """

    file: str
    today: dt.date
    day_first: bool | None = None
    farm: str | None = None
    known_farms: tuple[str, ...] = ()


@dataclass(frozen=True)
class Unfolded:
    """A sheet of one row a finding, and how it came about.

    Attributes
    ----------
    sheet : RawSheet
    headings : Headings
    rows : int
        Rows of the sheet as it was.
    notes : tuple of Said
    own_headings : tuple of str
        Headings of the sheet as it was, by which its layout is known again.
    """

    sheet: RawSheet
    headings: Headings
    rows: int
    notes: tuple[Said, ...] = ()
    own_headings: tuple[str, ...] = ()


@dataclass
class Draft:
    """One raw sheet while it is understood: its tables, their columns' roles, and what is said once."""

    sheet: RawSheet
    tables: list[Table]
    contexts: list[Context] = field(default_factory=list)
    after: Context = field(default_factory=Context)
    tab: Context = field(default_factory=Context)
    roles: list[list[Role]] = field(default_factory=list)
    words: Words = field(default_factory=Words)
    places: dict[str, Role] = field(default_factory=dict)


def draft_of(sheet: RawSheet, tables: list[Table], facts: Facts) -> Draft:
    """A raw sheet with the lines around its tables read."""
    guess = DateOrder(True, "option") if facts.day_first is None else DateOrder(facts.day_first, "option")
    farms = facts.known_farms
    draft = Draft(without_dittos(sheet, tables), tables)
    said = Context()
    for table in tables:
        said = said.then(read_lines(table.lines, guess, facts.today, farms))
        draft.contexts.append(said)
    draft.after = read_lines((line for table in tables for line in table.after), guess, facts.today, farms)
    draft.tab = read_name(sheet.tab, guess, facts.today, farms) if sheet.tab else Context()
    key = {**draft.after.key}
    for context in draft.contexts:
        key |= context.key
    explain(draft, key)
    return draft


def without_dittos(sheet: RawSheet, tables: Sequence[Table]) -> RawSheet:
    """The sheet with the text above in the place of every mark that says "as above"."""
    columns = list(sheet.columns)
    for place, column in enumerate(columns):
        if not any(text.strip().casefold() in DITTO for text in column.texts):
            continue
        codes = column.codes.copy()
        for table in tables:
            codes[table.rows] = filled_down(column, table.rows, blanks=np.zeros(len(table.rows), dtype=bool))
        columns[place] = RawColumn(codes, column.texts)
    return (
        sheet
        if all(new is old for new, old in zip(columns, sheet.columns, strict=True))
        else replace(sheet, columns=columns)
    )


def explain(draft: Draft, key: Mapping[str, str]) -> None:
    """Take over what a key says of words, and of numbers of feet and claws."""
    places = places_by_key(key)
    draft.places = {**places, **draft.places}
    draft.words.feet = {number: role.foot for number, role in draft.places.items() if role.kind == "foot"}
    draft.words.taught = {
        **taught_by_key({word: said for word, said in key.items() if word not in places}),
        **draft.words.taught,
    }


def places_by_key(key: Mapping[str, str]) -> dict[str, Role]:
    """Numbers that a key explains as feet or claws: "1 = LF", "8 = right hind outer".

    Example
    -------
    >>> places_by_key({"1": "LF", "8": "right hind outer", "u": "ulcer"})["8"].code
    'claw RH lateral'
    """
    out: dict[str, Role] = {}
    for number, said in key.items():
        role = read_heading(said) if number.isdecimal() else None
        if role is not None and role.kind in ("foot", "claw"):
            out[number] = role
    return out


def taught_by_key(key: Mapping[str, str]) -> dict[str, str]:
    """What a sheet's own key says of its words, as answers to questions about words.

    Example
    -------
    >>> taught_by_key({"u": "sole ulcer", "x": "done, nothing found", "1": "LF"})
    {'u': 'lesion:SU', 'x': 'nothing', '1': 'foot:LF'}
    """
    out: dict[str, str] = {}
    for word, said in key.items():
        reading = read_findings(said)
        foot = meaning("foot", said)
        if len(reading.findings) == 1:
            finding = reading.findings[0]
            out[word] = f"lesion:{finding.detail or finding.lesion}"
        elif foot is not None:
            out[word] = f"foot:{foot}"
        elif reading.nothing or re.search(r"\b(done|nothing|clean|trimmed|ok)\b", plain(said)):
            out[word] = "nothing"
        elif meaning("action", said) is not None:
            out[word] = f"action:{meaning('action', said)}"
    return out


def date_texts(draft: Draft) -> list[tuple[str, int]]:
    """Texts that should be days in the columns and headings of a draft, with the rows in which they stand."""
    out: list[tuple[str, int]] = []
    for table in draft.tables:
        for place, role in enumerate(table.roles):
            if role is None:
                continue
            if role.kind == "field" and role.field in DATE_FIELDS and place < len(draft.sheet.columns):
                profile = profile_of([(draft.sheet.columns[place], table.rows)])
                out += [(_full(text), count) for text, count in zip(profile.texts, profile.counts, strict=True)]
            elif role.kind == "day":
                out.append((_full(role.day), 1))
    for context in draft.contexts:
        if "visit_date" in context.values:
            out.append((_full(context.values["visit_date"]), 1))
    return out


def _full(text: str) -> str:
    """A day and month of numbers with a year, so that it votes for an order like a whole date."""
    match = re.fullmatch(r"\s*(\d{1,2})\s*[./-]\s*(\d{1,2})\.?\s*", text)
    return f"{match[1]}/{match[2]}/2024" if match else text


def decide_days(texts: Sequence[tuple[str, int]], facts: Facts, answers: Answers) -> DateOrder:
    """The order of day and month in a file; asked where its dates can be read both ways."""
    try:
        return decide_order(texts, facts.file, facts.day_first)
    except Mistake:
        example = next((" ".join(text.split()) for text, _ in texts if re.match(r"\s*\d{1,2}\s*[./-]", text)), "")
        value = answers.ask(
            Question(
                "date-order", example,
                say("Does '{example}' name the day first or the month first? No row of {file} tells.", example=example,
                    file=facts.file),
                choices([("day-first", say("the day first")), ("month-first", say("the month first"))]),
                "day-first",
            )
        )  # fmt: skip
        return DateOrder(value != "month-first", "option")


def settle(draft: Draft, answers: Answers) -> None:
    """Decide what each column of each table is; tables with the same headings share one decision."""
    by_headings: dict[tuple[str, ...], list[Role]] = {}
    sheet = draft.sheet
    for table in draft.tables:
        key = tuple(table.headings)
        if key not in by_headings:
            alike = [one for one in draft.tables if tuple(one.headings) == key]
            profiles = [
                profile_of([(sheet.columns[place], one.rows) for one in alike])
                if place < len(sheet.columns) else Profile([], [], 0)
                for place in range(len(table.headings))
            ]  # fmt: skip
            roles = _numbered_places(table.headings, list(table.roles), draft, answers)
            cow = cow_column(roles, table.headings)
            if cow is not None and roles[cow] is None:
                roles[cow] = Role("field", field="cow")
            roles = _zone_places(_legend_beside(draft, alike, roles))
            _learn_places(draft, alike, roles)
            settled = settle_roles(
                table.headings, roles, profiles, _beside_lesion(draft, alike, roles), answers, draft.words.taught
            )
            if any(role.kind == "event" for role in settled):
                # Beside an event everything told of it is a remark.
                settled = [
                    Role("note") if role.field in ("lesion", "lesion_detail", "action") else role for role in settled
                ]
            by_headings[key] = _ticked_feet(settled, profiles)
        draft.roles.append(by_headings[key])


def _learn_places(draft: Draft, tables: Sequence[Table], roles: Sequence[Role | None]) -> None:
    """Codes of feet and claws that are certain only because of the others in their column."""
    for place, role in enumerate(roles):
        if role is None or role.kind != "field" or place >= len(draft.sheet.columns):
            continue
        if role.field not in ("foot", "claw"):
            continue
        profile = profile_of([(draft.sheet.columns[place], table.rows) for table in tables])
        said = {plain(text) for text in profile.texts}
        if role.field == "claw" and said >= {"l", "r"} and said <= {"l", "r", "both", "b"}:
            draft.words.feet[SIDES] = "yes"
        if role.field == "foot":
            for codes in foot_sets():
                if len(said & set(codes)) >= 2:
                    draft.words.feet |= {code: foot for code, foot in codes.items() if code in said}


def _numbered_places(
    headings: Sequence[str], roles: list[Role | None], draft: Draft, answers: Answers
) -> list[Role | None]:
    """Headings "1" to "4", "Foot 1" or "Claw 8" whose cells hold findings, as the feet or claws that they number."""
    if any(role is not None and role.kind == "field" and role.field == "lesion" for role in roles):
        return roles
    numbered: dict[int, str] = {}
    for place, (heading, role) in enumerate(zip(headings, roles, strict=True)):
        if role is None and heading.strip().isdecimal() and len(heading.strip()) <= 2:
            numbered[place] = str(int(heading))
        elif role is not None and role.kind == "field" and role.field in ("foot", "claw") and role.number:
            numbered[place] = str(role.number)
    if len(numbered) < 3:
        return roles
    out = list(roles)
    order: list[Role] = []
    if not all(number in draft.places for number in numbered.values()) and len(numbered) == 4:
        value = answers.ask(
            Question(
                "feet-order", ", ".join(headings[place].strip() for place in numbered),
                say("Which feet are {headings}?", headings=", ".join(headings[place].strip() for place in numbered)),
                choices([(feet, say("{feet}", feet=feet.replace(" ", ", "))) for feet in FEET_ORDERS]), None,
            )
        )  # fmt: skip
        order = [Role("foot", foot=foot) for foot in value.split()] if value else []
    for turn, (place, number) in enumerate(numbered.items()):
        out[place] = draft.places.get(number) or (order[turn] if turn < len(order) else None)
    return out


FEET_ORDERS = ("LF RF LH RH", "LF RF RH LH", "RF LF RH LH", "LF LH RF RH", "LH RH LF RF")
"""Orders in which four feet are numbered. [common practice, no source]"""


def _zone_places(roles: list[Role | None]) -> list[Role | None]:
    """Headings "Zone 1" to "Zone 6" whose cells hold findings there."""
    zones = [place for place, role in enumerate(roles) if role is not None and role.field == "zone" and role.number]
    if len(zones) < 3 or any(role is not None and role.kind == "field" and role.field == "lesion" for role in roles):
        return roles
    return [
        Role("zone", field=str(role.number)) if place in zones and role is not None else role
        for place, role in enumerate(roles)
    ]


def _ticked_feet(roles: Sequence[Role], profiles: Sequence[Profile]) -> list[Role]:
    """Columns of feet that hold nothing but ticks beside a lesion named once: they say on which feet it is."""
    feet = [place for place, role in enumerate(roles) if role.kind == "foot"]
    named = any(role.kind == "field" and role.field == "lesion" and not role.number for role in roles)
    ticked = all(profiles[place].without_blanks.share(test=is_tick) > ENOUGH_TICKS or not profiles[place].filled
                 for place in feet)  # fmt: skip
    if not named or not feet or not ticked or any(role.field == "foot" for role in roles):
        return list(roles)
    return [Role("which", foot=role.foot) if role.kind == "foot" else role for role in roles]


ENOUGH_TICKS = 0.9
"""Share of the cells of a foot that must be ticks. [common practice, no source]"""


def _legend_beside(draft: Draft, tables: Sequence[Table], roles: list[Role | None]) -> list[Role | None]:
    """Two columns beside the table that explain words: taken over as its key, and left out."""
    out = list(roles)
    for place in range(len(roles) - 1):
        if out[place] is not None or place + 1 >= len(draft.sheet.columns):
            continue
        said: dict[str, str] = {}
        filled = 0
        for table in tables:
            for row in table.rows[:200].tolist():
                word, meant = (draft.sheet.columns[column].text(row).strip() for column in (place, place + 1))
                filled += bool(word)
                if explains(word, meant):
                    said[plain(word) or word] = meant
        if len(said) >= 2 and len(said) >= 0.7 * filled:
            explain(draft, said)
            out[place] = out[place + 1] = Role("skip")
    return out


def _beside_lesion(draft: Draft, tables: Sequence[Table], roles: Sequence[Role | None]) -> Any:
    """Counts, for a column, of the rows in which it is filled beside a lesion and beside none."""
    sheet = draft.sheet
    sources = [
        place for place, role in enumerate(roles)
        if role is not None and place < len(sheet.columns)
        and (role.kind in ("foot", "claw", "lesion") or (role.kind == "field" and role.field == "lesion"))
    ]  # fmt: skip

    def count(place: int) -> tuple[int, int]:
        beside = without = 0
        for table in tables:
            has = np.zeros(len(table.rows), dtype=bool)
            for source in sources:
                column = sheet.columns[source]
                used = np.unique(column.codes[table.rows])
                found = np.zeros(len(column.texts), dtype=bool)
                for code in used.tolist():
                    text = column.texts[code]
                    found[code] = bool(text.strip()) and _names_lesion(text, roles[source], draft.words.taught)
                has |= found[column.codes[table.rows]]
            column = sheet.columns[place]
            says = np.array([text.strip().casefold() not in BLANKS for text in column.texts], dtype=bool)
            filled = says[column.codes[table.rows]]
            beside += int((filled & has).sum())
            without += int((filled & ~has).sum())
        return beside, without

    return count


def _names_lesion(text: str, role: Role | None, taught: Mapping[str, str]) -> bool:
    if role is not None and role.kind == "lesion":
        return text.strip() not in ("0", "-") and meaning("no", text) is None
    reading = read_findings(text, taught=taught)
    return bool(reading.findings) or (not reading.nothing and bool(reading.doubts or reading.unread))


def ask_words(draft: Draft, answers: Answers, records: int) -> bool:
    """Ask about the words that are not certain; whether any of them now reads otherwise than before."""
    changed = False
    many: dict[str, int] = {}
    for (about, _), rows in draft.words.rows.items():
        many[about] = many.get(about, 0) + rows
    together = _words_asked_together(draft, answers)
    if together:
        value = _ask_together(draft, together, answers, records)
        for key in together if value != ASIDE else ():
            changed |= draft.words.taught.get(key) != value
            draft.words.taught[key] = value
    for (about, key), doubt in list(draft.words.doubts.items()):
        if about == "lesion" and key in together:
            continue
        rows = draft.words.rows[(about, key)]
        options = [
            (code, LEFT_BLANK if code == "note" and about in CELL_VALUES else _choice_words(code))
            for code in doubt.choices
        ]
        default = doubt.default
        # A cell that is left blank in many rows may be the way the sheet says it.
        safe = not doubt.serious and not (default == "note" and many[about] > max(1, FEW_UNKNOWN * records))
        if about == "lesion":
            known = {value for value, _ in options}
            likely = sorted((code for code in PARENTS if code not in known), key=lambda code: not _begins(code, key))
            options += [(code, _choice_words(code)) for code in likely]
            options += [
                (value, _choice_words(value))
                for value in ("nothing", "other", "note", "aside") if value not in known
            ]  # fmt: skip
            if default is None:
                default, safe = "aside", rows <= FEW_UNKNOWN * records
        value = answers.ask(
            Question(
                f"word:{key}" if about in ("lesion", "tick") else f"{about}:{key}",
                doubt.word,
                say("What does '{word}' say? Rows with it: {rows}.", word=doubt.word, rows=rows),
                choices(options),
                default,
                safe,
            )
        )
        if value is None or (value == doubt.default and about not in ("lesion", "tick")):
            continue
        if value == ASIDE and doubt.default is None:
            # So it is as long as nobody says otherwise.
            continue
        told = _taught(about, value)
        if draft.words.taught.get(key) != told:
            draft.words.taught[key] = told
            changed = True
    return changed


def _begins(code: str, key: str) -> bool:
    """Whether a word of the lesion's name or its code begins as the word in question does."""
    return any(word.startswith(key) for word in (code.casefold(), *plain(LESIONS[code].name).split()))


MOST_WORDS_ASKED = 100
"""Unknown words of a sheet that are asked about one by one. [common practice, no source]"""


def _words_asked_together(draft: Draft, answers: Answers) -> dict[str, int]:
    """Unknown words beyond those that stand in most rows -> rows with them."""
    unknown = {
        key: draft.words.rows[(about, key)]
        for (about, key), doubt in draft.words.doubts.items()
        if about == "lesion" and doubt.default is None and f"word:{key}" not in answers.given
    }
    if len(unknown) <= MOST_WORDS_ASKED:
        return {}
    return dict(sorted(unknown.items(), key=lambda item: -item[1])[MOST_WORDS_ASKED:])


def _ask_together(draft: Draft, words: Mapping[str, int], answers: Answers, records: int) -> str:
    """One question for many words that are not understood; what they all say."""
    shown = ", ".join(f"'{draft.words.doubts[('lesion', key)].word[:24]}'" for key in list(words)[:SHOWN])
    rows = sum(words.values())
    question = Question(
        "words", shown,
        say("{n} more words are not understood, such as {words}. Rows with them: {rows}. What do they say?",
            n=len(words), words=shown, rows=rows),
        choices((value, _choice_words(value)) for value in (ASIDE, "other", "note", "nothing")),
        ASIDE, rows <= FEW_UNKNOWN * records,
    )  # fmt: skip
    return answers.ask(question) or ASIDE


def _taught(about: str, value: str) -> str:
    if value in LESIONS and value != "other":
        return f"lesion:{value}"
    return value


def _choice_words(value: str) -> Said:
    if value in LESIONS:
        return say("{lesion}", lesion=LESIONS[value].name)
    if value in _SAYS:
        return _SAYS[value]
    kind, _, rest = value.partition(":")
    return say("{kind} {value}", kind=kind, value=rest) if rest else say("{value}", value=value)


LEFT_BLANK = say("not certain: leave it blank and list it")
_SAYS: dict[str, Said] = {
    "nothing": say("looked at, nothing found"),
    "done": say("looked at, nothing found"),
    "other": say("a lesion that is not on the list: keep its words"),
    "note": say("a remark: keep it in the note"),
    "aside": say("set the row aside, to be mended later"),
}


def unfold(draft: Draft, facts: Facts, order: DateOrder, answers: Answers) -> list[Unfolded]:
    """The records of a draft: a trim sheet, a locomotion sheet, or both.

    Parameters
    ----------
    draft : Draft
        Settled.
    facts : Facts
    order : DateOrder
    answers : Answers

    Returns
    -------
    list of Unfolded
    """
    if all(_is_counts(roles) for roles in draft.roles):
        return [_counts_sheet(draft, facts, order, answers)]
    read_notes = _reads_remarks(draft, answers)
    counts = _counted_lesions(draft, answers)
    trims: list[_Piece] = []
    scores: list[_Piece] = []
    notes = _opening(draft)
    rows = sum(len(table.rows) for table in draft.tables)
    for turn in range(4):
        trims, scores = [], []
        draft.words.doubts.clear()
        draft.words.rows.clear()
        for number, table in enumerate(draft.tables):
            if not len(table.rows):
                continue
            table_notes: list[Said] = []
            maker = _Maker(draft, number, facts, order, answers, table_notes)
            trims += maker.trims(read_notes=read_notes, counts=counts)
            scores += maker.scores()
            if turn == 0:
                notes += table_notes
        if not ask_words(draft, answers, max(rows, 1)):
            break
    trims += _cows_in_lines(draft, trims, answers)
    out: list[Unfolded] = []
    for kind, pieces in (("trims", trims), ("locomotion", scores)):
        if pieces:
            out.append(_joined(kind, pieces, draft, rows, tuple(dict.fromkeys(notes)) if not out else ()))
    return out


_COWS_IN_LINE = re.compile(r"^\s*(\D{2,60}?)\s*[:=-]\s*((?:#?\w*\d\w*\s*[,;/ ]\s*){1,}#?\w*\d\w*)\s*\.?\s*$")


def _cows_in_lines(draft: Draft, pieces: Sequence[_Piece], answers: Answers) -> list[_Piece]:
    """Cows listed in a line below the table as trimmed or sound, such as "nothing found: 2, 9, 17"."""
    if not pieces:
        return []
    out: list[_Piece] = []
    for table in draft.tables:
        for cells in table.after:
            line = ", ".join(cell.strip() for cell in cells if cell.strip())
            match = _COWS_IN_LINE.match(line)
            if match is None:
                continue
            reading = read_findings(match[1], taught=draft.words.taught)
            if reading.findings or not (reading.nothing or reading.action):
                continue
            cows = [bare_cow(cow) for cow in re.split(r"[,;/\s]+", match[2]) if cow.strip()]
            value = answers.ask(
                Question(
                    "cows-in-line", line[:60],
                    say("'{line}' lists {n} cows. Were they looked at and nothing found?", line=line[:60], n=len(cows)),
                    choices([("sound", say("yes: add them as sound")), ("leave", say("no: leave the line out"))]),
                    "sound",
                )
            )  # fmt: skip
            if value != "sound":
                continue
            last = pieces[-1]
            columns = {
                name: RawColumn(np.repeat(column.codes[-1:], len(cows)), column.texts)
                for name, column in last.columns.items()
                if name in ("visit_date", "farm", "trimmer", "herd_size", "visit_kind")
            }
            columns["cow"] = _column_of(cows)
            out.append(_Piece(np.repeat(last.numbers[-1:], len(cows)), columns, {}))
    return out


def _opening(draft: Draft) -> list[Said]:
    notes: list[Said] = []
    totals = sum(table.totals for table in draft.tables)
    repeats = sum(table.repeats for table in draft.tables)
    if totals:
        notes.append(say("{n} rows of totals or averages were left out.", n=totals))
    if repeats:
        notes.append(say("{n} rows that repeat the headings were passed over.", n=repeats))
    others = [word for context in (*draft.contexts[-1:], draft.after) for word in context.others]
    if others:
        shown = "; ".join(f"'{one[:60]}'" for one in dict.fromkeys(others))
        notes.append(say("Lines that hold no record were left out: {lines}.", lines=shown))
    unread = dict.fromkeys(
        " ".join(heading.split()) or str(say("column {letters}", letters=column_letters(place)))
        for table, roles in zip(draft.tables, draft.roles, strict=True)
        for place, (heading, role) in enumerate(zip(table.headings, roles, strict=True))
        if role.kind == "skip" and place < len(draft.sheet.columns)
        and profile_of([(draft.sheet.columns[place], table.rows)]).filled
    )  # fmt: skip
    if unread:
        notes.append(say("Columns that are no part of a trim were not read: {headings}.", headings=", ".join(unread)))
    return notes


def _has_findings(roles: Sequence[Role]) -> bool:
    return any(role.kind in FINDING_ROLES or (role.kind == "field" and role.field == "lesion") for role in roles)


def _reads_remarks(draft: Draft, answers: Answers) -> bool:
    """Whether remarks are read as findings: asked where they name lesions that stand nowhere else."""
    rows_with, example, sourced = 0, "", False
    for table, roles in zip(draft.tables, draft.roles, strict=True):
        notes = [place for place, role in enumerate(roles) if _is_remark(role) and place < len(draft.sheet.columns)]
        if any(role.kind == "event" for role in roles):
            continue
        sourced |= _has_findings(roles)
        told: dict[int, set[str]] | None = None
        for place in notes:
            column = draft.sheet.columns[place]
            codes = column.codes[table.rows]
            for code in np.unique(codes).tolist():
                text = column.texts[code]
                if not may_name_lesion(text):
                    continue
                found = {finding.lesion for finding in read_remark(text, draft.words.taught).findings} - {"other"}
                if not found:
                    continue
                told = _lesions_by_row(draft, table, roles) if told is None else told
                for index in np.flatnonzero(codes == code).tolist():
                    if found - told.get(index, set()):
                        rows_with += 1
                        example = example or " ".join(text.split())[:60]
    if not rows_with:
        return False
    value = answers.ask(
        Question(
            "remarks", example,
            say("Remarks name lesions in {rows} rows, such as '{example}'. Are they findings of that visit?",
                rows=rows_with, example=example),
            choices([("read", say("yes: read them as findings")), ("keep", say("no: keep them as remarks"))]),
            "keep" if sourced else "read",
        )
    )  # fmt: skip
    return value == "read"


def _is_remark(role: Role) -> bool:
    return role.kind == "note" or (role.kind == "field" and role.field == "note")


def _lesions_by_row(draft: Draft, table: Table, roles: Sequence[Role]) -> dict[int, set[str]]:
    """Lesions that the other columns name, by row of the table."""
    out: dict[int, set[str]] = {}
    for place, role in enumerate(roles):
        if place >= len(draft.sheet.columns):
            continue
        if role.kind not in ("foot", "claw", "lesion") and not (role.kind == "field" and role.field == "lesion"):
            continue
        column = draft.sheet.columns[place]
        codes = column.codes[table.rows]
        for code in np.unique(codes).tolist():
            text = column.texts[code]
            if not text.strip():
                continue
            found = {finding.lesion for finding in read_findings(text, taught=draft.words.taught).findings}
            if role.kind == "lesion" and _names_lesion(text, role, {}):
                found.add(role.lesion)
            if found:
                for index in np.flatnonzero(codes == code).tolist():
                    out.setdefault(index, set()).update(found)
    return out


def _counted_lesions(draft: Draft, answers: Answers) -> frozenset[str]:
    """Lesion columns whose numbers count feet: asked where they could be severities as well."""
    numbers: set[float] = set()
    lesions: set[str] = set()
    for table, roles in zip(draft.tables, draft.roles, strict=True):
        for place, role in enumerate(roles):
            if role.kind != "lesion" or place >= len(draft.sheet.columns):
                continue
            profile = profile_of([(draft.sheet.columns[place], table.rows)])
            said = {number for number in profile.numbers if number}
            if said:
                numbers |= said
                lesions.add(role.lesion)
    if not lesions or numbers <= {1.0}:
        return frozenset(lesions)
    if max(numbers) > 3:
        return frozenset(lesions)
    value = answers.ask(
        Question(
            "lesion-numbers", ", ".join(f"{number:g}" for number in sorted(numbers)),
            say("Do the numbers under the lesions say how severe each is, or on how many feet it is?"),
            choices([("severity", say("severity")), ("count", say("number of feet or spots"))]),
            "severity" if 3.0 in numbers else "count",
        )
    )  # fmt: skip
    return frozenset(lesions) if value == "count" else frozenset()


@dataclass
class _Piece:
    """Some records: the sheet's row numbers, and the canonical columns."""

    numbers: Positions
    columns: dict[str, RawColumn]
    own: dict[str, str]


class _Maker:
    """Makes records of one table."""

    def __init__(
        self, draft: Draft, number: int, facts: Facts, order: DateOrder, answers: Answers, notes: list[Said]
    ) -> None:
        self.draft, self.facts, self.order, self.answers, self.notes = draft, facts, order, answers, notes
        self.table, self.roles = draft.tables[number], draft.roles[number]
        self.context = draft.contexts[number]
        self.sheet, self.rows = draft.sheet, self.table.rows
        self.own = {
            role.field: " ".join(heading.split())
            for role, heading in zip(reversed(self.roles), reversed(self.table.headings), strict=True)
            if role.kind == "field" and role.number <= 1
        }

    def place(self, name: str) -> int | None:
        """The column of a field without a number."""
        for place, role in enumerate(self.roles):
            if role.kind == "field" and role.field == name and role.number <= 1 and place < len(self.sheet.columns):
                return place
        return None

    def shared(self) -> dict[str, tuple[Codes, list[str]]]:
        """The fields that hold for every record of a row: codes by row, and texts."""
        out: dict[str, tuple[Codes, list[str]]] = {}
        size = len(self.rows)
        blank_ids, as_above = self._blank_identity()
        names = {role.field for role in self.roles if role.kind == "field" and role.number <= 1}
        for name in names:
            if name in FINDING_FIELDS or name == "note":
                continue
            place = self.place(name)
            if place is None:
                continue
            column = self.sheet.columns[place]
            blanks = np.zeros(size, dtype=bool)
            if name in ("visit_date", "farm", "trimmer", "visit_kind", "herd_size", "group"):
                blanks = (blank_ids & as_above) | self._fills((place,))
            elif name == "cow":
                blanks = blank_ids & self._fills((place,))
            codes = filled_down(column, self.rows, blanks=blanks)
            out[name] = (codes, [text.strip() for text in column.texts])
        return out

    def _blank(self, place: int) -> Any:
        column = self.sheet.columns[place]
        empty = np.array([not text.strip() for text in column.texts], dtype=bool)
        return empty[column.codes[self.rows]]

    def _blank_identity(self) -> tuple[Any, bool]:
        """Rows that name neither day nor farm, and whether such a row means the day and farm above."""
        places = tuple(place for name in ("visit_date", "farm") if (place := self.place(name)) is not None)
        blank = np.ones(len(self.rows), dtype=bool)
        for place in places:
            blank &= self._blank(place)
        return blank, bool(places) and bool(self._fills(places).any())

    def _fills(self, places: tuple[int, ...]) -> Any:
        """All rows, where some columns are filled only when something changes, so that a blank says "as above"."""
        size = len(self.rows)
        blank = np.ones(size, dtype=bool)
        for place in places:
            blank &= self._blank(place)
        if not blank.any() or blank.all() or blank[0]:
            return np.zeros(size, dtype=bool)
        rows = self.rows[~blank]
        repeats = np.ones(len(rows) - 1, dtype=bool)
        for place in places:
            codes = self.sheet.columns[place].codes[rows]
            repeats &= codes[1:] == codes[:-1]
        return np.full(size, not len(repeats) or bool(repeats.mean() <= ABOVE_REPEATS))

    def trims(self, *, read_notes: bool, counts: frozenset[str]) -> list[_Piece]:
        """The records of a trim sheet; none where the table holds scores alone."""
        roles = self.roles
        notes_only = read_notes and not _has_findings(roles)
        plain_trims = any(
            role.kind in FINDING_ROLES or role.kind in ("action", "side") or
            (role.kind == "field" and role.field in FINDING_FIELDS and role.field != "locomotion_score")
            for role in roles
        )  # fmt: skip
        scored = any(
            role.kind == "day" or (role.kind == "field" and role.field == "locomotion_score") for role in roles
        )
        if scored and not plain_trims and not notes_only:
            return []
        groups = groups_of(roles, self.draft.words, read_notes=read_notes, counts=counts)
        of_row, found, many = unfold_rows(self.sheet, self.rows, groups, self.draft.words)
        columns: dict[str, RawColumn] = {name: found[name] for name in FINDING_FIELDS}
        keep = np.ones(len(of_row), dtype=bool)
        if any(role.kind == "event" for role in roles):
            keep = self._about_feet(of_row, many)
        shared = self.shared()
        for name, (codes, texts) in shared.items():
            columns[name] = RawColumn(codes[of_row], texts)
        self._single_fields(columns, of_row)
        self._action(columns, of_row)
        columns["note"] = self._notes(of_row, found[EXTRA])
        self._once(columns, len(of_row))
        self._days(columns)
        self._scores_of_row(columns)
        self._cows(columns)
        numbers = self.rows[of_row] + self.sheet.first_row
        if not keep.all():
            places = np.flatnonzero(keep)
            columns = {name: column.among(places) for name, column in columns.items()}
            numbers = numbers[places]
        return [_Piece(numbers, columns, self.own)] if len(numbers) else []

    def _about_feet(self, of_row: Positions, many: Any) -> Any:
        """Of an event list, the events that are about feet: those with a finding, a trim or "nothing found"."""
        about = np.zeros(len(many), dtype=bool)
        left: dict[str, int] = {}
        for place, role in enumerate(self.roles):
            if role.kind != "event":
                continue
            column = self.sheet.columns[place]
            codes = column.codes[self.rows]
            for code in np.unique(codes).tolist():
                text = column.texts[code]
                here = codes == code
                if is_feet_event(text, self.draft.words.taught):
                    about |= here
                else:
                    left[" ".join(text.split())[:30]] = int(here.sum())
        if left:
            shown = ", ".join(f"{word} {rows}" for word, rows in list(left.items())[:SHOWN])
            self.notes.append(say("Events that are not about feet were left out: {events}.", events=shown))
        return about[of_row]

    def _single_fields(self, columns: dict[str, RawColumn], of_row: Positions) -> None:
        """Measures that have a column for the whole row."""
        for name in ("toe_length_mm", "toe_length_after_mm", "toe_angle_deg", "heel_depth_mm", "sole_thickness_mm"):
            place = self.place(name)
            if place is not None:
                column = self.sheet.columns[place]
                columns[name] = RawColumn(column.codes[self.rows][of_row], [text.strip() for text in column.texts])

    def _action(self, columns: dict[str, RawColumn], of_row: Positions) -> None:
        """What was done: in the finding's own cell, else in the row's column, else by the ticks under an action."""
        texts = _texts_of(columns["action"])
        place = self.place("action")
        numbered = {role.number for role in self.roles if role.field == "lesion" and role.number}
        if place is not None and self.roles[place].number not in numbered:
            column = self.sheet.columns[place]
            codes = column.codes[self.rows][of_row]
            for index in np.flatnonzero([text == "" for text in texts]).tolist():
                texts[index] = column.texts[codes[index]].strip()
        for number, role in enumerate(self.roles):
            if role.kind != "action" or number >= len(self.sheet.columns):
                continue
            column = self.sheet.columns[number]
            ticked = np.array([bool(text.strip()) and is_tick(text) for text in column.texts], dtype=bool)
            for index in np.flatnonzero(ticked[column.codes[self.rows][of_row]]).tolist():
                texts[index] = "; ".join(dict.fromkeys(filter(None, (texts[index], role.action))))
        columns["action"] = _column_of(texts)

    def _notes(self, of_row: Positions, extra: RawColumn) -> RawColumn:
        """Remarks, columns that are no field, and words of the cells that were not read."""
        out = np.full(len(of_row), "", dtype=object)

        def join(texts: Any) -> None:
            nonlocal out
            both = (out != "") & (texts != "")
            out = out + np.where(both, "; ", "").astype(object) + texts

        for place, role in enumerate(self.roles):
            if place >= len(self.sheet.columns) or role.kind == "skip":
                continue
            named = role.kind in ("note", "lame")
            if not named and not (role.kind == "field" and role.field == "note"):
                continue
            column = self.sheet.columns[place]
            heading = " ".join(self.table.headings[place].split()) or column_letters(place)
            own = role.kind == "note"
            said = [
                (f"{heading}: {' '.join(text.split())}" if own or role.kind == "lame" else " ".join(text.split()))
                if text.strip() else ""
                for text in column.texts
            ]  # fmt: skip
            join(np.array(said, dtype=object)[column.codes[self.rows][of_row]])
        join(np.array(extra.texts, dtype=object)[extra.codes])
        return _column_of(out.tolist())

    def _once(self, columns: dict[str, RawColumn], size: int) -> None:
        """Fields said once for the table, where the rows do not say them."""
        values = {**self.draft.tab.values, **self.context.values}
        if "visit_date" not in values and self.context.day is None and self.draft.tab.day is not None:
            values["visit_date"] = _iso(self.draft.tab.day)
        if self.context.day is not None and "visit_date" not in self.context.values:
            values["visit_date"] = _iso(self.context.day)
        if "trimmer" not in values and "trimmer" in self.context.guesses and "trimmer" not in columns:
            values["trimmer"] = self.context.guesses["trimmer"]
        farm = self._farm(columns)
        if farm is not None:
            values["farm"] = farm
        for name, text in values.items():
            if name not in {each.name for each in KINDS["trims"]}:
                continue
            if name not in columns:
                columns[name] = RawColumn(np.ones(size, np.int32), ["", text])
            elif name in ("visit_date", "farm", "trimmer", "herd_size", "visit_kind"):
                texts = _texts_of(columns[name])
                if not all(texts):
                    columns[name] = _column_of([said or text for said in texts])
        if "visit_date" not in columns:
            self._ask_day(columns, size)

    def complete(self, columns: dict[str, RawColumn], size: int) -> None:
        """Fill in what is said once for the table, and read the days."""
        self._once(columns, size)
        self._days(columns)

    def _ask_day(self, columns: dict[str, RawColumn], size: int) -> None:
        guess = DateOrder(self.order.day_first, "option")
        named = read_name(self.facts.file, guess, self.facts.today).day
        default = _iso(named) if named is not None else None
        value = self.answers.ask(
            Question(
                "visit-date", self.facts.file,
                say("{source} names no day. On which day was the visit (year-month-day)?", source=self.sheet.source),
                (), default, default is not None and named is not None and named.year is not None, free=True,
                lasting=False,
            )
        )  # fmt: skip
        if value:
            columns["visit_date"] = RawColumn(np.ones(size, np.int32), ["", value])

    def _farm(self, columns: dict[str, RawColumn]) -> str | None:
        """The farm of rows that do not name one."""
        if "farm" in columns and all(_texts_of(columns["farm"])):
            return None
        if self.facts.farm:
            return self.facts.farm
        if "farm" in self.context.values:
            return self.context.values["farm"]
        if _says_anything(columns.get("farm")):
            # Other rows name theirs: a row that names none is set aside.
            return None
        return farm_said_once(self.draft, self.context, self.facts, self.answers)

    def _days(self, columns: dict[str, RawColumn]) -> None:
        """Days as year-month-day; what cannot be read stays, so that it is set aside."""
        for name in DATE_FIELDS:
            column = columns.get(name)
            if column is None:
                continue
            used = np.unique(column.codes).tolist()
            numbers = [text for text in (column.texts[code] for code in used) if text.strip()]
            serial = bool(numbers) and all(re.fullmatch(r"[345]\d{4}(\.0+)?", text.strip()) for text in numbers)
            texts = list(column.texts)
            for code in used:
                texts[code] = self.day_text(texts[code], serial=serial or self.sheet.from_workbook)
            columns[name] = RawColumn(column.codes, texts)

    def day_text(self, text: str, *, serial: bool) -> str:
        """A day as year-month-day, or the text as it is."""
        if not text.strip() or text.strip().casefold() in BLANKS:
            return ""
        try:
            day = read_day_text(text, self.order, self.facts.today, serial=serial)
        except (Unreadable, ValueError):
            return text
        year = day.year
        if year is None:
            year = self._year(day)
        if day.day is None:
            self._month_day()
        found = day.date(year, self.facts.today)
        return text if found is None else found.isoformat()

    def _year(self, day: Day) -> int | None:
        for context in (self.context, self.draft.tab, read_name(self.facts.file, self.order, self.facts.today)):
            years = context.years or ((context.day.year,) if context.day is not None and context.day.year else ())
            if len(set(years)) == 1:
                self.notes.append(say("Days without a year were taken to be in {year}.", year=str(years[0])))
                return int(years[0])
        today = self.facts.today
        default = today.year if (day.month, day.day or 1) <= (today.month, today.day) else today.year - 1
        value = self.answers.ask(
            Question(
                "year", self.sheet.source,
                say("{source} names days without a year. Which year are they in?", source=self.sheet.source),
                choices([(str(year), say("{year}", year=str(year))) for year in (default, default - 1)]),
                str(default), free=True, lasting=False,
            )
        )  # fmt: skip
        return int(value) if value and value.isdecimal() else None

    def _month_day(self) -> None:
        self.notes.append(say("Months without a day were taken as the {day}th of the month.", day=MID_MONTH))

    def _scores_of_row(self, columns: dict[str, RawColumn]) -> None:
        column = columns.get("locomotion_score")
        if column is not None:
            columns["locomotion_score"] = _read_scores(column, self.draft.words)

    def _cows(self, columns: dict[str, RawColumn]) -> None:
        """Cow numbers without the signs that people put around them."""
        column = columns.get("cow")
        if column is not None:
            columns["cow"] = RawColumn(column.codes, [bare_cow(text) for text in column.texts])

    def scores(self) -> list[_Piece]:
        """The records of a locomotion sheet: a score a cow and day."""
        days = [
            (place, role)
            for place, role in enumerate(self.roles)
            if role.kind == "day" and place < len(self.sheet.columns)
        ]
        single = self.place("locomotion_score")
        trimmed = any(
            role.kind in FINDING_ROLES or (role.kind == "field" and role.field in FINDING_FIELDS) for role in self.roles
        )
        if not days and (single is None or trimmed):
            return []
        shared = self.shared()
        out = []
        columns_of_scores: list[tuple[int, Role | None]] = [*days]
        if not days and single is not None:
            columns_of_scores = [(single, None)]
        for place, role in columns_of_scores:
            column = self.sheet.columns[place]
            said = np.array([text.strip().casefold() not in BLANKS for text in column.texts], dtype=bool)
            keep = np.flatnonzero(said[column.codes[self.rows]]) if role is not None else np.arange(len(self.rows))
            if not len(keep):
                continue
            columns = {
                "score": RawColumn(column.codes[self.rows][keep], [text.strip() for text in column.texts]),
                "note": self._notes(keep, RawColumn(np.zeros(len(keep), np.int32), [""])),
            }
            self.own["score"] = " ".join(self.table.headings[place].split())
            for name, target in (("cow", "cow"), ("farm", "farm"), ("visit_date", "visit_date"), ("trimmer", "scorer"),
                                 ("locomotion_scale", "scale")):  # fmt: skip
                if name in shared:
                    codes, texts = shared[name]
                    columns[target] = RawColumn(codes[keep], texts)
            if role is not None:
                columns["visit_date"] = RawColumn(np.ones(len(keep), np.int32), ["", role.day])
            if "locomotion_scale" in self.context.values and "scale" not in columns:
                columns["scale"] = RawColumn(
                    np.ones(len(keep), np.int32), ["", self.context.values["locomotion_scale"]]
                )
            scorer = columns.pop("scorer", None)
            self._once(columns, len(keep))
            self._days(columns)
            self._cows(columns)
            columns["score"] = _read_scores(columns["score"], self.draft.words)
            columns["date"] = columns.pop("visit_date", RawColumn(np.zeros(len(keep), np.int32), [""]))
            if scorer is not None:
                columns["scorer"] = scorer
            elif "trimmer" in columns:
                columns["scorer"] = columns["trimmer"]
            known = {each.name for each in KINDS["locomotion"]}
            columns = {name: column for name, column in columns.items() if name in known}
            own = {("date" if name == "visit_date" else name): text for name, text in self.own.items()}
            out.append(_Piece(self.rows[keep] + self.sheet.first_row, columns, own))
        return out


def bare_cow(text: str) -> str:
    """A cow's number without a sign before it or a star behind it.

    Example
    -------
    >>> bare_cow("#1042"), bare_cow("1042*"), bare_cow("NL 1234")
    ('1042', '1042', 'NL 1234')
    """
    return re.sub(r"[\s*#]+$", "", re.sub(r"^\s*#\s*", "", text)).strip()


def _read_scores(column: RawColumn, words: Words) -> RawColumn:
    """Scores as whole numbers; a range is not certain and stays as it is written, so that the cell is listed."""
    texts = []
    counts = column.counts()
    for text, rows in zip(column.texts, counts.tolist(), strict=True):
        if not text.strip() or not rows or text.strip().casefold() in BLANKS:
            texts.append("")
            continue
        value, doubt = read_score_text(text, words.taught)
        if doubt is not None:
            words.note([doubt], rows)
        texts.append(text if value is None else str(value))
    return RawColumn(column.codes, texts)


def farm_said_once(draft: Draft, context: Context, facts: Facts, answers: Answers) -> str | None:
    """The farm that a line, a tab or the file's name says; asked unless it is known already."""
    guess = DateOrder(True, "option")
    file = read_name(facts.file, guess, facts.today, facts.known_farms)
    line = context.guesses.get("farm")
    tab = draft.tab.values.get("farm") or (draft.tab.guesses.get("farm") if draft.sheet.tab else None)
    name = file.values.get("farm") or file.guesses.get("farm")
    options = [
        (value, found, says)
        for value, found, says in (
            ("line", line, say("the line above the table: {farm}", farm=line or "")),
            ("tab", tab, say("the name of the tab: {farm}", farm=tab or "")),
            ("file", name, say("the name of the file: {farm}", farm=name or "")),
        )
        if found
    ]
    known = {plain(farm): farm for farm in facts.known_farms}
    default = options[0][0] if options else None
    safe = bool(options) and plain(str(options[0][1])) in known
    value = answers.ask(
        Question(
            "farm", draft.sheet.source,
            say("{source} has no column for the farm. Which farm is it?", source=draft.sheet.source),
            choices([*((value, says) for value, _, says in options),
                     *((farm, say("{farm}", farm=farm)) for farm in facts.known_farms[:20])]),
            default, safe, free=True, lasting=not options,
        )
    )  # fmt: skip
    told = {option: found for option, found, _ in options}
    if value in told:
        return str(told[value])
    return value


def _iso(day: Day) -> str:
    if day.year is None or day.day is None:
        return f"{day.year}-{day.month:02d}" if day.year else f"{day.day or ''} {_MONTH_NAMES[day.month - 1]}".strip()
    return f"{day.year:04d}-{day.month:02d}-{day.day:02d}"


_MONTH_NAMES = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
                "November", "December")  # fmt: skip


def _texts_of(column: RawColumn) -> list[str]:
    texts = np.array(column.texts, dtype=object)
    return [str(text) for text in texts[column.codes]]


def _column_of(texts: Sequence[str]) -> RawColumn:
    known: dict[str, int] = {"": 0}
    codes = np.array([known.setdefault(text, len(known)) for text in texts], dtype=np.int32)
    return RawColumn(codes, list(known))


def _joined(kind: str, pieces: Sequence[_Piece], draft: Draft, rows: int, notes: tuple[Said, ...]) -> Unfolded:
    """Pieces one under the other, in the columns of a kind of sheet, with headings."""
    names = [each.name for each in KINDS[kind] if any(each.name in piece.columns for piece in pieces)]
    names = [
        name for name in names
        if name in ("visit_date", "date", "farm", "cow", "lesion", "score", "cases")
        or any(_says_anything(piece.columns.get(name)) for piece in pieces)
    ]  # fmt: skip
    own: dict[str, str] = {}
    for piece in pieces:
        own = {**piece.own, **own}
    columns: list[RawColumn] = []
    headings: list[str] = []
    matches: dict[str, Match] = {}
    for place, name in enumerate(names):
        unit = next((role.unit for roles in draft.roles for role in roles
                     if name in role.field.split("/") and role.unit), None)  # fmt: skip
        headings.append(_heading(kind, name, own.get(name, name), unit))
        texts: dict[str, int] = {"": 0, headings[place]: 1}
        codes: list[Codes] = [np.ones(1, np.int32)]
        for piece in pieces:
            column = piece.columns.get(name)
            if column is None:
                codes.append(np.zeros(len(piece.numbers), np.int32))
                continue
            used = np.unique(column.codes)
            translate = np.zeros(len(column.texts), np.int32)
            for code in used.tolist():
                translate[code] = texts.setdefault(column.texts[code], len(texts))
            codes.append(translate[column.codes])
        columns.append(RawColumn(np.concatenate(codes).astype(np.int32), list(texts)))
        scale = next((role.scale for roles in draft.roles for role in roles if role.field in (name, "locomotion_score")
                      and role.scale), None)  # fmt: skip
        matches[name] = Match(place, field_of(kind, name), headings[place], unit,
                              scale if name in ("score", "locomotion_score") else None)  # fmt: skip
    numbers = np.concatenate([np.zeros(1, np.int64), *(piece.numbers for piece in pieces)])
    size = len(numbers)
    sheet = replace(
        draft.sheet, columns=columns, widths=np.full(size, len(columns), np.int32), first_row=0, numbers=numbers,
        has_headings=True, kind_hint=kind,
    )  # fmt: skip
    found = Headings(kind, 0, headings, matches, cells=tuple(headings), width=len(headings))
    own_headings = tuple(dict.fromkeys(text for table in draft.tables for text in table.headings if text.strip()))
    return Unfolded(sheet, found, rows, notes, own_headings)


def _heading(kind: str, name: str, own: str, unit: str | None) -> str:
    """The sheet's own heading where it says the field and its unit by itself, else the field's name and unit.

    Under it a row that is set aside is listed, mended and read again.
    """
    found = match_heading(own, kind)
    if found is not None and found[0].name == name and (found[1] or "mm") in (unit or "mm", "deg"):
        return own
    return f"{name.removesuffix('mm')}{unit}" if unit and name.endswith("_mm") else name


def _says_anything(column: RawColumn | None) -> bool:
    if column is None or not len(column.codes):
        return False
    says = np.array([bool(text.strip()) for text in column.texts], dtype=bool)
    return bool(says[column.codes].any())


def draft_if_needed(
    sheet: RawSheet, headings: Headings | None, facts: Facts, answers: Answers, keys: Sequence[RawSheet] = ()
) -> Draft | None:
    """The draft of a sheet that has to be unfolded; ``None`` for one that is read as it stands, or not at all.

    Parameters
    ----------
    sheet : RawSheet
    headings : Headings or None
        As the reader of plain sheets found them.
    facts : Facts
    answers : Answers
    keys : sequence of RawSheet
        Other tabs that explain words.
    """
    whole = headings is not None and is_whole(headings)
    if sheet.exact or (headings is not None and headings.own):
        return None
    tables = find_tables(sheet)
    if whole and headings is not None and headings.kind not in ("trims", "locomotion"):
        events = any(role is not None and role.kind == "event" for table in tables for role in table.roles)
        places = {
            role.code for table in tables for role in table.roles
            if role is not None and (role.kind in ("foot", "claw", "lesion") or role.field == "lesion")
        }  # fmt: skip
        if not (events and headings.kind == "changes") and not (headings.kind == "register" and len(places) >= 2):
            return None
    if not tables or not any(len(table.rows) for table in tables):
        return None
    answers.remember(list(dict.fromkeys(text for table in tables for text in table.headings if text.strip())))
    draft = draft_of(sheet, tables, facts)
    for key in keys:
        explain(draft, _key_of(key))
    settle(draft, answers)
    if whole and headings is not None and draft.sheet is sheet and _is_plain(draft, headings):
        return None
    if not any(_is_of_use(roles) for roles in draft.roles):
        return None
    return draft


def _is_counts(roles: Sequence[Role]) -> bool:
    """Whether the columns count cows with lesions, a visit a row, and name no cow."""
    fields = {role.field for role in roles if role.kind == "field"}
    return "cow" not in fields and "foot" not in fields and sum(role.kind == "lesion" for role in roles) >= 2


def _counts_sheet(draft: Draft, facts: Facts, order: DateOrder, answers: Answers) -> Unfolded:
    """Counts without cows: a record a visit and lesion."""
    pieces: list[_Piece] = []
    notes = _opening(draft)
    rows = sum(len(table.rows) for table in draft.tables)
    for number, table in enumerate(draft.tables):
        maker = _Maker(draft, number, facts, order, answers, notes)
        looked = _looked_at(table, draft.sheet)
        for place, role in enumerate(maker.roles):
            if role.kind != "lesion" or place >= len(draft.sheet.columns):
                continue
            column = draft.sheet.columns[place]
            said = np.array([text.strip().casefold() not in BLANKS for text in column.texts], dtype=bool)
            keep = np.flatnonzero(said[column.codes[table.rows]])
            if not len(keep):
                continue
            columns = {
                name: RawColumn(codes[keep], texts)
                for name, (codes, texts) in maker.shared().items()
                if name in ("visit_date", "farm", "trimmer", "herd_size")
            }
            columns["cases"] = RawColumn(column.codes[table.rows][keep], [text.strip() for text in column.texts])
            columns["lesion"] = RawColumn(np.ones(len(keep), np.int32), ["", role.lesion])
            if looked is not None:
                counted = draft.sheet.columns[looked]
                columns["looked_at"] = RawColumn(
                    counted.codes[table.rows][keep], [text.strip() for text in counted.texts]
                )
            maker.complete(columns, len(keep))
            pieces.append(_Piece(table.rows[keep] + draft.sheet.first_row, columns, maker.own))
    notes.append(
        say("The sheet counts cows and names none: its figures are kept as counts, apart from records of cows.")
    )
    return _joined("counts", pieces, draft, rows, tuple(dict.fromkeys(notes)))


def _looked_at(table: Table, sheet: RawSheet) -> int | None:
    """The column that says how many cows were looked at."""
    for place, heading in enumerate(table.headings[: len(sheet.columns)]):
        if "counts.looked_at" in heading_fields().get(squeezed_heading(plain(heading)), ()):
            return place
    return None


def _is_of_use(roles: Sequence[Role]) -> bool:
    """Whether the columns make records: a cow, and something about her feet or gait."""
    fields = {role.field for role in roles if role.kind == "field"}
    if "cow" not in fields:
        return _is_counts(roles)
    return (
        any(role.kind in (*FINDING_ROLES, "day", "action") for role in roles)
        or bool(fields & {"lesion", "foot", "claw", "locomotion_score", "toe_length_mm", "severity", "feet_seen"})
        or (bool(fields & {"visit_date"}) and bool(fields & {"note", "visit_kind", "herd_size", "action"}))
    )


def _is_plain(draft: Draft, headings: Headings) -> bool:
    """Whether the reader of plain sheets reads the sheet just so: one row a finding, every word known to it."""
    if len(draft.tables) != 1:
        return False
    (table,), (roles,) = draft.tables, draft.roles
    context = draft.contexts[0]
    if table.totals or table.after or len(roles) != len(headings.names):
        return False
    fields = {match.column: match for match in headings.matches.values()}
    if any(name not in headings.matches for name in (*context.values, *(["visit_date"] if context.day else []))):
        return False
    if "farm" not in headings.matches:
        return False
    for place, role in enumerate(roles):
        match = fields.get(place)
        if match is None:
            if role.kind not in ("note", "skip"):
                return False
            continue
        if (match.field.name == "note" and _is_remark(role)) or role.kind == "skip":
            continue
        name = {
            "date": "visit_date",
            "score": "locomotion_score",
            "scale": "locomotion_scale",
            "scorer": "trimmer",
        }.get(match.field.name, match.field.name)
        if role.kind != "field" or role.field != name or role.number:
            return False
        if not _reads_plainly(draft.sheet.columns[place], table.rows, match):
            return False
    return not any(
        _names_new_lesion(draft, table, roles, place) for place, role in enumerate(roles) if _is_remark(role)
    )


def _reads_plainly(column: RawColumn, rows: Positions, match: Match) -> bool:
    used = (
        column.counts()
        if len(rows) == len(column.codes)
        else np.bincount(column.codes[rows], minlength=len(column.texts))
    )
    texts = [text for text, count in zip(column.texts, used.tolist(), strict=True) if count]
    if any(text.strip().casefold() in DITTO for text in texts):
        return False
    type = match.field.type
    if type in ("date", "farm", "cow") and match.field.required and any(not text.strip() for text in texts):
        return False
    if type == "cow":
        return all(bare_cow(text) == text.strip() for text in texts[:PLAIN_COWS])
    if type == "lesion":
        return all(_reads(read_finding, bare_text(text)) for text in texts)
    if type == "date":
        return all(not text.strip() or text.strip().casefold() in NOTHING or _is_whole_day(text) for text in texts)
    reader = READERS.get(type)
    if reader is None or type in ("text", "label", "farm", "lower", "action"):
        return True
    return all(is_blank(bare_text(text), type) or _reads(reader, bare_text(text)) for text in texts)


PLAIN_COWS = 20_000


def _is_whole_day(text: str) -> bool:
    today = dt.date.today()
    for first in (True, False):
        try:
            read_day(text, DateOrder(first, "option"), today)
        except Unreadable:
            continue
        return True
    # What looks like a day and is none is set aside by the checks.
    return bool(re.search(r"\d{4}\D\d|\d\D\d{4}", text)) or not re.search(r"\d", text)


def is_plain_survey(survey: Survey) -> bool:
    """Whether every text of a surveyed sheet is read by the reader of plain sheets."""
    if survey.marked_cows:
        return False
    for name, texts in survey.texts.items():
        said = [text for text, rows in zip(texts.raw, texts.rows.tolist(), strict=True) if rows]
        column = RawColumn(np.arange(len(said), dtype=np.int32), said)
        if not _reads_plainly(column, np.arange(len(said)), survey.headings.matches[name]):
            return False
    return True


def is_plain_head(head: RawSheet, name: str) -> bool:
    """Whether the first rows of a sheet are read as they stand."""
    return draft_if_needed(head, find_headings(head), Facts(name, dt.date.today()), Answers()) is None


def _reads(reader: Any, text: str) -> bool:
    try:
        reader(text)
    except Unreadable:
        return False
    return True


def _names_new_lesion(draft: Draft, table: Table, roles: Sequence[Role], place: int) -> bool:
    """Whether a remark names a lesion that its row does not."""
    if place >= len(draft.sheet.columns):
        return False
    column = draft.sheet.columns[place]
    codes = column.codes[table.rows]
    told: dict[int, set[str]] | None = None
    for code in np.unique(codes).tolist():
        text = column.texts[code]
        if not may_name_lesion(text):
            continue
        found = {finding.lesion for finding in read_remark(text, {}).findings} - {"other"}
        if not found:
            continue
        told = _lesions_by_row(draft, table, roles) if told is None else told
        if any(found - told.get(index, set()) for index in np.flatnonzero(codes == code).tolist()):
            return True
    return False


@cache
def _lesion_words() -> frozenset[str]:
    return frozenset(word for phrase in phrases("lesion") for word in phrase.split() if len(word) > 1)


def may_name_lesion(text: str) -> bool:
    """Whether a text holds any word that occurs in the name of a lesion."""
    return bool(text.strip()) and not _lesion_words().isdisjoint(plain(text).split())


def is_key(sheet: RawSheet) -> bool:
    """Whether a sheet without records explains words, as a tab with a key does."""
    return bool(_key_of(sheet))


def _key_of(sheet: RawSheet) -> dict[str, str]:
    if len(sheet) > 200 or len(sheet.columns) > 12:
        return {}
    lines = [[cell.strip() for cell in sheet.row(place) if cell.strip()] for place in range(len(sheet))]
    places = {
        cells[0]: " ".join(cells[1:])
        for cells in lines
        if len(cells) > 1 and cells[0].isdecimal() and places_by_key({cells[0]: " ".join(cells[1:])})
    }
    return places or read_lines(lines, DateOrder(True, "option"), dt.date.today()).key


def share_words(drafts: Sequence[Draft]) -> None:
    """Words explained in one tab hold for all tabs of the file."""
    told: dict[str, str] = {}
    for draft in drafts:
        told |= draft.words.taught
    for draft in drafts:
        draft.words.taught = {**told, **draft.words.taught}
