"""Rows of any layout become rows of one finding each, in the columns of a trim or a locomotion sheet.

Every distinct text is read once. What stands in a row is put together from groups of columns: the foot, claw and lesion
of the row; numbered pairs; a column for each foot, claw or lesion; lengths of a foot; remarks.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product
from typing import Any

import numpy as np

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lesions import OTHER_LESION
from evenfoot.analytics.domain.lexicon import (
    foot_sets,
    forms_meaning,
    heading_fields,
    meaning,
    phrases,
    plain,
    squeezed_heading,
)
from evenfoot.analytics.intake.layouts.profiles import DITTO, TICKS, is_tick
from evenfoot.analytics.intake.layouts.roles import MEASURES, Role
from evenfoot.analytics.intake.parsing.finding_cell import read_findings, read_remark
from evenfoot.analytics.intake.parsing.parse_results import CellReading, Doubt, key_of
from evenfoot.analytics.intake.parsing.value_cells import (
    read_claw_text,
    read_feet_text,
    read_severity_text,
    read_zone_text,
)
from evenfoot.analytics.intake.parsing.vocabulary import BLANKS, NOTHING
from evenfoot.analytics.intake.sheet import Codes, Positions, RawColumn, RawSheet

FINDING_FIELDS = (
    "foot", "claw", "zone", "lesion", "lesion_detail", "severity", "dd_stage", "toe_length_mm", "toe_length_after_mm",
    "toe_angle_deg", "heel_depth_mm", "sole_thickness_mm", "action",
)  # fmt: skip
"""Fields in which the findings of one row may differ."""
EVENT_FIELDS = ("visit_kind", "locomotion_score")
"""Fields that an event tells beside findings."""
_OF_ROW = ("foot", "claw", "zone", "lesion", "lesion_detail", "dd_stage", "severity", "side", "end")
_OF_GROUP = (*_OF_ROW, "action")
"""Fields of a row, and those of one of its numbered groups."""
NO_KEY: Mapping[str, str] = {}
SIDES = "sides"
"""In a key of feet, says that L and R of a claw are left and right."""
END = "end"
"""In a key of feet, holds the end (F or H) of the only feet that were looked at."""
CLAW = "claw"
"""In a key of feet, stands before the number of a claw."""
AWAY = "away"
"""What a word means that says that a cow was not there: sold, dry."""
CELL_VALUES = ("severity", "zone", "claw", "foot", "score")
"""What a cell of one value may hold. One that is not certain is left blank and listed."""
ASIDE = "aside"
"""What a word is taught to say whose rows are set aside."""
EXTRA = "extra"
"""Key under which a record keeps words for its note."""


@dataclass
class Words:
    """Words that were explained, and those that are not certain, with the rows in which each stands.

    ``taught`` is never changed, but replaced by another mapping.
    """

    taught: Mapping[str, str] = field(default_factory=dict)
    feet: dict[str, str] = field(default_factory=dict)
    doubts: dict[tuple[str, str], Doubt] = field(default_factory=dict)
    rows: dict[tuple[str, str], int] = field(default_factory=dict)
    cells: dict[tuple[str, str], tuple[int, int, str]] = field(default_factory=dict)
    """Row, column and text of the first cell that each doubt is of."""

    def note(self, doubts: Iterable[Doubt], rows: int, cells: Sequence[tuple[int, int, str]] = ()) -> None:
        """Remember doubts, in how many rows and cells they are. A cell of one value that can be none is no question."""
        for doubt in doubts:
            if not doubt.choices and doubt.about in CELL_VALUES:
                continue
            key = (doubt.about, plain(doubt.word) or doubt.word.strip())
            self.doubts.setdefault(key, doubt)
            if cells and (key not in self.cells or cells[0][0] < self.cells[key][0]):
                said = plain(doubt.word).split()
                # A doubt may join words of several cells: the one that has most of them is shown.
                self.cells[key] = max(cells, key=lambda cell: sum(word in plain(cell[2]).split() for word in said))
            self.rows[key] = self.rows.get(key, 0) + rows


@dataclass(frozen=True)
class Group:
    """Columns that are read together to findings: ``read`` makes records of their texts."""

    columns: tuple[int, ...]
    read: Callable[[tuple[str, ...]], tuple[list[dict[str, str]], tuple[Doubt, ...]]]


def groups_of(roles: Sequence[Role], words: Words, *, read_notes: bool, counts: frozenset[str]) -> list[Group]:
    """The groups of columns of a table.

    Parameters
    ----------
    roles : sequence of Role
    words : Words
    read_notes : bool
        Whether remarks are read as findings.
    counts : frozenset of str
        Lesions whose numbers are counts of feet, not severities.
    """
    out: list[Group] = []
    events = any(role.kind == "event" for role in roles)
    ticked = any(role.kind in ("lesion", "part", "zone") for role in roles)
    numbers = sorted({role.number for role in roles if role.kind == "field" and role.field in _OF_ROW})
    shared = {
        role.field or role.kind: place
        for place, role in enumerate(roles)
        if (role.kind == "field" and role.field in ("foot", "claw") and not role.number) or role.kind in ("side", "end")
    }
    pairs = any(role.kind == "field" and role.field == "lesion" and role.number for role in roles)
    told_by_event = events and not any(role.kind == "field" and role.field == "lesion" for role in roles)
    if told_by_event:
        # The foot of the row is the event's.
        numbers, shared = [], {}
    for number in numbers or [0]:
        places = {
            role.field: place
            for place, role in enumerate(roles)
            if role.kind == "field"
            and role.number == number
            and role.field in (_OF_GROUP if number else _OF_ROW)
            and not told_by_event
        }
        places |= {f"which {role.foot}": place for place, role in enumerate(roles) if role.kind == "which"}
        if number and "lesion" not in places:
            continue
        if pairs and not number and places.keys() <= shared.keys():
            # Each pair takes the foot and claw of the row.
            continue
        places = {**shared, **places}
        if places and not ("lesion" not in places and ticked):
            names = tuple(places)
            of_foot = next((role for role in roles if role.number == number and role.foot), None) if number else None
            out.append(Group(tuple(places.values()), _row_reader(names, words, of_foot)))
            # Several columns may be told to hold lesions; each has its own findings.
            for other, role in enumerate(roles):
                if (role.kind, role.field, role.number) == ("field", "lesion", number) and other != places["lesion"]:
                    again = {**shared, "lesion": other}
                    out.append(Group(tuple(again.values()), _row_reader(tuple(again), words, of_foot)))
    beside = {
        role.field or role.kind: place
        for place, role in enumerate(roles)
        if (role.kind == "field" and role.field in ("foot", "claw", "zone", "severity") and not role.number)
        or role.kind in ("side", "end")
    }
    for place, role in enumerate(roles):
        if role.kind == "claw" and not role.foot:
            feet = {name: at for name, at in beside.items() if name in ("foot", "side", "end")}
            out.append(Group((place, *feet.values()), _claw_reader(role.claw, tuple(feet), words)))
        elif role.kind == "pair":
            out.append(Group((place,), _pair_reader(role, words)))
        elif role.kind in ("foot", "claw"):
            out.append(Group((place,), _place_reader(role, words)))
        elif role.kind == "lesion":
            reader = _lesion_reader(role, words, counts=role.lesion in counts)
            if beside and not any(one.kind == "field" and one.field == "lesion" for one in roles):
                out.append(Group((place, *beside.values()), _beside_reader(tuple(beside), reader, words)))
            else:
                out.append(Group((place,), reader))
        elif role.kind in ("part", "zone"):
            reader = _part_reader(role, words) if role.kind == "part" else _zone_reader(role, words)
            out.append(Group((place, *beside.values()), _beside_reader(tuple(beside), reader, words)))
        elif role.kind == "event" and any(one.kind == "field" and one.field == "lesion" for one in roles):
            # Its finding has columns of its own.
            continue
        elif role.kind == "event":
            remarks = [at for at, one in enumerate(roles) if one.kind == "note" or one.field == "note"]
            of_row = {name: at for name, at in beside.items() if name in ("foot", "claw", "side", "end")}
            reader = _event_of_foot_reader(tuple(of_row), _event_reader(words), words)
            out.append(Group((place, *of_row.values(), *remarks), reader))
        elif read_notes and not events and (role.kind == "note" or role.field == "note"):
            of_row = {name: at for name, at in beside.items() if name in ("foot", "claw", "side", "end")}
            own = [at for at, one in enumerate(roles) if one.kind == "field" and one.field == "lesion"]
            reader = _remark_of_foot_reader(tuple(of_row), _remark_reader(words), words)
            out.append(
                Group((place, *of_row.values(), *own), reader) if of_row else Group((place,), _remark_reader(words))
            )
    measured: dict[tuple[str, str], dict[str, int]] = {}
    for place, role in enumerate(roles):
        if role.kind == "measure":
            measured.setdefault((role.foot, role.claw), {})[role.field] = place
    for (foot, claw), fields in measured.items():
        reader = _measure_reader(foot, claw, tuple(fields))
        if foot or "foot" not in beside:
            out.append(Group(tuple(fields.values()), reader))
        else:
            out.append(Group((beside["foot"], *fields.values()), _measure_of_row_reader(reader, words)))
    return out


def _row_reader(names: tuple[str, ...], words: Words, of_foot: Role | None = None) -> Callable[[tuple[str, ...]], Any]:
    """Columns of one row; with ``of_foot`` they all tell of that foot or claw."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        said = {name: text.strip() for name, text in zip(names, texts, strict=True)}
        if of_foot is None:
            return read_row(said, words.taught, words.feet)
        place = {"foot": of_foot.foot, **({"claw": of_foot.claw} if of_foot.claw else {})}
        records, doubts = read_row({**said, **place}, words.taught, words.feet)
        return [record for record in records if record != place], doubts

    return read


def read_row(
    said: Mapping[str, str], taught: Mapping[str, str], key: Mapping[str, str] = NO_KEY
) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
    """The findings of one row with columns for foot, claw, lesion and the like.

    Parameters
    ----------
    said : mapping of str to str
        Field -> cell.
    taught : mapping of str to str
    key : mapping of str to str
        Number -> foot.

    Returns
    -------
    list of dict
        One a finding; one without a lesion where the row says that nothing was found but names a foot; none where it
        says nothing.
    tuple of Doubt
    """
    doubts: list[Doubt] = []
    said = with_places({name: _undotted(text) for name, text in said.items()})
    if parts := _by_foot(said, key):
        each = [read_row(part, taught, key) for part in parts]
        return [record for records, _ in each for record in records], each[0][1]
    lesion = _without_comment(said.get("lesion", ""))
    if meaning("away", lesion) == "unseen" or taught.get(plain(lesion)) == AWAY:
        lesion = ""
    reading = read_findings(lesion, taught=taught)
    doubts += reading.doubts
    said = _numbered_claws(said, key)
    feet, foot_doubts, foot_claws, foot_raw = _feet(said, taught, key)
    doubts += foot_doubts
    base: dict[str, str] = {}
    if foot_raw:
        base["foot"] = foot_raw
    for name in ("zone", "severity", "dd_stage", "lesion_detail"):
        text = said.get(name, "")
        if not text or text.casefold() in BLANKS:
            continue
        stage = _STAGE.fullmatch(text) if name == "severity" and not said.get("dd_stage") else None
        if stage is not None:
            # Beside degrees of other lesions stands the stage of digital dermatitis.
            base["dd_stage"] = f"M{stage[1].replace(',', '.')}"
            continue
        base[name], doubt = _coded(name, text, taught)
        if doubt is not None:
            doubts.append(doubt)
    found = _records_of(reading, lesion)
    is_note = taught.get(key_of(lesion)) == "note"
    said_nothing = reading.nothing or reading.doubts or lesion.casefold() in BLANKS or is_note
    if not found and lesion and not said_nothing and reading.unread and not reading.feet:
        found = [{"lesion": lesion}]
    if _is_put_aside(reading, taught):
        found = [{"lesion": lesion}]
    else:
        found += [{"lesion": word} for word in _unanswered(reading, taught)]
    claw_text = said.get("claw", "")
    out: list[dict[str, str]] = []
    for finding in found or [{}]:
        named = reading.feet if not finding and not _is_of_leg(reading) else ()
        own_feet = [finding["foot"]] if finding.get("foot") else list(named) or feet
        for foot in own_feet or [""]:
            claw_said = key.get(f"{CLAW} {plain(claw_text)}", claw_text)
            claws, claw_doubt, raw = _claws(claw_said, foot, taught, sides=bool(key.get(SIDES)))
            if claw_doubt is not None:
                doubts.append(claw_doubt)
            own_claws = (
                [finding["claw"]] if finding.get("claw") else (claws or list(foot_claws)) or ([raw] if raw else [""])
            )
            for claw in own_claws:
                record = {**base, **finding}
                if foot:
                    record["foot"] = foot
                if claw:
                    record["claw"] = claw
                out.append(record)
    written: dict[str, str] = {}
    if not found:
        # A severity or a zone without a lesion stays as it is written, so that the row is set aside.
        written = {name: text for name in ("zone", "severity", "dd_stage", "lesion_detail")
                   if (text := said.get(name, "")) and text.casefold() not in NOTHING}  # fmt: skip
        for record in out:
            record.update({name: text for name, text in written.items() if name not in record})
        if written:
            out = out[:1]
        elif any("foot" in record for record in out) or reading.nothing:
            out = out[:1] if len(out) == 1 else []
        else:
            out = []
    if not found and reading.unread and not written:
        # A remark in the place of a lesion, or beside "nothing found", such as one of the hock.
        out = [{**record, EXTRA: " ".join(reading.unread)} for record in out or [{}]]
    own = _actions_of_parts(lesion, len(reading.findings), taught) if len(out) == len(reading.findings) else []
    action = reading.action or said.get("action", "")
    for record, told in zip(out, own or [action] * len(out), strict=True):
        if told and found:
            record.setdefault("action", told)
    if reading.unread and found:
        # A word that stays under the lesion, as it was not read, is no remark as well.
        raw_words = {lesion, *_unanswered(reading, taught)}
        for record in out:
            if record.get("lesion") not in raw_words:
                record.setdefault(EXTRA, " ".join(reading.unread))
    return out, tuple(doubts)


def _numbered_claws(said: dict[str, str], key: Mapping[str, str]) -> dict[str, str]:
    """Claws that are numbered through all feet by the sheet's key, "8" or "5/6", as foot and claw.

    Example
    -------
    >>> _numbered_claws({"claw": "8"}, {"claw 8": "lateral", "claw 8 foot": "RH"})
    {'claw': 'lateral', 'foot': 'RH'}
    """
    numbers = _claw_numbers(said.get("claw", ""), key)
    feet = {key[f"{CLAW} {number} foot"] for number in numbers}
    if said.get("foot") or len(feet) != 1:
        return said
    return {**said, "claw": "/".join(key[f"{CLAW} {number}"] for number in numbers), "foot": feet.pop()}


_FROM_TO = re.compile(r"(\d)\s*(?:-|\N{EN DASH}|to|a|à|bis|tot|t/m|até)\s*(\d)")


def _claw_numbers(text: str, key: Mapping[str, str]) -> list[str]:
    """The numbers of claws in a cell that the sheet's key explains: "8", "5 + 8", "5 t/m 8"; none where one is not.

    Example
    -------
    >>> key = {f"claw {number} foot": "RH" for number in "5678"}
    >>> _claw_numbers("5 t/m 7", key), _claw_numbers("5 + 8", key), _claw_numbers("1", key)
    (['5', '6', '7'], ['5', '8'], [])
    """
    spread = _FROM_TO.fullmatch(text.strip())
    if spread and spread[1] < spread[2]:
        numbers = [str(number) for number in range(int(spread[1]), int(spread[2]) + 1)]
    else:
        numbers = re.split(r"\s*[/,+&]\s*", text.strip())
    return numbers if all(f"{CLAW} {number} foot" in key for number in numbers) else []


def _by_foot(said: Mapping[str, str], key: Mapping[str, str]) -> list[dict[str, str]]:
    """A row whose numbered claws are of several feet, as one for each foot; none for any other row."""
    feet: dict[str, list[str]] = {}
    for number in _claw_numbers(said.get("claw", ""), key) if not said.get("foot") else ():
        feet.setdefault(key[f"{CLAW} {number} foot"], []).append(number)
    return [{**said, "claw": "/".join(numbers)} for numbers in feet.values()] if len(feet) > 1 else []


def _actions_of_parts(text: str, findings: int, taught: Mapping[str, str]) -> list[str]:
    """What was done to each finding of a cell whose parts each tell of one: "SU, block; DD, wrap"; else nothing.

    Example
    -------
    >>> _actions_of_parts("RH SU, block; LH DD, wrap", 2, {}), _actions_of_parts("RH SU, block", 1, {})
    (['block', 'wrap'], [])
    """
    parts = [part for part in re.split(r"[;\n]", text) if part.strip()]
    if len(parts) < 2 or len(parts) != findings:
        return []
    each = [read_findings(part, taught=taught) for part in parts]
    return [one.action or "" for one in each] if all(len(one.findings) == 1 for one in each) else []


_STAGE = re.compile(r"[mM]\s?(4[.,]1|[0-4])")


def _records_of(reading: CellReading, text: str) -> list[dict[str, str]]:
    """One record a finding; a lesion that is not on the list keeps the whole cell in its note."""
    out = []
    for finding in reading.findings:
        record = dict(_fields_of(finding))
        if finding.lesion == OTHER_LESION:
            record[EXTRA] = " ".join(text.split())
        out.append(record)
    return out


def _undotted(text: str) -> str:
    """Abbreviations without their dots: "R.H." is RH. A space parts letters that name a foot in no other way.

    Example
    -------
    >>> _undotted("R.H."), _undotted("O.F. inside")
    ('RH', 'O F inside')
    """

    def bare(match: re.Match[str]) -> str:
        joined = match[0].replace(".", "")
        parted = " ".join(joined)
        return parted if meaning("foot", parted) and not meaning("foot", joined) else joined

    return re.sub(r"\b(?:[^\W\d_]\.){2,}", bare, text)


def _without_comment(text: str) -> str:
    """ "ok (kicker)" says ok: a word for nothing found keeps its meaning before a comment in brackets."""
    bare = text.rstrip()
    opened = bare.find("(", bare.rfind(")", 0, -1) + 1) if bare.endswith(")") else -1
    bare = text if opened < 0 else bare[:opened].rstrip()
    return bare if bare != text and bare and read_findings(bare).nothing else text


_CLAW_LETTERS = {"o": "lateral", "a": "lateral", "e": "lateral", "l": "lateral", "i": "medial", "m": "medial",
                 "out": "lateral", "in": "medial", "ext": "lateral", "int": "medial", "lat": "lateral", "med": "medial",
                 "bu": "lateral", "bi": "medial"}  # fmt: skip
"""What stands for the claw behind the letters of a foot: outer, externa, lateral; inner, medial.
[common practice, no source]"""


def with_places(said: Mapping[str, str]) -> dict[str, str]:
    """Foot and claw told apart where one cell holds the letters of both, such as RHO or HLI."""
    out = dict(said)
    for name in ("foot", "claw"):
        word = plain(said.get(name, "")).replace(" ", "")
        foot, claw = word[:2], _CLAW_LETTERS.get(word[2:], "")
        if not claw or (name == "foot" and word in phrases("foot")) or word in phrases("claw"):
            continue
        feet = {phrases("foot").get(foot), *(codes.get(foot) for codes in foot_sets())} - {None}
        if len(feet) == 1 and feet <= set(FEET):
            out["foot"], out["claw"] = str(feet.pop()), claw
    return out


def _is_of_leg(reading: CellReading) -> bool:
    """Whether a cell speaks of what is above the foot, whose side is no foot looked at."""
    return any(meaning("remark", part) == "leg" for part in reading.unread)


def _is_put_aside(reading: CellReading, taught: Mapping[str, str]) -> bool:
    """Whether a person wants the row of a word to be set aside, whatever the word is near to."""
    return any(doubt.about == "lesion" and taught.get(plain(doubt.word)) == ASIDE for doubt in reading.doubts)


def _unanswered(reading: CellReading, taught: Mapping[str, str]) -> list[str]:
    """Words that may be lesions and were not explained: they stay as they are, so that the row is set aside."""
    return [
        doubt.word
        for doubt in reading.doubts
        if doubt.about == "lesion" and plain(doubt.word) not in taught and doubt.default is None
    ]


def _fields_of(finding: Any) -> Iterable[tuple[str, str]]:
    for name, value in (
        ("lesion", finding.lesion),
        ("lesion_detail", finding.detail),
        ("dd_stage", finding.stage),
        ("foot", finding.foot),
        ("claw", finding.claw),
        ("zone", finding.zone),
        ("severity", finding.severity),
        (EXTRA, finding.words),
    ):
        if value is not None:
            yield name, str(value)


@lru_cache(maxsize=1024)
def _feet_said(text: str, key: tuple[tuple[str, str], ...]) -> tuple[tuple[str, ...], Doubt | None]:
    """The feet of a cell: many rows say the same."""
    return read_feet_text(text, dict(key))


def _feet(
    said: Mapping[str, str], taught: Mapping[str, str], key: Mapping[str, str]
) -> tuple[list[str], list[Doubt], tuple[str, ...], str]:
    """Feet of a row, doubts, claws named beside them, and the cell as it is where it cannot be read."""
    which = [name[6:] for name, tick in said.items() if name.startswith("which ") and tick and is_tick(tick)]
    if which:
        return which, [], (), ""
    text = said.get("foot", "")
    if text and text.casefold() not in BLANKS:
        told = taught.get(plain(text), "")
        if told.startswith("foot:"):
            return told[5:].split(), [], (), ""
        if plain(text) in key:
            return [key[plain(text)]], [], (), ""
        side, end = said.get("side", ""), said.get("end", "")
        left = meaning("side", side or text)
        hind = meaning("end", end or text)
        if (side or end) and left and hind:
            return [left + hind], [], (), ""
        feet, doubt = _feet_said(text, tuple(key.items()))
        if not feet and key.get(END):
            feet = _sides_of_end(text, key)[0]
        if feet:
            return list(feet), [], (), ""
        reading = read_findings(text, taught=taught)
        if reading.feet and not reading.findings:
            return list(reading.feet), [], reading.claws, ""
        if doubt is not None:
            return [], [doubt], (), text
        return [], [], (), text
    side, end = said.get("side", ""), said.get("end", "")
    if side or end:
        left = meaning("side", side)
        hind = meaning("end", end)
        if left and hind:
            return [left + hind], [], (), ""
        if (plain(side) in BOTH and hind) or (plain(end) in BOTH and left):
            return [foot for foot in FEET if (left or foot[0]) + (hind or foot[1]) == foot], [], (), ""
        both = f"{end} {side}".strip()
        feet, _ = read_feet_text(both)
        if feet and len(feet) == 1:
            return list(feet), [], (), ""
        return ([], [], (), both) if both.casefold() not in BLANKS else ([], [], (), "")
    return [], [], (), ""


def _claws(text: str, foot: str, taught: Mapping[str, str], *, sides: bool) -> tuple[list[str], Doubt | None, str]:
    if not text or text.casefold() in BLANKS:
        return [], None, ""
    told = taught.get(plain(text), "")
    if sides and plain(text) in ("l", "r") and foot:
        return ["lateral" if plain(text) == foot[0].casefold() else "medial"], None, ""
    if told.startswith("claw:"):
        return ["lateral", "medial"] if told[5:] == "both" else [told[5:]], None, ""
    claws, doubt = read_claw_text(text, foot or None)
    if claws:
        return list(claws), None, ""
    return [], doubt, text


def _coded(name: str, text: str, taught: Mapping[str, str]) -> tuple[str, Doubt | None]:
    """The value of a cell; what is not certain stays as it is written, so that the cell is left blank and listed."""
    if name not in ("severity", "zone"):
        return text, None
    value, doubt = (read_severity_text if name == "severity" else read_zone_text)(text, taught)
    return (text if value is None else str(value)), doubt


def _place_reader(role: Role, words: Words) -> Callable[[tuple[str, ...]], Any]:
    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        text = _without_comment(_undotted(texts[0].strip()))
        if not text or is_away(text, words.taught):
            return [], ()
        reading = read_findings(text, foot=role.foot, taught=words.taught)
        out = []
        for record in _records_of(reading, text):
            record.setdefault("foot", role.foot)
            if role.claw:
                record.setdefault("claw", role.claw)
            out.append(record)
        raw = _unanswered(reading, words.taught)
        if _is_put_aside(reading, words.taught):
            out, raw = [], [text]
        is_read = out or raw or reading.nothing or reading.doubts or reading.action
        if not is_read and reading.unread and words.taught.get(key_of(text)) != "note":
            raw = [text]
        for word in raw:
            out.append({"lesion": word, "foot": role.foot, **({"claw": role.claw} if role.claw else {})})
        kept = words.taught.get(key_of(text)) == "note" or any(one.default == "note" for one in reading.doubts)
        if not out and not reading.nothing and reading.unread and kept:
            # A remark in the place of a lesion, such as one of the hock.
            out.append({"foot": role.foot})
        if not out and reading.action not in (None, "trim"):
            # A block on a foot of which no lesion is told.
            out = [{"foot": role.foot, **({"claw": claw} if claw else {})} for claw in reading.claws or (role.claw,)]
        for record in out:
            if reading.action:
                record["action"] = reading.action
            if reading.unread and record.get("lesion") not in raw:
                record.setdefault(EXTRA, " ".join(reading.unread))
        return out, reading.doubts

    return read


def _claw_reader(claw: str, names: tuple[str, ...], words: Words) -> Callable[[tuple[str, ...]], Any]:
    """Findings on one claw of the foot that other columns of the row name."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        if not texts[0].strip():
            return [], ()
        said = {name: text.strip() for name, text in zip(names, texts[1:], strict=True)}
        records, doubts = read_row({**said, "lesion": texts[0].strip(), "claw": claw}, words.taught, words.feet)
        return [record for record in records if "lesion" in record], doubts

    return read


def _pair_reader(role: Role, words: Words) -> Callable[[tuple[str, ...]], Any]:
    """Findings on the two feet of one end: "R foul, L slurry heel", "both warts"."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        pieces = re.split(r"([,;/\n]|\s&\s|\s\+\s)", _undotted(texts[0].strip()))
        sided = "".join(piece if at % 2 else _with_end(piece, role.field) for at, piece in enumerate(pieces))
        reading = read_findings(sided, taught=words.taught)
        out = _records_of(reading, texts[0])
        for word in _unanswered(reading, words.taught):
            out.append({"lesion": word})
        for record in out:
            if reading.action:
                record["action"] = reading.action
            if reading.unread:
                record.setdefault(EXTRA, " ".join(reading.unread))
        return out, reading.doubts

    return read


def _with_end(text: str, end: str) -> str:
    """A piece of a cell with the foot in the place of the side it begins or ends with.

    Example
    -------
    >>> _with_end("R ulcer outer", "H"), _with_end(" both warts", "F"), _with_end("ok", "H")
    ('RH ulcer outer', ' LF RF warts', 'ok')
    """
    said = text.split()
    lead = text[: len(text) - len(text.lstrip())]
    for place in (0, len(said) - 1) if said else ():
        side = phrases("side").get(plain(said[place]))
        if side is None and plain(said[place]) not in BOTH:
            continue
        feet = f"{side}{end}" if side else f"L{end} R{end}"
        return lead + " ".join([*said[:place], feet, *said[place + 1 :]])
    return text


BOTH = forms_meaning("layout_word", "both")


def _sides_of_end(text: str, key: Mapping[str, str]) -> tuple[tuple[str, ...], Doubt | None]:
    """Feet of a cell that names sides and no end ("L", "G D"): of the end that alone was looked at, else asked."""
    said = [word for word in plain(text).split() if word not in phrases("joiner") and word not in _AND]
    sides = [phrases("side").get(word) for word in said]
    if not said or not all(sides):
        return (), None
    feet = {end: " ".join(foot for foot in FEET if foot[0] in sides and foot[1] == end) for end in "HF"}
    if key.get(END):
        return tuple(feet[key[END]].split()), None
    return (), Doubt(" ".join(text.split()), "foot", tuple(f"foot:{one}" for one in feet.values()) + ("note",), "note",
                     True)  # fmt: skip


_AND = forms_meaning("layout_word", "and")


def is_away(text: str, taught: Mapping[str, str]) -> bool:
    """Whether a cell says that the cow or the foot was not looked at, in words or in one that the sheet explains."""
    return meaning("away", text) is not None or taught.get(plain(text)) == AWAY


def _lesion_reader(role: Role, words: Words, *, counts: bool) -> Callable[[tuple[str, ...]], Any]:
    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        text = texts[0].strip()
        if text.endswith("?") and (text.strip("? ") == "" or is_tick(text.strip("? "))):
            # A tick that is not certain.
            unsure = read_findings(f"{role.lesion}?", taught=words.taught)
            beside = {"foot": role.foot} if role.foot else {}
            return [{**dict(_fields_of(finding)), **beside} for finding in unsure.findings], unsure.doubts
        if not text or text.casefold() in BLANKS or text == "0" or meaning("no", text) is not None:
            return [], ()
        if is_away(text, words.taught):
            return [], ()
        nothing = read_findings(text, taught=words.taught)
        if nothing.nothing and text.casefold() not in TICKS:
            return [], nothing.doubts
        found = read_findings(role.lesion)
        base = dict(_fields_of(found.findings[0])) if found.findings else {"lesion": role.lesion}
        if role.foot:
            base["foot"] = role.foot
        number = re.fullmatch(r"(\d+)(?:[.,]0+)?", text)
        if number:
            if not counts and 1 <= int(number[1]) <= 3:
                base["severity"] = number[1]
            if counts and number[1] == "2" and words.feet.get(END) and not role.foot:
                # Two feet of one end are both.
                return [{**base, "foot": foot} for foot in FEET if foot[1] == words.feet[END]], ()
            return [base], ()
        if is_tick(text):
            return [base], ()
        if text and not text.strip("+()"):
            value, doubt = read_severity_text(text)
            return [{**base, "severity": str(value)} if value else base], (doubt,) if doubt else ()
        sides, open_end = _sides_of_end(text, words.feet) if plain(text) not in words.taught else ((), None)
        if sides or open_end is not None:
            return [{**base, "foot": foot} for foot in sides] or [base], () if open_end is None else (open_end,)
        reading = read_findings(text, taught=words.taught)
        of_foot = {"foot": role.foot} if role.foot else {}
        if reading.findings:
            records = [{**of_foot, **dict(_fields_of(finding))} for finding in reading.findings]
            return records, reading.doubts
        feet = list(reading.feet) or [""]
        claws = list(reading.claws) or [""]
        value, doubt = read_severity_text(text) if not reading.feet and not reading.claws else (None, None)
        if value is None and not reading.feet and not reading.claws:
            joined = read_findings(f"{role.lesion} {text}", taught=words.taught)
            if joined.findings:
                records = [{**of_foot, **dict(_fields_of(finding))} for finding in joined.findings]
                for record in records:
                    if joined.unread:
                        record[EXTRA] = " ".join(joined.unread)
                return records, joined.doubts
        out = []
        for foot, claw in product(feet, claws):
            record = dict(base)
            if foot:
                record["foot"] = foot
            if claw:
                record["claw"] = claw
            if value in (1, 2, 3):
                record["severity"] = str(value)
            if reading.unread and value is None:
                record[EXTRA] = " ".join(reading.unread)
            out.append(record)
        return out, ()

    return read


def _zone_reader(role: Role, words: Words) -> Callable[[tuple[str, ...]], Any]:
    """Findings in the zone that the heading names."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        reading = read_findings(texts[0], taught=words.taught)
        records = _records_of(reading, texts[0])
        for record in records:
            record.setdefault("zone", role.field)
        return records, reading.doubts

    return read


def _part_reader(role: Role, words: Words) -> Callable[[tuple[str, ...]], Any]:
    """Lesions under the name of a part of the claw: "ulcer" under "Toe" is a toe ulcer."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        text = texts[0].strip()
        if not text or text.casefold() in BLANKS:
            return [], ()
        for said in (f"{role.field} {text}", f"{text} {role.field}", text):
            reading = read_findings(said, taught=words.taught)
            if reading.findings and not reading.doubts and not reading.unread:
                return [dict(_fields_of(finding)) for finding in reading.findings], ()
        reading = read_findings(text, taught=words.taught)
        records = [dict(_fields_of(finding)) for finding in reading.findings]
        if not records and reading.nothing:
            return [], reading.doubts
        return records or [{"lesion": text}], reading.doubts

    return read


def _beside_reader(
    names: tuple[str, ...], reader: Callable[[tuple[str, ...]], Any], words: Words
) -> Callable[[tuple[str, ...]], Any]:
    """Ticks under a lesion whose foot and claw stand in columns of the row."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        records, doubts = reader(texts[:1])
        if not records:
            return [], ()
        said = {name: text.strip() for name, text in zip(names, texts[1:], strict=True)}
        places, more = read_row({**said, "lesion": "SU"}, words.taught, words.feet)
        out = []
        for record, place in product(records, places or [{}]):
            base = {name: value for name, value in place.items() if name in ("foot", "claw", "zone", "severity")}
            out.append({**base, **record})
        return out, (*doubts, *more)

    return read


def _remark_reader(words: Words) -> Callable[[tuple[str, ...]], Any]:
    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        if not texts[0].strip():
            return [], ()
        reading = read_remark(texts[0], words.taught)
        out = _records_of(reading, texts[0])
        if reading.action:
            for record in out:
                record["action"] = reading.action
        if not out and reading.nothing and len(reading.feet) == 1:
            # A sound foot that is named.
            out = [{"foot": reading.feet[0]}]
        return out, reading.doubts

    return read


def _remark_of_foot_reader(
    names: tuple[str, ...], reader: Callable[[tuple[str, ...]], Any], words: Words
) -> Callable[[tuple[str, ...]], Any]:
    """A remark whose row names one foot: a lesion for which it names none stands on that foot.

    It stands on the claw of the row as well, unless the row has a lesion of its own there.
    """

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        records, doubts = reader(texts[:1])
        said = {name: text.strip() for name, text in zip(names, texts[1:], strict=False)}
        if not any(said.values()) or all("foot" in record for record in records):
            return records, doubts
        places, _ = read_row({**said, "lesion": "SU"}, words.taught, words.feet)
        feet, claws = ({place.get(name, "") for place in places} for name in ("foot", "claw"))
        if len(feet) != 1 or not feet <= set(FEET):
            return records, doubts
        base = {"foot": feet.pop()}
        if len(claws) == 1 and claws <= set(CLAWS) and not any(text.strip() for text in texts[1 + len(names) :]):
            base["claw"] = claws.pop()
        return [record if "foot" in record else {**base, **record} for record in records], doubts

    return read


FEET_EVENT = "event:feet"
"""What a code of an event is taught to say that is about feet."""
_FEET_EVENT, _OTHER_EVENT = (
    re.compile(rf"\b(?:{'|'.join(map(re.escape, sorted(forms_meaning('feet_event', about))))})")
    for about in ("feet", "other")
)
"""Words of an event that is about feet, and of one that is not. [common practice, no source]"""


def is_feet_event(text: str, taught: Mapping[str, str]) -> bool:
    """Whether an event of a cow's history is about her feet: a trim, a lameness, a lesion.

    Example
    -------
    >>> is_feet_event("TRIM", {}), is_feet_event("Milk fever", {})
    (True, False)
    """
    if not text.strip():
        return False
    if taught.get(plain(text)) in (FEET_EVENT, "action:trim", "nothing"):
        return True
    return bool(_FEET_EVENT.search(plain(text))) or bool(read_findings(text, taught=taught).findings)


_OF_FEET = ("trim", "block", "wrap")
_STATED = ("healed", "uncertain", "negated")
"""What a doubt of a lesion in an event is about that is asked."""


def is_remark_about_feet(event: str, remark: str, taught: Mapping[str, str]) -> bool:
    """Whether the remark of an event that does not say what it is about names a foot, a lesion, a block or a wrap.

    Example
    -------
    >>> is_remark_about_feet("CHECK", "block off, ulcer healed", {}), is_remark_about_feet("MAST", "LR", {})
    (True, False)
    """
    if not remark.strip() or _OTHER_EVENT.search(plain(event)):
        return False
    reading = read_remark(remark, taught)
    if reading.findings or reading.action in _OF_FEET or any(doubt.about in _STATED for doubt in reading.doubts):
        return True
    return bool(reading.feet) and not _OTHER_EVENT.search(plain(remark))


_SCORED = re.compile(r"([^\W\d][^\d,;.:=]*?) ?[:=]? ?([0-5](?:[.,/+-]\d?|\+)?)(?![\d.])")
"""Words, and a number that may be a score."""
_SCORE = forms_meaning("layout_word", "score")


def named_score(text: str) -> str | None:
    """The locomotion score that a remark names, as it is written; ``None`` where it names none.

    Example
    -------
    >>> named_score("loco 4"), named_score("RH, score 3"), named_score("zone 4")
    ('4', '3', None)
    """
    for match in _SCORED.finditer(text):
        words = plain(match[1]).split()
        if any(_names_scores(" ".join(words[start:])) for start in range(len(words))):
            return match[2]
    return None


def _names_scores(words: str) -> bool:
    fields = heading_fields().get(squeezed_heading(words), ())
    return bool({"trims.locomotion_score", "locomotion.score"} & set(fields)) or words in _SCORE


def _event_reader(words: Words) -> Callable[[tuple[str, ...]], Any]:
    """An event and its remarks: findings, scores and lame cows where the event is about feet."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        by_remark = any(is_remark_about_feet(texts[0], text, words.taught) for text in texts[1:])
        if not by_remark and not is_feet_event(texts[0], words.taught):
            return [], ()
        out: list[dict[str, str]] = []
        doubts: list[Doubt] = []
        named = read_findings(texts[0], taught=words.taught).findings
        if len(named) == 1 and not named[0].foot:
            # The event is the lesion, and its remark the foot.
            told = [read_findings(text, taught=words.taught) for text in texts[1:] if text.strip()]
            feet = {foot for reading in told for foot in reading.feet}
            if len(feet) == 1 and not any(reading.findings for reading in told):
                action = next((reading.action for reading in told if reading.action), None)
                record = {**dict(_fields_of(named[0])), "foot": feet.pop()}
                return [{**record, "action": action} if action else record], ()
        sound: set[str] = set()
        for text in texts:
            reading = read_findings(text, taught=words.taught)
            sound.update(reading.feet if reading.nothing else ())
            doubts += [doubt for doubt in reading.doubts if doubt.about in _STATED]
            for finding in reading.findings:
                record = dict(_fields_of(finding))
                if reading.action:
                    record["action"] = reading.action
                if record not in out:
                    out.append(record)
        score = next(filter(None, map(named_score, texts)), None)
        if score is not None and not any("severity" in record for record in out):
            return [{**record, "locomotion_score": score} for record in out or [{}]], tuple(doubts)
        if not out and len(sound) == 1:
            out = [{"foot": sound.pop()}]
        if not out and meaning("visit_kind", texts[0]) == "lame-cow":
            # She was seen to be lame, so she is not one that was looked at and sound.
            out = [{"visit_kind": "lame-cow"}]
        return out, tuple(doubts)

    return read


def _measure_of_row_reader(
    reader: Callable[[tuple[str, ...]], tuple[list[dict[str, str]], tuple[Doubt, ...]]], words: Words
) -> Callable[[tuple[str, ...]], tuple[list[dict[str, str]], tuple[Doubt, ...]]]:
    """Lengths of one claw of the foot that the row names."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        records, doubts = reader(texts[1:])
        feet = _feet({"foot": texts[0].strip()}, words.taught, words.feet)[0]
        return [{**record, "foot": feet[0]} for record in records] if len(feet) == 1 else [], doubts

    return read


def _event_of_foot_reader(
    names: tuple[str, ...],
    reader: Callable[[tuple[str, ...]], tuple[list[dict[str, str]], tuple[Doubt, ...]]],
    words: Words,
) -> Callable[[tuple[str, ...]], tuple[list[dict[str, str]], tuple[Doubt, ...]]]:
    """An event whose foot and claw have columns of their own: its remark is read with them in front."""

    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        said = {name: text.strip() for name, text in zip(names, texts[1 : 1 + len(names)], strict=True)}
        remarks = texts[1 + len(names) :]
        feet, _, claws, _ = _feet(said, words.taught, words.feet) if any(said.values()) else ([], [], (), "")
        place = " ".join([" + ".join(feet), *claws, said.get("claw", "")]).strip()
        if not place:
            return reader((texts[0], *remarks))
        first = f"{place} {remarks[0] if remarks else ''}".strip()
        return reader((texts[0], first, *remarks[1:]))

    return read


def _measure_reader(foot: str, claw: str, names: tuple[str, ...]) -> Callable[[tuple[str, ...]], Any]:
    def read(texts: tuple[str, ...]) -> tuple[list[dict[str, str]], tuple[Doubt, ...]]:
        said = {
            name: text.strip()
            for name, text in zip(names, texts, strict=True)
            if text.strip() and text.strip().casefold() not in BLANKS
        }
        if not said:
            return [], ()
        for name in list(said):
            if "/" in name:
                text, fields = said.pop(name), name.split("/")
                parts = [part.strip() for part in re.split(r"[/>-]+", text)]
                said |= dict(zip(fields, parts, strict=False)) if len(parts) <= len(fields) else {fields[0]: text}
        return [{"foot": foot, **({"claw": claw} if claw else {}), **said}], ()

    return read


@dataclass
class Rows:
    """Records under construction: for each the row it comes from, and the texts of its fields as codes."""

    of_row: list[Positions] = field(default_factory=list)
    turn: list[Positions] = field(default_factory=list)
    codes: dict[str, list[Codes]] = field(default_factory=dict)
    texts: dict[str, dict[str, int]] = field(default_factory=dict)

    def code(self, name: str, text: str) -> int:
        """The code of a text of a field."""
        known = self.texts.setdefault(name, {"": 0})
        return known.setdefault(text, len(known))


def unfold_rows(
    sheet: RawSheet, positions: Positions, groups: Sequence[Group], words: Words
) -> tuple[Positions, dict[str, RawColumn], np.ndarray[Any, Any]]:
    """The records of some rows.

    Parameters
    ----------
    sheet : RawSheet
    positions : array of int
        The rows.
    groups : sequence of Group
    words : Words
        Doubts that are met are added to it.

    Returns
    -------
    array of int
        For every record, which of *positions* it comes from.
    dict of str to RawColumn
        The fields of :data:`FINDING_FIELDS`, of :data:`EVENT_FIELDS`, and ``extra``.
    array of int
        How many records each row gave before rows without any got one.
    """
    size = len(positions)
    built = Rows()
    names = (*FINDING_FIELDS, *EVENT_FIELDS, EXTRA)
    for name in names:
        built.code(name, "")
    of_row: list[Positions] = []
    turns: list[Positions] = []
    columns: dict[str, list[Codes]] = {name: [] for name in names}
    for number, group in enumerate(groups):
        combos, which, firsts = _combinations(sheet, positions, group.columns)
        counts = np.bincount(which, minlength=len(combos))
        parts: list[list[dict[str, str]]] = []
        for combo, rows, first in zip(combos, counts.tolist(), firsts.tolist(), strict=True):
            records, doubts = group.read(combo)
            if doubts:
                cells = [
                    (first, column, text) for column, text in zip(group.columns, combo, strict=True) if text.strip()
                ]
                words.note(doubts, rows, cells)
            parts.append(records)
        many = np.array([len(records) for records in parts], dtype=np.int64)
        flat = [record for records in parts for record in records]
        starts = np.concatenate([[0], np.cumsum(many)[:-1]]) if len(many) else np.empty(0, np.int64)
        repeats = many[which]
        total = int(repeats.sum())
        if not total:
            continue
        row = np.repeat(np.arange(size), repeats)
        ends = np.cumsum(repeats)
        within = np.arange(total) - np.repeat(ends - repeats, repeats)
        places = np.repeat(starts[which], repeats) + within
        of_row.append(row)
        turns.append(number * 1000 + within)
        said = set().union(*flat)
        for name in names:
            codes = np.zeros(len(flat), dtype=np.int32)
            if name in said:
                codes[:] = [built.code(name, record.get(name, "")) for record in flat]
            columns[name].append(codes[places])
    row = np.concatenate(of_row) if of_row else np.empty(0, np.int64)
    found = np.bincount(row, minlength=size)
    clean = np.flatnonzero(found == 0)
    row = np.concatenate([row, clean])
    turn = np.concatenate([*turns, np.zeros(len(clean), np.int64)]) if turns else np.zeros(len(clean), np.int64)
    codes_of = {
        name: np.concatenate([*columns[name], np.zeros(len(clean), np.int32)]).astype(np.int32) for name in names
    }
    order = np.lexsort((turn, row))
    if len(groups) > 1:
        order = order[_take_lengths(row[order], codes_of, order)]
        order = order[_says_more(row[order], {name: codes[order] for name, codes in codes_of.items()})]
    out = {name: RawColumn(codes[order], list(built.texts[name])) for name, codes in codes_of.items()}
    return row[order], out, found


def _take_lengths(row: Positions, codes: Mapping[str, Codes], order: Positions) -> Any:
    """Which records stay when the lengths of a foot are written into its one finding of that row.

    *codes* is changed. A finding on one claw does not take the length of the whole foot.
    """
    keep = np.ones(len(row), dtype=bool)
    names = [name for name in MEASURES if name in codes]
    measured = np.zeros(len(row), dtype=bool)
    for name in names:
        measured |= codes[name][order] != 0
    if not measured.any():
        return keep
    finds = (codes["lesion"][order] != 0) & ~measured
    places: dict[tuple[int, int, int], list[int]] = {}
    foot, claw = codes["foot"][order].tolist(), codes["claw"][order].tolist()
    for index in np.flatnonzero(finds).tolist():
        places.setdefault((int(row[index]), foot[index], claw[index]), []).append(index)
    for index in np.flatnonzero(measured & (codes["lesion"][order] == 0)).tolist():
        there = places.pop((int(row[index]), foot[index], claw[index]), [])
        if len(there) == 1:
            for name in names:
                codes[name][order[there[0]]] = codes[name][order[index]]
            keep[index] = False
    return keep


def _says_more(row: Positions, codes: Mapping[str, Codes]) -> Any:
    """Which records stay: one that names no more than a foot or claw is left out where another of its row says so."""
    foot, claw = codes["foot"].astype(np.int64), codes["claw"].astype(np.int64)
    bare = np.ones(len(row), dtype=bool)
    for name, here in codes.items():
        if name not in ("foot", "claw"):
            bare &= here == 0
    on_foot = row * (foot.max(initial=0) + 1) + foot
    on_claw = on_foot * (claw.max(initial=0) + 1) + claw
    keep = ~bare | ~(
        ((foot == 0) & (claw == 0) & np.isin(row, row[~bare | (foot > 0)]))
        | ((claw == 0) & np.isin(on_foot, on_foot[~bare | (claw > 0)]))
        | np.isin(on_claw, on_claw[~bare])
    )
    first = np.zeros(len(row), dtype=bool)
    first[np.unique(on_claw, return_index=True)[1]] = True
    return keep & (~bare | first)


def _combinations(
    sheet: RawSheet, positions: Positions, columns: tuple[int, ...]
) -> tuple[list[tuple[str, ...]], Positions, Positions]:
    """The combinations of texts in some columns, which of them stands in each row, and the first row of each."""
    keys = np.zeros(len(positions), dtype=np.int64)
    for column in columns:
        codes = sheet.columns[column].codes[positions].astype(np.int64)
        keys = keys * (len(sheet.columns[column].texts) + 1) + codes
        _, keys = np.unique(keys, return_inverse=True)
    _, first, which = np.unique(keys, return_index=True, return_inverse=True)
    combos = [tuple(sheet.columns[column].text(int(positions[place])) for column in columns) for place in first]
    return combos, which, positions[first]


def filled_down(column: RawColumn, positions: Positions, *, blanks: np.ndarray[Any, Any]) -> Codes:
    """The codes of a column in some rows, with those of a row above where *blanks* is true or a ditto mark stands.

    A ditto mark below a blank cell means the last text above it.
    """
    codes = column.codes[positions].copy()
    ditto = np.array([text.strip().casefold() in DITTO for text in column.texts], dtype=bool)[codes]
    empty = np.array([not text.strip() for text in column.texts], dtype=bool)[codes]
    above = ditto | (empty & blanks)
    if not above.any():
        return codes
    says = ~above & ~empty
    source = np.maximum.accumulate(np.where(says, np.arange(len(codes)), 0))
    filled: Codes = np.where(above & says[source], codes[source], codes)
    return filled
