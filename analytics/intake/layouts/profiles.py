"""What the cells of a column look like, and whether they can be what the heading says."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from evenfoot.analytics.domain.lexicon import forms_meaning, meaning, phrases, plain
from evenfoot.analytics.domain.visits import understand_visit_kind
from evenfoot.analytics.intake.layouts.days import BARE_DAY, is_day
from evenfoot.analytics.intake.parsing.finding_cell import read_findings
from evenfoot.analytics.intake.parsing.value_cells import read_claw_text, read_feet_text, read_severity_text
from evenfoot.analytics.intake.parsing.vocabulary import BLANKS
from evenfoot.analytics.intake.sheet import Positions, RawColumn

TICKS = frozenset(
    ("x", "xx", "v", "/", "\\", "\N{CHECK MARK}", "\N{HEAVY CHECK MARK}", "\N{BALLOT X}", "*", "\N{BULLET}")
)
DITTO = frozenset(('"', "''", "\N{RIGHT DOUBLE QUOTATION MARK}", "\N{LEFT DOUBLE QUOTATION MARK}",
                   "\N{DOUBLE PRIME QUOTATION MARK}", "\N{DITTO MARK}",
                   "ditto", "do.", "do", "idem", "dito", "dto", "dto.", "id.",
                   "same", ",,", "\N{DOUBLE LOW-9 QUOTATION MARK}"))  # fmt: skip
"""Marks that say "as above"."""
MOST_TEXTS = 4000
"""Distinct texts of a column that are looked at to tell what it is. [common practice, no source]"""

_NUMBER = re.compile(r"^\s*[-+]?\d+([.,]\d+)?\s*$")


@dataclass(frozen=True)
class Profile:
    """The distinct texts of a column that say something, and in how many rows each stands.

    Attributes
    ----------
    texts : list of str
    counts : list of int
    rows : int
        Rows of the table, blank cells included.
    """

    texts: list[str]
    counts: list[int]
    rows: int

    @cached_property
    def filled(self) -> int:
        """Rows in which the column says something."""
        return sum(self.counts)

    @cached_property
    def numbers(self) -> list[float]:
        """The texts that are numbers."""
        return [float(text.replace(",", ".")) for text in self.texts if _NUMBER.match(text)]

    @property
    def is_numeric(self) -> bool:
        """Whether nine of ten texts are numbers."""
        return bool(self.texts) and len(self.numbers) >= 0.9 * len(self.texts)

    @cached_property
    def without_blanks(self) -> Profile:
        """The same without texts that say nothing, such as a dash."""
        said = [
            (text, count) for text, count in zip(self.texts, self.counts, strict=True) if text.casefold() not in BLANKS
        ]
        return Profile([text for text, _ in said], [count for _, count in said], self.rows)

    def share(self, *, test: Callable[[str], bool]) -> float:
        """Share of the rows said for whose text *test* holds; 0 where nothing is said."""
        if not self.filled:
            return 0.0
        return sum(count for text, count in zip(self.texts, self.counts, strict=True) if test(text)) / self.filled


def profile_of(columns: Sequence[tuple[RawColumn, Positions]]) -> Profile:
    """The profile of a column that stands in one or several tables with the same headings."""
    counts: dict[str, int] = {}
    rows = 0
    for column, positions in columns:
        rows += len(positions)
        found = np.bincount(column.codes[positions], minlength=len(column.texts))
        for code in np.flatnonzero(found).tolist():
            text = column.texts[code].strip()
            if text and text.casefold() not in DITTO:
                counts[text] = counts.get(text, 0) + int(found[code])
    most = sorted(counts.items(), key=lambda item: -item[1])[:MOST_TEXTS]
    return Profile([text for text, _ in most], [count for _, count in most], rows)


def is_tick(text: str) -> bool:
    """Whether a cell is a mark that says yes and nothing else."""
    word = text.strip().casefold()
    return word in TICKS or (meaning("yes", text) is not None and not plain(text).isdecimal()) or word == "1"


def begins_with_no(text: str) -> bool:
    """Whether a cell says no, alone or with a reason behind it.

    Example
    -------
    >>> [begins_with_no(text) for text in ("non", "No - calving", "nee (droog)", "yes", "")]
    [True, True, True, False, False]
    """
    first = _FIRST_WORD.match(text.strip())
    return any(meaning("no", part) is not None for part in (text, first[0] if first else ""))


_FIRST_WORD = re.compile(r"[^\W\d_]+")


def is_yes_no(text: str) -> bool:
    """Whether a cell says yes or no."""
    return is_tick(text) or meaning("no", text) is not None or text.strip() in ("0", "-")


def says_lesion(text: str, taught: Mapping[str, str]) -> bool:
    """Whether a cell names lesions that are certain, and little beside."""
    reading = read_findings(text[:400], taught=taught)
    return bool(reading.findings) and len(reading.unread) <= 1


def names_diagnosis(words: str) -> bool:
    """Whether words that the atlas does not have name a part or an illness of the leg.

    Example
    -------
    >>> [names_diagnosis(words) for words in ("septic fetlock joint", "swollen hock", "kicked the gate")]
    [True, True, False]
    """
    return not DIAGNOSES.isdisjoint(plain(words).split())


DIAGNOSES = forms_meaning("layout_word", "diagnosis") | forms_meaning("layout_word", "part of claw")


def says_finding_or_nothing(text: str, taught: Mapping[str, str]) -> bool:
    """Whether a cell can be read as findings, or says that nothing was found."""
    if text.strip().casefold() in BLANKS or is_tick(text):
        return True
    reading = read_findings(text[:400], taught=taught)
    return reading.nothing or bool(reading.findings)


DONE = ("block", "wrap", "refer")
"""What a cell may say was done with words beside it: "block LH", "amputation referred"."""


def fits(field: str, text: str, taught: Mapping[str, str]) -> bool:
    """Whether a cell can be what a field holds."""
    bare = " ".join(text.split())
    if field == "toe_lengths":
        # Signs for nothing found do not make a column one of lengths.
        return bool(re.fullmatch(r"\d+(?:[.,]\d+)?\s*[/>-]+\s*\d+(?:[.,]\d+)?", bare))
    if bare.casefold() in BLANKS:
        return True
    if field in ("visit_date", "recheck_on", "calving_date"):
        if field == "visit_date" and BARE_DAY.fullmatch(bare):
            # Under "recheck" the same number may be the days or weeks to wait.
            return True
        return is_day(bare) or bool(re.fullmatch(r"[345]\d{4}(\.0+)?", bare))
    if field == "foot":
        return bool(read_feet_text(bare)[0]) or bool(read_findings(bare, taught=taught).feet)
    if field == "claw":
        return bool(read_claw_text(bare, "RH")[0])
    if field == "lesion":
        return says_finding_or_nothing(bare, taught)
    if field == "lesion_detail":
        return bool(read_findings(bare, taught=taught).findings)
    if field == "severity":
        if read_findings(bare).findings:
            return False
        return read_severity_text(bare)[0] is not None or bool(re.fullmatch(r"[0-3]\s*[-/.,]\s*\d", bare))
    if field in ("locomotion_score", "score"):
        return bool(re.fullmatch(r"\D{0,12}[0-5](?:[.,]\d)?\s*[+-]?(?:\s*[-/]\s*[0-5])?\s*\D{0,12}", bare))
    if field == "shed_stage":
        return bool(re.fullmatch(r"(?:stage\s*)?[0-5]", bare, re.I))
    if field == "zone":
        return bool(re.fullmatch(r"(?:z(?:one)?\.?\s*)?(?:1[0-2]|\d)", bare, re.I)) or plain(bare) in phrases("zone")
    if field == "dd_stage":
        return bool(re.fullmatch(r"m?\s?(?:4[.,]1|[0-4])", bare, re.I))
    if field == "visit_kind":
        return understand_visit_kind(bare) is not None
    if field == "action":
        parts = re.split(r"[,;+/&]", bare)
        told = any(meaning("action", part) is not None or read_findings(part).action in DONE for part in parts)
        return told or is_yes_no(bare)
    if field in ("toe_length_mm", "toe_length_after_mm", "heel_depth_mm", "sole_thickness_mm", "toe_angle_deg"):
        return bool(re.fullmatch(r"\d+(?:[.,]\d+)?\s*(?:mm|cm|in|\"|deg|\N{DEGREE SIGN})?", bare, re.I))
    if field in ("herd_size", "parity"):
        return bool(re.fullmatch(r"\d+(?:[.,]0+)?", bare))
    return True
