"""Known records laid out as sheets of many layouts: what reading them has to give back.

A layout is a function that draws records and lays them out. The words, the order of columns, the separator, the letters
and the dates are drawn as well. A sheet is fair: a person of the trade reads it with certainty, unless it ``asks``.

What is not drawn, as no person could be certain of it:

- Days whose day and month could change places, except in the layout that asks about them.
- What was done beside several findings in one cell: it may belong to the last or to all.
- Plus signs for severity in a cell whose findings, or what was done, are joined by plus signs.
- "in" for the inner claw within other words: it joins them as well ("SU in zone 4").
- Headings that mean several things, such as "number" or "length", except in the layouts that ask about them.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import openpyxl
from hypothesis import strategies as st

from evenfoot.analytics.domain.feet import CLAWS, FEET
from evenfoot.analytics.domain.lexicon import LANGUAGES, foot_sets, forms, phrases, plain, words

Cell = str | dt.date
Row = list[Cell]
Record = dict[str, Any]

TODAY = dt.date(2026, 11, 28)
FARMS = ("Elm End", "Larch Hill", "Coldwell", "Lindenhof", "Quinta Nova", "Les Aulnes", "Robledo", "Thornby")
TRIMMERS = ("R. Dale", "T. Okafor", "M. Brandt")
NAMES = ("Bella", "Rosa", "Lotte", "Nube", "Estrela", "Marguerite", "Wilma", "Daisy")
ON_CLAWS = ("SU", "TU", "WL", "WLA", "WLF", "SH", "SHD", "DS", "TS", "HF", "HFA", "TN")
ON_SKIN = ("DD", "ID", "IP", "HHE", "IH", "SW")
ZONES = {"SU": (4, 5), "WL": (1, 2, 3), "WLA": (1, 2, 3), "DD": (0, 10), "HF": (7, 8), "SH": (4, 5)}
STAGES = ("M1", "M2", "M3", "M4", "M4.1")
PLUS = {1: "+", 2: "++", 3: "+++"}


@dataclass(frozen=True)
class Finding:
    """One lesion of a foot; what is ``None`` is not recorded."""

    lesion: str
    foot: str | None = None
    claw: str | None = None
    zone: int | None = None
    stage: str | None = None
    severity: int | None = None
    action: str | None = None


@dataclass(frozen=True)
class Cow:
    """A cow of a visit: her findings, or her scores by day, or her toes by foot before and after trimming in mm."""

    number: str
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Visit:
    """A day on a farm."""

    farm: str
    day: dt.date
    cows: tuple[Cow, ...]

    def records(self, **more: Any) -> list[Record]:
        """What a sheet of the visit has to be read as; *more* holds for every record."""
        out: list[Record] = []
        for cow in self.cows:
            about = {"visit_date": self.day.isoformat(), "farm": self.farm, "cow": cow.number, **more}
            out += [
                {**about, **_said(foot=one.foot, claw=one.claw, zone=one.zone, lesion=one.lesion, dd_stage=one.stage,
                                  severity=one.severity, action=one.action)}
                for one in cow.findings
            ] or [about]  # fmt: skip
        return out


def _said(**fields: Any) -> Record:
    return {name: value for name, value in fields.items() if value is not None}


@dataclass(frozen=True)
class Laid:
    """A sheet, and what it has to be read as.

    Attributes
    ----------
    name : str
        Of the file.
    data : bytes
    records : list of dict
    asks : str
        Beginning of the question that has to be met; blank for a sheet that is certain.
    shown : str
        The sheet as a person sees it.
    """

    name: str
    data: bytes
    records: list[Record]
    asks: str = ""
    shown: str = ""


class Hand:
    """Draws what a person writes, in one language."""

    def __init__(self, draw: Callable[..., Any], language: str) -> None:
        self.draw, self.language = draw, language

    def one(self, choices: Iterable[Any]) -> Any:
        """One of some things."""
        return self.draw(st.sampled_from(list(choices)))

    def yes(self) -> bool:
        """Whether or not."""
        return bool(self.draw(st.booleans()))

    def number(self, low: int, high: int) -> int:
        """A number of a range."""
        return int(self.draw(st.integers(low, high)))

    def order(self, things: Sequence[Any]) -> list[Any]:
        """Things in any order."""
        return list(self.draw(st.permutations(things)))

    def word(self, kind: str, means: str) -> str:
        """A word of the language, with a capital or without."""
        text = self.one(_words(kind, means, self.language))
        return str(text[:1].upper() + text[1:] if self.yes() else text)

    def heading(self, field: str) -> str:
        """A heading that means one field alone."""
        text = self.one(_headings(field, self.language))
        return str(text[:1].upper() + text[1:] if self.yes() else text)

    def foot_names(self) -> dict[str, str]:
        """What the four feet are called in one sheet: by any names, or by the codes of one set."""
        if self.yes():
            return {foot: self.word("foot", foot) for foot in FEET}
        sets = _foot_codes(self.language)
        codes = self.one(sets)
        return {foot: code.upper() for foot, code in codes.items()}

    def lesion(self, code: str) -> str:
        """A lesion in words, or by its code where codes of feet do not look the same."""
        if self.language not in ("es",) and self.number(0, 3) == 0:
            return code
        return self.word("lesion", code)

    def nothing(self) -> str:
        """Words for nothing found, or a sign."""
        return self.one(("", "-", "ok")) if self.yes() else self.word("nothing", "nothing")

    def cell(self, findings: Sequence[Finding], *, foot: bool = False) -> str:
        """Some findings in one cell, in words and shorthand."""
        joiner = self.one(("; ", ", ", " + ", " & ", "\n"))
        plus = "+" not in joiner
        return str(joiner.join(self.shorthand(one, plus=plus, foot=foot) for one in findings))

    def shorthand(self, finding: Finding, *, plus: bool, foot: bool) -> str:
        """One finding as people note it."""
        parts = [self.lesion(finding.lesion)]
        if finding.stage:
            parts.append(finding.stage)
        if finding.claw:
            parts.append(self.one(one for one in _words("claw", finding.claw, self.language) if one != "in"))
        if finding.zone is not None:
            parts.append(f"{self.one(('z', 'Z', 'zone '))}{finding.zone}")
        if finding.severity:
            signs = plus and not finding.action and self.yes()
            parts.append(PLUS[finding.severity] if signs else self.word("severity", str(finding.severity)))
        if foot and finding.foot:
            parts.insert(0, self.word("foot", finding.foot))
        if finding.action:
            parts[-1] += self.one((", ", " + ", " ")) + self.word("action", finding.action)
        return " ".join(parts)

    # What is drawn of the records.

    def day(self) -> dt.date:
        """A day that shows which of its numbers is the month."""
        return dt.date(self.one((2025, 2026)), self.number(1, 10), self.number(13, 28))

    def numbers(self, count: int) -> list[str]:
        """Numbers of cows."""
        drawn = self.draw(st.lists(st.integers(10, 4999), min_size=count, max_size=count, unique=True))
        return [str(one) for one in drawn]

    def findings(
        self, *, lesions: Sequence[str], feet: Sequence[str] = FEET, claws: bool = False, zones: bool = False,
        severities: bool = False, stages: bool = False, actions: bool = False, apart: str = "place", most: int = 3,
    ) -> tuple[Finding, ...]:  # fmt: skip
        """Findings of one cow; ``apart`` says in what they all differ: the ``lesion``, the ``foot`` or the place."""
        out: dict[Any, Finding] = {}
        for _ in range(self.number(0, most)):
            lesion = self.one(lesions)
            foot = self.one(feet) if feet else None
            claw = self.one(CLAWS) if claws and lesion in ON_CLAWS else None
            zone = self.one(ZONES[lesion]) if zones and lesion in ZONES and self.yes() else None
            stage = self.one(STAGES) if stages and lesion == "DD" and self.yes() else None
            severity = self.number(1, 3) if severities and stage is None and self.yes() else None
            action = self.one(("block", "wrap")) if actions and self.yes() else None
            key = {"lesion": lesion[:2], "foot": foot, "place": (foot, claw, lesion[:2])}[apart]
            out.setdefault(key, Finding(lesion, foot, claw, zone, stage, severity, action))
        return tuple(out.values())

    def visit(self, **about: Any) -> Visit:
        """A visit to some cows, with findings at one of them at least and none at another."""
        cows = [Cow(number, self.findings(**about)) for number in self.numbers(self.number(3, 6))]
        if not any(cow.findings for cow in cows):
            first = self.one(about["lesions"])
            foot = self.one(about.get("feet", FEET)) if about.get("feet", FEET) else None
            claw = self.one(CLAWS) if about.get("claws") and first in ON_CLAWS else None
            cows[0] = replace(cows[0], findings=(Finding(first, foot, claw),))
        if all(cow.findings for cow in cows):
            cows[-1] = replace(cows[-1], findings=())
        return Visit(self.one(FARMS), self.day(), tuple(cows))

    # How a sheet is written.

    def columns(self, rows: list[dict[str, Cell]], headings: dict[str, str], *, fixed: int = 0) -> list[Row]:
        """Rows under headings; the columns after the first ``fixed`` in any order."""
        names = list(headings)
        names = names[:fixed] + self.order(names[fixed:])
        return [[headings[name] for name in names], *([row.get(name, "") for name in names] for row in rows)]

    def dated(self, rows: Iterable[Row]) -> list[Row]:
        """Rows with days written in one way."""
        write = self.one(DATES)
        return [[write(cell, self.language) if isinstance(cell, dt.date) else cell for cell in row] for row in rows]

    def file(self, rows: list[Row], records: list[Record], *, asks: str = "", name: str = "hooves") -> Laid:
        """Rows as a file of one sheet."""
        if self.number(0, 3) == 0:
            return self.workbook({self.one(("Sheet1", "Tabelle1", "Blad1")): rows}, records, asks=asks, name=name)
        rows = self.dated(rows)
        out = io.StringIO(newline="")
        csv.writer(out, delimiter=self.one(",;\t|")).writerows(rows)
        text = out.getvalue()
        letters = [one for one in ("utf-8", "utf-8-sig", "cp1252", "utf-16") if _can(text, one)]
        return Laid(f"{name}.csv", text.encode(self.one(letters)), records, asks, text)

    def workbook(
        self, tabs: dict[str, list[Row]], records: list[Record], *, asks: str = "", name: str = "hooves",
        merges: Iterable[tuple[int, int, int]] = (),
    ) -> Laid:  # fmt: skip
        """Rows as a workbook, with numbers as numbers and days as days or texts; ``merges`` are row, first and last."""
        book = openpyxl.Workbook()
        book.remove(book.active)
        as_days = self.yes()
        shown = []
        for title, rows in tabs.items():
            rows = rows if as_days else self.dated(rows)
            tab = book.create_sheet(title)
            shown.append(f"[{title}]\n" + "\n".join(" | ".join(map(str, row)) for row in rows))
            for number, row in enumerate(rows, start=1):
                for place, cell in enumerate(row, start=1):
                    if cell != "":
                        tab.cell(number, place, int(cell) if isinstance(cell, str) and _is_number(cell) else cell)
            for at, first, last in merges:
                tab.merge_cells(start_row=at, end_row=at, start_column=first, end_column=last)
        out = io.BytesIO()
        book.save(out)
        return Laid(f"{name}.xlsx", out.getvalue(), records, asks, "\n".join(shown))


def _can(text: str, encoding: str) -> bool:
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def _is_number(text: str) -> bool:
    return text.isdecimal() and text == str(int(text))


def _month(day: dt.date, language: str, *, short: bool) -> str:
    names = [word.text for word in words("month") if word.means == str(day.month) and word.language == language]
    return min(names, key=len) if short else names[0]


DATES: tuple[Callable[[dt.date, str], str], ...] = (
    lambda day, language: day.isoformat(),
    lambda day, language: day.strftime("%d.%m.%Y"),
    lambda day, language: f"{day.day}/{day.month}/{day:%y}",
    lambda day, language: day.strftime("%d-%m-%Y"),
    lambda day, language: f"{day.day} {_month(day, language, short=False)} {day.year}",
    lambda day, language: f"{day.day}-{_month(day, language, short=True)}-{day:%y}",
    lambda day, language: f"{day:%Y%m%d}",
)
"""Ways to write a day after the twelfth of a month."""


@cache
def _words(kind: str, means: str, language: str) -> list[str]:
    """The words of a language that are known to mean something, without those that are no words of a cell."""
    return [word.text for word in words(kind) if word.means == means and word.language == language]


_SCORES = {"score": "locomotion_score", "scale": "locomotion_scale", "scorer": "trimmer", "date": "visit_date"}
"""Fields of a sheet of scores as those of a trim sheet."""
_AMBIGUOUS = {form for form, _ in forms("ambiguous")}


@cache
def _headings(field: str, language: str) -> list[str]:
    """Headings of a language that mean a field of a trim or locomotion sheet and nothing else."""
    told: dict[str, set[str]] = {}
    for form, word in forms("heading"):
        name = word.means.split(".")[-1]
        told.setdefault(form.replace(" ", ""), set()).add(_SCORES.get(name, name))
    own = {form.replace(" ", "") for form, word in forms("heading") if word.means.startswith("own:")}
    taken = {*_AMBIGUOUS, *phrases("lesion"), *phrases("foot"), *phrases("action")}
    return [
        word.text
        for word in words("heading")
        if word.means in (f"trims.{field}", f"*.{field}", f"layout.{field}") and word.language == language
        and plain(word.text) not in taken
        and told[plain(word.text).replace(" ", "")] == {field}
        and plain(word.text).replace(" ", "") not in own
    ]  # fmt: skip


@cache
def _foot_codes(language: str) -> list[dict[str, str]]:
    """Sets of codes of the four feet that a language uses."""
    if language == "en":
        sets = (FEET, ("FL", "FR", "HL", "HR"), ("LF", "RF", "LR", "RR"))
        return [dict(zip(FEET, codes, strict=True)) for codes in sets]
    known = {word.text for word in words("foot") if word.language == language}
    found = [{foot: code for code, foot in codes.items()} for codes in foot_sets()]
    return [codes for codes in found if len(known & set(codes.values())) >= 3] or [
        {foot: min(_words("foot", foot, language), key=len) for foot in FEET}
    ]


# Layouts. -------------------------------------------------------------------------------------------------------------


def a_row_a_finding(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS, claws=True, zones=True, severities=True, actions=True)
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "claw", "zone", "lesion",
                                                      "severity", "action")}  # fmt: skip
    return hand.file(hand.columns(_finding_rows(hand, visit), headings), visit.records())


def _finding_rows(hand: Hand, visit: Visit) -> list[dict[str, Cell]]:
    rows: list[dict[str, Cell]] = []
    for cow in visit.cows:
        about: dict[str, Cell] = {"visit_date": visit.day, "farm": visit.farm, "cow": cow.number}
        if not cow.findings:
            rows.append({**about, "lesion": hand.nothing()})
        for one in cow.findings:
            rows.append({
                **about, "lesion": hand.lesion(one.lesion), "foot": hand.word("foot", one.foot) if one.foot else "",
                "claw": hand.word("claw", one.claw) if one.claw else "",
                "zone": "" if one.zone is None else str(one.zone),
                "severity": str(one.severity or ""), "dd_stage": one.stage or "",
                "action": hand.word("action", one.action) if one.action else "",
            })  # fmt: skip
    return rows


def stages_in_a_column(hand: Hand) -> Laid:
    visit = hand.visit(lesions=("DD", "SU", "HHE", "DD"), stages=True)
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion", "dd_stage")}
    return hand.file(hand.columns(_finding_rows(hand, visit), headings), visit.records())


def severities_in_words(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN, severities=True)
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion", "severity")}
    rows = _finding_rows(hand, visit)
    for row in rows:
        if row.get("severity"):
            row["severity"] = hand.word("severity", str(row["severity"]))
    return hand.file(hand.columns(rows, headings), visit.records())


def side_and_end(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN)
    rows = _finding_rows(hand, visit)
    found = [one for cow in visit.cows for one in cow.findings or [None]]
    sides = {side: hand.word("side", side) for side in "LR"}
    ends = {end: hand.word("end", end) for end in "FH"}
    for row, one in zip(rows, found, strict=True):
        if one is not None and one.foot:
            row |= {"side": sides[one.foot[0]], "end": ends[one.foot[1]]}
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "side", "end", "lesion")}
    return hand.file(hand.columns(rows, headings), visit.records())


def dates_in_many_ways(hand: Hand) -> Laid:
    days = [hand.visit(lesions=ON_CLAWS) for _ in range(2)]
    rows: list[dict[str, Cell]] = []
    for visit in days:
        for row in _finding_rows(hand, visit):
            rows.append({**row, "visit_date": hand.one(DATES[:6])(visit.day, hand.language)})
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion")}
    return hand.file(hand.columns(rows, headings), [record for visit in days for record in visit.records()])


def cows_with_signs(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS)
    write = hand.one((lambda cow: f"#{cow}", lambda cow: f"# {cow}", lambda cow: f"{cow}.0", lambda cow: f"{cow}*"))
    rows = [{**row, "cow": write(row["cow"])} for row in _finding_rows(hand, visit)]
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion")}
    return hand.file(hand.columns(rows, headings), visit.records())


def cows_by_name(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN, apart="foot")
    names = hand.order(NAMES)
    visit = replace(visit, cows=tuple(replace(cow, number=name) for cow, name in zip(visit.cows, names, strict=False)))
    return hand.file(_foot_columns(hand, visit), visit.records())


def _foot_columns(hand: Hand, visit: Visit, *, once: bool = False) -> list[Row]:
    """A row a cow, a column a foot; with ``once`` neither farm nor day."""
    feet = hand.foot_names()
    first = {} if once else {name: hand.heading(name) for name in ("visit_date", "farm")}
    headings = {**first, "cow": hand.heading("cow"), **feet}
    rows: list[dict[str, Cell]] = []
    blank = hand.nothing()
    for cow in visit.cows:
        row: dict[str, Cell] = {"visit_date": visit.day, "farm": visit.farm, "cow": cow.number}
        for foot in FEET:
            here = [one for one in cow.findings if one.foot == foot]
            row[foot] = hand.cell(here) if here else blank
        rows.append(row)
    return hand.columns(rows, headings)


def foot_columns(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN, stages=True, apart="foot")
    return hand.file(_foot_columns(hand, visit), visit.records())


def foot_columns_with_shorthand(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS, claws=True, zones=True, severities=True, actions=True, apart="foot")
    return hand.file(_foot_columns(hand, visit), visit.records())


def several_findings_in_a_cell(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN, feet=("LH", "RH"), claws=True, severities=True, most=5)
    return hand.file(_foot_columns(hand, visit), visit.records())


def feet_in_the_cell(hand: Hand) -> Laid:
    """A row a cow, and one cell with all that was found, each with its foot."""
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN)
    rows: list[dict[str, Cell]] = [
        {"visit_date": visit.day, "farm": visit.farm, "cow": cow.number,
         "lesion": hand.cell(cow.findings, foot=True) if cow.findings else hand.nothing()}
        for cow in visit.cows
    ]  # fmt: skip
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "lesion")}
    return hand.file(hand.columns(rows, headings), visit.records())


def claws_under_feet(hand: Hand) -> Laid:
    """Two rows of headings: the foot over two columns, its claws below."""
    visit = hand.visit(lesions=ON_CLAWS, claws=True, severities=True)
    feet, order = hand.foot_names(), hand.order(FEET)
    claws = {claw: hand.word("claw", claw) for claw in CLAWS}
    upper: Row = ["", "", ""]
    lower: Row = [hand.heading(name) for name in ("visit_date", "farm", "cow")]
    for foot in order:
        upper += [feet[foot], ""]
        lower += [claws[claw] for claw in CLAWS]
    rows = [upper, lower, *_claw_rows(hand, visit, [(foot, claw) for foot in order for claw in CLAWS])]
    if hand.yes():
        merges = [(1, place, place + 1) for place in (4, 6, 8, 10)]
        return hand.workbook({"Sheet1": rows}, visit.records(), merges=merges)
    return hand.file(rows, visit.records())


def _claw_rows(hand: Hand, visit: Visit, places: Sequence[tuple[str, str]]) -> list[Row]:
    out: list[Row] = []
    for cow in visit.cows:
        row: Row = [visit.day, visit.farm, cow.number]
        for place in places:
            here = [one for one in cow.findings if (one.foot, one.claw) == place]
            row.append(hand.cell([replace(one, claw=None) for one in here]) if here else "")
        out.append(row)
    return out


def eight_claw_columns(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS, claws=True)
    feet, claws = hand.foot_names(), {claw: hand.word("claw", claw) for claw in CLAWS}
    places = hand.order([(foot, claw) for foot in FEET for claw in CLAWS])
    head: Row = [*(hand.heading(name) for name in ("visit_date", "farm", "cow")),
                 *(f"{feet[foot]} {claws[claw]}" for foot, claw in places)]  # fmt: skip
    return hand.file([head, *_claw_rows(hand, visit, places)], visit.records())


def _lesion_columns(hand: Hand, visit: Visit, write: Callable[[Finding], str], blank: str = "") -> list[Row]:
    lesions = list(dict.fromkeys(one.lesion for cow in visit.cows for one in cow.findings))
    lesions += [code for code in hand.order(("SU", "WL", "DD", "SH", "HHE"))[:3] if code not in lesions]
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow")}
    headings |= {code: hand.word("lesion", code) for code in lesions}
    rows: list[dict[str, Cell]] = []
    for cow in visit.cows:
        row: dict[str, Cell] = {"visit_date": visit.day, "farm": visit.farm, "cow": cow.number}
        row |= {code: blank for code in lesions}
        for one in cow.findings:
            row[one.lesion] = write(one)
        rows.append(row)
    return hand.columns(rows, headings)


COLUMN_LESIONS = ("SU", "TU", "WL", "SH", "DS", "HF", "DD", "ID", "IP", "HHE", "IH")


def lesion_columns_with_ticks(hand: Hand) -> Laid:
    visit = hand.visit(lesions=COLUMN_LESIONS, feet=(), apart="lesion")
    tick, blank = hand.one((("x", ""), ("X", "-"), ("1", "0"), ("\N{CHECK MARK}", ""),
                            (hand.word("yes", "yes"), hand.word("no", "no"))))  # fmt: skip
    return hand.file(_lesion_columns(hand, visit, lambda one: tick, blank), visit.records())


def lesion_columns_with_feet(hand: Hand) -> Laid:
    visit = hand.visit(lesions=COLUMN_LESIONS, apart="lesion")
    feet = hand.foot_names()
    return hand.file(_lesion_columns(hand, visit, lambda one: feet[str(one.foot)]), visit.records())


def lesion_columns_with_severities(hand: Hand) -> Laid:
    """Numbers up to 3, with a 3 among them."""
    visit = hand.visit(lesions=COLUMN_LESIONS, feet=(), apart="lesion")
    cows = [replace(cow, findings=tuple(replace(one, severity=hand.number(1, 3)) for one in cow.findings))
            for cow in visit.cows]  # fmt: skip
    place = next(place for place, cow in enumerate(cows) if cow.findings)
    cows[place] = replace(cows[place], findings=tuple(replace(one, severity=3) for one in cows[place].findings))
    visit = replace(visit, cows=tuple(cows))
    return hand.file(_lesion_columns(hand, visit, lambda one: str(one.severity)), visit.records())


def lesion_columns_with_plus(hand: Hand) -> Laid:
    visit = hand.visit(lesions=COLUMN_LESIONS, feet=(), apart="lesion")
    cows = [replace(cow, findings=tuple(replace(one, severity=hand.number(1, 3)) for one in cow.findings))
            for cow in visit.cows]  # fmt: skip
    visit = replace(visit, cows=tuple(cows))
    return hand.file(_lesion_columns(hand, visit, lambda one: PLUS[one.severity or 1]), visit.records())


def lesion_columns_beside_a_foot(hand: Hand) -> Laid:
    """A row a foot, ticks under the lesions."""
    visit = hand.visit(lesions=COLUMN_LESIONS, apart="place")
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot")}
    lesions = list(dict.fromkeys([*(one.lesion for cow in visit.cows for one in cow.findings), "SU", "DD"]))
    headings |= {code: hand.word("lesion", code) for code in lesions}
    rows: list[dict[str, Cell]] = []
    for cow in visit.cows:
        about: dict[str, Cell] = {"visit_date": visit.day, "farm": visit.farm, "cow": cow.number}
        feet = list(dict.fromkeys(one.foot for one in cow.findings))
        rows += [
            {**about, "foot": hand.word("foot", str(foot)),
             **{one.lesion: "x" for one in cow.findings if one.foot == foot}}
            for foot in feet
        ] or [about]  # fmt: skip
    return hand.file(hand.columns(rows, headings), visit.records())


def numbered_pairs(hand: Hand) -> Laid:
    return _pairs(hand, numbered=True)


def pairs_without_numbers(hand: Hand) -> Laid:
    return _pairs(hand, numbered=False)


def _pairs(hand: Hand, *, numbered: bool) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN)
    names = hand.order(("lesion", "foot"))
    head: Row = [hand.heading(name) for name in ("visit_date", "farm", "cow")]
    pair = {name: hand.heading(name) for name in names}
    style = hand.one(("{name} {n}", "{name}{n}", "{n}. {name}", "{name} ({n})")) if numbered else "{name}"
    most = max(2, *(len(cow.findings) for cow in visit.cows))
    for n in range(1, most + 1):
        head += [style.format(name=pair[name], n=n) for name in names]
    rows: list[Row] = [head]
    for cow in visit.cows:
        row: Row = [visit.day, visit.farm, cow.number]
        for one in cow.findings:
            said = {"lesion": hand.lesion(one.lesion), "foot": hand.word("foot", str(one.foot))}
            row += [said[name] for name in names]
        rows.append(row + [""] * (len(head) - len(row)))
    return hand.file(rows, visit.records())


TIMES = {
    "en": ("before", "after"), "es": ("antes", "después"), "de": ("vor", "nach"), "nl": ("voor", "na"),
    "fr": ("avant", "après"), "pt": ("antes", "depois"),
}  # fmt: skip


def toe_lengths(hand: Hand) -> Laid:
    """Lengths before and after trimming by foot: in mm, in cm, with a decimal point or comma."""
    farm, day, cows = hand.one(FARMS), hand.day(), hand.numbers(hand.number(2, 5))
    feet = {foot: code.upper() for foot, code in hand.one(_foot_codes(hand.language)).items()}
    unit = hand.one(("mm", "cm", "cm,"))
    before, after = TIMES[hand.language]
    above = hand.yes()
    columns = [(foot, time) for foot in FEET for time in (before, after)] if hand.yes() else [
        (foot, time) for time in (before, after) for foot in FEET]  # fmt: skip
    named = hand.yes()
    head: Row = [hand.heading(name) for name in ("visit_date", "farm", "cow")]
    rows: list[Row]
    if above:
        feet_first = columns[1][0] == columns[0][0]
        tops = [feet[foot] if feet_first else time for foot, time in columns]
        upper = ["" if place and tops[place - 1] == top else top for place, top in enumerate(tops)]
        rows = [["", "", "", *upper], [*head, *(time if feet_first else feet[foot] for foot, time in columns)]]
    else:
        written = hand.one(("{foot} {time}", "{time} {foot}"))
        rows = [[*head, *(written.format(foot=feet[foot], time=time) + (f" {unit[:2]}" if named else "")
                          for foot, time in columns)]]  # fmt: skip
    records = []
    for cow in cows:
        row: Row = [day, farm, cow]
        mm = {foot: (hand.number(76, 98), hand.number(68, 75)) for foot in FEET if foot == "LH" or hand.yes()}
        for foot, time in columns:
            length = mm[foot][time == after] if foot in mm else None
            text = "" if length is None else str(length) if unit == "mm" else f"{length / 10:g}"
            row.append(text.replace(".", ",") if unit == "cm," else text)
        rows.append(row)
        records += [
            {"visit_date": day.isoformat(), "farm": farm, "cow": cow, "foot": foot, "toe_length_mm": one,
             "toe_length_after_mm": two}
            for foot, (one, two) in mm.items()
        ]  # fmt: skip
    return hand.file(rows, records)


def toe_lengths_in_a_cell(hand: Hand) -> Laid:
    """Both lengths of a foot in one cell."""
    farm, day, cows = hand.one(FARMS), hand.day(), hand.numbers(hand.number(2, 5))
    feet, in_cm, sign = hand.foot_names(), hand.yes(), hand.one(("/", " / ", ">", "-"))
    headings = {**{name: hand.heading(name) for name in ("visit_date", "farm", "cow")}, **feet}
    rows: list[dict[str, Cell]] = []
    records = []
    for cow in cows:
        row: dict[str, Cell] = {"visit_date": day, "farm": farm, "cow": cow}
        for foot in FEET:
            if foot == "RH" or hand.yes():
                one, two = hand.number(76, 98), hand.number(68, 75)
                row[foot] = sign.join(f"{length / 10:g}" if in_cm else str(length) for length in (one, two))
                records.append({"visit_date": day.isoformat(), "farm": farm, "cow": cow, "foot": foot,
                                "toe_length_mm": one, "toe_length_after_mm": two})  # fmt: skip
        rows.append(row)
    return hand.file(hand.columns(rows, headings), records)


def scores_in_a_row(hand: Hand) -> Laid:
    farm, day = hand.one(FARMS), hand.day()
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "locomotion_score")}
    rows: list[dict[str, Cell]] = []
    records = []
    for place, cow in enumerate(hand.numbers(hand.number(3, 7))):
        score = hand.number(1, 5) if place else 5
        rows.append({"visit_date": day, "farm": farm, "cow": cow, "locomotion_score": str(score)})
        records.append(
            {
                "visit_date": day.isoformat(),
                "farm": farm,
                "cow": cow,
                "locomotion_score": score,
                "locomotion_scale": "1-5",
            }
        )
    return hand.file(hand.columns(rows, headings), records)


def scores_a_column_a_day(hand: Hand) -> Laid:
    """A row a cow, a column a day, with the farm above or in a column."""
    days = sorted({hand.day() for _ in range(hand.number(2, 4))} | {dt.date(2026, 4, 17), dt.date(2026, 5, 21)})
    write = hand.one(DATES[:6])
    return _score_columns(hand, [write(day, hand.language) for day in days], [day.isoformat() for day in days])


def scores_a_column_a_month(hand: Hand) -> Laid:
    """The year stands beside each month or once above."""
    months = sorted({hand.number(1, 10) for _ in range(4)} | {3, 4})
    days = [dt.date(2026, month, 15) for month in months]
    short = hand.yes()
    beside = hand.one((" 2026", " 26", "-26", "")) if short else hand.one((" 2026", ""))
    headings = [_month(day, hand.language, short=short) + beside for day in days]
    lines: list[Row] = [] if beside else [[f"{hand.word('title', 'title')} 2026"]]
    return _score_columns(hand, headings, [day.isoformat() for day in days], lines)


def _score_columns(hand: Hand, headings: list[str], days: list[str], lines: Iterable[Row] = ()) -> Laid:
    farm, in_column = hand.one(FARMS), hand.yes()
    rows: list[Row] = [*lines]
    if not in_column:
        rows.append([f"{hand.heading('farm')}: {farm}"])
    rows.append([*([hand.heading("farm")] if in_column else []), hand.heading("cow"), *headings])
    records = []
    for place, cow in enumerate(hand.numbers(hand.number(3, 6))):
        scores = [hand.number(1, 5) if place else 5 for _ in days]
        seen = [not place or hand.number(0, 4) > 0 for _ in days]
        rows.append([*([farm] if in_column else []), cow,
                     *(str(score) if there else "" for score, there in zip(scores, seen, strict=True))])  # fmt: skip
        records += [
            {"visit_date": day, "farm": farm, "cow": cow, "locomotion_score": score, "locomotion_scale": "1-5"}
            for day, score, there in zip(days, scores, seen, strict=True) if there
        ]  # fmt: skip
    return hand.file(rows, records)


def lines_above(hand: Hand) -> Laid:
    """Farm, day, trimmer and size of the herd once above the table."""
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN, apart="foot")
    trimmer, herd = hand.one(TRIMMERS), str(hand.number(20, 400))
    told: list[tuple[str, Cell]] = hand.order([("farm", visit.farm), ("visit_date", visit.day), ("trimmer", trimmer),
                                               ("herd_size", herd)])  # fmt: skip
    table = _foot_columns(hand, visit, once=True)
    lines: list[Row]
    if hand.yes():
        lines = [[hand.heading(name) + hand.one(("", ":")), value] for name, value in told]
    else:
        write = hand.one(DATES[:4])
        lines = [[f"{hand.heading(name)}: {write(value, hand.language) if isinstance(value, dt.date) else value}"]
                 for name, value in told]  # fmt: skip
    if hand.yes():
        lines.append([])
    return hand.file([*lines, *table], visit.records(trimmer=trimmer, herd_size=int(herd)))


def a_tab_a_farm(hand: Hand) -> Laid:
    """Workbook with a tab for each farm, called after it; the day in a column."""
    farms = hand.order(FARMS)[: hand.number(2, 3)]
    tabs, records = {}, []
    for farm in farms:
        visit = replace(hand.visit(lesions=ON_CLAWS), farm=farm)
        headings = {name: hand.heading(name) for name in ("visit_date", "cow", "foot", "lesion")}
        tabs[farm] = hand.columns(_finding_rows(hand, visit), headings)
        records += visit.records()
    return hand.workbook(tabs, records)


def a_tab_a_visit(hand: Hand) -> Laid:
    """Workbook with a tab for each visit, called after its day; the farm above."""
    farm = hand.one(FARMS)
    tabs: dict[str, list[Row]] = {}
    records: list[Record] = []
    for _ in range(2):
        visit = replace(hand.visit(lesions=ON_CLAWS, apart="foot"), farm=farm)
        tab = hand.one((f"{visit.day.isoformat()}", f"{visit.day:%d.%m.%Y}", f"{visit.day:%d-%m-%y}"))
        if tab not in tabs and not any(record["visit_date"] == visit.day.isoformat() for record in records):
            tabs[tab] = [[f"{hand.heading('farm')}: {farm}"], *_foot_columns(hand, visit, once=True)]
            records += visit.records()
    return hand.workbook(tabs, records)


def blocks(hand: Hand) -> Laid:
    """Visits one under another, farm and day in a line above each, the headings said again."""
    rows: list[Row] = []
    records: list[Record] = []
    head: Row | None = None
    with_labels, write = hand.yes(), hand.one(DATES[:5])
    label = {name: hand.heading(name) for name in ("farm", "visit_date")}
    for _ in range(hand.number(2, 3)):
        visit = hand.visit(lesions=ON_CLAWS, claws=True)
        headings = {name: hand.heading(name) for name in ("cow", "foot", "claw", "lesion")}
        block: list[Row] = [[row.get(name, "") for name in headings] for row in _finding_rows(hand, visit)]
        head = head or list(headings.values())
        day = write(visit.day, hand.language)
        rows.append([f"{label['farm']}: {visit.farm}", f"{label['visit_date']}: {day}"] if with_labels
                    else [f"{visit.farm} - {day}"])  # fmt: skip
        rows += [head, *block, []]
        records += visit.records()
    return hand.file(rows, records)


def pens_between(hand: Hand) -> Laid:
    """One table with the pen in a line above its cows."""
    visit = hand.visit(lesions=ON_CLAWS)
    label = hand.heading("group")
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion")}
    table = hand.columns(_finding_rows(hand, replace(visit, cows=visit.cows[:2])), headings)
    rest = _finding_rows(hand, replace(visit, cows=visit.cows[2:]))
    names = [next(name for name, text in headings.items() if text == heading) for heading in table[0]]
    rows: list[Row] = [table[0], [f"{label}: A"], *table[1:], [f"{label}: B"],
                       *([row.get(name, "") for name in names] for row in rest)]  # fmt: skip
    first, second = replace(visit, cows=visit.cows[:2]), replace(visit, cows=visit.cows[2:])
    return hand.file(rows, [*first.records(group="A"), *second.records(group="B")])


def as_above(hand: Hand) -> Laid:
    """Day, farm and cow only where they change."""
    return _as_above(hand, "")


def ditto_marks(hand: Hand) -> Laid:
    return _as_above(hand, hand.one(('"', "''", "ditto", "do.")))


def _as_above(hand: Hand, mark: str) -> Laid:
    days = [hand.visit(lesions=ON_CLAWS + ON_SKIN) for _ in range(2)]
    farm = days[0].farm
    days = [replace(one, farm=farm) for one in days]
    cows = {cow.number for cow in days[0].cows}
    days[1] = replace(days[1], cows=tuple(cow for cow in days[1].cows if cow.number not in cows))
    rows: list[dict[str, Cell]] = []
    above: dict[str, Cell] = {}
    for visit in days:
        for row in _finding_rows(hand, visit):
            said = {name: row[name] for name in ("visit_date", "farm", "cow")}
            rows.append({**row, **{name: mark if above.get(name) == value else value for name, value in said.items()}})
            above = said
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion")}
    return hand.file(hand.columns(rows, headings, fixed=3), [record for visit in days for record in visit.records()])


def headings_again_and_totals(hand: Hand) -> Laid:
    """Headings said again on each page, a total at the bottom."""
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN, apart="foot")
    head, *rows = _foot_columns(hand, visit)
    cut = hand.number(1, len(rows) - 1)
    cow = next(place for place, cell in enumerate(rows[0]) if cell == visit.cows[0].number)
    last: Row = [""] * len(head)
    last[hand.one((0, cow)) if cow else 0] = hand.word("total", "total")
    if cow + 1 < len(head):
        last[cow + 1] = str(sum(len(one.findings) for one in visit.cows))
    return hand.file([head, *rows[:cut], head, *rows[cut:], last], visit.records())


OWN_CODES = ("Q", "K", "P", "J", "Y", "QQ")


def _own_codes(hand: Hand) -> tuple[Visit, dict[str, str], list[Row]]:
    visit = hand.visit(lesions=("SU", "WL", "DD", "SH"), apart="foot")
    codes = dict(zip(("SU", "WL", "DD", "SH"), hand.order(OWN_CODES), strict=False))
    feet = hand.foot_names()
    headings = {**{name: hand.heading(name) for name in ("visit_date", "farm", "cow")}, **feet}
    rows: list[dict[str, Cell]] = [
        {"visit_date": visit.day, "farm": visit.farm, "cow": cow.number,
         **{str(one.foot): codes[one.lesion] for one in cow.findings}}
        for cow in visit.cows
    ]  # fmt: skip
    return visit, codes, hand.columns(rows, headings)


def own_codes_with_a_key_below(hand: Hand) -> Laid:
    visit, codes, rows = _own_codes(hand)
    key = [f"{code} = {hand.word('lesion', lesion)}" for lesion, code in codes.items()]
    below: list[Row] = [[one] for one in key] if hand.yes() else [[", ".join(key)]]
    return hand.file([*rows, [], *below], visit.records())


def own_codes_with_a_key_in_a_tab(hand: Hand) -> Laid:
    visit, codes, rows = _own_codes(hand)
    key: list[Row] = [[code, hand.word("lesion", lesion)] for lesion, code in codes.items()]
    return hand.workbook({"Sheet1": rows, hand.word("total", "total").replace("/", " "): key}, visit.records())


def visits_in_json(hand: Hand) -> Laid:
    """Farm, visits, cows, feet and findings inside each other."""
    first = hand.visit(lesions=ON_CLAWS, claws=True, severities=True)
    visits = [first, replace(hand.visit(lesions=ON_CLAWS, claws=True, severities=True), farm=first.farm)]
    if visits[0].day == visits[1].day:
        visits = visits[:1]
    said = {
        "farm": first.farm,
        "visits": [{
            "date": visit.day.isoformat(),
            "cows": [{
                "cow": cow.number,
                "feet": [{
                    "foot": foot,
                    "findings": [_said(lesion=one.lesion, claw=one.claw, severity=one.severity)
                                 for one in cow.findings if one.foot == foot],
                } for foot in dict.fromkeys(one.foot for one in cow.findings)],
            } for cow in visit.cows],
        } for visit in visits],
    }  # fmt: skip
    text = json.dumps(said, indent=hand.one((None, 1)))
    return Laid("hooves.json", text.encode(), [record for visit in visits for record in visit.records()], "", text)


BOTH: dict[str, dict[tuple[str, ...], tuple[str, ...]]] = {
    "en": {("LF", "RF"): ("both front", "LF RF", "LF+RF"), ("LH", "RH"): ("both hind", "LH/RH", "LH & RH")},
    "es": {("LF", "RF"): ("ambas delanteras",), ("LH", "RH"): ("ambas traseras",)},
    "de": {("LF", "RF"): ("beide vorne", "VL+VR"), ("LH", "RH"): ("beide hinten", "HL/HR")},
    "nl": {("LF", "RF"): ("beide voor", "LV RV"), ("LH", "RH"): ("beide achter", "LA+RA")},
    "fr": {("LF", "RF"): ("les deux avants",), ("LH", "RH"): ("les deux arrières",)},
    "pt": {("LF", "RF"): ("ambos anteriores",), ("LH", "RH"): ("ambos posteriores",)},
}  # fmt: skip
"""Two feet in one cell."""


def two_feet_or_claws_in_a_cell(hand: Hand) -> Laid:
    """A row a lesion, on two feet or on both claws of one."""
    visit = hand.visit(lesions=("SU",))
    rows: list[dict[str, Cell]] = []
    cows = []
    for cow in visit.cows:
        lesion = hand.one(ON_CLAWS)
        row: dict[str, Cell] = {"visit_date": visit.day, "farm": visit.farm, "cow": cow.number}
        row["lesion"] = hand.lesion(lesion)
        if hand.yes():
            feet = hand.one(BOTH[hand.language])
            row["foot"] = hand.one(BOTH[hand.language][feet])
            found = [Finding(lesion, foot) for foot in feet]
        else:
            foot = hand.one(FEET)
            row |= {"foot": hand.word("foot", foot), "claw": hand.word("claw", "both")}
            found = [Finding(lesion, foot, claw) for claw in CLAWS]
        rows.append(row)
        cows.append(replace(cow, findings=tuple(found)))
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "claw", "lesion")}
    return hand.file(hand.columns(rows, headings), replace(visit, cows=tuple(cows)).records())


def feet_over_lesion_and_severity(hand: Hand) -> Laid:
    """Two rows of headings: the foot over its lesion, its claw and its severity."""
    visit = hand.visit(lesions=ON_CLAWS, claws=True, severities=True, apart="foot")
    feet, order = hand.foot_names(), hand.order(FEET)
    names = hand.order(("lesion", "claw", "severity"))
    low = {name: hand.heading(name) for name in names}
    joined = hand.yes()
    head: Row = [hand.heading(name) for name in ("visit_date", "farm", "cow")]
    rows: list[Row] = [[*head, *(f"{feet[foot]} {low[name]}" for foot in order for name in names)]] if joined else [
        ["", "", "", *(feet[foot] if name == names[0] else "" for foot in order for name in names)],
        [*head, *(low[name] for _ in order for name in names)],
    ]  # fmt: skip
    for cow in visit.cows:
        row: Row = [visit.day, visit.farm, cow.number]
        for foot in order:
            one = next((one for one in cow.findings if one.foot == foot), None)
            said = {} if one is None else {
                "lesion": hand.lesion(one.lesion), "claw": hand.word("claw", one.claw) if one.claw else "",
                "severity": str(one.severity or ""),
            }  # fmt: skip
            row += [said.get(name, "") for name in names]
        rows.append(row)
    return hand.file(rows, visit.records())


def lesions_over_feet(hand: Hand) -> Laid:
    """Two rows of headings: the lesion over the four feet, and marks."""
    visit = hand.visit(lesions=COLUMN_LESIONS)
    lesions = list(dict.fromkeys([*(one.lesion for cow in visit.cows for one in cow.findings), "SU", "DD"]))
    feet = hand.foot_names()
    head: Row = [hand.heading(name) for name in ("visit_date", "farm", "cow")]
    named = {code: hand.word("lesion", code) for code in lesions}
    rows: list[Row] = [["", "", "", *(named[code] if foot == "LF" else "" for code in lesions for foot in FEET)],
                       [*head, *(feet[foot] for _ in lesions for foot in FEET)]]  # fmt: skip
    mark = hand.one(("x", "X", "1"))
    for cow in visit.cows:
        found = {(one.lesion, one.foot) for one in cow.findings}
        rows.append([visit.day, visit.farm, cow.number,
                     *(mark if (code, foot) in found else "" for code in lesions for foot in FEET)])  # fmt: skip
    return hand.file(rows, visit.records())


def a_title_line(hand: Hand) -> Laid:
    """Farm and day in one line of words above the table."""
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN, apart="foot")
    day = hand.one(DATES[:6])(visit.day, hand.language)
    title = f"{visit.farm}{hand.one((' - ', ', ', ' | '))}{day}"
    return hand.file([[title], *([[]] if hand.yes() else []), *_foot_columns(hand, visit, once=True)], visit.records())


def the_day_in_the_name_of_the_file(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS)
    headings = {name: hand.heading(name) for name in ("farm", "cow", "foot", "lesion")}
    return hand.file(hand.columns(_finding_rows(hand, visit), headings), visit.records(),
                     name=f"hooves_{visit.day.isoformat()}")  # fmt: skip


def feet_by_numbers_with_a_key(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS)
    numbers = {foot: str(n) for n, foot in enumerate(hand.order(FEET), start=1)}
    rows = _finding_rows(hand, visit)
    found = [one for cow in visit.cows for one in cow.findings or [None]]
    for row, one in zip(rows, found, strict=True):
        row["foot"] = numbers[str(one.foot)] if one is not None else ""
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion")}
    key = [f"{number} = {hand.word('foot', foot)}" for foot, number in numbers.items()]
    below: list[Row] = [[", ".join(key)]] if hand.yes() else [[one] for one in key]
    return hand.file([*hand.columns(rows, headings), [], *below], visit.records())


def a_locomotion_score_beside_findings(hand: Hand) -> Laid:
    """A score of each cow, up to 5, beside her feet."""
    visit = hand.visit(lesions=ON_CLAWS, apart="foot")
    head, *rows = _foot_columns(hand, visit)
    scores = {cow.number: 5 if not place else hand.number(1, 5) for place, cow in enumerate(visit.cows)}
    place = hand.number(0, len(head))
    head.insert(place, hand.heading("locomotion_score"))
    for cow, row in zip(visit.cows, rows, strict=True):
        row.insert(place, str(scores[cow.number]))
    records = [
        {**record, "locomotion_score": scores[record["cow"]], "locomotion_scale": "1-5"} for record in visit.records()
    ]
    return hand.file([head, *rows], records)


def columns_of_other_things(hand: Hand) -> Laid:
    """Lactation, milk and remarks among the columns, one column without a heading and blank."""
    visit = hand.visit(lesions=ON_CLAWS, claws=True)
    names = ("visit_date", "farm", "cow", "foot", "claw", "lesion", "parity", "note")
    headings = {name: hand.heading(name) for name in names}
    headings |= {"milk": hand.one(OTHERS[hand.language]), "blank": ""}
    rows = [
        {**row, "parity": str(hand.number(1, 6)), "milk": str(hand.number(12, 48)), "note": hand.one(("", "A17", "?"))}
        for row in _finding_rows(hand, visit)
    ]
    return hand.file(hand.columns(rows, headings), visit.records())


OTHERS = {
    "en": ("Milk kg", "Milk yield"), "es": ("Leche kg", "Leche"), "de": ("Milch kg", "Milchmenge"),
    "nl": ("Melk kg", "Melkgift"), "fr": ("Lait kg", "Lait"), "pt": ("Leite kg", "Leite"),
}  # fmt: skip


def mobility_in_a_row(hand: Hand) -> Laid:
    """Scores from 0 to 3, with the scale in the heading."""
    farm, day = hand.one(FARMS), hand.day()
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "locomotion_score")}
    headings["locomotion_score"] += " (0-3)"
    rows: list[dict[str, Cell]] = []
    records = []
    for cow in hand.numbers(hand.number(3, 7)):
        score = hand.number(0, 3)
        rows.append({"visit_date": day, "farm": farm, "cow": cow, "locomotion_score": str(score)})
        records.append({"visit_date": day.isoformat(), "farm": farm, "cow": cow, "locomotion_score": score,
                        "locomotion_scale": "0-3"})  # fmt: skip
    return hand.file(hand.columns(rows, headings), records)


def feet_as_keys_in_json(hand: Hand) -> Laid:
    """Farms with their cows, the feet as keys."""
    visit = hand.visit(lesions=ON_CLAWS + ON_SKIN, apart="foot")
    feet = hand.foot_names()
    cows = [{"cow": cow.number, "feet": {feet[str(one.foot)]: hand.lesion(one.lesion) for one in cow.findings}}
            for cow in visit.cows]  # fmt: skip
    text = json.dumps([{"farm": visit.farm, "date": visit.day.isoformat(), "cows": cows}])
    return Laid("hooves.json", text.encode(), visit.records(), "", text)


# Layouts that cannot be certain.


def days_that_may_be_months(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS)
    month, day = hand.order(range(1, 11))[:2]
    visit = replace(visit, day=dt.date(2026, month, day))
    rows = [{**row, "visit_date": f"{day}/{month}/2026"} for row in _finding_rows(hand, visit)]
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion")}
    return hand.file(hand.columns(rows, headings), visit.records(), asks="date-order")


def own_codes_without_a_key(hand: Hand) -> Laid:
    rows = _own_codes(hand)[2]
    return hand.file(rows, [], asks="word:")


def no_farm(hand: Hand) -> Laid:
    visit = hand.visit(lesions=ON_CLAWS)
    headings = {name: hand.heading(name) for name in ("visit_date", "cow", "foot", "lesion")}
    return hand.file(hand.columns(_finding_rows(hand, visit), headings), [], asks="farm")


SCORE = {"en": "Score", "es": "Puntos", "de": "Note", "nl": "Score", "fr": "Score", "pt": "Nota"}


def a_score_beside_the_lesion(hand: Hand) -> Laid:
    """A score up to 3, only where there is a lesion."""
    visit = hand.visit(lesions=ON_CLAWS)
    cows = [replace(cow, findings=tuple(replace(one, severity=hand.number(1, 3)) for one in cow.findings))
            for cow in visit.cows]  # fmt: skip
    visit = replace(visit, cows=tuple(cows))
    headings = {name: hand.heading(name) for name in ("visit_date", "farm", "cow", "foot", "lesion")}
    headings["severity"] = SCORE[hand.language]
    return hand.file(hand.columns(_finding_rows(hand, visit), headings, fixed=5), visit.records(), asks="column:")


def numbers_under_lesions(hand: Hand) -> Laid:
    """1 and 2 under the lesions: severities, or feet?"""
    visit = hand.visit(lesions=COLUMN_LESIONS, feet=(), apart="lesion")
    rows = _lesion_columns(hand, visit, lambda one: "2")
    return hand.file(rows, [], asks="lesion-numbers")


CERTAIN: tuple[Callable[[Hand], Laid], ...] = (
    a_row_a_finding, stages_in_a_column, severities_in_words, side_and_end, dates_in_many_ways, cows_with_signs,
    cows_by_name, foot_columns, foot_columns_with_shorthand, several_findings_in_a_cell, feet_in_the_cell,
    claws_under_feet, eight_claw_columns, lesion_columns_with_ticks, lesion_columns_with_feet,
    lesion_columns_with_severities, lesion_columns_with_plus, lesion_columns_beside_a_foot, numbered_pairs,
    pairs_without_numbers, toe_lengths, toe_lengths_in_a_cell, scores_in_a_row, scores_a_column_a_day,
    scores_a_column_a_month, lines_above, a_tab_a_farm, a_tab_a_visit, blocks, pens_between, as_above, ditto_marks,
    headings_again_and_totals, two_feet_or_claws_in_a_cell, feet_over_lesion_and_severity, lesions_over_feet,
    a_title_line, the_day_in_the_name_of_the_file, feet_by_numbers_with_a_key, a_locomotion_score_beside_findings,
    columns_of_other_things, mobility_in_a_row, feet_as_keys_in_json, own_codes_with_a_key_below,
    own_codes_with_a_key_in_a_tab,
)  # fmt: skip
"""Layouts in every language that a person reads with certainty."""
WITHOUT_WORDS = (visits_in_json,)
"""Layouts whose words are English alone."""
UNCERTAIN = (
    days_that_may_be_months, own_codes_without_a_key, no_farm, a_score_beside_the_lesion, numbers_under_lesions,
)  # fmt: skip
"""Layouts that leave something open."""
CASES = [
    *((layout, language) for layout in (*CERTAIN, *UNCERTAIN) for language in LANGUAGES),
    *((layout, "en") for layout in WITHOUT_WORDS),
]


@st.composite
def sheets(draw: Any, layout: Callable[[Hand], Laid], language: str) -> Laid:
    """Sheets of one layout in one language."""
    return layout(Hand(draw, language))
