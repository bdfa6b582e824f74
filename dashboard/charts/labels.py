"""What a person reads instead of a column name or a code."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.feet import CLAW_NAMES, FOOT_NAMES, ZONES
from evenfoot.analytics.domain.lesions import LESIONS
from evenfoot.analytics.domain.units import mm_to_inches
from evenfoot.analytics.domain.visits import ACTIONS
from evenfoot.analytics.measures.catalogue import heading_of
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts.headings import COLUMNS
from evenfoot.dashboard.charts.lengths import INCHES, in_inches
from evenfoot.dashboard.charts.theme import number, percent, ratio
from evenfoot.dashboard.i18n.translation import NO_BREAK, _, told, words

LIMBS = {"front": "front feet", "hind": "hind feet"}
CLAWS = {claw: f"{name} claw" for claw, name in CLAW_NAMES.items()}
FAMILIES = {
    "infectious": "infectious",
    "horn": "horn",
    "skin growth": "growth of skin",
    "shape": "shape of claw",
    "other": "other",
}
HOUSINGS = {
    "freestall": "freestall (cubicles)",
    "tie-stall": "tie stall",
    "bedded-pack": "bedded pack",
    "pasture": "pasture",
}
WETNESS = {
    "always-wet": "always wet",
    "always-dry": "always dry",
    "mixed": "mixed wet and dry",
    "wet-dry-cycles": "wet and dry in turns",
}
VISIT_KINDS = {
    "whole-herd": "whole-herd visit",
    "part-herd": "part-herd visit",
    "lame-cow": "lame-cow call",
    "recheck": "recheck",
    "scoring": "scoring visit",
    "unknown": "kind not known",
}
VERDICTS: dict[str, str] = {
    "worse": say("Worse"),
    "better": say("Better"),
    "no-clear-change": say("No clear change"),
    "too-few": say("Too few to say"),
}
"""The four words for a change, the same on every page and in every report."""

WHATS = {"any": "any lesion", "lame": "lame", "severe": "severely lame"}

_WORDS: dict[str, dict[str, str]] = {
    "limb": LIMBS,
    "claw": CLAWS,
    "family": FAMILIES,
    "housing": HOUSINGS,
    "wetness": WETNESS,
    "visit_kind": VISIT_KINDS,
    "verdict": VERDICTS,
    "action": ACTIONS,
}

_SHARES = {
    "prevalence",
    "low",
    "high",
    "share",
    "difference",
    "diff_low",
    "diff_high",
    "past_prevalence",
    "now",
    "lame_now",
    "lame_usual",
    "share_before",
    "reference_share",
    "last_year",
    "expected",
    "detectable",
    "centre",
    "lower",
    "upper",
    "std_risk",
    "std_low",
    "std_high",
    "free_180",
    "free_180_low",
    "free_180_high",
    "free_365",
    "free_365_low",
    "free_365_high",
    "agreement",
    "agreement_low",
    "agreement_high",
    "rate",
    "shrunken",
    "shrunken_low",
    "shrunken_high",
    "funnel_low",
    "funnel_high",
    "fitted",
    "counterfactual",
    "cf_low",
    "cf_high",
    "points",
    "icc",
    "detectable_fall",
    "detectable_rise",
}
_RATIOS = {
    "risk_ratio", "odds_ratio", "adj_odds_ratio", "rate_ratio", "crude_risk_ratio", "crude_odds_ratio",
}  # fmt: skip
_MONTHS = {"month", "period", "from_month", "signal_month"}
_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])")


def column_label(column: str) -> str:
    """The heading of a column; a name that is not known loses its underscores.

    Examples
    --------
    >>> column_label("at_risk"), column_label("some_new_thing")
    ('Looked at', 'Some new thing')
    """
    if column in INCHES and in_inches(column):
        return _(INCHES[column])
    if column in COLUMNS:
        return _(COLUMNS[column])
    if (own := heading_of(str(column))) is not None:
        return told(own)
    words = str(column).replace("_", " ").strip()
    return words[:1].upper() + words[1:]


def small(label: str) -> str:
    """A heading as it stands inside a sentence; an abbreviation keeps its capitals.

    Examples
    --------
    >>> small("Share lame"), small("DD stage")
    ('share lame', 'DD stage')
    """
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]


def lesion_label(code: str) -> str:
    """The name of a lesion by its code.

    Examples
    --------
    >>> lesion_label("SU")
    'Sole ulcer'
    """
    lesion = LESIONS.get(code)
    if lesion is None:
        return str(code)
    return _sentence(_(lesion.name))


def zone_label(zone: int, *, with_number: bool = True) -> str:
    """The name of a zone by its number.

    Examples
    --------
    >>> zone_label(6)
    'zone 6, bulb of the heel'
    """
    known = ZONES.get(int(zone))
    name = known.name if known is not None else "other"
    return _("zone {n}, {name}", n=int(zone), name=_(name)) if with_number else _(name)


def foot_label(foot: str) -> str:
    """The foot in words after its abbreviation.

    Examples
    --------
    >>> foot_label("LH")
    'LH, left hind'
    """
    return f"{words().foot_code(foot)}, {_(FOOT_NAMES[foot])}" if foot in FOOT_NAMES else _sentence(_known(str(foot)))


def date_label(value: Any, column: str = "visit_date") -> str:
    """A day, month or quarter.

    Examples
    --------
    >>> date_label(pd.Timestamp("2026-01-01"), "month"), date_label(pd.Timestamp("2026-01-01"), "quarter")
    ('Jan 2026', 'Jan to Mar 2026')
    """
    day = pd.Timestamp(value)
    if column in _MONTHS:
        return _plain(words().month(day))
    if column == "quarter":
        last = words().month(day + pd.DateOffset(months=2))
        return _plain(_("{low} to {high}", low=words().month(day, short=True), high=last))
    return _plain(words().date(day))


def value_label(column: str, value: Any) -> str:
    """A cell as a person reads it: names for codes, percentages for shares, months for dates.

    Examples
    --------
    >>> value_label("lesion", "SU"), value_label("claw", "lateral"), value_label("parity", "3+")
    ('Sole ulcer', 'Outer claw', 'Lactation 3 and later')
    >>> value_label("p_value", 0.00001), value_label("cases", 12), value_label("note", None)
    ('under 0.001', '12', '')
    """
    if _missing(value):
        return ""
    if isinstance(value, (pd.Timestamp, dt.date)):
        return date_label(value, column)
    if column in ("lesion", "lesion_detail") or (column == "what" and value in LESIONS):
        return lesion_label(str(value))
    if column == "what":
        return _sentence(_known(WHATS.get(str(value), value if isinstance(value, str) else str(value))))
    if column == "zone":
        return _sentence(_known(value) if isinstance(value, str) else zone_label(int(value)))
    if column == "foot":
        return foot_label(str(value))
    if column == "parity":
        return _parity(str(value))
    if column == "term" and "=" in str(value):
        name, _equals, group = str(value).partition("=")
        return f"{column_label(name)}: {small(value_label(name, group))}"
    if column in _WORDS:
        return _sentence(_known(_WORDS[column].get(str(value), value if isinstance(value, str) else str(value))))
    if column in ("farm", "cow", "sire", "trimmer", "note", "group", "breed", "scorer"):
        text = str(value)
        return _sentence(_(text)) if text == "not recorded" else text
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, (int, float)) or hasattr(value, "dtype"):
        return _figure(column, mm_to_inches(float(value)) if in_inches(column) else float(value))
    return _sentence(_known(value if isinstance(value, str) else str(value)))


def what_label(what: str) -> str:
    """A row of the herd review by name.

    Examples
    --------
    >>> what_label("severe"), what_label("DD")
    ('Severely lame', 'Digital dermatitis')
    """
    return value_label("what", what)


def group_label(group: Any) -> str:
    """A compared group by name, whatever it was grouped by.

    Examples
    --------
    >>> group_label("tie-stall"), group_label("2026-03"), group_label("dry cows")
    ('Tie stall', 'Mar 2026', 'Dry cows')
    """
    text = str(group)
    for said in (HOUSINGS, WETNESS, VISIT_KINDS, FAMILIES):
        if text in said:
            return _sentence(_(said[text]))
    if _MONTH.fullmatch(text):
        return date_label(f"{text}-01", "month")
    return _sentence(_known(text))


def _figure(column: str, value: float) -> str:
    if column.endswith("p_value") or column in ("q_value", "p_adjusted"):
        return _("under 0.001") if value < 0.001 else words().number(value, 3)
    if column == "year":
        return f"{int(value)}"
    if column in _RATIOS or column.startswith(("rr_", "or_", "adj_or_")):
        return ratio(value)
    if column in _SHARES or column.endswith(("_prevalence",)) or column.startswith(("lame_", "severe_")):
        return percent(value)
    return number(value)


def _parity(text: str) -> str:
    if text == "not recorded":
        return _sentence(_("not recorded"))
    if text.endswith("+"):
        return _("Lactation {n} and later", n=text[:-1])
    return _("Lactation {n}", n=text)


def _missing(value: Any) -> bool:
    return value is None or (not isinstance(value, (list, dict, tuple)) and bool(pd.isna(value)))


def _known(text: str) -> str:
    """A word of the vocabulary or a sentence of a measure in the reader's language; other text as it stands."""
    return told(text)


def _plain(text: str) -> str:
    return text.replace(NO_BREAK, " ")


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
