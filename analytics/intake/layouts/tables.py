"""Where the tables of a sheet are: their headings, their rows, and the lines that belong to neither."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import numpy.typing as npt

from evenfoot.analytics.domain import lexicon
from evenfoot.analytics.domain.feet import FEET
from evenfoot.analytics.domain.lexicon import (
    foot_sets,
    forms,
    heading_fields,
    meaning,
    phrases,
    plain,
    squeezed_heading,
)
from evenfoot.analytics.intake.headings import is_own_column
from evenfoot.analytics.intake.layouts.context import field_told, words_explained
from evenfoot.analytics.intake.layouts.days import is_day
from evenfoot.analytics.intake.layouts.profiles import DITTO
from evenfoot.analytics.intake.layouts.roles import (
    MEASURES,
    NUMBERED_FIELDS,
    Role,
    glued_claws,
    joined_headings,
    read_heading,
    told_of_foot,
)
from evenfoot.analytics.intake.parsing.vocabulary import cows_named
from evenfoot.analytics.intake.sheet import Positions, RawSheet

HEADING_ROWS_SEARCHED = 60
"""Rows from the top among which the first headings are looked for."""

_COW_LIKE = re.compile(r"^[#'*]*\s*(?:[A-Za-z]{1,3}[\s-]?)?\d[\d\s./-]*(?:[A-Za-z*#'][\s*#'.]*)?$")
_MONTH_AND_NUMBER = re.compile(r"^([^\W\d_]{3,10})\.?[\s/'-]*(\d\d)$")
_ZONE_HEADING = re.compile(r"z(?:on[ea])?\.?\s?(0|[1-9]|1[0-2])", re.I)
ENOUGH_ZONES = 3
"""Headings of zones that must stand together: "Z4" alone may be a code. [common practice, no source]"""
ENOUGH_FEET = 3
"""Codes of one set of feet that must stand among the headings. [common practice, no source]"""
NUMBER_HEADINGS = frozenset(("no", "n o", "nr", "number", "num", "n", "numero", "nummer", "no s"))
"""Headings of a column of numbers, which are the cows' where no other column is."""
_PLACES = ("foot", "pair", "claw", "lesion", "measure", "day")


@dataclass(frozen=True)
class Table:
    """One table of a sheet, or a stretch of it to which the same lines above apply.

    Attributes
    ----------
    headings : list of str
        One a column, those of two rows joined.
    roles : list of Role or None
    rows : array of int
        Positions of the rows that may be records.
    lines : list of list of str
        Cells of the lines above it that are no headings.
    after : list of list of str
        Cells of the lines below it, the last table's alone.
    totals, repeats : int
        Rows left out because they sum up, or say the headings again.
    """

    headings: list[str]
    roles: list[Role | None]
    rows: Positions
    lines: list[list[str]] = field(default_factory=list)
    after: list[list[str]] = field(default_factory=list)
    totals: int = 0
    repeats: int = 0


@dataclass(frozen=True)
class _HeadingRow:
    rows: tuple[int, ...]
    headings: list[str]
    roles: list[Role | None]
    rank: float


def roles_of(headings: Sequence[str]) -> list[Role | None]:
    """What each heading says; a heading that is a day counts where there are two or more beside a cow."""
    roles = [None if is_own_column(text) else read_heading(text) for text in headings]
    cows = [place for place, role in enumerate(roles) if role is not None and role.code == "cow"]
    lesions = [place for place in cows if meaning("lesion", headings[place]) is not None]
    if len(lesions) < len(cows):
        # "ID" beside "Cow" is the lesion.
        for place in lesions:
            roles[place] = Role("lesion", lesion=str(meaning("lesion", headings[place])))
    for place in cows if len(cows) > 1 else ():
        if "visit_date" in (meaning("ambiguous", headings[place]) or "").split():
            # "Tag" beside "Kuh" is the day.
            roles[place] = Role("field", field="visit_date")
    said = [place for place in cows if (role := roles[place]) is not None and role.code == "cow"]
    numbers = [place for place in said if squeezed_heading(plain(headings[place])) in NUMBER_HEADINGS]
    for place in numbers if len(numbers) < len(said) else ():
        # "Number" beside "Cow" is some other number, or the foot: its cells tell.
        roles[place] = None
    firsts = {place: words for place, text in enumerate(headings) if (words := plain(text).split())}
    for codes in foot_sets():
        there = {place: codes[words[0]] for place, words in firsts.items() if words[0] in codes}
        if len(set(there.values())) >= ENOUGH_FEET:
            for place, foot in there.items():
                role = read_heading(" ".join([foot, *firsts[place][1:]]))
                if role is not None and role.kind in ("foot", "claw"):
                    roles[place] = role
    glued = [place for place, text in enumerate(headings) if plain(text) in glued_claws()]
    for place in glued if len(glued) == 1 else ():
        # One such word alone is some other word.
        roles[place] = None
    zones = {place: match[1] for place, text in enumerate(headings) if (match := _ZONE_HEADING.fullmatch(text.strip()))}
    for place, zone in zones.items() if len(zones) >= ENOUGH_ZONES else ():
        roles[place] = Role("zone", field=zone)
    _find_ends(headings, roles)
    _keep_claws_of_feet(roles)
    _add_fourth_foot(headings, roles)
    _settle_feet(headings, roles)
    _find_feet_of_days(headings, roles)
    _find_lengths(headings, roles)
    days = [
        place
        for place, text in enumerate(headings)
        if text.strip() and (roles[place] is None or _is_month(text)) and len(text) < 30 and is_day(text)
    ]
    if len(days) >= 2:
        years = {match[2] for place in days if (match := _MONTH_AND_NUMBER.match(headings[place].strip()))}
        for place in days:
            day = headings[place].strip()
            match = _MONTH_AND_NUMBER.match(day)
            if match and len(years) == 1 and _is_month(match[1]):
                # One number beside every month is the year.
                day = f"{match[1]} 20{match[2]}"
            roles[place] = Role("day", day=day)
    return _numbered_pairs(roles)


def _find_ends(headings: Sequence[str], roles: list[Role | None]) -> None:
    """Columns of both front feet, or of both hind feet, whose cells name the side."""
    ends = {place: meaning("end", text) for place, text in enumerate(headings) if text.strip()}
    found = {place: end for place, end in ends.items() if end is not None and roles[place] is None}
    said = {role.field for role in roles if role is not None and role.kind == "field"}
    if sorted(found.values()) == ["F", "H"] and "cow" in said and not said & {"lesion", "foot"}:
        for place, end in found.items():
            roles[place] = Role("pair", field=end)
    feet = {role.foot for role in roles if role is not None and role.kind == "foot"}
    if feet == {"LH", "RH"} and list(found.values()) == ["F"]:
        # "Left back", "Right back", "Fronts"
        roles[next(iter(found))] = Role("pair", field="F")


def _keep_claws_of_feet(roles: list[Role | None]) -> None:
    """A claw without a foot is a place where both claws have a column and another one names the foot."""
    feet = any(role is not None and (role.field == "foot" or role.kind in ("side", "end")) for role in roles)
    bare = [place for place, role in enumerate(roles) if role is not None and role.kind == "claw" and not role.foot]
    claws = [str(role.claw) for role in roles if role is not None and role.kind == "claw" and not role.foot]
    if not feet or sorted(claws) != sorted(set(claws)) or len(claws) < 2:
        for place in bare:
            roles[place] = None


def _add_fourth_foot(headings: Sequence[str], roles: list[Role | None]) -> None:
    """Where three headings are feet, a word that may name the fourth does: "F R" is no "front or rear"."""
    there = {role.foot for role in roles if role is not None and role.kind == "foot"}
    if len(there) != len(FEET) - 1:
        return
    named = [place for place, text in enumerate(headings) if meaning("foot", text) in set(FEET) - there]
    for place in named if len(named) == 1 else ():
        roles[place] = Role("foot", foot=str(meaning("foot", headings[place])))


def _settle_feet(headings: Sequence[str], roles: list[Role | None]) -> None:
    """Lesions marked for feet count where several belong together; "LF" beside "LF severity" is the lesion there."""
    marked = [role for role in roles if role is not None and role.kind == "lesion" and role.foot]
    for place, role in enumerate(roles):
        if role is None:
            continue
        if role in marked and sum(one.lesion == role.lesion or one.foot == role.foot for one in marked) < 2:
            roles[place] = None
        beside = {
            one.field for one in roles
            if one is not None and one.kind == "field" and (one.foot, one.claw) == (role.foot, role.claw) and one.number
        }  # fmt: skip
        told = told_of_foot(headings[place]) if role.kind == "foot" and "lesion" in beside else None
        if told is not None and told.kind == "field":
            roles[place] = told
        elif role.kind in ("foot", "claw") and beside and "lesion" not in beside:
            number = next(
                one.number for one in roles
                if one is not None and one.number and (one.foot, one.claw) == (role.foot, role.claw)
            )  # fmt: skip
            roles[place] = Role("field", field="lesion", foot=role.foot, claw=role.claw, number=number)
        elif role.kind == "field" and role.foot and beside == {"lesion"}:
            roles[place] = Role("claw" if role.claw else "foot", foot=role.foot, claw=role.claw)


def _find_feet_of_days(headings: Sequence[str], roles: list[Role | None]) -> None:
    """A foot and a day in one heading, such as "LH 2026-03-10", where several stand together."""
    found: dict[int, Role] = {}
    for place, text in enumerate(headings):
        words = text.split()
        for cut in range(1, len(words)) if roles[place] is None and len(text) < 40 else ():
            role = read_heading(" ".join(words[:cut]))
            day = " ".join(words[cut:])
            if role is not None and role.kind in ("foot", "claw") and role.foot and is_day(day):
                found[place] = replace(role, day=day)
                break
    if len(found) >= 2:
        for place, role in found.items():
            roles[place] = role


_BEFORE_AFTER = re.compile(r"(.+\S)\s+([BAbaVNvn])")


def _find_lengths(headings: Sequence[str], roles: list[Role | None]) -> None:
    """Two columns a foot, "LF B" and "LF A": its length before and after trimming; in Dutch and German V and N."""
    found: dict[int, tuple[str, str]] = {}
    for place, text in enumerate(headings):
        match = _BEFORE_AFTER.fullmatch(" ".join(text.split()))
        if match and (foot := meaning("foot", match[1])) in FEET:
            found[place] = (str(foot), match[2].casefold())
    for before, after in (("b", "a"), ("v", "n")):
        both = {foot for foot, letter in found.values() if letter == before and (foot, after) in found.values()}
        for place, (foot, letter) in found.items() if len(both) >= 2 else ():
            if foot in both and letter in (before, after):
                roles[place] = Role("measure", field=MEASURES[letter == after], foot=foot)


def _is_month(text: str) -> bool:
    return plain(text) in phrases("month")


def _numbered_pairs(roles: list[Role | None]) -> list[Role | None]:
    """Headings "Foot, Lesion, Foot, Lesion" as the first and the second pair; so with numbered lesions."""
    seen: dict[str, int] = {}
    counts: dict[str, int] = {}
    for role in roles:
        if role is not None and role.kind == "field" and not role.number:
            counts[role.field] = counts.get(role.field, 0) + 1
    numbers = sorted({role.number for role in roles if role is not None and role.field == "lesion" and role.number})
    if len(numbers) >= 2 and "lesion" not in counts:
        twice = {name for name, count in counts.items() if count == len(numbers) and name in NUMBERED_FIELDS}
        numbered = list(roles)
        for place, role in enumerate(roles):
            if role is not None and role.kind == "field" and not role.number and role.field in twice:
                seen[role.field] = seen.get(role.field, 0) + 1
                numbered[place] = replace(role, number=numbers[seen[role.field] - 1])
        return numbered
    if counts.get("lesion", 0) < 2 or counts.get("foot", 2) < 2:
        return roles
    out: list[Role | None] = []
    for role in roles:
        repeated = role is not None and role.kind == "field" and not role.number and counts[role.field] > 1
        if role is not None and repeated and role.field in NUMBERED_FIELDS:
            seen[role.field] = seen.get(role.field, 0) + 1
            role = Role("field", field=role.field, number=seen[role.field], unit=role.unit, scale=role.scale)
        out.append(role)
    return out


def _rank(headings: list[str], roles: list[Role | None], rows: tuple[int, ...]) -> _HeadingRow | None:
    fields = {role.code for role in roles if role is not None and role.kind == "field"}
    places = {role.code for role in roles if role is not None and role.kind in _PLACES}
    others = sum(role is not None and role.kind not in ("field", *_PLACES) for role in roles)
    said = sum(bool(text.strip()) for text in headings)
    known = len(fields) + len(places) + others
    if not known or known < said / 4:
        return None
    real = fields - {"note"}
    if not (
        ("cow" in fields and known >= 2)
        or len(places) >= 3
        or (len(real) >= 3 and real & {"lesion", "foot", "visit_date"})
    ):
        return None
    return _HeadingRow(rows, headings, roles, known + 0.5 * ("cow" in fields) - 0.01 * (said - known))


def _heading_at(sheet: RawSheet, position: int) -> _HeadingRow | None:
    cells = [cell[:200] for cell in sheet.row(position)]
    single = _rank(cells, roles_of(cells), (position,)) if any(cell.strip() for cell in cells) else None
    if position == 0 or not any(cell.strip() for cell in cells):
        return single
    above = [cell[:200] for cell in sheet.row(position - 1)]
    if not any(cell.strip() for cell in above):
        return single
    both = [
        low if not top.strip() and low.strip() and read_heading(whole) is None and read_heading(low) else whole
        for top, low, whole in zip(above, cells, joined_headings(above, cells), strict=True)
    ]
    joined = _rank(both, roles_of(both), (position - 1, position))
    alone = _rank(above, roles_of(above), (position - 1,))
    # Feet or lesions above would be lost in the lower row alone.
    upper = [role for role in roles_of(above) if role is not None]
    places = any(role.kind in _PLACES for role in upper) and not any(role.field == "cow" for role in upper)
    more = 0 if places else 2
    best = joined if joined is not None and joined.rank >= _best((single, alone)) + more else single
    top = [cell[:200] for cell in sheet.row(position - 2)] if position > 1 else []
    if any(cell.strip() for cell in top):
        # "Hind" above "Left" above "outer".
        three = joined_headings(top, joined_headings(above, cells))
        whole = _rank(three, roles_of(three), (position - 2, position - 1, position))
        if whole is not None and whole.rank >= _best((single, alone, joined)) + 2:
            return whole
    return best


def _best(heads: Iterable[_HeadingRow | None]) -> float:
    return max(head.rank if head else 0 for head in heads)


def find_tables(sheet: RawSheet) -> list[Table]:
    """The tables of a sheet; none where no row has headings that are understood.

    Parameters
    ----------
    sheet : RawSheet

    Returns
    -------
    list of Table
    """
    if not len(sheet):
        return []
    first = _first_heading(sheet)
    if first is None:
        return []
    heads = [first, *_later_headings(sheet, first)]
    filled = _filled(sheet)
    tables: list[Table] = []
    start = 0
    for number, head in enumerate(heads):
        stop = heads[number + 1].rows[0] if number + 1 < len(heads) else len(sheet)
        above = [sheet.row(place) for place in range(start, head.rows[0]) if filled[place].any()]
        found = _stretches(sheet, head, np.arange(head.rows[-1] + 1, stop), filled, above)
        start = stop
        if number + 1 < len(heads) and found and found[-1].after:
            # Lines right above the next headings belong to the next table.
            last = found[-1]
            found[-1] = Table(last.headings, last.roles, last.rows, last.lines, [], last.totals, last.repeats)
            heads_lines = last.after
        else:
            heads_lines = []
        tables += found
        if heads_lines:
            pending = heads_lines
            nxt = heads[number + 1]
            tables.append(Table(nxt.headings, nxt.roles, np.empty(0, np.int64), pending))
    return _joined_with_pending(tables)


def _joined_with_pending(tables: list[Table]) -> list[Table]:
    """Tables without rows hand their lines to the next."""
    out: list[Table] = []
    pending: list[list[str]] = []
    for table in tables:
        if not len(table.rows) and not table.after and not table.totals:
            pending += table.lines
            continue
        out.append(
            Table(table.headings, table.roles, table.rows, [*pending, *table.lines], table.after, table.totals,
                  table.repeats)
        )  # fmt: skip
        pending = []
    if pending and out:
        last = out[-1]
        out[-1] = Table(last.headings, last.roles, last.rows, last.lines, [*last.after, *pending], last.totals,
                        last.repeats)  # fmt: skip
    elif pending:
        out.append(tables[-1])
    return out


def _first_heading(sheet: RawSheet) -> _HeadingRow | None:
    if sheet.has_headings:
        cells = sheet.row(0)
        return _HeadingRow((0,), cells, roles_of(cells), 0)
    best: _HeadingRow | None = None
    for position in range(min(len(sheet), HEADING_ROWS_SEARCHED)):
        found = _heading_at(sheet, position)
        if found is not None and (best is None or found.rank > best.rank + (0.5 if position > best.rows[-1] else 0)):
            best = found
    return best


def _later_headings(sheet: RawSheet, first: _HeadingRow) -> list[_HeadingRow]:
    """Headings of further tables below; rows that say the first headings again are none."""
    cow_words: npt.NDArray[np.bool_] = np.zeros(len(sheet), dtype=bool)
    for column in sheet.columns:
        says = np.array([_is_cow_heading(text) for text in column.texts], dtype=bool)
        if says.any():
            cow_words |= says[column.codes]
    out: list[_HeadingRow] = []
    last = first
    for position in np.flatnonzero(cow_words).tolist():
        if position <= last.rows[-1]:
            continue
        cells = sheet.row(position)
        if _looks_like_record(cells) or cells == sheet.row(last.rows[-1]):
            continue
        cow = cow_column(last.roles, last.headings)
        numbered = cow is not None and (not cells[cow].strip() or _COW_LIKE.match(cells[cow].strip()))
        if numbered and all(meaning("lesion", cell) is not None for cell in cells if _is_cow_heading(cell)):
            # Beside the number of a cow, or as above, "ID" is a lesion and no heading.
            continue
        found = _heading_at(sheet, position)
        if found is None or found.headings == last.headings:
            continue
        if not any(role is not None and role.kind == "field" and role.field == "cow" for role in found.roles):
            continue
        out.append(found)
        last = found
    return out


def _looks_like_record(cells: Sequence[str]) -> bool:
    """Whether a row has a whole day or a number of a cow in it, or few words that are headings."""
    said = [cell.strip() for cell in cells if cell.strip()]
    if any(_WHOLE_DAY_OR_NUMBER.match(cell) for cell in said):
        return sum(bool(_WHOLE_DAY_OR_NUMBER.match(cell)) for cell in said) < 0.5 * len(said)
    return sum(read_heading(cell[:200]) is not None for cell in said) < 0.6 * len(said)


_WHOLE_DAY_OR_NUMBER = re.compile(r"^(\d{3,}|\d{1,4}\D\d{1,2}\D\d{1,4}.*)$")


_EXPLAINS = re.compile(r"\w\s*=\s*[^\W\d_]{2}")
"""A word that a line explains: "US = sole ulcer"."""

_COUNT = re.compile(r"^\d+([.,]\d+)?\s*%?$")

_BRACKETS = re.compile(r"[(\[{][^(\[{)\]}]*[)\]}]")


@cache
def _cow_headings() -> frozenset[str]:
    """Headings of a cow's column without spaces; of 100,000 distinct texts each is looked up here first."""
    return frozenset(
        {word for word, names in heading_fields().items() if any(name.endswith(".cow") for name in names)}
        | {
            word.replace(" ", "")
            for sheet in ("trims", "locomotion")
            for word, name in lexicon.headings(sheet).items()
            if name == "cow"
        }
        | {"cow"}
    )  # fmt: skip


def _is_cow_heading(text: str) -> bool:
    if not text.strip() or len(text) > 40 or text.strip().isdecimal() or text.strip().casefold() in DITTO:
        return False
    word = plain(text)
    bare = plain(_BRACKETS.sub(" ", text)) if "(" in text or "[" in text or "{" in text else word
    said = {squeezed_heading(word), squeezed_heading(bare), word.replace(" ", ""), bare.replace(" ", "")}
    if _cow_headings().isdisjoint(said):
        return False
    role = read_heading(text)
    return role is not None and role.kind == "field" and role.field == "cow"


def _filled(sheet: RawSheet) -> npt.NDArray[np.bool_]:
    out = np.zeros((len(sheet), len(sheet.columns)), dtype=bool)
    for number, column in enumerate(sheet.columns):
        says = np.array([bool(text.strip()) for text in column.texts], dtype=bool)
        out[:, number] = says[column.codes]
    return out


def cow_column(roles: Sequence[Role | None], headings: Sequence[str]) -> int | None:
    """The column of the cow: the one called so, else the first without a heading or with one not understood."""
    for place, role in enumerate(roles):
        if role is not None and role.kind == "field" and role.field == "cow":
            return place
    fields = {role.field for role in roles if role is not None and role.kind == "field"}
    if fields & {"lesion", "locomotion_score"} or sum(role is not None and role.kind in _PLACES for role in roles) >= 2:
        for place, heading in enumerate(headings):
            if squeezed_heading(plain(heading)) in NUMBER_HEADINGS and (
                (role := roles[place]) is None or role.kind == "skip"
            ):
                return place
    places = sum(role is not None and role.kind in _PLACES for role in roles)
    if places >= 3 and roles and roles[0] is None and not is_own_column(headings[0]):
        return 0
    return None


def _stretches(
    sheet: RawSheet,
    head: _HeadingRow,
    positions: Positions,
    filled: npt.NDArray[np.bool_],
    above: list[list[str]],
) -> list[Table]:
    """The rows under one heading, cut where a line between them says something for those that follow."""
    cow = cow_column(head.roles, head.headings)
    count = filled[positions].sum(axis=1)
    positions = positions[count > 0]
    count = count[count > 0]
    special = _special_rows(sheet, head, positions, count, cow)
    again = _repeats(sheet, head, positions)
    named = _are_names(sheet, positions[count > 1], cow)
    end = len(positions) if named else _end_of_cows(sheet, positions, cow)
    lines_at: list[int] = []
    totals_at: list[int] = []
    for index in np.flatnonzero(special & ~again).tolist():
        cells = sheet.row(int(positions[index]))
        sort = _sort_of_row(cells, head, cow, named=named)
        if sort == "record" and index >= end:
            sort = "total" if _is_counted(cells) else "line"
        elif sort == "record" and not named and index == len(positions) - 1 and _is_counted(cells):
            sort = "total" if _sums_up(sheet, positions[~again][:-1], cells) else sort
        if sort == "total":
            totals_at.append(index)
        elif sort == "line":
            lines_at.append(index)
    no_record = again.copy()
    no_record[lines_at] = True
    no_record[totals_at] = True
    out: list[Table] = []
    lines = list(above)
    start = 0
    bounds = [*lines_at, len(positions)]
    for bound in bounds:
        inside = np.arange(start, bound)
        rows = positions[inside[~no_record[inside]]]
        if len(rows):
            totals = sum(start <= index < bound for index in totals_at)
            out.append(Table(head.headings, head.roles, rows, lines, [], totals, int(again[inside].sum())))
            lines = []
        if bound < len(positions):
            lines.append(sheet.row(int(positions[bound])))
        start = bound + 1
    if not out:
        return [Table(head.headings, head.roles, np.empty(0, np.int64), lines)]
    if lines:
        last = out[-1]
        out[-1] = Table(last.headings, last.roles, last.rows, last.lines, lines, last.totals, last.repeats)
    return out


def is_cow_like(text: str) -> bool:
    """Whether a cell could be the number of a cow."""
    return _COW_LIKE.match(text.strip()) is not None


def _end_of_cows(sheet: RawSheet, positions: Positions, cow: int | None) -> int:
    """Where, below the last numbered cow and a blank row, rows follow that sum up or explain words."""
    if cow is None or cow >= len(sheet.columns):
        return len(positions)
    column = sheet.columns[cow]
    numbered = np.array([_COW_LIKE.match(text.strip()) is not None for text in column.texts], dtype=bool)
    cows = np.flatnonzero(numbered[column.codes[positions]])
    if not len(cows):
        return len(positions)
    gaps = np.flatnonzero(np.diff(positions) > 1) + 1
    behind = gaps[gaps > cows[-1]]
    return int(behind[0]) if len(behind) and int(behind[0]) == int(cows[-1]) + 1 else len(positions)


ENOUGH_COUNTED = 3
"""Numbers that are no chance when all of them count what stands above. [common practice, no source]"""


def _sums_up(sheet: RawSheet, above: Positions, cells: Sequence[str]) -> bool:
    """Whether all numbers of a row, three at least, count or add up the cells above, such as those of 2 or more."""
    if not len(above) or sum(bool(_COUNT.match(cell.strip())) for cell in cells) < ENOUGH_COUNTED:
        return False
    for column, cell in zip(sheet.columns, cells, strict=False):
        if not _COUNT.match(cell.strip()):
            continue
        said = [text.strip() for row in above.tolist() if (text := column.text(int(row))).strip()]
        numbers = [float(text.replace(",", ".")) for text in said if _COUNT.match(text) and "%" not in text]
        counts = {len(said), sum(numbers), *(sum(number >= least for number in numbers) for least in (1, 2, 3))}
        if float(cell.strip(" %").replace(",", ".")) not in counts:
            return False
    return True


def _is_counted(cells: Sequence[str]) -> bool:
    """Whether a row has words first, and nothing but numbers behind them."""
    said = [cell.strip() for cell in cells if cell.strip()]
    return len(said) > 1 and all(_COUNT.match(cell) for cell in said[1:])


def _are_names(sheet: RawSheet, positions: Positions, cow: int | None) -> bool:
    """Whether the cows of the rows that say more than a cow are mostly called by names."""
    if cow is None or cow >= len(sheet.columns) or not len(positions):
        return False
    column = sheet.columns[cow]
    names = np.array([bool(text.strip()) and not text.strip()[0].isdigit() for text in column.texts], dtype=bool)
    return bool(names[column.codes[positions]].mean() > 0.5)


def _special_rows(
    sheet: RawSheet, head: _HeadingRow, positions: Positions, count: npt.NDArray[np.int64], cow: int | None
) -> npt.NDArray[np.bool_]:
    """Rows that may be no record: one cell alone, no cow or an odd one, or a word that begins a total."""
    special = count <= 1 if len(head.headings) > 1 else np.zeros(len(positions), dtype=bool)
    if cow is not None and cow < len(sheet.columns):
        column = sheet.columns[cow]
        odd = np.array([not _COW_LIKE.match(text.strip()) for text in column.texts], dtype=bool)
        special = special | odd[column.codes[positions]]
    for column in sheet.columns[:4]:
        sums = np.array([begins_total(text) or _says_count(text) for text in column.texts], dtype=bool)
        if sums.any():
            special = special | sums[column.codes[positions]]
    return special


def _repeats(sheet: RawSheet, head: _HeadingRow, positions: Positions) -> npt.NDArray[np.bool_]:
    again = np.zeros(len(positions), dtype=bool)
    for row in head.rows:
        same = np.ones(len(positions), dtype=bool)
        for column in sheet.columns:
            same &= column.codes[positions] == column.codes[row]
            if not same.any():
                break
        again |= same
    return again


def begins_total(text: str) -> bool:
    """Whether a text begins like one that names a sum, a mean or a key."""
    word = plain(text[:60])
    totals = _totals("total")
    return (
        text.strip() == "%"
        or word in totals
        or (word.split(" ")[0] in totals and not word[-1:].isdigit())
        or (
            bool(word)
            and word.split(" ")[0] in ("total", "totals", "sum", "average", "mean", "summe", "durchschnitt", "totaal")
        )
    )


@cache
def _totals(means: str) -> frozenset[str]:
    return frozenset(word for word, meant in phrases("total").items() if meant == means)


def _says_count(text: str) -> bool:
    """Whether a text names what is counted below a table: "11 done", "Lame (2 or 3)"."""
    words = [word for word in plain(text[:60]).split() if not word.isdecimal()]
    return bool(words) and not _totals("count").isdisjoint((" ".join(words[:2]), words[0]))


def _sort_of_row(cells: list[str], head: _HeadingRow, cow: int | None, *, named: bool) -> str:
    said = [(place, cell.strip()) for place, cell in enumerate(cells) if cell.strip()]
    if not said or field_told(said[0][1]) not in (None, "herd_size"):
        return "line"
    if len({word for _, text in said for word in words_explained(text)}) >= 2:
        # "Legend: U = ulcer, M = wart", in one cell or in several.
        return "line"
    if _EXPLAINS.search(said[0][1]) and not (
        cow is not None and cow < len(cells) and _COW_LIKE.match(cells[cow].strip())
    ):
        return "line"
    if _is_line_of_day(said, head):
        return "line"
    first = head.roles[said[0][0]] if said[0][0] < len(head.roles) else None
    is_foot = first is not None and first.field == "foot" and meaning("foot", said[0][1]) is not None
    if begins_total(said[0][1]) and not is_foot and (cow is None or said[0][0] <= cow or not cells[cow].strip()):
        return "total"
    if cow is not None and cow < len(cells) and begins_total(cells[cow]):
        return "total"
    cow_text = cells[cow].strip() if cow is not None and cow < len(cells) else ""
    if _says_count(said[0][1]) and _is_counted(cells):
        # Words for what is counted, and nothing but numbers.
        return "total"
    placed = [place for place, _ in said if place < len(head.roles) and head.roles[place] is not None]
    findings = [
        place
        for place in placed
        if (role := head.roles[place]) is not None
        and (role.kind in _PLACES or role.field in ("lesion", "foot", "claw", "locomotion_score"))
    ]
    if cow_text and (_COW_LIKE.match(cow_text) or cows_named(cow_text)):
        return "record"
    if cow_text and counts_cows(cow_text):
        return "total"
    if not named and cow_text and _is_of_bill(cow_text, cells):
        return "total"
    if "=" in said[0][1] or (":" in said[0][1] and len(said) <= 2):
        return "line"
    if cow_text:
        # A cow may have a name. A line of words stands alone under the first heading.
        if len(said) == 1:
            return "record" if named and len(cow_text.split()) <= 3 else "line"
        if len(said) == 2 and len(cow_text.split()) > 2:
            return "line"
        return "record"
    if findings and (len(said) > 1 or said[0][0] > 0):
        return "record"
    if cow is None and len(said) > 1:
        return "record"
    return "line" if len(said) <= 3 else "record"


def counts_cows(text: str) -> bool:
    """Whether a cell is a number of cows, and no cow: "3 Kühe", "7 cows trimmed"; "cow 3" is one.

    Example
    -------
    >>> [counts_cows(text) for text in ("3 Kühe", "Vacas: 12", "7 cows trimmed", "cow 3", "3 DD", "Bella")]
    [True, True, True, False, False, False]
    """
    words = plain(text[:60]).split()
    if len(words) < 2:
        return False
    if words[0].isdecimal() and (" ".join(words[1:]) in phrases("animals") or words[1] in phrases("animals")):
        return True
    many = set(phrases("animals")) - {form for form, _ in forms("cow_number")} - {"cow"}
    return words[-1].isdecimal() and " ".join(words[:-1]) in many


def _is_of_bill(text: str, cells: Sequence[str]) -> bool:
    """Whether a row is one of the bill: a word for what is paid, or for work done, in the place of the cow.

    Example
    -------
    >>> _is_of_bill("Trim", ["Trim", "42 @ 12.50"]), _is_of_bill("Miles", ["64"]), _is_of_bill("Bella", ["Bella", "3"])
    (True, True, False)
    """
    if plain(text) in _totals("bill") or any(_PRICED.search(cell) for cell in cells):
        return True
    return meaning("action", text) is not None and any(cell.strip()[:1].isdecimal() for cell in cells)


_PRICED = re.compile(r"^\s*\d+\s*(?:@|x|\u00d7|\u00e0)\s*\W?\s*\d+(?:[.,]\d\d)?\s*\W?\s*$", re.I)
"""A number of things and the price of one: "42 @ 12.50"."""


def _is_line_of_day(said: Sequence[tuple[int, str]], head: _HeadingRow) -> bool:
    """Whether a row is a day alone, or a name and a day, where neither stands under a heading of days."""
    if len(said) > 2 or not said:
        return False
    place, text = said[-1]
    role = head.roles[place] if place < len(head.roles) else None
    if role is not None and (role.kind == "day" or role.field in ("visit_date", "recheck_on", "calving_date")):
        return False
    is_name = len(said) == 1 or not any(letter.isdigit() for letter in said[0][1])
    # "3/4" may be a degree; "5 May" is none.
    is_written = len(text) > 5 or (len(text) > 3 and any(letter.isalpha() for letter in text))
    return is_name and not text.isdecimal() and is_written and is_day(text)


def known_headings(sheet: RawSheet) -> int:
    """How many cells of the row with most of them are headings that are understood."""
    best = 0
    for position in range(min(len(sheet), HEADING_ROWS_SEARCHED)):
        cells = [cell[:200] for cell in sheet.row(position)]
        best = max(best, len({role.code for role in roles_of(cells) if role is not None}))
    return best
