"""A raw sheet while it is understood: its tables, what is said once, what its key explains, what each column is."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import numpy as np

from evenfoot.analytics.domain.feet import CLAWS
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.domain.lexicon import foot_sets, forms, forms_meaning, language_of, meaning, phrases, plain
from evenfoot.analytics.intake.headings import is_own_column
from evenfoot.analytics.intake.layouts.column_detection import settle_roles
from evenfoot.analytics.intake.layouts.context import Context, explains, is_name, read_lines, read_name
from evenfoot.analytics.intake.layouts.days import is_day
from evenfoot.analytics.intake.layouts.profiles import DITTO, Profile, is_tick, profile_of
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.layouts.roles import Role, read_heading
from evenfoot.analytics.intake.layouts.tables import ENOUGH_FEET, Table, cow_column, is_cow_like
from evenfoot.analytics.intake.layouts.unpivot import (
    AWAY,
    CLAW,
    END,
    FEET_EVENT,
    SIDES,
    Words,
    filled_down,
    is_feet_event,
)
from evenfoot.analytics.intake.layouts.visits import tables_by_visit
from evenfoot.analytics.intake.parsing.cell_items import Splitter
from evenfoot.analytics.intake.parsing.dates import DateOrder
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from evenfoot.analytics.intake.parsing.vocabulary import BLANKS
from evenfoot.analytics.intake.sheet import RawColumn, RawSheet
from evenfoot.analytics.messages import say


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
    group: str = ""
    """Group that the name of the tab may say, where the file has a tab for each."""
    first_farm: str = ""
    """The first name of a farm that the lines or the tabs of the file may say."""
    key_farm: str = ""
    """The name of a farm that a tab with a key may say."""
    written: RawSheet | None = None
    """The sheet with its marks for "as above"."""
    headings: dict[str, Role] = field(default_factory=dict)
    """Headings, in plain form, that a line of the sheet explains."""


def draft_of(sheet: RawSheet, tables: list[Table], facts: Facts) -> Draft:
    """A raw sheet with the lines around its tables read."""
    guess = DateOrder(True, "option") if facts.day_first is None else DateOrder(facts.day_first, "option")
    farms = facts.known_farms
    tables = [part for table in tables for day in tables_by_day(table) for part in tables_by_visit(sheet, day)]
    draft = Draft(without_dittos(sheet, tables), tables, written=sheet)
    said = Context()
    for table in tables:
        said = said.then(read_lines(table.lines, guess, facts.today, farms))
        scale = scale_counted(table.lines)
        if scale and "locomotion_scale" not in said.values:
            said = replace(said, values={**said.values, "locomotion_scale": scale})
        draft.contexts.append(said)
    draft.after = read_lines((line for table in tables for line in table.after), guess, facts.today, farms)
    draft.tab = read_name(sheet.tab, guess, facts.today, farms) if sheet.tab else Context()
    key = {**draft.after.key}
    for context in draft.contexts:
        key |= context.key
    explain(draft, key)
    if any(_tells_grades(cell) for table in tables for line in (*table.lines, *table.after) for cell in line):
        draft.words.taught = {"number": "severity", **draft.words.taught}
    elif any(_tells_zones(cell) for table in tables for line in (*table.lines, *table.after) for cell in line):
        draft.words.taught = {"number": "zone", **draft.words.taught}
    letters = claw_letters([heading for table in tables for heading in table.headings])
    if letters:
        draft.words.taught = {"claw letters": letters, **draft.words.taught}
    draft.headings = headings_explained(tables)
    feet = {context.values["feet_seen"] for context in draft.contexts if "feet_seen" in context.values}
    if len(feet) == 1:
        draft.words.feet[END] = feet.pop()[1]
    return draft


def scale_counted(lines: Sequence[Sequence[str]]) -> str:
    """The scale of scores that lines count, a score a line: from 0 up, or to 5; else an empty text.

    Example
    -------
    >>> scale_counted([["Score", "Cows"], ["0", "88"], ["1", "38"], ["2", "3"]]), scale_counted([["Score"], ["1", "3"]])
    ('0-3', '')
    """
    for number, line in enumerate(lines):
        head = read_heading(line[0]) if line and line[0].strip() else None
        if head is None or head.field != "locomotion_score":
            continue
        scores: list[int] = []
        for cells in lines[number + 1 :]:
            filled = [cell.strip() for cell in cells if cell.strip()]
            if len(filled) < 2 or not all(_COUNT.fullmatch(cell) for cell in filled) or not filled[0].isdecimal():
                break
            scores.append(int(filled[0]))
        if len(scores) >= 3 and scores == list(range(scores[0], scores[0] + len(scores))):
            if scores[0] == 0 and scores[-1] <= 3:
                return "0-3"
            if scores[0] == 1 and scores[-1] in (4, 5):
                return "1-5"
    return ""


_COUNT = re.compile(r"\d+(?:[.,]\d+)?\s*%?")


def claw_letters(headings: Sequence[str]) -> str:
    """Letters that stand for a claw in the language of a sheet. English ones are asked, as in and out are written.

    Example
    -------
    >>> claw_letters(["Kuh-Nr.", "VL", "VR", "HL", "HR"]), claw_letters(["Cow", "LH", "RH"])
    ('a i', '')
    """
    language = language_of(headings)
    letters = sorted(form for form, word in forms("claw_alone") if word.language == language and word.means in CLAWS)
    return "" if language == "en" else " ".join(letter for letter in letters if len(letter) == 1)


_GRADES = re.compile(r"(?<!\d)1\D.*(?<!\d)3(?!\d)", re.DOTALL)


def _tells_grades(line: str) -> bool:
    """Whether a line says that the numbers 1 to 3 are degrees.

    Example
    -------
    >>> _tells_grades("Grado: 1 leve, 2 moderado, 3 grave"), _tells_grades("Mobility: 1 mild, 2 moderate, 3 severe")
    (True, False)
    """
    words = plain(line[:300]).split()
    cues = {phrases("cue").get(word) for word in words if word != "score"}
    levels = sum(word in phrases("severity") and not word.isdecimal() for word in words)
    return bool(_GRADES.search(line[:300])) and "score" not in cues and ("severity" in cues or levels >= 2)


def _tells_zones(line: str) -> bool:
    """Whether a line that explains words says that the numbers are zones.

    Example
    -------
    >>> _tells_zones("e = unha externa; n\u00famero = zona"), _tells_zones("I = inside, then lesion and zone")
    (True, True)
    >>> _tells_zones("Zones 1 to 12, severity 1 to 3"), _tells_zones("SU = sole ulcer")
    (False, False)
    """
    words = plain(line[:300]).split()
    graded = {phrases("cue").get(word) for word in words} & {"severity", "score"}
    return "=" in line and not graded and not ZONE_WORDS.isdisjoint(words)


ZONE_WORDS = forms_meaning("layout_word", "zone")
_HEADING_EXPLAINED = re.compile(
    r"(?:^|[;,.]\s|\s{2,})\s*([^\W\d_][\w .]{0,19}?)\s*=\s*([^=;]{3,60}?)(?=$|[;.]|\s{2,}|,\s*\w+\s*=)"
)


def headings_explained(tables: Sequence[Table]) -> dict[str, Role]:
    """Headings that a line around a table explains: "Mob = mobility score 0-3", "Due = to be looked at again"."""
    known = {
        plain(heading) for table in tables for heading, role in zip(table.headings, table.roles, strict=True)
        if heading.strip() and (role is None or role.kind not in PLACE_KINDS)
    }  # fmt: skip
    out: dict[str, Role] = {}
    for line in (cell for table in tables for cells in (*table.lines, *table.after) for cell in cells if "=" in cell):
        for match in _HEADING_EXPLAINED.finditer(line[:LONGEST_NOTE]):
            role = _role_explained(match[2]) if plain(match[1]) in known else None
            if role is not None and role.kind == "field" and role.field not in PLACE_KINDS:
                out[plain(match[1])] = role
    return out


def _role_explained(said: str) -> Role | None:
    """What a column is whose heading is explained in words.

    Example
    -------
    >>> [_role_explained(said).code for said in ("mobility score 0-3", "to be looked at again", "group of the cow")]
    ['locomotion_score', 'recheck_on', 'group']
    """
    bare = plain(said)
    scale = re.search(r"(?<![\d.])(0\D{1,4}3|1\D{1,4}5)(?![\d.])", said)
    role = read_heading(said) or read_heading(re.sub(r"[\d-]+.*", "", said))
    if role is None and scale is not None and not GAITS.isdisjoint(bare.split()):
        role = Role("field", field="locomotion_score")
    if role is not None and role.field == "locomotion_score" and scale is not None:
        return Role("field", field="locomotion_score", scale=f"{scale[0][0]}-{scale[0][-1]}")
    if role is None and not AGAIN.isdisjoint(bare.split()):
        return Role("field", field="recheck_on")
    words = bare.split()
    return role or next((read_heading(" ".join(words[:size])) for size in range(len(words) - 1, 0, -1)
                         if read_heading(" ".join(words[:size]))), None)  # fmt: skip


AGAIN = forms_meaning("layout_word", "again")
GAITS = forms_meaning("layout_word", "gait")
PLACE_KINDS = ("foot", "claw", "lesion")


def tables_by_day(table: Table) -> list[Table]:
    """A table with visits side by side, the day above each, as one table a visit; any other as it is.

    The day stands above the first column of its visit. All of them have the same columns of feet, claws or lesions.
    """
    codes = [role.code for role in table.roles if role is not None and role.kind in PLACE_KINDS]
    if len(codes) == len(set(codes)):
        return [table]
    for number, line in enumerate(table.lines):
        days = {place: cell.strip() for place, cell in enumerate(line) if cell.strip() and is_day(cell.strip())}
        if len(days) < 2:
            continue
        starts = sorted(days)
        others = [said for at, said in enumerate(table.lines) if at != number]
        out = []
        for turn, start in enumerate(starts):
            stop = starts[turn + 1] if turn + 1 < len(starts) else len(table.roles)
            roles = [
                role if role is None or role.kind not in PLACE_KINDS or start <= place < stop else Role("skip")
                for place, role in enumerate(table.roles)
            ]
            headings = [
                heading if roles[place] is table.roles[place] else "" for place, heading in enumerate(table.headings)
            ]
            lines = [*others, ["Date", days[start]]]
            after, totals, repeats = (table.after, table.totals, table.repeats) if not turn else ([], 0, 0)
            out.append(Table(headings, roles, table.rows, lines, after, totals, repeats))
        return out
    return [table]


def without_dittos(sheet: RawSheet, tables: Sequence[Table]) -> RawSheet:
    """The sheet with the text above in the place of every mark that says "as above"."""
    columns = list(sheet.columns)
    for place, column in enumerate(columns):
        if not any(text.strip().casefold() in DITTO for text in column.texts):
            continue
        lesions = any(
            role is not None and (role.field == "lesion" or role.kind in PLACE_KINDS)
            for table in tables for role in table.roles[place : place + 1]
        )  # fmt: skip
        if lesions and any(text.strip().casefold() == "id." for text in column.texts):
            # "ID." under a lesion is one.
            continue
        farms = any(
            role is not None and role.code == "farm" for table in tables for role in table.roles[place : place + 1]
        )
        said = {text.strip() for text in column.texts if text.strip() and text.strip().casefold() not in DITTO}
        codes = column.codes.copy()
        for table in tables:
            # Among marks that all mean one farm a blank means it too.
            blanks = np.full(len(table.rows), farms and len(said - {table.headings[place].strip()}) == 1)
            codes[table.rows] = filled_down(column, table.rows, blanks=blanks)
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
    draft.words.feet |= {number: role.foot for number, role in draft.places.items() if role.kind == "foot"}
    for number, role in draft.places.items():
        if role.kind == "claw" and role.foot:
            draft.words.feet |= {f"{CLAW} {number}": role.claw, f"{CLAW} {number} foot": role.foot}
    claws = {number: claw for number, said in key.items()
             if number.isdecimal() and (claw := meaning("claw", said)) in CLAWS}  # fmt: skip
    draft.words.feet |= {f"{CLAW} {number}": claw for number, claw in claws.items()}
    draft.words.taught = {
        **taught_by_key({word: said for word, said in key.items() if word not in places and word not in claws}),
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
        role = read_heading(_IN_BRACKETS.sub("", said)) if number.isdecimal() else None
        if role is not None and role.kind in ("foot", "claw"):
            out[number] = role
    return out


_IN_BRACKETS = re.compile(r"\s*[(\[][^)\]]*[)\]]\s*$")


def taught_by_key(key: Mapping[str, str]) -> dict[str, str]:
    """What a sheet's own key says of its words, as answers to questions about words.

    Example
    -------
    >>> taught_by_key({"u": "sole ulcer", "x": "done, nothing found", "1": "LF"})
    {'u': 'lesion:SU', 'x': 'nothing', '1': 'foot:LF'}
    """
    out: dict[str, str] = {}
    figures = [word for word in key if word.isdecimal()]
    for word, said in key.items():
        # "0 = none, 1 = slight, 2 = clear" grades: clear is no word for sound there.
        is_grade = len(figures) >= 3 and word in ("1", "2", "3") and "0" in figures
        reading = read_findings(said)
        in_brackets = re.search(r"\(([^()]+)\)", said)
        if len(reading.findings) > 1 and in_brackets:
            # "B = sore (sole haemorrhage)": the brackets say what is meant.
            reading = read_findings(in_brackets[1])
        foot = meaning("foot", said)
        if len(reading.findings) == 1:
            finding = reading.findings[0]
            out[word] = f"lesion:{finding.detail or finding.lesion}"
        elif foot is not None:
            out[word] = f"foot:{foot}"
        elif meaning("claw", said) in (*CLAWS, "both"):
            out[word] = f"claw:{meaning('claw', said)}"
        elif meaning("severity", said) is not None and not word.isdecimal():
            out[word] = f"severity:{meaning('severity', said)}"
        elif meaning("away", said) is not None:
            out[word] = AWAY
        elif not is_grade and (reading.nothing or re.search(r"\b(done|nothing|clean|trimmed|ok)\b", plain(said))):
            out[word] = "nothing"
        elif meaning("action", said) is not None:
            out[word] = f"action:{meaning('action', said)}"
        elif len(word) <= LONGEST_CODE and not reading.findings and is_feet_event(said, {}):
            out[word] = FEET_EVENT
    return out


FRONT_LIMB, HIND_LIMB = forms_meaning("layout_word", "front limb"), forms_meaning("layout_word", "hind limb")
"""Words for a front foot, beside which another word for a foot is the hind one."""


def _learn_hind_limb(draft: Draft, answers: Answers) -> None:
    """Where front feet have a word of their own ("mano"), the word for any foot ("pata") is the hind foot; asked."""
    front = hind = ""
    sides = _sides_of_limb()
    for text in (text for column in draft.sheet.columns for text in column.texts):
        if len(text) > LONGEST_NOTE or not any(word in text.casefold() for word in _LIMB_LETTERS):
            continue
        words = plain(text).split()
        front = front or next((word for word in words if word in FRONT_LIMB), "")
        if not hind and not HIND_LIMB.isdisjoint(words):
            named = [plain(item.text) for item in Splitter({}).split(text) if item.kind == "doubtful"]
            hind = next((phrase for phrase in named if phrase in sides), "")
    if not front or not hind:
        return
    value = answers.ask(
        Question(
            "hind-limb", hind,
            say("The sheet calls front feet '{front}'. Does '{hind}' mean a hind foot?", front=front, hind=hind),
            choices([("hind", say("yes")), ("any", say("no: it may be any foot"))]), "hind",
        )
    )  # fmt: skip
    if value != "hind":
        return
    draft.words.taught = {**{phrase: f"foot:{feet}" for phrase, feet in sides.items()}, **draft.words.taught}


@cache
def _sides_of_limb() -> Mapping[str, str]:
    """Phrases such as "pata izq" -> the hind foot of that side."""
    return {
        phrase: _HIND_FEET[first]
        for phrase, candidates in phrases("doubtful").items()
        if (first := candidates.split()[0]) in _HIND_FEET and not HIND_LIMB.isdisjoint(phrase.split())
    }


_HIND_FEET = {"left": "LH", "right": "RH", "both": "LH RH"}
_LIMB_LETTERS = tuple(word.text for _, word in forms("layout_word") if word.means in ("front limb", "hind limb"))
LONGEST_NOTE = 400
"""Letters of a cell above which it is not searched for words for feet. [common practice, no source]"""


def settle(draft: Draft, answers: Answers) -> None:
    """Decide what each column of each table is; tables with the same headings share one decision."""
    _learn_hind_limb(draft, answers)
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
            roles = _explained_lesions(table.headings, list(table.roles), draft.words.taught)
            roles = _feet_by_key(_numbered_places(table.headings, roles, draft, answers), draft.places)
            cow = cow_column(roles, table.headings)
            if cow is None:
                cow = _numbers_of_cows(table.headings, roles, profiles, answers)
            if cow is not None and roles[cow] is None:
                roles[cow] = Role("field", field="cow")
            roles = _zone_places(_legend_beside(draft, alike, roles))
            _learn_places(draft, alike, roles)
            _ask_twice(roles, answers)
            for heading in table.headings:
                if plain(heading) in draft.headings:
                    answers.given.setdefault(f"column:{plain(heading)}", draft.headings[plain(heading)].code)
            settled = settle_roles(
                table.headings, roles, profiles, _beside_lesion(draft, alike, roles), answers, draft.words.taught
            )
            said = {role.field for role in settled if role.kind == "field"} | {role.kind for role in settled}
            if "event" in said and not ("lesion" in said and said & {"foot", "side"}):
                # Beside an event everything told of it is a remark.
                settled = [
                    Role("note") if role.field in ("lesion", "lesion_detail", "action") else role for role in settled
                ]
            settled = [
                draft.headings.get(plain(heading), role) if role.kind == "field" else role
                for heading, role in zip(table.headings, settled, strict=True)
            ]
            settled = _groups_of_one_farm(draft, table, settled, profiles, answers)
            by_headings[key] = _ticked_feet(settled, profiles)
        draft.roles.append(by_headings[key])
    _learn_numbers(draft, answers)


_NUMBER_BEHIND = re.compile(r"(?<![\w.,/-])([1-9]|1[0-2])(?![\w.,/%-])")


def _learn_numbers(draft: Draft, answers: Answers) -> None:
    """What the numbers behind lesions say in this sheet, where some of them can say one thing alone.

    "DD 1" and "SU 2" are degrees, as these lesions have no such zone; then "WL 1" is one as well. "SU 4" is a zone.
    """
    if "number" in draft.words.taught:
        return
    fits = {"severity": 0, "zone": 0, "both": 0}
    for number, roles in enumerate(draft.roles):
        rows = draft.tables[number].rows
        for place, role in enumerate(roles):
            told = role.kind in ("foot", "claw", "pair") or (role.kind == "field" and role.field == "lesion")
            if not told or place >= len(draft.sheet.columns):
                continue
            column = draft.sheet.columns[place]
            for code in np.unique(column.codes[rows])[:MOST_CELLS_READ].tolist():
                for sort in _numbers_said(column.texts[code], draft.words.taught):
                    fits[sort] += 1
    if not fits["both"] or bool(fits["severity"]) == bool(fits["zone"]):
        return
    likely = "severity" if fits["severity"] else "zone"
    value = answers.ask(
        Question(
            "numbers-behind", likely,
            say("Numbers stand behind lesions. Some can only be degrees. Are all of them?") if likely == "severity"
            else say("Numbers stand behind lesions. Some can only be zones. Are all of them?"),
            choices([("severity", say("severity of the lesion")), ("zone", say("zone of the claw"))]), likely, True,
        )
    )  # fmt: skip
    if value is not None:
        draft.words.taught = {"number": value, **draft.words.taught}


MOST_CELLS_READ = 500
"""Different cells of a column that are looked at for what their numbers say. [common practice, no source]"""


def _numbers_said(text: str, taught: Mapping[str, str]) -> list[str]:
    """For each part of a cell with one lesion and one number: whether it fits a severity, a zone, or both."""
    out = []
    for part in re.split(r"[;,+\n]", text[:LONGEST_NOTE]):
        numbers = _NUMBER_BEHIND.findall(part)
        if len(numbers) != 1 or not re.search(r"[^\W\d][.)]?\s+\d", part):
            continue
        found = {finding.lesion for finding in read_findings(_NUMBER_BEHIND.sub(" ", part), taught=taught).findings}
        if len(found) != 1 or not found <= LESIONS.keys():
            continue
        number = int(numbers[0])
        is_zone, is_degree = number in LESIONS[found.pop()].usual_zones, number <= 3
        if is_zone or is_degree:
            out.append("both" if is_zone and is_degree else "zone" if is_zone else "severity")
    return out


def _explained_lesions(
    headings: Sequence[str], roles: list[Role | None], taught: Mapping[str, str]
) -> list[Role | None]:
    """Headings that the sheet's own key explains as lesions: "M" with "M = Mortellaro" below the table."""
    out = list(roles)
    for place, (heading, role) in enumerate(zip(headings, roles, strict=True)):
        kind, _, code = taught.get(plain(heading), "").partition(":")
        if kind == "lesion" and (role is None or role.kind in ("foot", "claw")):
            out[place] = Role("lesion", lesion=code)
    return out


def _feet_by_key(roles: list[Role | None], places: Mapping[str, Role]) -> list[Role | None]:
    """ "Feet" is the foot with the lesion where the sheet's key numbers the feet."""
    numbered = any(place.kind == "foot" for place in places.values())
    named = any(role is not None and role.field == "foot" for role in roles)
    if not numbered or named:
        return roles
    return [Role("field", field="foot") if role is not None and role.field == "feet_seen" else role for role in roles]


def _numbers_of_cows(
    headings: Sequence[str], roles: Sequence[Role | None], profiles: Sequence[Profile], answers: Answers
) -> int | None:
    """The first column of different numbers without a known heading beside columns of feet; asked."""
    if sum(role is not None and role.kind in ("foot", "claw") for role in roles) < ENOUGH_PLACES:
        return None
    for place, (heading, role, profile) in enumerate(zip(headings, roles, profiles, strict=True)):
        said = profile.without_blanks
        if (
            role is not None
            or not heading.strip()
            or is_own_column(heading)
            or not said.filled
            or said.share(test=is_cow_like) < 1
        ):
            continue
        if len(said.texts) < MOST_DIFFERENT * said.filled:
            continue
        name = " ".join(heading.split())
        value = answers.ask(
            Question(
                f"column:{plain(name)}", name, say("Is '{heading}' the number of the cow?", heading=name),
                choices([("cow", say("yes")), ("note", say("a remark: keep it in the note"))]), "cow", True,
            )
        )  # fmt: skip
        return place if value == "cow" else None
    return None


MOST_DIFFERENT = 0.7
"""Share of the rows that have a number of their own where the numbers are cows. [common practice, no source]"""
ENOUGH_PLACES = 3
"""Columns of feet or claws beside which a column of numbers is the cows'. [common practice, no source]"""


def _groups_of_one_farm(
    draft: Draft, table: Table, roles: list[Role], profiles: Sequence[Profile], answers: Answers
) -> list[Role]:
    """A column such as "Herd" that holds letters or numbers, below a line that names the farm, as the group."""
    fields = [role.field for role in roles]
    place = fields.index("farm") if "farm" in fields and "group" not in fields else None
    farm = _farm_in_lines(draft)
    if place is None or not farm:
        return roles
    short = profiles[place].without_blanks.share(test=lambda text: len(plain(text)) <= LONGEST_GROUP)
    if not profiles[place].filled or short < 1:
        return roles
    heading = " ".join(table.headings[place].split())
    value = answers.ask(
        Question(
            f"groups:{plain(heading)}", heading,
            say("A line names the farm {farm}. Does '{heading}' ({shown}) hold groups of its cows, or farms?",
                farm=farm, heading=heading, shown=", ".join(list(profiles[place].texts)[:4])),
            choices([("group", say("groups of {farm}", farm=farm)), ("farm", say("farms"))]),
            "farm" if plain(heading) == "farm" else "group",
        )
    )  # fmt: skip
    return [replace(role, field="group") if at == place and value == "group" else role for at, role in enumerate(roles)]


LONGEST_CODE = 5
"""Letters of a code of an event. [common practice, no source]"""
LONGEST_GROUP = 2
"""Letters of what may be a group rather than a farm: A, B, 12. [common practice, no source]"""


def _ask_twice(roles: Sequence[Role | None], answers: Answers) -> None:
    """Ask where columns of the same foot stand twice and no day tells them apart."""
    codes = [role.code for role in roles if role is not None and role.kind in ("foot", "claw")]
    twice = sorted({code for code in codes if codes.count(code) > 1})
    if twice:
        answers.ask(
            Question(
                "places-twice", ", ".join(twice),
                say("Columns stand twice: {columns}. Are they of one visit?", columns=", ".join(twice)),
                choices([("one", say("yes, of one visit")), ("stop", say("no: part the sheet by visit first"))]), "one",
            )
        )  # fmt: skip


def _learn_places(draft: Draft, tables: Sequence[Table], roles: Sequence[Role | None]) -> None:
    """Codes of feet and claws that are certain only because of the others in their column, or under all lesions."""
    under_lesions: set[str] = set()
    for place, role in enumerate(roles):
        if role is None or place >= len(draft.sheet.columns):
            continue
        told = role.kind == "field" and role.field in ("foot", "claw")
        if role.kind not in ("action", "lesion") and not told:
            continue
        profile = profile_of([(draft.sheet.columns[place], table.rows) for table in tables])
        if role.kind == "lesion":
            under_lesions |= {word for text in profile.texts for word in plain(text).split()}
            continue
        said = {plain(text) for text in profile.texts}
        if role.field == "claw" and said >= {"l", "r"} and said <= {"l", "r", "both", "b"}:
            draft.words.feet[SIDES] = "yes"
        if role.field == "foot" or role.kind == "action":
            for codes in foot_sets():
                if len(said & set(codes)) >= 2:
                    draft.words.feet |= {code: foot for code, foot in codes.items() if code in said}
    sets = [codes for codes in foot_sets() if len(under_lesions & set(codes)) >= ENOUGH_FEET]
    if len(sets) == 1 and any(meaning("foot", code) != foot for code, foot in sets[0].items()):
        codes = {code: foot for code, foot in sets[0].items() if code in under_lesions}
        draft.words.taught = {**{code: f"foot:{foot}" for code, foot in codes.items()}, **draft.words.taught}


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
        if out[place] is not None or place + 1 >= len(draft.sheet.columns) or _is_only_one(roles, place + 1):
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


def _is_only_one(roles: Sequence[Role | None], place: int) -> bool:
    """Whether a column has a known heading that no other column has."""
    role = roles[place]
    return role is not None and sum(one is not None and one.code == role.code for one in roles) == 1


def _beside_lesion(draft: Draft, tables: Sequence[Table], roles: Sequence[Role | None]) -> Any:
    """Counts, for a column, of the rows in which it is filled beside a lesion and beside none."""
    sheet = draft.sheet
    headings = tables[0].headings if tables else []
    part = Role("field", field=PART_FIELDS[0])
    roles = [part if plain(heading) in ("toe", "heel", "sole") else role
             for heading, role in zip(headings, roles, strict=True)]  # fmt: skip
    sources = [
        place for place, role in enumerate(roles)
        if role is not None and place < len(sheet.columns)
        and (role.kind in ("foot", "pair", "claw", "lesion")
             or (role.kind == "field" and role.field in ("lesion", *PART_FIELDS)))
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
                    found[code] = bool(text.strip()) and names_lesion(text, roles[source], draft.words.taught)
                has |= found[column.codes[table.rows]]
            column = sheet.columns[place]
            says = np.array([text.strip().casefold() not in BLANKS for text in column.texts], dtype=bool)
            filled = says[column.codes[table.rows]]
            beside += int((filled & has).sum())
            without += int((filled & ~has).sum())
        return beside, without

    return count


PART_FIELDS = ("toe_length_mm", "heel_depth_mm", "sole_thickness_mm")
"""What "Toe", "Heel" and "Sole" say where no lesions stand under them."""


def names_lesion(text: str, role: Role | None, taught: Mapping[str, str]) -> bool:
    if role is not None and role.kind == "lesion":
        return text.strip() not in ("0", "-") and meaning("no", text) is None
    if role is not None and role.field in PART_FIELDS:
        return not any(letter.isdecimal() for letter in text)
    reading = read_findings(text, taught=taught)
    return bool(reading.findings) or (not reading.nothing and bool(reading.doubts or reading.unread))


def is_key(sheet: RawSheet) -> bool:
    """Whether a sheet without records explains words, as a tab with a key does."""
    return bool(key_of_tab(sheet))


def key_of_tab(sheet: RawSheet) -> dict[str, str]:
    if len(sheet) > 200 or len(sheet.columns) > 12:
        return {}
    lines = [[cell.strip() for cell in sheet.row(place) if cell.strip()] for place in range(len(sheet))]
    places = {
        cells[0]: " ".join(cells[1:])
        for cells in lines
        if len(cells) > 1 and cells[0].isdecimal() and places_by_key({cells[0]: " ".join(cells[1:])})
    }
    return {**read_lines(lines, DateOrder(True, "option"), dt.date.today()).key, **places}


def farm_of_key(sheet: RawSheet, facts: Facts) -> str:
    """The name of a farm that the first line of a tab with a key may say."""
    line = next((cells for place in range(min(len(sheet), 3)) if any(cells := sheet.row(place))), [])
    if sum(bool(cell.strip()) for cell in line) != 1:
        return ""
    context = read_lines([line], DateOrder(True, "option"), facts.today, facts.known_farms)
    return context.values.get("farm") or next((farm for weight, farm in context.farms if weight), "")


def share_words(drafts: Sequence[Draft]) -> None:
    """Words explained in one tab hold for all tabs of the file; tabs of one farm may be named after its groups."""
    tabs = {draft.sheet.tab: draft.tab for draft in drafts if draft.sheet.tab}
    said = {_farm_in_lines(draft) for draft in drafts}
    names = all(tab.day is None and is_name(name) for name, tab in tabs.items())
    if len(tabs) > 1 and names and len(said) == 1 and all(said) and any(tab.guesses for tab in tabs.values()):
        for draft in drafts:
            draft.group = " ".join(draft.sheet.tab.split())
    named = [
        context.guesses.get("farm") or draft.tab.guesses.get("farm", "")
        for draft in drafts
        for context in draft.contexts
    ]
    for draft in drafts:
        draft.first_farm = next(filter(None, named), "")
    told: dict[str, str] = {}
    for draft in drafts:
        told |= draft.words.taught
    for draft in drafts:
        draft.words.taught = {**told, **draft.words.taught}


def _is_unlikely(context: Context) -> bool:
    """Whether the words that may be a farm are written in small letters."""
    return bool(context.farms) and not context.farms[0][0]


def _farm_in_lines(draft: Draft) -> str:
    """The farm that the lines above the tables of a tab name, or an empty text."""
    names = {
        context.values.get("farm") or ("" if _is_unlikely(context) else context.guesses.get("farm", ""))
        for context in draft.contexts
    }
    return names.pop() if len(names) == 1 else ""
