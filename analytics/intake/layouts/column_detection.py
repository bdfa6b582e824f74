"""What each column of a table is: its heading checked against its cells, and asked where they do not agree."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from difflib import SequenceMatcher, get_close_matches
from functools import partial

from evenfoot.analytics.domain.feet import CLAW_NAMES, FEET, FOOT_NAMES
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.domain.lexicon import (
    foot_sets,
    forms_meaning,
    heading_fields,
    meaning,
    phrases,
    plain,
    squeezed_heading,
)
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.fields import KINDS, VOID_FINDING
from evenfoot.analytics.intake.headings import column_letters
from evenfoot.analytics.intake.layouts.days import is_day
from evenfoot.analytics.intake.layouts.profiles import (
    Profile,
    begins_with_no,
    fits,
    is_tick,
    is_yes_no,
    names_diagnosis,
    says_lesion,
)
from evenfoot.analytics.intake.layouts.questions import Answers, Question, choices
from evenfoot.analytics.intake.layouts.roles import MEASURES, Role, is_code, read_heading, role_of_code
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from evenfoot.analytics.intake.parsing.value_cells import read_severity_text
from evenfoot.analytics.messages import Message, say

ENOUGH, MOST = 0.8, 0.9
"""Shares of the cells that must be readable for a heading to be believed, and for one that says nothing to be asked
about. [common practice, no source]"""

SCORE_WORDS = forms_meaning("layout_word", "score")
SEEN_WORDS = forms_meaning("layout_word", "seen")
"""Headings of a column that says whether the cow was looked at."""
LONGEST_TOE_CM = 20
"""Lengths of toes up to this are in cm where no unit is named: no toe is so short in mm.
[common practice, no source]"""
SHORTEST_TOE_CM = 5
"""Numbers from here on are no claws; toes are shorter in no unit. [common practice, no source]"""
SHED_WORDS = frozenset(("shed", "sheds"))
DUE_WORDS = frozenset(("due", "due date", "date due"))
USUAL_LESIONS = {"heel": ("HHE",), "toe": ("TU", "TN"), "sole": ("SU", "SH")}
"""Lesions that a column named after a part of the claw is likeliest to mark. [common practice, no source]"""
PARTS = {"heel": "heel_depth_mm", "toe": "toe_length_mm", "sole": "sole_thickness_mm"}


def settle_roles(
    headings: Sequence[str],
    roles: Sequence[Role | None],
    profiles: Sequence[Profile],
    beside_lesion: Callable[[int], tuple[int, int]],
    answers: Answers,
    taught: Mapping[str, str],
) -> list[Role]:
    """The role of every column.

    Parameters
    ----------
    headings : sequence of str
    roles : sequence of Role or None
        As the headings say.
    profiles : sequence of Profile
    beside_lesion : callable
        For a column, in how many rows it is filled beside a lesion and in how many beside none.
    answers : Answers
    taught : mapping of str to str
        Words that the sheet or a person explained.

    Returns
    -------
    list of Role
        ``note`` for a column that is kept as a remark, ``skip`` for a blank one.
    """
    roles = [
        _likely_meant(heading, profile, taught) if role is None and profile.filled else role
        for heading, role, profile in zip(headings, roles, profiles, strict=True)
    ]
    for place in _found_before(headings, profiles, taught):
        roles[place] = Role("note")
    known = {role.field for role in roles if role is not None and role.kind == "field"}
    trimmed = [place for place, role in enumerate(roles) if role is not None and _is_day_of_trim(role, profiles[place])]
    if trimmed and "visit_date" not in known:
        # "Found lame" beside "Trimmed" is an earlier day.
        roles[trimmed[0]] = Role("field", field="visit_date")
        known.add("visit_date")
    places = any(role is not None and role.kind in ("foot", "pair", "claw", "lesion") for role in roles)
    out: list[Role] = []
    for place, (heading, role, profile) in enumerate(zip(headings, roles, profiles, strict=True)):
        name = " ".join(heading.split()) or say("column {letters}", letters=column_letters(place))
        question_id = f"column:{plain(heading) or column_letters(place).casefold()}"
        given = answers.given.get(question_id)
        if given is not None:
            settled = _given(question_id, name, given, role, answers)
        elif not profile.filled:
            settled = role if role is not None and role.kind not in ("note",) else Role("skip")
        else:
            settled = _settle(place, name, question_id, role, profile, known, places, beside_lesion, answers, taught)
        if profile.filled:
            answers.columns[question_id] = (name, settled.code)
        out.append(settled)
    return _second_columns_kept(out, profiles, taught)


def _found_before(headings: Sequence[str], profiles: Sequence[Profile], taught: Mapping[str, str]) -> list[int]:
    """The columns of a recheck that say what was found the time before, beside one that says what is there now."""

    def places(means: str) -> list[int]:
        words = forms_meaning("layout_word", means)
        return [place for place, heading in enumerate(headings) if plain(heading) in words and profiles[place].filled]

    def names_lesions(place: int) -> bool:
        return profiles[place].without_blanks.share(test=lambda text: says_lesion(text, taught)) >= 0.5

    now = any(names_lesions(place) for place in places("now"))
    return [place for place in places("formerly") if now and names_lesions(place)]


ONE_COLUMN = ("farm", "cow", "trimmer", "scorer", "group", "breed", "sire", "housing", "visit_kind", "parity", "foot")
"""Fields of which a table has one column; a second one is kept as a remark."""


def _second_columns_kept(roles: list[Role], profiles: Sequence[Profile], taught: Mapping[str, str]) -> list[Role]:
    """The roles, with remarks for columns that say once more what another says better, or first."""
    out = list(roles)
    for field in ONE_COLUMN:
        same = [
            place for place, role in enumerate(roles)
            if role.kind == "field" and role.code == field and profiles[place].filled
        ]  # fmt: skip
        if len(same) < 2:
            continue
        fitting = {place: profiles[place].without_blanks.share(test=partial(_fits, field, taught)) for place in same}
        best = max(same, key=lambda place: fitting[place])
        for place in same:
            if place != best:
                out[place] = Role("note")
    return out


def _likely_meant(heading: str, profile: Profile, taught: Mapping[str, str]) -> Role | None:
    """The role of a misspelt heading, or of one that can mean several lesions, whose cells fit it; not certain."""
    lesions = [code for code in (meaning("doubtful", heading) or "").split() if code in LESIONS]
    if lesions and profile.without_blanks.share(test=partial(marks_action, taught)) >= MOST:
        return Role("lesion", lesion=lesions[0], certain=False)
    word = squeezed_heading(plain(heading))
    if len(word) < 3 or word.isdecimal():
        return None
    diseases = {squeezed_heading(said): code for said, code in phrases("lesion").items() if len(said) >= LONG_NAME}
    lesions = [diseases[close] for close in get_close_matches(word, diseases, 3, CLOSER)]
    if len(set(lesions)) == 1 and profile.without_blanks.share(test=partial(marks_lesion, taught)) >= MOST:
        return Role("lesion", lesion=lesions[0], certain=False)
    named = {squeezed_heading(plain(each.name)): None for each in KINDS["trims"]}
    actions = {squeezed_heading(said): None for said in phrases("action")}
    near = [one for one in {**heading_fields(), **named, **actions} if abs(len(one) - len(word)) <= 2]
    for close in get_close_matches(word, near, 10, CLOSE):
        role = read_heading(close)
        if role is not None and role.kind == "action":
            alike = SequenceMatcher(None, word, close).ratio()
            if alike >= CLOSER and profile.without_blanks.share(test=partial(marks_action, taught)) >= MOST:
                return replace(role, certain=False)
            continue
        if role is None or role.kind != "field":
            continue
        if role.field in MEASURES and max(profile.numbers, default=0) < SHORTEST_TOE_CM:
            continue
        if profile.without_blanks.share(test=partial(_fits, role.field, taught)) < ENOUGH:
            continue
        if fits(role.field, "\N{BULLET}", taught) and profile.share(test=lambda text: says_lesion(text, taught)) >= 0.3:
            # "Cause" is near a word for a group, and its cells name lesions.
            continue
        if fits(role.field, "\N{BULLET}", taught) and SequenceMatcher(None, word, close).ratio() < CLOSER:
            # Any text fits a name: the heading alone must tell.
            continue
        return replace(role, certain=False)
    return None


def _holds_no_marks(profile: Profile, known: set[str], taught: Mapping[str, str]) -> bool:
    """Whether a column headed like a lesion holds something else: words that mark none, or a number a row.

    Numbers that differ from row to row beside a column of lesions are numbers of the rows. Without cows, the numbers
    are counts.
    """
    if not profile.filled or "cow" not in known:
        return False
    if profile.share(test=partial(marks_lesion, taught)) < 0.5:
        return True
    numbered = profile.is_numeric and len(profile.texts) == profile.filled == profile.rows
    return "lesion" in known and numbered and profile.rows > 2


def marks_lesion(taught: Mapping[str, str], text: str) -> bool:
    """Whether a cell under a lesion marks it: a tick, a foot, a severity, a count, or the lesion's words."""
    bare = text.strip()
    if is_yes_no(bare.rstrip("?")) or re.fullmatch(r"\d(?:[.,]\d+)?|[+()]+|\d\s*[-/]\s*\d", bare):
        return True
    if _fits("foot", taught, bare) or _fits("claw", taught, bare) or meaning("away", bare) is not None:
        return True
    sides = [word for word in plain(bare).split() if word not in phrases("joiner")]
    if sides and all(word in phrases("side") for word in sides):
        return True
    severity, doubt = read_severity_text(bare)
    if doubt is not None and any(letter.isdigit() for letter in bare):
        severity = read_severity_text(re.sub(r"\d", " ", bare))[0]  # "barn 3" is a number of something else.
    if severity is not None or any(plain(bare) in codes for codes in foot_sets()):
        return True
    reading = read_findings(bare[:400], taught=taught)
    return reading.nothing or bool(reading.findings) or plain(bare) in taught or len(reading.unread) == 0


def marks_action(taught: Mapping[str, str], text: str) -> bool:
    """Whether a cell under an action ticks it, or names the feet or the claw it was done to."""
    place = _fits("foot", taught, text) or _fits("claw", taught, text)
    few = text.strip().isdecimal() and int(text) <= MOST_BLOCKS
    return is_yes_no(text) or place or few or any(plain(text) in codes for codes in foot_sets())


def _is_void_heading(word: str) -> bool:
    """Whether a heading says that its column marks entries that do not count.

    Example
    -------
    >>> _is_void_heading("deleted"), _is_void_heading("is void"), _is_void_heading("status")
    (True, True, False)
    """
    bare = re.sub(r"^is ?| ?at$", "", word)
    return meaning("away", bare) == "void"


def _marks_void(text: str) -> bool:
    return is_yes_no(text) or is_day(text) or meaning("away", text) == "void"


MOST_BLOCKS = 8
"""Blocks or wraps that a cow may get on one day. [common practice, no source]"""


def _says_seen_or_not(text: str) -> bool:
    return is_yes_no(text) or begins_with_no(text) or meaning("away", text) is not None


def _fits(field: str, taught: Mapping[str, str], text: str) -> bool:
    return fits(field, text, taught)


def _tells_action(taught: Mapping[str, str], text: str) -> bool:
    return fits("action", text, taught) and not is_yes_no(text)


LONG_NAME = 8
"""Letters of a lesion's name from which a misspelling of it is near no other. [common practice, no source]"""
CLOSE = 0.74
CLOSER = 0.85
"""How alike a misspelt heading must be, as difflib measures it, and more where its cells tell nothing.
[common practice, no source]"""


def _shown(profile: Profile) -> str:
    """The first texts of a column, to be shown in a question of one line."""
    return ", ".join(f"'{' '.join(text.split())[:24]}'" for text in profile.texts[:4])


def _given(question_id: str, name: str, value: str, role: Role | None, answers: Answers) -> Role:
    if not is_code(value):
        raise UserError(
            say("'{value}' is not what a column can be; `evenfoot check` lists the choices of {id}.", value=value,
                id=question_id)
        )  # fmt: skip
    answers.ask(
        Question(
            question_id, name, say("What is '{heading}'?", heading=name), choices([(value, describe(value))]), value
        )
    )
    return role_of_code(value, role or Role("note"))


def _ask(
    question_id: str, name: str, text: Message, codes: Sequence[str], role: Role | None, answers: Answers,
    *, default: str | None, safe: bool = False,
) -> Role:  # fmt: skip
    question = Question(
        question_id, name, text, choices((code, describe(code)) for code in dict.fromkeys(codes)), default, safe
    )
    value = answers.ask(question)
    return role_of_code(value if value is not None else "note", role or Role("note"))


def _settle(
    place: int, name: str, question_id: str, role: Role | None, profile: Profile, known: set[str], places: bool,
    beside_lesion: Callable[[int], tuple[int, int]], answers: Answers, taught: Mapping[str, str],
) -> Role:  # fmt: skip
    word = plain(name)
    has_lesion = "lesion" in known or places

    telling = profile.without_blanks

    def share(field: str) -> float:
        return telling.share(test=lambda text: fits(field, text, taught))

    def ask(text: Message, codes: Sequence[str], default: str | None, *, safe: bool = False) -> Role:
        return _ask(question_id, name, text, codes, role, answers, default=default, safe=safe)

    shown = _shown(profile)
    if word in SEEN_WORDS and telling.filled and telling.share(test=_says_seen_or_not) >= ENOUGH:
        return Role("seen")
    is_action = role is not None and "action" in (role.kind, role.field)
    if (
        is_action
        and meaning("action", name) == "trim"
        and telling.filled
        and telling.share(test=_says_seen_or_not) >= ENOUGH
    ):
        return Role("action", action="trim")
    if (
        telling.filled
        and (word == VOID_FINDING or _is_void_heading(word))
        and telling.share(test=_marks_void) >= ENOUGH
    ):
        return Role("void", field="lesion" if word == VOID_FINDING else "")
    if role is not None and not role.certain:
        return ask(
            say("Does '{heading}' ({shown}) mean {field}?", heading=name, shown=shown, field=describe(role.code)),
            [role.code, "note"], role.code,
        )  # fmt: skip
    bare_score = word in SCORE_WORDS and (role is None or role.field == "note") and profile.is_numeric
    graded = profile.rows >= 3 and profile.filled >= ENOUGH * profile.rows and max(profile.numbers, default=9) <= 5
    if bare_score and graded and not has_lesion and "locomotion_score" not in known:
        return ask(
            say("Do the numbers under '{heading}' ({shown}) score how she walks?", heading=name, shown=shown),
            ["locomotion_score", "note"], "locomotion_score",
        )  # fmt: skip
    if bare_score and has_lesion and "severity" not in known:
        return _score(place, name, profile, beside_lesion, ask)
    if (role is None or role.field == "note") and "lesion" in (meaning("ambiguous", name) or "").split():
        # "Other" among columns of lesions holds more of them; beside them it may hold remarks.
        role = None if telling.share(test=lambda text: says_lesion(text, taught)) >= 0.5 else role
    if role is not None and role.lesion == "other" and telling.share(test=names_diagnosis) >= 0.5:
        return Role("field", field="lesion", number=8) if "lesion" not in known else role
    if role is not None and role.kind == "skip" and role == read_heading(name) and not profile.is_numeric:
        # A column of something else by its heading may hold lesions all the same.
        role = None if telling.share(test=lambda text: says_lesion(text, taught)) >= 0.5 else role
    if role is None:
        return _unknown(name, question_id, profile, known, places, answers, taught)
    if role.kind == "field" and role.field == "locomotion_score":
        if profile.share(test=is_yes_no) >= ENOUGH and not profile.is_numeric:
            return Role("lame")
        if word in SCORE_WORDS and has_lesion and "severity" not in known:
            return _score(place, name, profile, beside_lesion, ask)
    beyond = max(profile.numbers, default=0) > 3
    if role.field == "severity" and "locomotion_score" not in known and word in SCORE_WORDS and has_lesion and beyond:
        return _score(place, name, profile, beside_lesion, ask)
    if word in SHED_WORDS:
        beside, without = beside_lesion(place)
        if not profile.is_numeric or max(profile.numbers, default=0) > 5:
            return Role("field", field="group")
        default = "group" if "group" not in known else "note"
        return ask(
            say("Is '{heading}' ({shown}) the shed or barn she lives in, or how far her horn has shed?", heading=name,
                shown=shown),
            ["group", "shed_stage", "note"], default if without or beside else "shed_stage",
        )  # fmt: skip
    if word in DUE_WORDS:
        beside, without = beside_lesion(place)
        few = not has_lesion and profile.filled <= 0.6 * profile.rows
        again = "recheck_on" not in known - {role.field} and (few or (beside and not without))
        return ask(
            say("Is '{heading}' ({shown}) the day to look at her again, or the day she is due to calve?", heading=name,
                shown=shown),
            ["recheck_on", "skip", "note"], "recheck_on" if again else "skip",
        )  # fmt: skip
    if role.kind == "field" and role.field in ("feet_seen", "foot") and profile.is_numeric:
        if role.field == "feet_seen" or max(profile.numbers, default=0) > 4:
            return Role("note")
        return role
    if role.kind == "field" and role.field == "feet_seen" and "foot" not in known and known & {"lesion", "claw"}:
        beside, without = beside_lesion(place)
        # A claw needs a foot.
        if (beside and not without) or "claw" in known:
            return ask(
                say("Is '{heading}' ({shown}) the foot with the lesion, or the feet that were looked at?",
                    heading=name, shown=shown),
                ["foot", "feet_seen", "note"], "foot",
            )  # fmt: skip
    if word in PARTS and role.kind == "field":
        return _part(name, word, profile, role, ask, taught, share)
    if role.kind == "field" and role.field == "cow":
        return role
    is_toe = (role.kind == "measure" or role.field in MEASURES) and role.field.startswith("toe_length")
    if is_toe and role.unit is None and profile.is_numeric and max(profile.numbers) <= LONGEST_TOE_CM:
        return replace(role, unit="cm")
    if role.field == "claw" and role.foot and profile.is_numeric and min(profile.numbers) >= SHORTEST_TOE_CM:
        # "LF toe" above a number names no claw.
        unit = "cm" if max(profile.numbers) <= LONGEST_TOE_CM else None
        return Role("measure", field="toe_length_mm", foot=role.foot, unit=unit)
    if role.kind == "foot" and share("toe_lengths") >= ENOUGH:
        return Role("measure", field=BOTH_LENGTHS, foot=role.foot, unit="cm" if _is_cm(profile) else None)
    if role.kind == "foot" and profile.is_numeric and min(profile.numbers) >= 40:
        return ask(
            say("Are the numbers under '{heading}' ({shown}) lengths of the toe?", heading=name, shown=shown),
            [f"toe_length_mm {role.foot}", role.code, "note"], f"toe_length_mm {role.foot}",
        )  # fmt: skip
    if role.kind == "foot" and _are_lengths_in_cm(profile):
        found = ask(
            say("Are the numbers under '{heading}' ({shown}) lengths of the toe in centimetres?", heading=name,
                shown=shown),
            [f"toe_length_mm {role.foot}", role.code, "note"], f"toe_length_mm {role.foot}",
        )  # fmt: skip
        return replace(found, unit="cm") if found.kind == "measure" else found
    if role.kind == "action" and telling.share(test=partial(marks_action, taught)) < ENOUGH:
        return Role("field", field="action") if "action" not in known else Role("note")
    if role.kind == "note" and "action" not in known and telling.share(test=partial(_tells_action, taught)) >= 0.5:
        # "Treated" holds ticks, or what was done.
        return Role("field", field="action")
    if role.kind == "lesion" and _holds_no_marks(telling, known, taught):
        return ask(
            say("Do the cells under '{heading}' ({shown}) mark {lesion}?", heading=name, shown=shown,
                lesion=LESIONS[role.lesion].name if role.lesion in LESIONS else role.lesion),
            ["note", role.code], "note",
        )  # fmt: skip
    is_remark = role.kind == "field" and role.field == "note" and not has_lesion and "foot" in known
    if is_remark and telling.share(test=lambda text: says_lesion(text, taught)) >= 0.5:
        return ask(
            say("No column holds the findings, and the words under '{heading}' ({shown}) name lesions. Are they "
                "the findings?", heading=name, shown=shown),
            ["lesion", "note"], "lesion",
        )  # fmt: skip
    if role.kind != "field" or role.number:
        return role
    return _checked_field(name, role, profile, shown, share, known, ask, taught)


BOTH_LENGTHS = "toe_length_mm/toe_length_after_mm"
"""Lengths before and after trimming in one cell, such as 8.2 / 7.5."""


def _is_cm(profile: Profile) -> bool:
    numbers = [float(text.replace(",", ".")) for said in profile.texts for text in re.findall(r"\d+(?:[.,]\d+)?", said)]
    return bool(numbers) and max(numbers) <= LONGEST_TOE_CM


def _is_day_of_trim(role: Role, profile: Profile) -> bool:
    """Whether a column headed by something that is done, such as "Trimmed", holds the days of it."""
    days = profile.without_blanks
    fitting = role.kind == "action" and bool(days.filled) and not days.is_numeric
    return fitting and days.share(test=partial(_fits, "visit_date", {})) >= MOST


def _are_lengths_in_cm(profile: Profile) -> bool:
    """Whether a foot's cells are numbers of the size of a toe in centimetres, most of them with a decimal."""
    texts = [text.strip().replace(",", ".") for text in profile.without_blanks.texts]
    if not texts or not all(re.fullmatch(r"\d{1,2}(?:\.\d+)?", text) for text in texts):
        return False
    decimals = sum("." in text for text in texts)
    return decimals >= len(texts) / 2 and all(SHORTEST_TOE_CM <= float(text) <= LONGEST_TOE_CM for text in texts)


def _checked_field(
    name: str, role: Role, profile: Profile, shown: str, share: Callable[[str], float], known: set[str],
    ask: Callable[..., Role], taught: Mapping[str, str],
) -> Role:  # fmt: skip
    """A field whose cells cannot be read as it is asked about, with what they can be read as."""
    if role.field in ("note", "farm", "trimmer", "breed", "sire", "group", "housing", "floor", "bedding"):
        return role
    if not profile.without_blanks.filled:
        return role
    if share(role.field) >= 0.5:
        return role
    others = [
        field
        for field in ("lesion", "foot", "claw", "visit_date", "severity", "action", "visit_kind")
        if field != role.field
        and not (role.field == "lesion" and field in ("severity", "action", "visit_kind"))
        and field not in known
        and not (field == "visit_date" and any(text.isdecimal() for text in profile.texts))
        and share(field) >= 0.9
    ]
    if "lesion" in others and profile.share(test=lambda text: says_lesion(text, taught)) < 0.3:
        others.remove("lesion")
    if others:
        return ask(
            say("The cells under '{heading}' ({shown}) do not look like {field}. What are they?", heading=name,
                shown=shown, field=role.field.replace("_", " ")),
            [*others, role.field, "note"], others[0],
        )  # fmt: skip
    if role.field in ("visit_kind", "lesion_detail", "claw", "action", "feet_seen", "parity", "severity", "zone"):
        if role.field in ("visit_kind", "parity", "feet_seen", "action"):
            return Role("note") if role.field != "action" else role
        return role
    return role


def _score(
    place: int, name: str, profile: Profile, beside_lesion: Callable[[int], tuple[int, int]],
    ask: Callable[..., Role],
) -> Role:  # fmt: skip
    beside, without = beside_lesion(place)
    top = max(profile.numbers, default=0)
    if without and (top > 3 or without >= 0.2 * (beside + without)):
        return Role("field", field="locomotion_score")
    text = say("'{heading}' is filled beside {beside} lesions and in {without} rows without one. Does it score the "
               "lesion or how she walks?", heading=name, beside=beside, without=without)  # fmt: skip
    if top > 3:
        return ask(text, ["locomotion_score", "severity", "note"], "locomotion_score")
    if not without:
        text = say("'{heading}' is filled only where there is a lesion ({beside} rows). Does it score the lesion or "
                   "how she walks?", heading=name, beside=beside)  # fmt: skip
    return ask(text, ["severity", "locomotion_score", "note"], "severity")


def _part(
    name: str, word: str, profile: Profile, role: Role, ask: Callable[..., Role], taught: Mapping[str, str],
    share: Callable[[str], float],
) -> Role:  # fmt: skip
    """ "Heel", "toe", "sole": a measure, a claw, or lesions there."""
    measure = PARTS[word]
    low, high = {"toe": (3, 200), "heel": (5, 120), "sole": (2, 30)}[word]
    shown = _shown(profile)
    if profile.is_numeric and min(profile.numbers) >= low and max(profile.numbers) <= high:
        cm = word == "toe" and role.unit is None and max(profile.numbers) <= LONGEST_TOE_CM
        return Role("field", field=measure, unit="cm" if cm else role.unit)
    if share("claw") >= ENOUGH:
        return Role("field", field="claw")
    if profile.share(test=lambda text: says_lesion(text, taught) or says_lesion(f"{word} {text}", taught)) >= 0.5:
        return ask(
            say("Are the words under '{heading}' ({shown}) lesions there?", heading=name, shown=shown),
            [f"part {word}", "note"], f"part {word}",
        )  # fmt: skip
    usual = USUAL_LESIONS.get(word, ())
    marks = profile.without_blanks.share(test=partial(marks_action, taught)) >= ENOUGH
    lesions = [f"lesion {code}" for code in usual] if marks else []
    safe = "note" if profile.share(test=is_tick) >= ENOUGH else None
    return ask(
        say("What do the cells under '{heading}' ({shown}) say?", heading=name, shown=shown),
        [*lesions, measure, "note"], lesions[0] if len(lesions) == 1 else safe,
    )  # fmt: skip


def _unknown(
    name: str, question_id: str, profile: Profile, known: set[str], places: bool, answers: Answers,
    taught: Mapping[str, str],
) -> Role:  # fmt: skip
    """A column whose heading says nothing known: asked about where its cells hold lesions or feet."""
    shown = _shown(profile)
    candidates = (meaning("ambiguous", name) or "").split()
    if "farm" in candidates and "farm" not in known and len(profile.texts) == 1:
        group = ["group"] if "group" in candidates and "group" not in known else []
        return _ask(
            question_id, name, say("Is '{heading}' ({shown}) the farm?", heading=name, shown=shown),
            ["farm", *group, "note"], Role("note"), answers, default="farm",
        )  # fmt: skip
    if "group" in candidates and "group" not in known:
        return _ask(
            question_id, name,
            say("Is '{heading}' ({shown}) the group or building she lives in?", heading=name, shown=shown),
            ["group", "note"], Role("note"), answers, default="group", safe=True,
        )  # fmt: skip
    profile = profile.without_blanks
    lesions = profile.share(test=lambda text: says_lesion(text, taught))
    role = Role("note")
    if lesions >= 0.3 and (not profile.is_numeric or any(plain(text) in taught for text in profile.texts)):
        reads = "lesion" if "lesion" not in known else "lesion 8"
        prose = sum(len(text.split()) > 6 for text in profile.texts) > len(profile.texts) / 3
        default = "note" if prose and ("lesion" in known or places) else reads
        return _ask(
            question_id, name,
            say("The cells under '{heading}' ({shown}) name lesions. Are they findings?", heading=name, shown=shown),
            [reads, "note"], role, answers, default=default,
        )  # fmt: skip
    degrees = re.search(r"1\s*[-\N{EN DASH}]\s*3", name) and profile.is_numeric and max(profile.numbers) <= 3
    if degrees and "severity" not in known and ("lesion" in known or places):
        return _ask(
            question_id, name,
            say("Do the cells under '{heading}' ({shown}) say how severe the lesion is?", heading=name, shown=shown),
            ["severity", "locomotion_score", "note"], role, answers, default="severity",
        )  # fmt: skip
    if "severity" not in known and not profile.is_numeric and profile.share(
        test=lambda text: read_severity_text(text)[0] is not None
    ) >= 0.5:  # fmt: skip
        return _ask(
            question_id, name,
            say("Do the cells under '{heading}' ({shown}) say how severe the lesion is?", heading=name, shown=shown),
            ["severity", "note"], role, answers, default="severity",
        )  # fmt: skip
    if "zone" not in known and not profile.is_numeric and profile.share(
        test=lambda text: fits("zone", text, taught)
    ) >= 0.5:  # fmt: skip
        return _ask(
            question_id, name,
            say("Do the cells under '{heading}' ({shown}) say where on the claw?", heading=name, shown=shown),
            ["zone", "note"], role, answers, default="zone",
        )  # fmt: skip
    done = profile.share(test=partial(_tells_action, taught))
    if "action" not in known and done >= 0.5:
        return _ask(
            question_id, name,
            say("Do the cells under '{heading}' ({shown}) say what was done?", heading=name, shown=shown),
            ["action", "note"], role, answers, default="action", safe=done >= ENOUGH,
        )  # fmt: skip
    if profile.is_numeric:
        return role
    if "foot" not in known and not places and profile.share(test=partial(_fits, "foot", taught)) >= MOST:
        return _ask(
            question_id, name,
            say("Are the cells under '{heading}' ({shown}) feet?", heading=name, shown=shown),
            ["foot", "note"], role, answers, default="foot",
        )  # fmt: skip
    if "visit_date" not in known and profile.share(test=partial(_fits, "visit_date", taught)) >= MOST:
        return _ask(
            question_id, name,
            say("Is '{heading}' ({shown}) the day of the visit?", heading=name, shown=shown),
            ["visit_date", "note"], role, answers, default="visit_date",
        )  # fmt: skip
    return role


_FIELD_WORDS: dict[str, Message] = {
    "visit_date": say("day of the visit"),
    "severity": say("severity of the lesion"),
    "locomotion_score": say("how she walks (locomotion score)"),
    "group": say("group, shed or building"),
    "shed_stage": say("stage of horn shedding"),
    "recheck_on": say("day to look again"),
    "block": say("block put on: a mark, or the foot"),
    "wrap": say("wrap put on: a mark, or the foot"),
    "foot": say("foot with the lesion"),
    "feet_seen": say("feet looked at"),
    "claw": say("claw"),
    "lesion": say("lesion"),
    "action": say("what was done"),
    "toe_length_mm": say("length of the toe"),
    "toe_length_after_mm": say("length of the toe after trimming"),
    "heel_depth_mm": say("depth of the heel"),
    "sole_thickness_mm": say("thickness of the sole"),
    "visit_kind": say("kind of visit"),
    "cow": say("number of the cow"),
    "farm": say("farm"),
    "note": say("a remark: keep it in the note"),
    "skip": say("nothing of the trim: leave it out"),
    "lame": say("lame, yes or no"),
    "side": say("left or right"),
    "end": say("front or hind"),
    "event": say("event"),
    "seen": say("whether she was looked at"),
    "void": say("whether the entry is void"),
}


def describe(code: str) -> Message:
    """What a role says as an answer, in words."""
    words = code.split()
    if words[0] == "lesion" and len(words) == 2 and words[1] in LESIONS:
        return say("{lesion}: a mark, a foot or a severity", lesion=LESIONS[words[1]].name)
    if words[0] == "feet" and len(words) == 2:
        return say("findings on the {end} feet, the side in the cell", end=words[1])
    if words[0] == "action" and len(words) == 2 and words[1] in _FIELD_WORDS:
        return _FIELD_WORDS[words[1]]
    if words[0] == "part":
        return say("lesions of the {part}", part=words[1])
    if words[0] == "zone" and len(words) == 2:
        return say("findings in zone {zone}", zone=words[1])
    if words[0] == "lesion" and len(words) == 2:
        return say("a further lesion")
    if words[0] == "foot" and len(words) == 2 and words[1] in FEET:
        return say("findings on the {foot} foot", foot=FOOT_NAMES[words[1]])
    if words[:2] == ["findings", "on"] and len(words) == 3:
        return say("findings on the {claw} claw", claw=CLAW_NAMES[words[2]])
    if words[0] == "claw" and len(words) == 3:
        return say(
            "findings on the {claw} claw of the {foot} foot", claw=CLAW_NAMES[words[2]], foot=FOOT_NAMES[words[1]]
        )
    if len(words) == 2 and words[1] in FEET:
        return say("{what}, {foot} foot", what=_FIELD_WORDS.get(words[0], say(words[0])), foot=FOOT_NAMES[words[1]])
    return _FIELD_WORDS.get(words[0], say("{field}", field=words[0].replace("_", " ")))
