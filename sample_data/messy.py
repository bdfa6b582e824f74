"""A hoof book as a tired person keeps it, for trying an import: all readable but the planted rows."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from evenfoot.sample_data import truths

TITLES = (
    f"{truths.MESSY_FARM} \N{EN DASH} hoof book",
    "spring + autumn, typed up from the caf\N{LATIN SMALL LETTER E WITH ACUTE} table",
)
HEADINGS = {
    "visit_date": "Date ",
    "farm": "Farm name",
    "cow": "COW NO.",
    "foot": "Leg",
    "claw": "claw (outer/inner)",
    "zone": "Zone",
    "lesion": "Lesion found",
    "severity": "Severity",
    "toe_length_mm": "Toe length_in",
    "locomotion_score": "loco score",
    "visit_kind": "Visit type",
    "herd_size": "Herd Size",
    "mood": "mood",
    "note": "Remarks",
}
HEADING_ROW = len(TITLES) + 2
FIRST_ROW = HEADING_ROW + 1
LAST_ROW = 128
BLANK_ROWS = (36, 66, 95)
HERD = 60

_FARM = ("Dunlow Corner", "dunlow corner", "DUNLOW CORNER ", "Dunlow  Corner")
_MOOD = ("calm", "kicked", "grumpy", "calm", "tail in my face", "")
_FEET = ("left hind", "RH", "LH ", "right hind", "rh", "LF", "Right Front")
_CLAWS = ("outer", "Outer", "inner", "outer ", "lateral")
_REMARKS = (
    "",
    "",
    "",
    "see again",
    "walks fine",
    "farmer\N{RIGHT SINGLE QUOTATION MARK}s pet",
    "\N{VULGAR FRACTION ONE HALF} the herd dirty",
    "",
)
_NOTHING = ("ok", "Nothing", "none", "clean", "OK ")
_WORDS = {
    # What the book says: zones to choose from, and whether it sits on a claw.
    "ulcer": ((4, 4, 5), True),
    "Ulcer": ((4,), True),
    "wart": ((10, 10, 0), False),
    "WART ": ((10,), False),
    "hairy wart": ((10, 9), False),
    "foul": ((0,), False),
    "white line": ((3, 2), True),
    "white line abscess": ((3,), True),
    "bruise": ((4, 5), True),
    "heel erosion": ((6,), False),
    "corkscrew": ((None,), True),
}


@dataclass(frozen=True)
class _Visit:
    day: str
    kind: str
    until_row: int


_VISITS = (
    _Visit("14/03/2026", "Whole herd", 64),
    _Visit("7/4/26", "lame cow", 68),
    _Visit("26/09/2026", "whole herd", 124),
    _Visit("05/10/2026", "Lame cow", LAST_ROW),
)


def _good_row(rng: np.random.Generator, visit: _Visit, cow: int) -> dict[str, str]:
    lame = visit.kind.lower().startswith("lame")
    row = dict.fromkeys(HEADINGS, "")
    row |= {
        "visit_date": visit.day,
        "farm": str(rng.choice(_FARM)),
        "cow": f"{cow} " if rng.random() < 0.2 else str(cow),
        "visit_kind": visit.kind,
        "herd_size": str(HERD) if not lame else "",
        "mood": str(rng.choice(_MOOD)),
        "note": str(rng.choice(_REMARKS)),
        "locomotion_score": str(rng.choice((3, 4)) if lame else rng.choice((1, 2, 3, 4), p=(0.5, 0.3, 0.15, 0.05))),
    }
    if not lame and rng.random() > 0.36:
        row["lesion"] = str(rng.choice(_NOTHING))
        return row
    word = str(rng.choice(list(_WORDS)))
    zones, on_claw = _WORDS[word]
    zone = zones[int(rng.integers(len(zones)))]
    row |= {
        "lesion": word,
        "foot": str(rng.choice(_FEET)),
        "zone": "" if zone is None else str(zone),
        "severity": str(rng.choice((1, 2, 3), p=(0.4, 0.4, 0.2))),
    }
    if on_claw:
        row["claw"] = str(rng.choice(_CLAWS))
        row["toe_length_mm"] = f"{rng.normal(3.25, 0.15):.2f}".replace(".", ",")
    return row


def _spoil(row: dict[str, str], bad: truths.BadRow) -> dict[str, str]:
    """The row with its planted mistake, the cells beside it put right so that it is the only one."""
    spoilt = {**row, bad.field: bad.value}
    if bad.field in ("zone", "toe_length_mm"):
        spoilt |= {"foot": "RH", "claw": "outer", "lesion": "ulcer", "severity": "1"}
        spoilt["zone"] = bad.value if bad.field == "zone" else "4"
    elif bad.field == "claw":
        spoilt |= {"foot": "", "lesion": "ulcer", "zone": "", "severity": "1", "toe_length_mm": ""}
    elif bad.field == "lesion":
        spoilt |= {"foot": "LH", "claw": "", "zone": "", "severity": "1", "toe_length_mm": ""}
    return spoilt


def notebook_rows() -> list[dict[str, str] | None]:
    """The rows under the heading, in order; ``None`` is a blank row."""
    rng = np.random.default_rng([truths.RANDOM_START, 99])
    bad = {one.row: one for one in truths.MESSY_BAD_ROWS}
    rows: list[dict[str, str] | None] = []
    visits = iter(_VISITS)
    visit = next(visits)
    cows = iter(rng.permutation(HERD) + 1)
    for number in range(FIRST_ROW, LAST_ROW + 1):
        if number > visit.until_row:
            visit = next(visits)
            cows = iter(rng.permutation(HERD) + 1)
        if number in BLANK_ROWS:
            rows.append(None)
            continue
        row = _good_row(rng, visit, int(next(cows)))
        if number == FIRST_ROW:
            row["farm"] = truths.MESSY_FARM
        rows.append(_spoil(row, bad[number]) if number in bad else row)
    return rows


def write_notebook(path: Path) -> None:
    """Semicolons, Windows-1252, decimal commas, Windows line ends."""
    width = len(HEADINGS)
    lines = [title + ";" * (width - 1) for title in TITLES]
    lines.append(";" * (width - 1))
    lines.append(";".join(HEADINGS.values()))
    for row in notebook_rows():
        lines.append(";" * (width - 1) if row is None else ";".join(row[field] for field in HEADINGS))
    path.write_bytes("".join(line + "\r\n" for line in lines).encode("cp1252"))
