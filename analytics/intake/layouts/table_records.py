"""The records of one table: findings, and what holds for all of a row or of a table, in the canonical columns."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lesions import LESIONS, says_nothing_found
from evenfoot.analytics.domain.lexicon import forms, forms_meaning, meaning, plain
from evenfoot.analytics.intake.fields import KINDS, field_of
from evenfoot.analytics.intake.headings import Headings, Match, column_letters, match_heading
from evenfoot.analytics.intake.layouts.column_detection import MOST_BLOCKS
from evenfoot.analytics.intake.layouts.context import read_name
from evenfoot.analytics.intake.layouts.days import (
    BARE_DAY,
    MID_MONTH,
    Day,
    is_day,
    month_named,
    read_day_text,
    season_named,
)
from evenfoot.analytics.intake.layouts.drafts import Draft, Facts
from evenfoot.analytics.intake.layouts.profiles import DITTO, begins_with_no, is_tick, is_yes_no
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.layouts.roles import Role
from evenfoot.analytics.intake.layouts.sheet_questions import DATE_FIELDS, FINDING_ROLES, farm_said_once, has_findings
from evenfoot.analytics.intake.layouts.tables import cow_column
from evenfoot.analytics.intake.layouts.unpivot import (
    AWAY,
    BOTH,
    EVENT_FIELDS,
    EXTRA,
    FINDING_FIELDS,
    Words,
    filled_down,
    groups_of,
    is_away,
    is_feet_event,
    is_remark_about_feet,
    unfold_rows,
)
from evenfoot.analytics.intake.parsing.cell_error import Unreadable
from evenfoot.analytics.intake.parsing.dates import SPREADSHEET_DAY_ZERO, DateOrder
from evenfoot.analytics.intake.parsing.finding_cell import healed_lesions, read_findings
from evenfoot.analytics.intake.parsing.value_cells import read_claw_text, read_feet_text, read_score_text
from evenfoot.analytics.intake.parsing.vocabulary import BLANKS
from evenfoot.analytics.intake.sheet import Codes, Positions, RawColumn, RawSheet
from evenfoot.analytics.messages import Message, say, say_n

SHOWN = 4


SEASON_ROWS = 50
"""Rows among which the first day of a season is looked for. [common practice, no source]"""
ABOVE_REPEATS = 0.2
"""Share of filled cells that may repeat the one above in a column that is filled only where something changes.
[common practice, no source]"""


@dataclass(frozen=True)
class Unfolded:
    """A sheet of one row a finding, and how it came about.

    Attributes
    ----------
    sheet : RawSheet
    headings : Headings
    rows : int
        Rows of the sheet as it was.
    notes : tuple of Message
    own_headings : tuple of str
        Headings of the sheet as it was, by which its layout is known again.
    """

    sheet: RawSheet
    headings: Headings
    rows: int
    notes: tuple[Message, ...] = ()
    own_headings: tuple[str, ...] = ()


@dataclass
class Piece:
    """Some records: the sheet's row numbers, and the canonical columns."""

    numbers: Positions
    columns: dict[str, RawColumn]
    own: dict[str, str]


class TableRecords:
    """Makes records of one table."""

    def __init__(
        self, draft: Draft, number: int, facts: Facts, order: DateOrder, answers: Answers, notes: list[Message]
    ) -> None:
        self.draft, self.facts, self.order, self.answers, self.notes = draft, facts, order, answers, notes
        self.table, self.roles = draft.tables[number], draft.roles[number]
        self.context = draft.contexts[number]
        self.sheet, self.rows = draft.sheet, self.table.rows
        self.left_out: Any = np.zeros(len(self.rows), dtype=bool)
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

    def _is_ditto(self, place: int) -> Any:
        """Rows whose cell of a column was a mark for "as above"."""
        column = (self.draft.written or self.sheet).columns[place]
        marks = np.array([text.strip().casefold() in DITTO for text in column.texts], dtype=bool)
        return marks[column.codes[self.rows]]

    def _blank_identity(self) -> tuple[Any, bool]:
        """Rows that name neither day nor farm, and whether such a row means the day and farm above."""
        places = tuple(place for name in ("visit_date", "farm") if (place := self.place(name)) is not None)
        blank = np.ones(len(self.rows), dtype=bool)
        for place in places:
            blank &= self._blank(place) | self._is_ditto(place)
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

    def trims(self, *, read_notes: bool, counts: frozenset[str]) -> list[Piece]:
        """The records of a trim sheet; none where the table holds scores alone."""
        roles = self.roles
        notes_only = read_notes and not has_findings(roles)
        scored = self._is_scored()
        plain_trims = self._holds_findings() or any(role.kind in ("action", "side") for role in roles)
        if scored and not plain_trims and not notes_only:
            return []
        groups = groups_of(roles, self.draft.words, read_notes=read_notes, counts=counts)
        of_row, found, many = unfold_rows(self.sheet, self.rows, groups, self.draft.words)
        columns: dict[str, RawColumn] = {name: found[name] for name in FINDING_FIELDS}
        keep = np.ones(len(of_row), dtype=bool)
        if any(role.kind == "event" for role in roles):
            keep = self._about_feet(of_row, many)
            columns |= {name: found[name] for name in EVENT_FIELDS if any(found[name].texts)}
        self.left_out = self._unseen(np.asarray(many) == 0) | self._void_rows()
        keep &= ~self.left_out[of_row]
        void = self._void_rows(finding=True)[of_row]
        shared = self.shared()
        for name, (codes, texts) in shared.items():
            columns[name] = RawColumn(codes[of_row], texts)
        self._feet_seen(columns, of_row)
        self._sound_feet(columns, of_row, many)
        self._single_fields(columns, of_row)
        self._healed_in_remarks(columns, of_row)
        self._action(columns, of_row)
        self._stages_in_remarks(columns, of_row)
        columns["note"] = self._notes(of_row, found[EXTRA], columns)
        self._rechecks_in_remarks(columns)
        keep &= self._between_claws(columns, of_row)
        self._once(columns, len(of_row))
        self._days(columns)
        self._scores_of_row(columns, of_row)
        self._cows(columns)
        if void.any():
            keep &= self._cows_of_void_findings(columns, of_row, void)
        numbers = self.sheet.row_numbers(self.rows[of_row])
        keep &= self._says_more_than_form(of_row, columns)
        self._nothing_found(columns, of_row)
        if not keep.all():
            places = np.flatnonzero(keep)
            columns = {name: column.among(places) for name, column in columns.items()}
            numbers = numbers[places]
        return [Piece(numbers, columns, self.own)] if len(numbers) else []

    def _nothing_found(self, columns: dict[str, RawColumn], of_row: Positions) -> None:
        """A lesion cell that says that nothing was found keeps its words, which the checks read in the same way."""
        place = self.place("lesion")
        if place is None:
            return
        column = self.sheet.columns[place]
        said = np.array([text.strip() if _says_nothing(text) else "" for text in column.texts], dtype=object)
        here = said[column.codes[self.rows][of_row]]
        lesions = np.array(_texts_of(columns["lesion"]), dtype=object)
        if here.any():
            columns["lesion"] = column_of(np.where(lesions == "", here, lesions).tolist())

    def _between_claws(self, columns: dict[str, RawColumn], of_row: Positions) -> Any:
        """Which records stay where a lesion of the skin between the claws stands on both claws of a foot: it is one.

        *columns* are changed: the one that stays has no claw.
        """
        lesions, feet, claws, zones = (_texts_of(columns[name]) for name in ("lesion", "foot", "claw", "zone"))
        keep = np.ones(len(of_row), dtype=bool)
        first: dict[tuple[int, str, str], int] = {}
        for index, lesion in enumerate(lesions):
            if claws[index] not in CLAWS or not feet[index] or not _is_between_claws(lesion, zones[index]):
                continue
            other = first.setdefault((int(of_row[index]), feet[index], lesion), index)
            if other != index and claws[other] != claws[index] and zones[other] == zones[index]:
                keep[index] = False
                claws[other] = ""
        if not keep.all():
            columns["claw"] = column_of(claws)
            self.notes.append(say("A lesion between the claws that stands on both claws of a foot was taken as one."))
        return keep

    def _says_more_than_form(self, of_row: Positions, columns: dict[str, RawColumn]) -> Any:
        """Which records stay where the sheet has a row for each foot or claw of a cow, whether or not it says more.

        Of a cow with findings the rows of her sound feet are left out; a sound cow is one record without a foot.
        """
        size = len(of_row)
        keep = np.ones(size, dtype=bool)
        cow, foot = self.place("cow"), self.place("foot")
        claw = self.place("claw")
        by_claw = claw is not None
        places = foot is not None or any(role.kind in ("side", "end") for role in self.roles)
        if cow is None or not (places or by_claw) or not (by_claw or self._blank(cow).any()):
            return keep
        starts = np.cumsum(~self._blank(cow))[of_row]
        if by_claw:
            who = [_texts_or_blank(columns, name, size) for name in ("farm", "cow", "visit_date")]
            visits = ["\n".join(said) for said in zip(*who, strict=True)]
            starts = np.unique(np.array(visits, dtype=object).astype(str), return_inverse=True)[1]
        feet = np.array(_texts_of(columns["foot"]), dtype=object)
        claws = np.array(_texts_of(columns["claw"]), dtype=object)
        # What is written as a foot or claw and is none keeps its row, so that it is set aside.
        bare = np.isin(feet, ("", *FEET)) & np.isin(claws, ("", *CLAWS))
        for name in (*FINDING_FIELDS, "note"):
            if name not in ("foot", "claw") and name in columns:
                none = ("", "0") if name == "severity" else ("",)
                bare &= np.array([text in none for text in _texts_of(columns[name])], dtype=bool)
        if claw is not None:
            bare &= ~self._blank(claw)[of_row]
        for start in np.unique(starts).tolist():
            here = np.flatnonzero(starts == start)
            if not by_claw and set(feet[here]) != set(FEET):
                continue
            if len(here) == 1:
                continue
            keep[here[bare[here]]] = False
            if bare[here].all():
                keep[here[0]] = True
                feet[here[0]] = feet[here[0]] if len(set(feet[here])) == 1 else ""
                claws[here[0]] = ""
        columns["foot"], columns["claw"] = column_of(feet.tolist()), column_of(claws.tolist())
        return keep

    def _unseen(self, silent: Any) -> Any:
        """Rows without a finding whose remark says that the cow was not looked at: left out, unless told otherwise.

        *silent* are the rows without a finding. One that says "ok" of a foot is no such row.
        """
        out = np.zeros(len(self.rows), dtype=bool)
        for place, role in enumerate(self.roles):
            finding = role.kind in FINDING_ROLES or role.kind in ("action", "side") or role.field in FINDING_FIELDS
            if finding and place < len(self.sheet.columns):
                silent = silent & (self._blank(place) | self._told(place, self._test_of_unseen(role)))
        remark = ""
        for place, role in enumerate(self.roles) if silent.any() else ():
            says = self._test_of_unseen(role)
            if place >= len(self.sheet.columns) or says is None:
                continue
            column = self.sheet.columns[place]
            said = np.array([says(text) for text in column.texts], dtype=bool)
            out |= silent & said[column.codes[self.rows]]
            first = next((column.texts[code] for code in column.codes[self.rows[out]].tolist() if said[code]), "")
            heading = f"{' '.join(self.table.headings[place].split())}: " if role.kind in ("seen", "action") else ""
            remark = remark or (f"{heading}{first.strip() or '-'}" if out.any() else "")
        gone = silent & self._scored_away()
        out &= ~gone
        gone |= self._unknown_marks(silent & ~out & ~gone)
        if not out.any():
            return gone
        value = self.answers.ask(
            Question(
                "unseen", remark,
                say_n("'{remark}': {n} row says so and nothing of feet. Was this cow looked at?",
                      "'{remark}': {n} rows say so and nothing of feet. Were these cows looked at?", int(out.sum()),
                      remark=remark),
                choices([("leave", say("no: leave the rows out")), ("sound", say("yes, and nothing was found"))]),
                "leave",
            )
        )  # fmt: skip
        return out | gone if value == "leave" else gone

    def _test_of_unseen(self, role: Role) -> Callable[[str], bool] | None:
        """What tells of a cell under a role whether it says that the cow was not looked at; nothing where none can."""
        if role.kind == "seen":
            return _says_not_seen
        if role.kind == "action" and role.action == "trim":
            return _says_not_trimmed
        if role.kind == "note" or (role.kind == "field" and role.field in ("note", "action")):
            return says_unseen
        if role.kind == "field" and role.field == "lesion" and not role.number:
            return self._is_unseen_alone
        return self._is_away if role.kind in _PLACES else None

    def _is_unseen_alone(self, text: str) -> bool:
        return meaning("away", text) == "unseen" or self.draft.words.taught.get(plain(text)) == AWAY

    def _feet_seen(self, columns: dict[str, RawColumn], of_row: Positions) -> None:
        """The feet that were looked at, in rows that say of others that they were not."""
        feet = [
            place for place, role in enumerate(self.roles) if role.kind == "foot" and place < len(self.sheet.columns)
        ]
        if "feet_seen" in columns or not feet:
            return
        away = {self.roles[place].foot: self._told(place, self._is_away) for place in feet}
        some = np.any([*away.values()], axis=0)
        if not some.any():
            return
        seen = [
            " ".join(foot for foot in FEET if foot in away and not away[foot][row]) if some[row] else ""
            for row in range(len(self.rows))
        ]
        columns["feet_seen"] = column_of([seen[row] for row in of_row.tolist()])

    def _told(self, place: int, test: Callable[[str], bool] | None) -> Any:
        """Rows whose cell of a column passes a test; none without one."""
        if test is None:
            return np.zeros(len(self.rows), dtype=bool)
        column = self.sheet.columns[place]
        return np.array([test(text) for text in column.texts], dtype=bool)[column.codes[self.rows]]

    def _unknown_marks(self, silent: Any) -> Any:
        """Rows without a finding whose remark is an abbreviation that is not known: it may say that she was away."""
        gone = np.zeros(len(self.rows), dtype=bool)
        for place, role in enumerate(self.roles) if silent.any() else ():
            if place >= len(self.sheet.columns) or not (role.kind == "field" and role.field == "note"):
                continue
            column = self.sheet.columns[place]
            codes = column.codes[self.rows]
            for code in np.unique(codes[silent]).tolist():
                text = " ".join(column.texts[code].split())
                if not _is_unknown_mark(text, self.draft.words.taught):
                    continue
                rows = silent & (codes == code)
                value = self.answers.ask(
                    Question(
                        f"mark:{plain(text)}", text,
                        say_n("'{remark}': {n} row says so and nothing of feet. Was this cow looked at?",
                              "'{remark}': {n} rows say so and nothing of feet. Were these cows looked at?",
                              int(rows.sum()), remark=text),
                        choices([("leave", say("no: leave the rows out")),
                                 ("sound", say("yes, and nothing was found"))]),
                        "leave",
                    )
                )  # fmt: skip
                gone |= rows & (value == "leave")
        return gone

    def _void_rows(self, *, finding: bool = False) -> Any:
        """Rows that are marked as entries that do not count: left out, unless told otherwise.

        With *finding*, the rows of which the finding alone does not count.
        """
        out = np.zeros(len(self.rows), dtype=bool)
        mark = ""
        for place, role in enumerate(self.roles):
            if place >= len(self.sheet.columns) or finding != (role.kind == "void" and role.field == "lesion"):
                continue
            if role.kind == "field" and role.field not in ("lesion", "note", "action", "visit_kind"):
                continue
            column = self.sheet.columns[place]
            says = _marks_row if role.kind == "void" else says_void
            said = np.array([says(text) for text in column.texts], dtype=bool)
            here = said[column.codes[self.rows]]
            if not here.any():
                continue
            heading = f"{' '.join(self.table.headings[place].split())}: " if role.kind == "void" else ""
            mark = mark or f"{heading}{' '.join(column.text(int(self.rows[here][0])).split())}"[:60]
            out |= here
        if not out.any():
            return out
        value = self.answers.ask(
            Question(
                "void-finding" if finding else "void", mark,
                say_n("'{mark}': {n} row is marked so. Is its entry void?",
                      "'{mark}': {n} rows are marked so. Are their entries void?", int(out.sum()), mark=mark),
                choices([("leave", say("yes: leave the finding out") if finding else say("yes: leave the row out")),
                         ("keep", say("no: it counts"))]),
                "leave",
            )
        )  # fmt: skip
        return out if value == "leave" else np.zeros(len(self.rows), dtype=bool)

    def _cows_of_void_findings(self, columns: dict[str, RawColumn], of_row: Positions, void: Any) -> Any:
        """Which records stay where findings are void: such a cow was looked at; one record of her is enough.

        *columns* are changed: a void finding is none.
        """
        size = len(of_row)
        for name in FINDING_FIELDS:
            texts = np.array(_texts_of(columns[name]), dtype=object)
            columns[name] = column_of(np.where(void, "", texts).tolist())
        who = list(zip(*(_texts_or_blank(columns, name, size) for name in ("farm", "cow", "visit_date")), strict=True))
        met = {who[index] for index in np.flatnonzero(~void).tolist()}
        keep = np.ones(size, dtype=bool)
        for index in np.flatnonzero(void).tolist():
            keep[index] = who[index] not in met
            met.add(who[index])
        return keep

    def _scored_away(self) -> Any:
        """Rows whose score says that the cow was not there."""
        place = self.place("locomotion_score")
        if place is None:
            return np.zeros(len(self.rows), dtype=bool)
        column = self.sheet.columns[place]
        away = np.array([self._is_away(text) for text in column.texts], dtype=bool)
        self._note_away(text for text, gone in zip(column.texts, away, strict=True) if gone)
        here: Any = away[column.codes[self.rows]]
        return here

    def _note_away(self, texts: Iterable[str]) -> None:
        shown = ", ".join(f"'{text}'" for text in sorted(set(texts)))
        if shown:
            self.notes.append(say("Cells that say that a cow was not there hold no score: {words}.", words=shown))

    def _about_feet(self, of_row: Positions, many: Any) -> Any:
        """Of an event list, the events that are about feet: those with a finding, a trim or "nothing found"."""
        structured = any(role.kind == "field" and role.field == "lesion" for role in self.roles)
        about = np.asarray(many) > 0 if structured else np.zeros(len(many), dtype=bool)
        left: dict[str, int] = {}
        for place, role in enumerate(self.roles):
            if role.kind != "event":
                continue
            column = self.sheet.columns[place]
            codes = column.codes[self.rows]
            for code in np.unique(codes).tolist():
                text = column.texts[code]
                here = codes == code
                if not is_feet_event(text, self.draft.words.taught):
                    here &= self._told_of_feet(text, here)
                    others = int((codes == code).sum()) - int(here.sum())
                    if others and text.strip():
                        left[" ".join(text.split())[:30]] = others
                about |= here
        if left:
            shown = ", ".join(f"{word} {rows}" for word, rows in list(left.items())[:SHOWN])
            self.notes.append(say("Events that are not about feet were left out: {events}.", events=shown))
        return about[of_row]

    def _told_of_feet(self, event: str, here: Any) -> Any:
        """The rows among *here* whose remarks say that the event is about feet."""
        out = np.zeros(len(here), dtype=bool)
        for place, role in enumerate(self.roles):
            if place >= len(self.sheet.columns) or not (role.kind == "note" or role.field == "note"):
                continue
            column = self.sheet.columns[place]
            codes = column.codes[self.rows]
            for code in np.unique(codes[here]).tolist():
                if is_remark_about_feet(event, column.texts[code], self.draft.words.taught):
                    out |= codes == code
        return out

    def _sound_feet(self, columns: dict[str, RawColumn], of_row: Positions, many: Any) -> None:
        """A row without a finding that names one foot keeps it."""
        place = self.place("foot")
        if place is None:
            return
        column = self.sheet.columns[place]
        codes = column.codes[self.rows][of_row]
        feet = _texts_of(columns["foot"])
        for index in np.flatnonzero(np.asarray(many)[of_row] == 0).tolist():
            named = self._feet_named(column.texts[codes[index]]) if column.texts[codes[index]].strip() else ()
            if len(named) == 1 and not feet[index]:
                feet[index] = named[0]
        columns["foot"] = column_of(feet)

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
            feet = _texts_of(columns["foot"])
            plans = {code for code in np.unique(codes).tolist() if is_plan(column.texts[code])}
            self._note_plans([column.texts[code] for code in plans])
            read = {
                code: [("", ())] if code in plans else self._actions_told(column.texts[code])
                for code in np.unique(codes).tolist()
            }
            for index in np.flatnonzero([text == "" for text in texts]).tolist():
                told = [said for said, named in read[int(codes[index])] if not named or feet[index] in named]
                texts[index] = told[0] if told else ""
        feet, claws = _texts_of(columns["foot"]), _texts_of(columns["claw"])
        for number, role in enumerate(self.roles):
            if role.kind != "action" or number >= len(self.sheet.columns):
                continue
            column = self.sheet.columns[number]
            codes = column.codes[self.rows][of_row]
            for code in np.unique(codes).tolist():
                text = column.texts[code].strip()
                here = np.flatnonzero(codes == code).tolist() if text else []
                done = meaning("action", text) or role.action
                mine = (
                    here
                    if not text or is_tick(text) or self._counts_done(text)
                    else self._findings_on(text, done, here, of_row, feet, claws)
                )
                for index in mine:
                    texts[index] = "; ".join(dict.fromkeys(filter(None, (texts[index], done))))
        self._actions_in_remarks(texts, of_row, _texts_of(columns["lesion"]), feet)
        columns["action"] = column_of(texts)

    def _note_plans(self, texts: Sequence[str]) -> None:
        shown = ", ".join(f"'{' '.join(text.split())[:40]}'" for text in sorted(texts))
        if shown:
            self.notes.append(
                say(
                    "What is to be done later is no treatment of the visit and was kept in the note: {words}.",
                    words=shown,
                )
            )

    def _findings_on(
        self, text: str, action: str, here: Sequence[int], of_row: Positions, feet: Sequence[str], own: Sequence[str]
    ) -> list[int]:
        """Records among *here* that an action is for whose cell names feet or claws.

        A block is put on the sound claw, so that it is for the finding on the other one. A claw without a foot tells
        of the findings of a row where they are all on one foot.
        """
        named, claws = self._feet_named(text), self._claws_named(text)
        if not named and not claws and meaning("action", text) is None:
            return []
        told = {claw for claw in CLAWS if (claw in claws) != (action == "block")} if len(claws) == 1 else set()
        rows: dict[int, list[int]] = {}
        for index in here:
            if not named or feet[index] in named:
                rows.setdefault(int(of_row[index]), []).append(index)
        out = []
        for mine in rows.values():
            if not named and action in ("block", "wrap") and len({feet[index] for index in mine}) > 1:
                mine = [index for index in mine if own[index] in told]
                mine = mine if len({feet[index] for index in mine}) == 1 else []
            for foot in {feet[index] for index in mine}:
                of_foot = [index for index in mine if feet[index] == foot]
                on_claw = [index for index in of_foot if own[index] in told]
                out += on_claw or ([index for index in of_foot if not own[index]] if told else []) or of_foot
        return out

    def _counts_done(self, text: str) -> bool:
        """Whether a cell under an action says how many were put on; a number of the sheet's key is a foot."""
        return text.isdecimal() and 1 <= int(text) <= MOST_BLOCKS and text not in self.draft.words.feet

    def _claws_named(self, text: str) -> tuple[str, ...]:
        """Claws that a cell under an action names, alone or behind a foot."""
        claws = read_claw_text(text, None, self.draft.words.taught)[0]
        return claws or read_findings(text, taught=self.draft.words.taught).claws

    def _actions_told(self, text: str) -> list[tuple[str, tuple[str, ...]]]:
        """The actions of a cell with the feet they name: "wrap LH, block RH" has two."""
        parts = [self._action_told(part) for part in re.split(r"[,;]", text) if part.strip()]
        return parts if len(parts) > 1 and all(named for _, named in parts) else [self._action_told(text)]

    def _action_told(self, text: str) -> tuple[str, tuple[str, ...]]:
        """The action of a cell such as "block on inside", and the feet it names; else the cell as it is."""
        text = text.strip()
        if not text or meaning("action", text) is not None:
            return text, ()
        reading = read_findings(text, taught=self.draft.words.taught)
        asked = any(doubt.about != "action" for doubt in reading.doubts)
        if reading.action in ("block", "wrap", "refer") and not reading.findings and not asked:
            return reading.action, reading.feet
        return text, ()

    def _block_or_wrap(self, text: str) -> tuple[str, tuple[str, ...]]:
        """The block or wrap that a remark says was put on, with the feet it names; an empty text where it says none."""
        first = re.split(r"[,;]|\.\s", text.strip(), maxsplit=1)[0].rstrip(".")
        if not first:
            return "", ()
        *rest, last = first.split()
        if rest and plain(last) in BOTH and meaning("action", " ".join(rest)) in ("block", "wrap"):
            return str(meaning("action", " ".join(rest))), (BOTH_FEET,)
        if meaning("action", first) in ("block", "wrap"):
            return str(meaning("action", first)), ()
        reading = read_findings(first, taught=self.draft.words.taught)
        if reading.action not in ("block", "wrap") or reading.findings or reading.doubts:
            return "", ()
        if not all(meaning("claw", word) is not None for word in reading.unread):
            return "", ()
        return reading.action, reading.feet

    def _actions_in_remarks(
        self, texts: list[str], of_row: Positions, lesions: Sequence[str], feet: Sequence[str]
    ) -> None:
        """A remark that a block or wrap was put on tells of the one finding of its row, or of the foot it names."""
        found: dict[int, list[int]] = {}
        for index, lesion in enumerate(lesions):
            if lesion:
                found.setdefault(int(of_row[index]), []).append(index)
        for place, role in enumerate(self.roles):
            if place >= len(self.sheet.columns) or not (role.kind == "field" and role.field == "note"):
                continue
            column = self.sheet.columns[place]
            codes = column.codes[self.rows]
            told = {code: self._block_or_wrap(column.texts[code]) for code in np.unique(codes).tolist()}
            for row, mine in found.items():
                action, named = told[int(codes[row])]
                if not action:
                    continue
                if named == (BOTH_FEET,):
                    there = mine if len(mine) == len({feet[index] for index in mine}) == 2 else []
                else:
                    there = [index for index in mine if not named or feet[index] in named]
                    there = there if len(there) == 1 else []
                for index in there:
                    if texts[index] in ("", "trim"):
                        texts[index] = action

    def _rechecks_in_remarks(self, columns: dict[str, RawColumn]) -> None:
        """A remark that says when to look again, such as "recheck 7 July", where no column does."""
        if "recheck_on" in columns or any(role.field == "recheck_on" for role in self.roles):
            return
        column = columns["note"]
        said = [recheck_day(text) for text in column.texts]
        if any(said):
            columns["recheck_on"] = column_of([said[code] for code in column.codes.tolist()])

    def _stages_in_remarks(self, columns: dict[str, RawColumn], of_row: Positions) -> None:
        """A remark that is a stage and nothing else is the stage of the one digital dermatitis of its row."""
        lesions, stages = _texts_of(columns["lesion"]), _texts_of(columns["dd_stage"])
        findings = np.bincount(of_row, weights=[bool(lesion) for lesion in lesions], minlength=len(self.rows))
        for place, role in enumerate(self.roles):
            if place >= len(self.sheet.columns) or not (role.kind == "field" and role.field == "note"):
                continue
            column = self.sheet.columns[place]
            said = [_STAGE_ALONE.fullmatch(text.strip()) for text in column.texts]
            codes = column.codes[self.rows][of_row]
            for index, code in enumerate(codes.tolist()):
                match = said[code]
                if match and lesions[index] == "DD" and not stages[index] and findings[of_row[index]] == 1:
                    stages[index] = f"M{match[1].replace(',', '.')}"
        columns["dd_stage"] = column_of(stages)

    def _feet_named(self, text: str) -> tuple[str, ...]:
        """Feet that a cell under an action names."""
        known = self.draft.words.feet.get(plain(text))
        if known is not None:
            return (known,)
        feet = read_feet_text(text, self.draft.words.feet, self.draft.words.taught)[0]
        return feet or read_findings(text, taught=self.draft.words.taught).feet

    def _healed_in_remarks(self, columns: dict[str, RawColumn], of_row: Positions) -> None:
        """A lesion whose remark says that it is healed is asked about, as it is where its own cell says so."""
        if any(role.kind == "event" for role in self.roles):
            return
        lesions = _texts_of(columns["lesion"])
        gone: set[int] = set()
        for place, role in enumerate(self.roles):
            if place >= len(self.sheet.columns) or not (role.kind == "note" or role.field == "note"):
                continue
            column = self.sheet.columns[place]
            codes = column.codes[self.rows][of_row]
            for code in np.unique(codes).tolist():
                named = healed_lesions(column.texts[code]) if column.texts[code].strip() else None
                mine = () if named is None else np.flatnonzero(codes == code).tolist()
                mine = [index for index in mine if lesions[index] and (not named or lesions[index] in named)]
                later = self._later_look(place)
                if later and mine:
                    again = [index for index in mine if self._is_looked_at_later(later, of_row[index])]
                    if again and self._is_healed(column.texts[code], again, of_row, later):
                        gone.update(again)
                    mine = [index for index in mine if index not in again]
                if mine and self._is_healed(column.texts[code], mine, of_row):
                    gone.update(mine)
        for name in FINDING_FIELDS if gone else ():
            if name != "foot":
                texts = _texts_of(columns[name])
                columns[name] = column_of(["" if index in gone else text for index, text in enumerate(texts)])

    def _later_look(self, place: int) -> int | None:
        """The column of the day of a later look, of which a remark may tell, if there is one."""
        days = [
            number for number, role in enumerate(self.roles)
            if role.kind == "field" and role.field == "recheck_on" and number < len(self.sheet.columns)
        ]  # fmt: skip
        return min(days, key=lambda number: abs(number - place), default=None)

    def _is_looked_at_later(self, place: int, row: int) -> bool:
        return is_day(self.sheet.columns[place].text(int(self.rows[row])).strip())

    def _is_healed(self, remark: str, mine: Sequence[int], of_row: Positions, later: int | None = None) -> bool:
        shown = " ".join(remark.split())[:60]
        row = int(self.sheet.row_numbers(self.rows[of_row[mine[0]]]))
        if later is not None:
            value = self.answers.ask(
                Question(
                    f"healed-later:{plain(remark)[:60]}", shown,
                    say("'{remark}' stands beside '{heading}' (row {row}). Was the lesion there at the visit, and "
                        "healed when she was looked at again?", remark=shown, row=row,
                        heading=" ".join(self.table.headings[later].split())),
                    choices([("stays", say("yes: it is a finding of the visit")),
                             ("healed", say("no: looked at, nothing found"))]),
                    "stays",
                )
            )  # fmt: skip
            return value == "healed"
        value = self.answers.ask(
            Question(
                f"healed-remark:{plain(remark)[:60]}", shown,
                say_n("'{remark}' stands beside a lesion in {n} row (row {row}). Is the lesion healed?",
                      "'{remark}' stands beside lesions in {n} rows, such as row {row}. Are the lesions healed?",
                      len(mine), remark=shown, row=row),
                choices([("healed", say("yes: looked at, nothing found")), ("stays", say("no: it is a finding"))]),
                "healed",
            )
        )  # fmt: skip
        return value == "healed"

    def _actions_elsewhere(self, of_row: Positions, columns: dict[str, RawColumn]) -> Any:
        """What cells under an action say where it is not told of which record of the row they say so; noted."""
        out = np.full(len(of_row), "", dtype=object)
        kept: dict[str, set[int]] = {}
        feet, claws = _texts_of(columns["foot"]), _texts_of(columns["claw"])
        for number, role in enumerate(self.roles):
            if role.kind != "action" or number >= len(self.sheet.columns):
                continue
            column = self.sheet.columns[number]
            codes = column.codes[self.rows][of_row]
            heading = " ".join(self.table.headings[number].split())
            for code in np.unique(codes).tolist():
                text = " ".join(column.texts[code].split())
                here = np.flatnonzero((codes == code) & ~self.left_out[of_row]).tolist()
                if not text or not here or is_yes_no(text) or self._counts_done(text):
                    continue
                done = meaning("action", text) or role.action
                met = {int(of_row[index]) for index in self._findings_on(text, done, here, of_row, feet, claws)}
                for index in here:
                    if int(of_row[index]) not in met:
                        kept.setdefault(f"{heading}: {text}"[:60], set()).add(int(of_row[index]))
                        out[index] = "; ".join(filter(None, (out[index], f"{heading}: {text}")))
        if kept:
            rows = len(set().union(*kept.values()))
            self.notes.append(
                say_n("What was done in {n} row belongs to no finding for certain and was kept in the note: {words}.",
                      "What was done in {n} rows belongs to no finding for certain and was kept in the note: {words}.",
                      rows, words=", ".join(f"'{text}'" for text in list(kept)[:SHOWN]))
            )  # fmt: skip
        return out

    def _notes(self, of_row: Positions, extra: RawColumn, columns: dict[str, RawColumn] | None = None) -> RawColumn:
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
            planned = role.kind == "field" and role.field == "action"
            if not named and not planned and not (role.kind == "field" and role.field == "note"):
                continue
            column = self.sheet.columns[place]
            heading = " ".join(self.table.headings[place].split()) or column_letters(place)
            own = role.kind == "note"
            said = [
                (f"{heading}: " if own or planned or role.kind == "lame" else "") + " ".join(text.split())
                if text.strip() and (not planned or is_plan(text)) else ""
                for text in column.texts
            ]  # fmt: skip
            join(np.array(said, dtype=object)[column.codes[self.rows][of_row]])
        if columns is not None:
            join(self._actions_elsewhere(of_row, columns))
        join(np.array(extra.texts, dtype=object)[extra.codes])
        return column_of(out.tolist())

    def _once(self, columns: dict[str, RawColumn], size: int) -> None:
        """Fields said once for the table, where the rows do not say them."""
        values = {**self.draft.tab.values, **self.context.values}
        if "visit_date" not in values and self.context.day is None and self.draft.tab.day is not None:
            values["visit_date"] = _iso(self.draft.tab.day)
        if self.context.day is not None and "visit_date" not in self.context.values:
            values["visit_date"] = _iso(self.context.day)
        if "trimmer" not in values and "trimmer" in self.context.guesses and "trimmer" not in columns:
            values["trimmer"] = self.context.guesses["trimmer"]
        herd = self.context.guesses.get("herd_size") or self.draft.tab.guesses.get("herd_size")
        if herd and "herd_size" not in values and not self._counts_listed(herd):
            values["herd_size"] = herd
        farm = self._farm(columns)
        if farm is not None:
            values["farm"] = farm
        if self.draft.group and "group" not in columns and "group" not in values and farm != self.draft.group:
            told = self._group_of_tab()
            if told is not None:
                values["group"] = told
        for name, text in values.items():
            if name not in {each.name for each in KINDS["trims"]}:
                continue
            if name not in columns:
                columns[name] = RawColumn(np.ones(size, np.int32), ["", text])
            elif name == "visit_date" and "visit_date" not in {**self.draft.tab.values, **self.context.values}:
                # A day in a title may be the day of printing: beside rows with a day of their own it says nothing.
                continue
            elif name in ("visit_date", "farm", "trimmer", "herd_size", "visit_kind"):
                texts = _texts_of(columns[name])
                if not all(texts):
                    columns[name] = column_of([said or text for said in texts])
        if "visit_date" not in columns:
            self._ask_day(columns, size)

    def _counts_listed(self, herd: str) -> bool:
        """Whether a number of cows in a line counts those of the sheet and not the herd: asked where it fits both."""
        cows: set[str] = set()
        for table, roles in zip(self.draft.tables, self.draft.roles, strict=True):
            place = cow_column(roles, table.headings)
            for row in table.rows.tolist() if place is not None and place < len(self.sheet.columns) else ():
                cows.add(self.sheet.columns[place].text(row).strip() if place is not None else "")
        if len(cows - {""}) != int(herd):
            return False
        value = self.answers.ask(
            Question(
                "herd-or-listed", herd,
                say("A line says {n} cows, as many as the sheet lists. Is that the whole herd, or were these the cows "
                    "looked at?", n=herd),
                choices([("herd", say("the whole herd")), ("listed", say("the cows looked at"))]), "listed",
            )
        )  # fmt: skip
        return value == "listed"

    def _group_of_tab(self) -> str | None:
        """The group that the tab is named after; asked."""
        group = self.draft.group
        value = self.answers.ask(
            Question(
                f"tab-group:{plain(group)}", self.sheet.source,
                say("The file has a tab for each part of one farm. Is '{tab}' the group of its cows?", tab=group),
                choices([("group", say("yes: the group is {group}", group=group)), ("leave", say("no: leave it out"))]),
                "group", "farm" in self.context.values,
            )
        )  # fmt: skip
        return group if value == "group" else None

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
            days = [_is_serial(text, self.facts.today) for text in numbers]
            serial = any(days) and all(is_serial or is_day(text) for is_serial, text in zip(days, numbers, strict=True))
            if serial and not all(days) and not self.sheet.from_workbook:
                self.notes.append(
                    say("Numbers between dates, such as {number}, were read as days of a spreadsheet.",
                        number=numbers[days.index(True)].strip())
                )  # fmt: skip
            texts = list(column.texts)
            for code in used:
                texts[code] = self.day_text(
                    texts[code], serial=serial or self.sheet.from_workbook, alone=name in ("visit_date", "date")
                )
            columns[name] = RawColumn(column.codes, texts)

    def _month_of_rows(self) -> tuple[int, int] | None:
        """Year and month that a line, the tab or the file's name says, for rows that say no more than the day."""
        lines = [cell for line in self.table.lines for cell in line if cell.strip()]
        for text in (*lines, self.sheet.tab or "", self.facts.file):
            named = month_named(text)
            if named is not None:
                return named
        return None

    def day_text(self, text: str, *, serial: bool, alone: bool) -> str:
        """A day as year-month-day, or the text as it is; *alone* where a number alone is a day of the title's month."""
        if not text.strip() or text.strip().casefold() in BLANKS:
            return ""
        of_month = BARE_DAY.fullmatch(text) if alone else None
        named = self._month_of_rows() if of_month is not None else None
        if of_month is not None and named is not None:
            shown = f"{named[0]}-{named[1]:02d}"
            self.notes.append(say("Days without a month were taken to be in {month}.", month=shown))
            try:
                return dt.date(*named, int(of_month[1])).isoformat()
            except ValueError:
                return text
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

    def _season(self) -> tuple[int, int] | None:
        """The first year of the season that a title names, and the month in which the rows begin."""
        lines = [cell for line in self.table.lines for cell in line if cell.strip()]
        year = next((y for text in (*lines, self.sheet.tab or "", self.facts.file) if (y := season_named(text))), None)
        if year is None:
            return None
        place = self.place("visit_date")
        rows = [] if place is None else [self.sheet.columns[place].text(int(row)) for row in self.rows[:SEASON_ROWS]]
        for text in (*(role.day for role in self.roles if role.kind == "day"), *rows):
            try:
                return year, read_day_text(text, self.order, self.facts.today, serial=False).month
            except (Unreadable, ValueError):
                continue
        return None

    def _year(self, day: Day) -> int | None:
        season = self._season()
        if season is not None:
            first, month = season
            self.notes.append(
                say("Days without a year were taken to be in the season {first}/{last}.", first=first, last=first + 1)
            )
            return first if day.month >= month else first + 1
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

    def _scores_of_row(self, columns: dict[str, RawColumn], of_row: Positions) -> None:
        """Scores as numbers. One that stands in one row of a cow holds for the rows of hers below that name no cow."""
        column = columns.get("locomotion_score")
        if column is None:
            return
        place, of_cow = self.place("locomotion_score"), self.place("cow")
        if place is not None and of_cow is not None:
            below = self._blank(of_cow)
            first = np.maximum.accumulate(np.where(below, 0, np.arange(len(self.rows))))
            codes = self.sheet.columns[place].codes[self.rows]
            codes = np.where(below & self._blank(place), codes[first], codes)
            column = RawColumn(codes[of_row], column.texts)
        columns["locomotion_score"] = _read_scores(column, self.draft.words)

    def _cows(self, columns: dict[str, RawColumn]) -> None:
        """Cow numbers without the signs that people put around them."""
        column = columns.get("cow")
        if column is None:
            return
        texts = self._numbers_of_brackets([bare_cow(text) for text in column.texts], columns)
        grouped = [text for text, rows in zip(texts, column.counts().tolist(), strict=True)
                   if rows and THOUSANDS.fullmatch(text)]  # fmt: skip
        if grouped:
            shown = grouped[0].replace(",", "")
            value = self.answers.ask(
                Question(
                    "cow-thousands", grouped[0],
                    say("'{cow}' under '{heading}' ({file}): is it the one cow {number}?", cow=grouped[0],
                        heading=self.own.get("cow", "cow"), file=self.facts.file, number=shown),
                    choices([("one", say("yes: {number}", number=shown)), ("written", say("no: keep it as written"))]),
                    "one",
                )
            )  # fmt: skip
            if value == "one":
                texts = [text.replace(",", "") if THOUSANDS.fullmatch(text) else text for text in texts]
        columns["cow"] = RawColumn(column.codes, texts)

    def _numbers_of_brackets(self, texts: list[str], columns: dict[str, RawColumn]) -> list[str]:
        """Cow numbers without the words in brackets behind them, as in "23 (was 32)"; asked, and kept in the note."""
        used = np.unique(columns["cow"].codes).tolist()
        found = {code: match for code in used if (match := COW_AND_WORDS.fullmatch(texts[code]))}
        if not found:
            return texts
        first = next(iter(found.values()))
        value = self.answers.ask(
            Question(
                "cow-words", first[0],
                say("'{cow}' stands under '{heading}'. Is it cow {number}?", cow=first[0],
                    heading=self.own.get("cow", "cow"), number=first[1]),
                choices([("number", say("yes: {number}", number=first[1])),
                         ("written", say("no: keep it as written"))]),
                "number",
            )
        )  # fmt: skip
        if value != "number":
            return texts
        notes = _texts_of(columns["note"]) if "note" in columns else [""] * len(columns["cow"].codes)
        for index, code in enumerate(columns["cow"].codes.tolist()):
            if code in found:
                notes[index] = "; ".join(filter(None, (notes[index], found[code][0])))
        columns["note"] = column_of(notes)
        return [found[code][1] if code in found else text for code, text in enumerate(texts)]

    def _is_scored(self) -> bool:
        return any(
            role.kind == "day" or (role.kind == "field" and role.field == "locomotion_score") for role in self.roles
        )

    def _holds_findings(self) -> bool:
        """Whether a column holds findings. Beside a score the foot that looks lame is none."""
        fields = {*FINDING_FIELDS} - ({"foot"} if self._is_scored() else set())
        return any(role.kind in FINDING_ROLES or (role.kind == "field" and role.field in fields) for role in self.roles)

    def _told_beside(self, shared: dict[str, tuple[Codes, list[str]]], keep: Positions) -> RawColumn:
        """What a row says that a score has no column for, with its headings, so that it stays in the note."""
        out = np.full(len(keep), "", dtype=object)
        foot = self.place("foot")
        if foot is not None:
            column = self.sheet.columns[foot]
            shared = {**shared, self.table.headings[foot]: (column.codes[self.rows], list(column.texts))}
        for name, (codes, texts) in shared.items():
            if name in _OF_SCORES:
                continue
            heading = self.own.get(name, name)
            said = [f"{heading}: {' '.join(text.split())}" if text.strip() else "" for text in texts]
            here = np.array(said, dtype=object)[codes[keep]]
            out = out + np.where((out != "") & (here != ""), "; ", "").astype(object) + here
        return column_of(out.tolist())

    def _is_away(self, text: str) -> bool:
        """Whether a cell in the place of a score says that the cow was not there."""
        return is_away(text, self.draft.words.taught)

    def scores(self) -> list[Piece]:
        """The records of a locomotion sheet: a score a cow and day."""
        days = [
            (place, role)
            for place, role in enumerate(self.roles)
            if role.kind == "day" and place < len(self.sheet.columns)
        ]
        single = self.place("locomotion_score")
        if not days and (single is None or self._holds_findings()):
            return []
        shared = self.shared()
        out = []
        columns_of_scores: list[tuple[int, Role | None]] = [*days]
        if not days and single is not None:
            columns_of_scores = [(single, None)]
        for place, role in columns_of_scores:
            column = self.sheet.columns[place]
            away = [self._is_away(text) for text in column.texts]
            said = np.array(
                [
                    text.strip().casefold() not in BLANKS and not gone
                    for text, gone in zip(column.texts, away, strict=True)
                ],
                dtype=bool,
            )
            there = said if role is not None else ~np.array(away, dtype=bool)
            keep = np.flatnonzero(there[column.codes[self.rows]] & ~self._void_rows())
            self._note_away(text for text, gone in zip(column.texts, away, strict=True) if gone)
            if not len(keep):
                continue
            columns = {
                "score": RawColumn(column.codes[self.rows][keep], [text.strip() for text in column.texts]),
                "note": self._notes(keep, self._told_beside(shared, keep)),
            }
            self.own["score"] = " ".join(self.table.headings[place].split())
            for name, target in (("cow", "cow"), ("farm", "farm"), ("visit_date", "visit_date"), ("trimmer", "scorer"),
                                 ("group", "group"), ("herd_size", "herd_size"),
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
            out.append(Piece(self.sheet.row_numbers(self.rows[keep]), columns, own))
        return out


def _is_serial(text: str, today: dt.date) -> bool:
    """Whether a number can be the day of a spreadsheet, up to a year after *today*."""
    bare = text.strip()
    found = re.fullmatch(r"[345]\d{4}(?:\.0+)?", bare)
    return found is not None and SPREADSHEET_DAY_ZERO + dt.timedelta(days=int(bare[:5])) <= today + dt.timedelta(365)


def _says_nothing(text: str) -> bool:
    """Whether a cell says in words that nothing was found; one that has no word says nothing at all."""
    return bool(plain(text)) and says_nothing_found(text)


def _says_not_seen(text: str) -> bool:
    """Whether a cell of a column of cows looked at says that this one was not, or is blank."""
    return not text.strip() or meaning("away", text) is not None or text in "0-" or _says_not_trimmed(text)


def _says_not_trimmed(text: str) -> bool:
    """Whether a cell under a word for trimmed says no, whatever the reason behind it, or that she was not seen.

    Example
    -------
    >>> [_says_not_trimmed(text) for text in ("non", "No - calving", "nee (droog)", "nicht da", "yes", "")]
    [True, True, True, True, False, False]
    """
    return begins_with_no(text) or says_unseen(text)


def recheck_day(text: str) -> str:
    """The day in a remark on which to look again; empty where it says none.

    Example
    -------
    >>> recheck_day("LH white line, recheck 07/07/2026"), recheck_day("recheck soon")
    ('07/07/2026', '')
    """
    match = _RECHECK_ON.search(text[:LONGEST_REMARK])
    return match[1] if match is not None and is_day(match[1]) else ""


_AGAIN = "|".join(sorted(map(re.escape, forms_meaning("remark", "recheck")), key=len, reverse=True))
_RECHECK_ON = re.compile(
    rf"(?<!\w)(?:{_AGAIN})(?:\s(?:on|am|op|le|el|em|den))?[\s:]+(\d{{1,4}}[./ -]\w{{1,9}}(?:[./ -]\d{{2,4}})?)",
    re.I,
)
"""A day behind words for looking again."""
LONGEST_REMARK = 400
"""Letters of a remark in which such a day is sought. [common practice, no source]"""
_PLACES = ("foot", "claw", "pair")


def _is_between_claws(lesion: str, zone: str) -> bool:
    """Whether a lesion is one of the skin between the claws, by what it is or by its zone.

    Example
    -------
    >>> _is_between_claws("IH", ""), _is_between_claws("DD", "10"), _is_between_claws("SU", "")
    (True, True, False)
    """
    known = LESIONS.get(lesion)
    if known is None:
        return False
    between = set(BETWEEN_CLAWS)
    return (
        zone in {str(place) for place in between & set(known.usual_zones)}
        if zone
        else (bool(known.usual_zones) and set(known.usual_zones) <= between)
    )


BETWEEN_CLAWS = (0, 10)
"""Zones that both claws of a foot share."""


def _is_unknown_mark(text: str, taught: Mapping[str, str]) -> bool:
    """Whether a remark is one abbreviation with dots or a slash that means nothing known.

    Example
    -------
    >>> [_is_unknown_mark(text, {}) for text in ("q.w.", "k/w", "o.B.", "long")]
    [True, True, False, False]
    """
    if not _MARK.fullmatch(text) or plain(text) in taught:
        return False
    reading = read_findings(text)
    return not (reading.findings or reading.nothing or reading.action or reading.feet or reading.claws)


_MARK = re.compile(r"(?:[^\W\d_]{1,2}[./]\s?){1,3}[^\W\d_]{0,2}\.?")


def is_plan(text: str) -> bool:
    """Whether a cell of what was done says what is to be done later, or how the lesion is, and no treatment.

    Example
    -------
    >>> is_plan("lift this week"), is_plan("better"), is_plan("block, look again next visit"), is_plan("wrap")
    (True, True, False, False)
    """
    words = plain(text[:LONGEST_MARK])
    if meaning("certainty", text) in ("healed", "healing"):
        return True
    if any(separator in text for separator in ",;+") or not words:
        return False
    return any(f" {phrase} " in f" {words} " for phrase in _LATER)


_LATER = forms_meaning("layout_word", "later")


def says_void(text: str) -> bool:
    """Whether a cell says that its row does not count, alone or in front of other words.

    Example
    -------
    >>> says_void("VOID - wrong cow"), says_void("avoid"), says_void("block, entered in error")
    (True, False, True)
    """
    if len(text) > LONGEST_MARK or not _VOID_WORDS.search(plain(text)):
        return False
    return any(meaning("away", part) == "void" for part in (text, *_PARTS.split(text)) if part.strip())


def _marks_row(text: str) -> bool:
    """Whether a cell of a column that marks void entries marks its row."""
    return text.strip().casefold() not in BLANKS and meaning("no", text) is None


_VOID_WORDS = re.compile("|".join(map(re.escape, sorted(forms_meaning("away", "void")))))
_PARTS = re.compile(r"[,;.:()\[\]\u2013-]|\s/\s")
LONGEST_MARK = 120
"""Letters of a cell above which it is prose, and marks no row. [common practice, no source]"""


def says_unseen(text: str) -> bool:
    """Whether a remark says that the cow was not looked at.

    Example
    -------
    >>> says_unseen("dry, not brought in"), says_unseen("dry")
    (True, False)
    """
    parts = (text, *re.split(r"[,;.:()\u2013-]", text))
    return any(meaning("away", part) == "unseen" for part in parts if part.strip())


BOTH_FEET = "both"
"""Stands for the two feet of a row that have a finding, where a remark says no more than both."""
_STAGE_ALONE = re.compile(r"(?:(?:stage|stadium|estadio|stade|est[aá]dio)\s+)?[mM]\s?(4[.,]1|[0-4])", re.I)
_OF_SCORES = frozenset(
    ("cow", "farm", "visit_date", "trimmer", "group", "herd_size", "locomotion_scale", "locomotion_score")
)
"""Fields of a row that a record of a score takes up."""


_BEFORE = "|".join(sorted(map(re.escape, {word.text for _, word in forms("layout_word") if word.means == "formerly"})))
COW_AND_WORDS = re.compile(rf"([\w./-]*\d[\w./-]*)\s*(?:\([^()]+\)?|\[[^\[\]]+\]?|,?\s(?:{_BEFORE})\b.+)", re.I)
"""A cow's number with words in brackets behind it, or the number she had."""
THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+")
"""A number with commas between its thousands."""


def bare_cow(text: str) -> str:
    """A cow's number without a sign before it or a star behind it.

    Example
    -------
    >>> bare_cow("#1042"), bare_cow("1042*"), bare_cow("NL 1234"), bare_cow("no 45")
    ('1042', '1042', 'NL 1234', '45')
    """
    text = _NUMBER_WORD.sub("", text)
    return re.sub(r"(?<![\s*#])[\s*#]+$", "", re.sub(r"^\s*#\s*", "", text)).strip()


_NUMBER_WORD = re.compile(
    rf"^\s*(?:{'|'.join({re.escape(word.text): None for _, word in forms('cow_number')})})(?!\w)[.:]?\s+(?=\d)", re.I
)
"""Words before a cow's number that say no more than that it is one. [common practice, no source]"""


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


def _iso(day: Day) -> str:
    if day.text:
        return day.text
    if day.year is None or day.day is None:
        return f"{day.year}-{day.month:02d}" if day.year else f"{day.day or ''} {_MONTH_NAMES[day.month - 1]}".strip()
    return f"{day.year:04d}-{day.month:02d}-{day.day:02d}"


_MONTH_NAMES = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
                "November", "December")  # fmt: skip


def _texts_or_blank(columns: dict[str, RawColumn], name: str, size: int) -> list[str]:
    return _texts_of(columns[name]) if name in columns else [""] * size


def _texts_of(column: RawColumn) -> list[str]:
    texts = np.array(column.texts, dtype=object)
    return [str(text) for text in texts[column.codes]]


def column_of(texts: Sequence[str]) -> RawColumn:
    known: dict[str, int] = {"": 0}
    codes = np.array([known.setdefault(text, len(known)) for text in texts], dtype=np.int32)
    return RawColumn(codes, list(known))


def join_pieces(kind: str, pieces: Sequence[Piece], draft: Draft, rows: int, notes: tuple[Message, ...]) -> Unfolded:
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
