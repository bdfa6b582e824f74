"""What is asked of a sheet: the order of its dates, words, remarks, numbers under lesions, the farm."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from evenfoot.analytics.domain.lesions import LESIONS, OTHER_LESION, PARENTS, parent_of
from evenfoot.analytics.domain.lexicon import phrases, plain
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.headings import column_letters
from evenfoot.analytics.intake.layouts.context import Context, farm_weight, read_name
from evenfoot.analytics.intake.layouts.drafts import Draft, Facts, names_lesion
from evenfoot.analytics.intake.layouts.profiles import names_diagnosis, profile_of
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.layouts.roles import Role
from evenfoot.analytics.intake.layouts.tables import Table
from evenfoot.analytics.intake.layouts.unpivot import ASIDE, CELL_VALUES
from evenfoot.analytics.intake.parsing.dates import DateOrder, decide_order
from evenfoot.analytics.intake.parsing.finding_cell import read_findings, read_remark
from evenfoot.analytics.messages import Message, say, say_n

DATE_FIELDS = ("visit_date", "calving_date", "recheck_on")


SHOWN = 4
"""Words that are shown of many. [common practice, no source]"""
FEW_UNKNOWN = 0.1
"""Share of the rows up to which unknown words may be set aside without asking. [common practice, no source]"""


FINDING_ROLES = ("foot", "pair", "claw", "lesion", "part", "zone", "measure", "event")


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
    out += [(day.text, 1) for context in (*draft.contexts, draft.tab) if (day := context.day) is not None and day.text]
    return out


def _full(text: str) -> str:
    """A day and month of numbers with a year, so that it votes for an order like a whole date."""
    match = re.fullmatch(r"\s*(\d{1,2})\s*[./-]\s*(\d{1,2})\.?\s*", text)
    return f"{match[1]}/{match[2]}/2024" if match else text


def decide_days(texts: Sequence[tuple[str, int]], facts: Facts, answers: Answers) -> DateOrder:
    """The order of day and month in a file; asked where its dates can be read both ways."""
    try:
        return decide_order(texts, facts.file, facts.day_first)
    except UserError:
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


def ask_words(draft: Draft, answers: Answers, records: int) -> bool:
    """Ask about the words that are not certain; whether any of them now reads otherwise than before."""
    taught = dict(draft.words.taught)
    many: dict[str, int] = {}
    for (about, _), rows in draft.words.rows.items():
        many[about] = many.get(about, 0) + rows
    together = _words_asked_together(draft, answers)
    if together:
        value = _ask_together(draft, together, answers, records)
        for key in together if value != ASIDE else ():
            taught[key] = value
    for (about, key), doubt in list(draft.words.doubts.items()):
        if about == "lesion" and key in together:
            continue
        rows = draft.words.rows[(about, key)]
        options = [
            (code, LEFT_BLANK if code == "note" and about in CELL_VALUES else _choice_words(code))
            for code in map(_bare_code, doubt.choices)
        ]
        default = _bare_code(doubt.default) if doubt.default is not None else None
        if about == "lesion" and default in (None, "note") and "other" in doubt.choices and names_diagnosis(doubt.word):
            default = "other"
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
        shown, asked = _word_asked(draft, doubt.word, rows, draft.words.cells.get((about, key)))
        answer = answers.ask(
            Question(
                f"word:{key}" if about in ("lesion", "tick") else f"{about}:{key}",
                shown,
                asked,
                choices(options),
                default,
                safe,
            )
        )
        if answer is None or (answer == default and about not in ("lesion", "tick")):
            continue
        if answer == ASIDE and doubt.default is None:
            # So it is as long as nobody says otherwise.
            continue
        taught[key] = _taught(about, answer)
    changed = taught != draft.words.taught
    if changed:
        draft.words.taught = taught
    return changed


def shown_heading(table: Table, place: int) -> str:
    """A column's heading, or its letters where it has none."""
    return " ".join(table.headings[place].split()) or column_letters(place)


def _word_asked(draft: Draft, word: str, rows: int, found: tuple[int, int, str] | None) -> tuple[str, Message]:
    """What is shown of a word and what is asked about it, with where it stands: always text of the sheet itself."""
    columns, row, cell = where_word_stands(draft, word)
    if not columns and found is not None:
        at, place, text = found
        table = next((table for table in draft.tables if at in table.rows), draft.tables[0])
        word = cell = " ".join(text.split())[:LONGEST_SHOWN]
        columns, row = [shown_heading(table, place)], int(draft.sheet.row_numbers(np.array(at)))
    if not columns:
        return word, say("What does '{word}' say? Rows with it: {rows}.", word=word, rows=rows)
    under = ", ".join(f"'{column}'" for column in columns)
    if plain(cell) == plain(word):
        return word, say(
            "What does '{word}' say? It stands under {columns}. Rows with it: {rows}, such as row {row}.",
            word=word, columns=under, rows=rows, row=row,
        )  # fmt: skip
    return word, say(
        "What does '{word}' say? It stands under {columns}. Rows with it: {rows}, such as row {row}: '{cell}'.",
        word=word, columns=under, rows=rows, row=row, cell=cell,
    )  # fmt: skip


LONGEST_SHOWN = 120
"""Letters of a cell that a question quotes. [common practice, no source]"""


def where_word_stands(draft: Draft, word: str) -> tuple[list[str], int, str]:
    """Headings of the first columns with a word in a cell, and the row and text of the first such cell."""
    wanted = re.compile(rf"(?<!\w){re.escape(' '.join(word.split()))}(?!\w)", re.I)
    columns: dict[str, None] = {}
    cells: list[tuple[int, str]] = []
    for table, roles in zip(draft.tables, draft.roles, strict=True):
        for place, role in enumerate(roles):
            if place >= len(draft.sheet.columns) or role.kind == "skip":
                continue
            column = draft.sheet.columns[place]
            having = [code for code, text in enumerate(column.texts) if wanted.search(" ".join(text.split()))]
            at = np.flatnonzero(np.isin(column.codes[table.rows], having))
            if not len(at):
                continue
            columns[shown_heading(table, place)] = None
            row = int(table.rows[at[0]])
            cells.append((int(draft.sheet.row_numbers(np.array(row))), " ".join(column.text(row).split())[:60]))
    row, cell = min(cells, default=(0, ""))
    return list(columns)[:SHOWN], row, cell


def _bare_code(value: str) -> str:
    """A lesion as its code alone, as a person answers it."""
    return value.removeprefix("lesion:")


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
        say_n("{n} more word is not understood: {words}. Rows with it: {rows}. What does it say?",
              "{n} more words are not understood, such as {words}. Rows with them: {rows}. What do they say?",
              len(words), words=shown, rows=rows),
        choices((value, _choice_words(value)) for value in (ASIDE, "other", "note", "nothing")),
        ASIDE, rows <= FEW_UNKNOWN * records,
    )  # fmt: skip
    return answers.ask(question) or ASIDE


def _taught(about: str, value: str) -> str:
    if value in LESIONS and value != "other":
        return f"lesion:{value}"
    return value


def _choice_words(value: str) -> Message:
    if value in LESIONS:
        return say("{lesion}", lesion=LESIONS[value].name)
    if value in _SAYS:
        return _SAYS[value]
    kind, _, rest = value.partition(":")
    return say("{kind} {value}", kind=kind, value=rest) if rest else say("{value}", value=value)


LEFT_BLANK = say("not certain: leave it blank and list it")


_SAYS: dict[str, Message] = {
    "nothing": say("looked at, nothing found"),
    "done": say("looked at, nothing found"),
    "other": say("a lesion that is not on the list: keep its words"),
    "note": say("a remark: keep it in the note"),
    "aside": say("set the row aside, to be mended later"),
}


def has_findings(roles: Sequence[Role]) -> bool:
    return any(role.kind in FINDING_ROLES or (role.kind == "field" and role.field == "lesion") for role in roles)


def reads_remarks(draft: Draft, answers: Answers) -> bool:
    """Whether remarks are read as findings: asked where they name lesions that stand nowhere else."""
    rows_with, example, heading, sourced = 0, "", "", False
    for table, roles in zip(draft.tables, draft.roles, strict=True):
        notes = [place for place, role in enumerate(roles) if is_remark(role) and place < len(draft.sheet.columns)]
        if any(role.kind == "event" for role in roles):
            continue
        # Lengths by foot are no findings: beside them remarks are where lesions stand.
        sourced |= has_findings([role for role in roles if role.kind != "measure"])
        told: dict[int, set[str]] | None = None
        for place in notes:
            column = draft.sheet.columns[place]
            codes = column.codes[table.rows]
            for code in np.unique(codes).tolist():
                text = column.texts[code]
                if not may_name_lesion(text):
                    continue
                found = lesions_in_remark(text, draft.words.taught)
                if not found:
                    continue
                told = lesions_by_row(draft, table, roles) if told is None else told
                for index in np.flatnonzero(codes == code).tolist():
                    if found - told.get(index, set()):
                        rows_with += 1
                        heading = heading if example else shown_heading(table, place)
                        example = example or " ".join(text.split())[:60]
    if not rows_with:
        return False
    value = answers.ask(
        Question(
            "remarks", example,
            say_n("A remark under '{column}' names a lesion in {n} row: '{example}'. Is it a finding of that visit?",
                  "Remarks under '{column}' name lesions in {n} rows, such as '{example}'. Are they findings of that "
                  "visit?", rows_with, column=heading, example=example),
            choices([("read", say("yes: read them as findings")), ("keep", say("no: keep them as remarks"))]),
            "keep" if sourced else "read",
        )
    )  # fmt: skip
    return value == "read"


def is_remark(role: Role) -> bool:
    return role.kind == "note" or (role.kind == "field" and role.field == "note")


def lesions_by_row(draft: Draft, table: Table, roles: Sequence[Role]) -> dict[int, set[str]]:
    """Lesions that the other columns name, by row of the table."""
    out: dict[int, set[str]] = {}
    for place, role in enumerate(roles):
        if place >= len(draft.sheet.columns):
            continue
        if role.kind not in ("foot", "pair", "claw", "lesion") and not (
            role.kind == "field" and role.field == "lesion"
        ):
            continue
        column = draft.sheet.columns[place]
        codes = column.codes[table.rows]
        for code in np.unique(codes).tolist():
            text = column.texts[code]
            if not text.strip():
                continue
            found = {finding.lesion for finding in read_findings(text, taught=draft.words.taught).findings}
            if role.kind == "lesion" and names_lesion(text, role, {}):
                found.add(role.lesion)
            if found:
                for index in np.flatnonzero(codes == code).tolist():
                    out.setdefault(index, set()).update(found)
    return out


def counted_lesions(draft: Draft, answers: Answers) -> frozenset[str]:
    """Lesion columns whose numbers count feet: asked where they could be severities as well."""
    numbers: set[float] = set()
    lesions: set[str] = set()
    headings: list[str] = []
    for table, roles in zip(draft.tables, draft.roles, strict=True):
        for place, role in enumerate(roles):
            if role.kind != "lesion" or place >= len(draft.sheet.columns):
                continue
            profile = profile_of([(draft.sheet.columns[place], table.rows)])
            said = {number for number in profile.numbers if number}
            if said:
                numbers |= said
                lesions.add(role.lesion)
                headings.append(shown_heading(table, place))
    if not lesions or numbers <= {1.0}:
        return frozenset(lesions)
    if max(numbers) > 3:
        return frozenset(lesions)
    value = answers.ask(
        Question(
            "lesion-numbers", ", ".join(f"{number:g}" for number in sorted(numbers)),
            say("Do the numbers under {columns} say how severe the lesion is, or on how many feet it is?",
                columns=", ".join(f"'{heading}'" for heading in headings[:SHOWN])),
            choices([("severity", say("severity")), ("count", say("number of feet or spots"))]),
            "severity" if 3.0 in numbers else "count",
        )
    )  # fmt: skip
    return frozenset(lesions) if value == "count" else frozenset()


def farm_said_once(draft: Draft, context: Context, facts: Facts, answers: Answers) -> str | None:
    """The farm that a line, a tab or the file's name says; asked unless it is known already."""
    guess = DateOrder(True, "option")
    file = read_name(facts.file, guess, facts.today, facts.known_farms)
    line = context.guesses.get("farm")
    tab = draft.tab.values.get("farm") or (draft.tab.guesses.get("farm") if draft.sheet.tab else None)
    name = file.values.get("farm") or file.guesses.get("farm")
    key = draft.key_farm if not line else None
    options = [
        (value, found, says)
        for value, found, says in (
            ("line", line, say("the line above the table: {farm}", farm=line or "")),
            ("tab", tab, say("the name of the tab: {farm}", farm=tab or "")),
            ("key", key, say("the tab that explains words: {farm}", farm=key or "")),
            ("file", name, say("the name of the file: {farm}", farm=name or "")),
        )
        if found
    ]
    others = dict.fromkeys(
        [*(farm for weight, farm in context.farms if weight and farm != line), *facts.known_farms[:20]]
    )
    known = {plain(farm): farm for farm in facts.known_farms}
    default = _likeliest_farm(options, context, name or "")
    safe = default is not None and plain(next(str(found) for value, found, _ in options if value == default)) in known
    value = answers.ask(
        Question(
            "farm", draft.sheet.source,
            say("{source} has no column for the farm. Which farm is it?", source=draft.sheet.source),
            choices([*((value, says) for value, _, says in options),
                     *((farm, say("{farm}", farm=farm)) for farm in others)]),
            default, safe, free=True, lasting=not options,
        )
    )  # fmt: skip
    told = {option: found for option, found, _ in options}
    if value in told:
        return str(told[value])
    own = line or tab or ""
    if value and own and draft.first_farm and plain(own) not in (plain(draft.first_farm), plain(value)):
        return _farm_of_others(value, own, answers)
    return value


def _likeliest_farm(options: Sequence[tuple[str, str | None, Message]], context: Context, file: str) -> str | None:
    """The choice that is the farm unless something else stands there as well; ``None`` where no name is certain enough.

    A name that the file is called after as well, one with a word that farms have, and one that stands alone are enough.
    """
    if not options:
        return None
    for value, found, _ in options:
        if value in ("line", "key") and f" {plain(str(found))} " in f" {plain(file)} ":
            return value
    if options[0][0] == "line" and context.farms and not context.farms[0][0] and len(options) > 1:
        # Words of a title stand above the table, and a name elsewhere.
        options = options[1:]
    value, found, _ = options[0]
    weight = context.farms[0][0] if value == "line" and context.farms else farm_weight(str(found))
    rivals = {plain(farm) for other, farm in context.farms[1:] if other >= weight} if value == "line" else set()
    if value == "key":
        return None
    return value if weight and not rivals - {plain(str(found))} else None


def _farm_of_others(value: str, own: str, answers: Answers) -> str:
    """The farm of rows that another name stands above than above those that the answer was given for; asked."""
    same = answers.ask(
        Question(
            f"farm:{plain(own)}", own,
            say("Is {own} the farm {farm} too, or another farm?", own=own, farm=value),
            choices([("other", say("another farm: {farm}", farm=own)),
                     ("same", say("the same farm: {farm}", farm=value))]),
            "other",
        )
    )  # fmt: skip
    return value if same == "same" else own


@cache
def _lesion_words() -> frozenset[str]:
    return frozenset(word for phrase in phrases("lesion") for word in phrase.split() if len(word) > 1)


def lesions_in_remark(text: str, taught: Mapping[str, str]) -> set[str]:
    """Lesions of the atlas that a remark names, also where it is not certain that they were found that day.

    Example
    -------
    >>> lesions_in_remark("also had WL on LH", {}), lesions_in_remark("walks well", {})
    ({'WL'}, set())
    """
    reading = read_remark(text, taught)
    unsure = {choice[7:] for doubt in reading.doubts for choice in doubt.choices if choice.startswith("lesion:")}
    return {finding.lesion for finding in reading.findings} - {OTHER_LESION} | {parent_of(code) for code in unsure}


def may_name_lesion(text: str) -> bool:
    """Whether a text holds any word that occurs in the name of a lesion."""
    return bool(text.strip()) and not _lesion_words().isdisjoint(plain(text).split())
