"""Which row holds the headings, which kind of sheet they make, and which column is which field."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from evenfoot.analytics.domain import lexicon
from evenfoot.analytics.domain.lexicon import plain
from evenfoot.analytics.domain.locomotion import understand_scale
from evenfoot.analytics.intake.fields import KINDS, OWN_COLUMNS, UNITS, Field
from evenfoot.analytics.intake.sheet import RawSheet

HEADING_SEARCH_ROWS = 20
"""Title rows above the headings are looked past as far as this many rows."""

_UNIT_WORDS = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("in", "inch", "inches", "ins"), "in"),
    **dict.fromkeys(("deg", "degree", "degrees"), "deg"),
}
LONGEST_HEADING = 200
"""Letters of a heading that are looked at. [common practice, no source]"""

_NUMBERED = re.compile(r"^(.*[^\W\d_])[\W_]*([1-9])$", re.DOTALL)
_BRACKETS = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")


def squeezed(heading: str) -> str:
    """A heading without case, accents, spaces and punctuation.

    Example
    -------
    >>> squeezed(" COW NO. "), squeezed("Lesión")
    ('cowno', 'lesion')
    """
    return plain(heading).replace(" ", "")


@dataclass(frozen=True)
class Match:
    """One column understood as one field; ``unit`` is what the heading names, ``scale`` likewise."""

    column: int
    field: Field
    heading: str
    unit: str | None = None
    scale: str | None = None


@dataclass(frozen=True)
class Headings:
    """The heading row of a sheet, understood as one kind.

    ``extra`` are columns that hold no field; ``doubled`` those that say a field a second time;
    ``second_findings`` columns such as "Lesion 2", in sheets that put several findings in one row. ``cells``
    are the headings as they stand, filled to the breadth of the sheet; ``width`` is how many there were.
    """

    kind: str
    position: int
    names: list[str]
    matches: dict[str, Match]
    extra: list[int] = field(default_factory=list)
    doubled: list[int] = field(default_factory=list)
    own: list[int] = field(default_factory=list)
    second_findings: list[int] = field(default_factory=list)
    missing: tuple[str, ...] = ()
    cells: tuple[str, ...] = ()
    width: int = 0


def _lookup(kind: str) -> dict[str, Field]:
    """Squeezed heading -> field. A field's own name always means that field."""
    fields = {each.name: each for each in KINDS[kind]}
    table = {squeezed(heading): fields[name] for heading, name in lexicon.headings(kind).items() if name in fields}
    table |= {squeezed(re.sub(r"_(mm|deg)$", "", name)): each for name, each in reversed(fields.items())}
    return table | {squeezed(name): each for name, each in fields.items()}


_LOOKUPS = {kind: _lookup(kind) for kind in KINDS}
_OWN = {squeezed(name) for name in OWN_COLUMNS}


def is_own_column(heading: str) -> bool:
    """Whether a heading is one that the list of set-aside rows adds."""
    return squeezed(heading) in _OWN


def match_heading(heading: str, kind: str) -> tuple[Field, str | None, str | None] | None:
    """The field of a kind that a heading names, with the unit and the scale it names, or ``None``.

    Example
    -------
    >>> field, unit, scale = match_heading("Toe length_in", "trims")
    >>> field.name, unit
    ('toe_length_mm', 'in')
    >>> match_heading("claw (outer/inner)", "trims")[0].name, match_heading("mood", "trims")
    ('claw', None)
    """
    table = _LOOKUPS[kind]
    aside = " ".join(_BRACKETS.findall(heading))
    bare = _BRACKETS.sub(" ", heading)
    words = plain(bare).split()
    scale = understand_scale(aside) if re.search(r"\d", aside) else None
    unit = _UNIT_WORDS.get(aside.strip(" .").casefold())
    if unit is None and len(words) > 1 and words[-1] in _UNIT_WORDS and squeezed(bare) not in table:
        unit, words = _UNIT_WORDS[words[-1]], words[:-1]
    if unit is None and len(words) > 1 and words[-1] in _UNIT_WORDS:
        unit = _UNIT_WORDS[words[-1]]
    found = table.get(squeezed(heading)) or table.get("".join(words))
    if found is None:
        return None
    if unit is not None and not _fits(unit, found):
        # "cows in" is not a length in inches.
        if table.get(squeezed(heading)) is None:
            return None
        unit = None
    return found, unit, scale


def _fits(unit: str, found: Field) -> bool:
    return (found.type == "length" and unit in UNITS) or (found.type == "angle" and unit == "deg")


def understand_headings(cells: Sequence[str], kind: str, position: int = 0) -> Headings:
    """Match the cells of a row with the fields of a kind.

    A field's own name wins over an everyday word for it; of equals the leftmost column wins and the others
    are listed as doubled.
    """
    names = _unique_names(cells)
    candidates: dict[str, list[Match]] = {}
    extra, own, second = [], [], []
    for column, cell in enumerate(cells):
        if is_own_column(cell):
            own.append(column)
            continue
        numbered = _NUMBERED.match(cell.strip())
        if numbered and kind == "trims":
            numbered_field = match_heading(numbered[1], kind)
            if numbered_field is not None and numbered_field[0].name == "lesion":
                if int(numbered[2]) > 1:
                    second.append(column)
                    continue
                cell = numbered[1]
        found = match_heading(cell, kind) if cell.strip() else None
        if found is None:
            extra.append(column)
        else:
            match = Match(column, found[0], names[column], found[1], found[2])
            candidates.setdefault(found[0].name, []).append(match)
    matches: dict[str, Match] = {}
    doubled = []
    for name, found_here in candidates.items():
        exact = [match for match in found_here if squeezed(match.heading) == squeezed(name)]
        matches[name] = (exact or found_here)[0]
        doubled += [match.column for match in found_here if match is not matches[name]]
    missing = tuple(
        each.name for each in KINDS[kind] if each.required and each.name not in matches and each.name != "farm"
    )
    return Headings(
        kind, position, names, matches, extra, sorted(doubled), own, second, missing, tuple(cells), len(cells)
    )


def find_headings(sheet: RawSheet) -> Headings | None:
    """The best heading row among the first rows, or ``None`` when no row has anything of a known sheet.

    The answer may still be ``missing`` something: the caller says what.
    """
    best: tuple[tuple[int, int, int, int], Headings] | None = None
    kinds = list(KINDS)
    rows = 1 if sheet.has_headings else min(len(sheet), HEADING_SEARCH_ROWS)
    for position in range(rows):
        cells = [cell[:LONGEST_HEADING] for cell in sheet.row(position)]
        if not any(cell.strip() for cell in cells):
            continue
        for place, kind in enumerate(kinds):
            headings = understand_headings(cells, kind, position)
            whole = is_whole(headings)
            surely = int(whole) + int(whole and _tells(headings))
            rank = (surely, int(whole and kind == sheet.kind_hint), len(headings.matches), -place)
            if headings.matches and (best is None or rank > best[0]):
                best = rank, headings
    return None if best is None else replace(best[1], width=int(sheet.widths[best[1].position]))


def is_whole(headings: Headings) -> bool:
    """Whether the headings make a sheet of their kind (the farm apart, which may be given otherwise).

    Date and cow alone are a trim sheet of cows with nothing found, when the date is called a visit's or
    nothing else stands in the sheet that could make it something else, such as a milk record.
    """
    if headings.missing:
        return False
    if _tells(headings):
        return True
    if headings.kind != "trims":
        return False
    date = headings.matches["visit_date"].heading
    return not headings.extra or re.search("visit|trim", squeezed(date)) is not None


def _tells(headings: Headings) -> bool:
    """Whether a column says what kind of sheet it is. The size of the herd does not where cows are scored."""
    telling = {name for name, match in headings.matches.items() if match.field.telling}
    return bool(telling - {"herd_size"} if "locomotion_score" in headings.matches else telling)


def _unique_names(cells: Sequence[str]) -> list[str]:
    names: dict[str, None] = {}
    said: Counter[str] = Counter()
    for column, cell in enumerate(cells):
        name = " ".join(cell.split()) or f"column {column_letters(column)}"
        said[name] += 1
        unique = name
        while unique in names:
            unique = f"{name} ({said[name]})"
            said[name] += unique in names
        names[unique] = None
    return list(names)


def column_letters(column: int) -> str:
    """A column as a spreadsheet letters it.

    Example
    -------
    >>> column_letters(0), column_letters(25), column_letters(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
